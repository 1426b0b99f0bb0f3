"""A verdict as a person reads it: one sentence, what refuses and what cautions, and what came nearest to its limit."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sim.verdict.finding import Finding, Severity, Verdict

NEAREST = 3
_WELL_INSIDE = 0.8  # of a limit

SEVERITY_WORDS: dict[Severity, str] = {"refuse": "refused", "caution": "caution", "passed": "passed"}


@dataclass(frozen=True)
class Told:
    """`headline` and `others` are sentences; `nearest` passed, the nearest to its limit first."""

    headline: str
    refusals: tuple[Finding, ...]
    cautions: tuple[Finding, ...]
    nearest: tuple[Finding, ...]
    others: str


def told(verdict: Verdict, welds_per_minute: float) -> Told:
    """What is said of a verdict at a pace."""
    refusals, cautions, passed = (
        tuple(f for f in verdict.findings if f.severity == severity) for severity in ("refuse", "caution", "passed")
    )
    measured = sorted((f for f in passed if not math.isnan(f.share)), key=lambda f: -f.share)
    nearest, rest = tuple(measured[:NEAREST]), len(passed) - len(measured[:NEAREST])
    inside = "well inside" if all(f.share <= _WELL_INSIDE for f in measured[NEAREST:]) else "inside their limits"
    return Told(
        f"{verdict.word}, at {welds_per_minute:g} welds a minute.",
        refusals,
        cautions,
        nearest,
        "" if not rest else f"{rest} other{' is' if rest == 1 else 's are'} {inside}.",
    )
