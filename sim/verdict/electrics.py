"""Checks of what one weld does to supply, breaker and switch: inrush, breaker, dip, surge, commutation."""

from __future__ import annotations

import math

from gen.breaker import Judgement, dip, magnetic, thermal
from gen.welder import Welder
from sim.stress import Stress
from sim.verdict.finding import Finding, Severity, judged

INRUSH_LIMIT = 2.5  # times the working peak
DIP_LIMIT_PERCENT = 10.0
SNUBBER_RISE_US = 10.0  # 100 ohm and 0.1 microfarad
TYPICAL_DV_DT = 5.0

_WORDS: dict[str, Severity] = {"holds": "note", "may trip": "caution", "trips": "refuse", "not known": "caution"}


def electric_findings(stress: Stress, welder: Welder, welds_per_minute: float) -> list[Finding]:
    """Every check of this file that the welder file allows."""
    findings = [inrush(stress), *breaker(stress, welder, welds_per_minute), supply_dip(stress, welder)]
    findings += switch_current(stress, welder) + switch_surge(stress, welder) + triac_commutation(stress, welder)
    return findings


def inrush(stress: Stress) -> Finding:
    """Greatest peak of any half-cycle from the worst residue, against the working peak."""
    figure = stress.worst.primary_peak_A / stress.working_peak_A if stress.working_peak_A else 0.0
    return judged(
        "inrush",
        round(figure, 2),
        INRUSH_LIMIT,
        "times the working peak",
        "common practice, no source; knee and remanence are assumed",
        "Delay the first half-cycle (limits.first_delay_deg near 90) and slope the current up.",
        otherwise="caution",
    )


def breaker(stress: Stress, welder: Welder, welds_per_minute: float) -> list[Finding]:
    """The magnetic release against the worst peak, and the bimetal against the pace."""
    peak = max(stress.worst.primary_peak_A, stress.working_peak_A * stress.scale)
    kinds = (
        (
            "breaker",
            magnetic(welder.breaker, peak),
            "A, peak over root 2",
            "Slope the current up and delay the first half-cycle, or have an electrician fit a slower characteristic.",
        ),
        (
            "breaker-heat",
            thermal(welder.breaker, stress.impulses, 60 / welds_per_minute),
            "of the way to tripping",
            "Weld more slowly or for less time, or have an electrician fit a larger circuit.",
        ),
    )
    return [_by_word(name, judgement, unit, advice) for name, judgement, unit, advice in kinds]


def _by_word(name: str, judgement: Judgement, unit: str, advice: str) -> Finding:
    severity = _WORDS[judgement.word]
    if judgement.word == "not known":
        figure = 0.0 if math.isnan(judgement.figure) else round(judgement.figure, 1)
        known = "Name the breaker in the welder file: [breaker] characteristic and rating_A, as printed on it."
        return Finding(name, severity, figure, 0, f"{unit}, limit not known", judgement.source, known)
    limit = judgement.holds_to if severity != "refuse" else judgement.trips_from
    advice = "" if severity == "note" else f"It {judgement.word}. {advice}"
    return Finding(name, severity, round(judgement.figure, 3), round(limit, 3), unit, judgement.source, advice)


def supply_dip(stress: Stress, welder: Welder) -> Finding:
    """How far the outlet's voltage falls under the working current, at the worst of its ranges."""
    tap = welder.machine.in_use
    fall = dip(welder.machine, tap.working_primary, tap.load_angle)
    return judged(
        "supply-dip",
        round(100 * fall.high / welder.mains.voltage_V, 1),
        DIP_LIMIT_PERCENT,
        "% of the mains voltage",
        f"EN 50160: 10 %; {welder.machine.source_resistance.source}",
        "Use a lower tap or per cent, or an outlet nearer the board; other users of the supply will see lights flicker.",
        otherwise="caution",
    )


def switch_current(stress: Stress, welder: Welder) -> list[Finding]:
    """RMS current while welding against the switch's rated current."""
    rated = welder.switch.rated_current_A
    if rated is None:
        return []
    most = max((amperes for amperes, _ in stress.impulses), default=0.0)
    return [
        judged(
            "switch-current",
            round(most, 1),
            rated,
            "A RMS while welding",
            "switch.rated_current_A, its data sheet",
            "Fit a larger switch, or weld with less current.",
        )
    ]


def switch_surge(stress: Stress, welder: Welder) -> list[Finding]:
    """The worst peak, with the electrodes on the work or shorted, against the one surge that the data sheet allows."""
    surge = welder.switch.surge_current_A
    if surge is None:
        return []
    peak = max(stress.worst.primary_peak_A, stress.shorted_worst.primary_peak_A)
    return [
        judged(
            "switch-surge",
            round(peak, 1),
            surge,
            "A peak, shorted, worst residue",
            "switch.surge_current_A, its data sheet (one half-cycle, not to be repeated)",
            "Fit a larger switch; one shot from the wrong residue would end this one.",
        )
    ]


def triac_commutation(stress: Stress, welder: Welder) -> list[Finding]:
    """A triac faces the recovering voltage with the gate still warm: its rise against the data sheet."""
    if welder.switch.kind != "triac":
        return []
    end_deg = stress.settled.swings[-1].end_deg if stress.settled.swings else 180.0
    step_V = welder.mains.voltage_V * math.sqrt(2) * abs(math.sin(math.radians(end_deg)))
    rated = welder.switch.commutating_dv_dt_V_per_us
    source = (
        "switch.commutating_dv_dt_V_per_us" if rated else f"typical {TYPICAL_DV_DT:g} V/us, common practice, no source"
    )
    return [
        judged(
            "triac-commutation",
            round(step_V / SNUBBER_RISE_US, 1),
            rated or TYPICAL_DV_DT,
            "V/us behind a 10 us snubber",
            source,
            "It may conduct on without a gate. Use two thyristors.",
        )
    ]
