"""A joint's settings, windows and chances in words, whoever shows them."""

from __future__ import annotations

import math

from gen.records import KeptRecord, TrialRecord
from gen.trials.belief import Belief
from gen.trials.joints import Known
from gen.trials.values import Chances, ComputedTimes, Credible, Setting, Window


def not_known(known: Known) -> list[str]:
    """Why nothing can be estimated, and the ways on; for a joint without a prior."""
    found = known.suggestion
    if found is None:
        why = "the secondary current of this machine is not known"
        helps = ["transformer.open_secondary_V in the welder file, from which it follows"]
    else:
        why, helps = found.why_not, list(found.helps)
    own = "--between 0.5,2: the weld time (s) as you expect it, in place of the handbook"
    return [f"No estimate: {why}.", "What would help", *(f"  {help_}" for help_ in (*helps, own))]


def computed_text(computed: ComputedTimes) -> str:
    """Where the estimate begins, where a model of the joint says it."""
    return (
        f"No table speaks of this joint on this machine, so that the estimate begins from the computed one: good from "
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
    """A probability in per cent; one that is nearly sure is not called so."""
    if 0.01 <= probability <= 0.99:
        return f"{100 * probability:.0f} %"
    return "below 1 %" if probability < 0.5 else "above 99 %"


def good_text(chances: Chances) -> str:
    """How likely the next weld at a setting is good."""
    return f"chance of a good weld {chance(chances.good)} ({chance(chances.good_least)} or more, nine times in ten)"


def scatter_text(scatter: Credible) -> str:
    """How the heat scatters."""
    low, middle, high = (f"{100 * share:.0f}" for share in (scatter.low, scatter.median, scatter.high))
    return f"from weld to weld the heat scatters by about {middle} % ({low} to {high} %)"


def chances_text(c: Chances) -> str:
    """What else the next weld at a setting may come to."""
    return (
        f"expected: no bond {chance(c.no_bond)}, broke at joint {chance(c.broke)}, tore parent {chance(c.tore)}; "
        f"expelled late {chance(c.expelled)}"
    )


def windows_told(known: Known, belief: Belief) -> list[str]:
    """A sentence for each percent tried, and how the welds scatter."""
    told = [window_text(belief.window(percent), percent) for percent in known.percents_told]
    return [f"{words[:1].upper()}{words[1:]}." for words in (*told, scatter_text(belief.scatter))]


def good_told(known: Known, belief: Belief) -> list[str]:
    """A sentence for each setting that matters, how likely a weld is good: the one kept, and the best time of each percent."""
    kept = [("at the setting kept", Setting(known.kept.weld_s, known.kept.percent))] if known.kept else []
    best = [("at the best time", belief.best(percent)) for percent in known.percents_told]
    return [
        f"{good_text(belief.chances(setting)).capitalize()} {which}, {setting.time_s:.3g} s at {setting.percent:g} %."
        for which, setting in (*kept, *best)
    ]
