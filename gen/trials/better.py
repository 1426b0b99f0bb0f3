"""The weld that would be better than those that the verdict allows, and the pace at which it is allowed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from gen.errors import InputError
from gen.job import Job
from gen.records import TrialRecord
from gen.trials.advice import is_alike
from gen.trials.belief import Belief
from gen.trials.values import Chances, Setting
from gen.trials.verdicts import Verdicts
from gen.trials.wording import chance, setting_text

_BETTER = 0.1  # least gain in the chance of a good weld that is worth a slower pace
IN_VAIN = 2  # after so many welds at a setting, none of them good, it is not advised again if a better one is forbidden


@dataclass(frozen=True)
class BetterWeld:
    """A weld that the verdict forbids. `pace`: welds a minute at which it is allowed; None: no such pace was found.

    `why`: the reason. `in_vain`: number of welds at the best setting allowed if none was good, else 0; 0 also if too few.
    """

    setting: Setting
    chances: Chances
    why: str
    pace: float | None
    in_vain: int

    def remedy(self, frequency_Hz: int) -> str:
        """The remedy, as a sentence."""
        weld = f"{setting_text(self.setting, frequency_Hz)}, {chance(self.chances.good)} likely to be good"
        if self.pace is None:
            return f"A better weld, {weld}, is forbidden at any pace. {self.why}"
        return f"Weld no faster than {self.pace:g} a minute: then {weld}."

    def in_vain_text(self, setting: Setting, frequency_Hz: int) -> str:
        """The reason why the weld that is allowed is not advised again, as a sentence."""
        return (
            f"{setting_text(setting, frequency_Hz)} is the best that is allowed at this pace. It was made {self.in_vain} times, "
            "and no weld was good: it is not advised again."
        )


def better_weld(
    setting: Setting | None,
    belief: Belief,
    verdicts: Verdicts,
    records: tuple[TrialRecord, ...],
    bearable: Callable[[Job], float | None],
) -> BetterWeld | None:
    """The refused setting most likely to be good, if clearly likelier than `setting`; None where none is.

    Refused settings are those judged in the search for `setting`, and the best time at its percent. `bearable`: the fastest
    pace at which a job is allowed. It may be slow, and is called once. `records`: the trials.
    """
    if setting is not None:
        _ask_for_the_best(setting, belief, verdicts)
    refused = verdicts.refused
    if not refused:
        return None
    each = [*refused, *([setting] if setting is not None else [])]
    good = dict(zip(each, belief.good(each)))
    best = max(refused, key=lambda s: (good[s], -s.time_s))
    if setting is not None and good[best] < good[setting] + _BETTER:
        return None
    try:
        pace = bearable(verdicts.job(best))
    except InputError:
        pace = None
    made = [r for r in records if setting is not None and is_alike(Setting(r.weld_s, r.percent), setting)]
    any_good = any(r.outcome == "tore parent" and r.expulsion == "none" for r in made)
    in_vain = len(made) if len(made) >= IN_VAIN and not any_good else 0
    return BetterWeld(best, belief.chances(best), refused[best].why, pace, in_vain)


def _ask_for_the_best(setting: Setting, belief: Belief, verdicts: Verdicts) -> None:
    """Have the best time at the percent of `setting` judged, in whole cycles, if it is clearly likelier to be good."""
    frequency_Hz = verdicts.welder.mains.frequency_Hz
    best = Setting(round(belief.best(setting.percent).time_s * frequency_Hz) / frequency_Hz, setting.percent)
    here, there = belief.good([setting, best])
    if there >= here + _BETTER:
        verdicts.allowed(best)
