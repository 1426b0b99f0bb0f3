"""A joint's settings, windows and chances in words, whoever shows them."""

from __future__ import annotations

from gen.records import KeptRecord, TrialRecord
from gen.trials.belief import Belief
from gen.trials.joints import Known
from gen.trials.values import Setting, Window


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


def chances_text(belief: Belief, setting: Setting) -> str:
    """What the next weld at a setting may come to."""
    c = belief.chances(setting)
    return (
        f"expected: no bond {chance(c.no_bond)}, broke at joint {chance(c.broke)}, tore parent {chance(c.tore)}; "
        f"expelled late {chance(c.expelled)}; good {chance(c.good)}"
    )


def windows_told(known: Known, belief: Belief) -> list[str]:
    """A sentence for each percent tried."""
    found = []
    for percent in reversed(known.percents or (known.percent,)):
        words = window_text(belief.window(percent), percent)
        found.append(f"{words[:1].upper()}{words[1:]}.")
    return found
