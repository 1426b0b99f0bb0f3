"""A joint's settings, windows and chances in words, for every front end."""

from __future__ import annotations

import math

from gen.records import KeptRecord, TrialRecord
from gen.trials.belief import Belief
from gen.trials.joints import Known
from gen.trials.values import Chances, ComputedTimes, Credible, Setting, Window


def not_known(known: Known) -> list[str]:
    """The reason why a joint without a prior has no estimate, and the remedies."""
    found = known.suggestion
    if found is None:
        why = "the secondary current of this machine is not known"
        helps = ["transformer.open_secondary_V in the welder file, from which it follows"]
    else:
        why, helps = found.why_not, list(found.helps)
    own = "--between 0.5,2: the weld time (s) as you expect it, in place of the handbook"
    return [f"No estimate: {why}.", "What would help", *(f"  {help_}" for help_ in (*helps, own))]


def computed_text(computed: ComputedTimes) -> str:
    """The prior of the estimate, where a model of the joint computed it, as a sentence."""
    return (
        f"No table covers this joint on this machine, so the estimate begins from computed times: good from "
        f"{computed.low_s:.2g} to {computed.high_s:.2g} s at {computed.percent:g} %, within a factor of "
        f"{math.exp(1.645 * computed.within):.2g} nine times in ten."
    )


def setting_text(setting: Setting | TrialRecord | KeptRecord, frequency_Hz: int) -> str:
    """A setting in a few words: `79 cycles (1.58 s) at 100 %`."""
    time_s = setting.time_s if isinstance(setting, Setting) else setting.weld_s
    cycles = time_s * frequency_Hz
    return f"{cycles:.4g} cycle{'' if cycles == 1 else 's'} ({time_s:.3g} s) at {setting.percent:g} %"


def window_text(window: Window, percent: float) -> str:
    """The good window with its credible limits."""
    low, high = window.low_s, window.high_s
    return (
        f"good window at {percent:g} %: from {low.median:.3g} s ({low.low:.3g} to {low.high:.3g}) to {high.median:.3g} s "
        f"({high.low:.3g} to {high.high:.3g}), 95 % limits in brackets; probability that there is one: {chance(window.chance)}"
    )


def chance(probability: float) -> str:
    """A probability in per cent, never rounded to 0 or 100."""
    if 0.01 <= probability <= 0.99:
        return f"{100 * probability:.0f} %"
    return "below 1 %" if probability < 0.5 else "above 99 %"


def good_text(chances: Chances) -> str:
    """The chance that the next weld at a setting is good, in words."""
    return f"chance of a good weld {chance(chances.good)} ({chance(chances.good_least)} or more, nine times in ten)"


def scatter_text(scatter: Credible) -> str:
    """The scatter of the heat, in words."""
    low, middle, high = (f"{100 * share:.0f}" for share in (scatter.low, scatter.median, scatter.high))
    return f"from weld to weld the heat scatters by about {middle} % ({low} to {high} %)"


def chances_text(c: Chances) -> str:
    """The chances of the outcomes of the next weld at a setting, in words."""
    return (
        f"expected: no bond {chance(c.no_bond)}, broke at joint {chance(c.broke)}, tore parent {chance(c.tore)}; "
        f"expelled late {chance(c.expelled)}"
    )


def window_sentences(known: Known, belief: Belief) -> list[str]:
    """A sentence for each percent tried, and one for the scatter of the welds."""
    windows = [window_text(belief.window(percent), percent) for percent in known.percents_reported]
    return [f"{words[:1].upper()}{words[1:]}." for words in (*windows, scatter_text(belief.scatter))]


def good_sentences(known: Known, belief: Belief) -> list[str]:
    """A sentence on the chance of a good weld at the setting kept, and at the best time of each percent."""
    kept = [("at the setting kept", Setting(known.kept.weld_s, known.kept.percent))] if known.kept else []
    best = [("at the best time", belief.best(percent)) for percent in known.percents_reported]
    return [
        f"{good_text(belief.chances(setting)).capitalize()} {which}, {setting.time_s:.3g} s at {setting.percent:g} %."
        for which, setting in (*kept, *best)
    ]
