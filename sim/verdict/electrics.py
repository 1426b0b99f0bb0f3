"""Checks of one weld against supply, breaker and switch: inrush, trip, dip, surge, commutation."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from gen.machine.breaker import Judgement, Trip, dip, magnetic, thermal
from gen.ranges import shown
from gen.schedule import SLOPE_END_PERCENT
from sim.core.impulse import Impulse
from sim.core.weld_current import WeldCurrents
from sim.verdict.finding import Finding, PacedJob, Severity, judged, percent_of

INRUSH_LIMIT = 2.5  # times the working peak
DIP_LIMIT_PERCENT = 10.0
SNUBBER_RISE_US = 10.0  # 100 ohm and 0.1 microfarad
TYPICAL_DV_DT = 5.0

_SEVERITY: dict[Trip, Severity] = {
    Trip.HOLDS: "passed",
    Trip.MAY_TRIP: "caution",
    Trip.TRIPS: "refuse",
    Trip.UNKNOWN: "caution",
}


def inrush(run: PacedJob) -> Finding:
    """The greatest peak from the worst residue, against the working peak.

    Only the first weld after power-up or after an interrupted weld can meet that residue. Later welds begin on the
    polarity opposite to the last half-cycle.
    """
    currents = run.currents
    figure = currents.worst.primary_peak_A / currents.working_peak_A if currents.working_peak_A else 0.0
    return judged(
        "inrush",
        figure,
        INRUSH_LIMIT,
        "times the working peak",
        "common practice, no source; knee and remanence are assumed, the saturated core's reactance is the least it may be",
        _gentler(currents) if run.advises and figure > INRUSH_LIMIT else "Slope the current up and down.",
        otherwise="caution",
        digits=2,
        says=f"A first weld may draw {shown(currents.worst.primary_peak_A)} A at its peak, {{figure}} times the working peak; "
        "{limit} times is the usual limit.",
        half_cycle=run.peak_at(currents.worst),
    )


def _gentler(currents: WeldCurrents) -> str:
    """The peak of each gentler start on the same core."""

    def peak(of: Impulse) -> str:
        return f"{shown(of.primary_peak_A)} A ({of.primary_peak_A / currents.working_peak_A:.2g} times)"

    worst_A, cycles = currents.worst.primary_peak_A, len(currents.slope_deg) // 2
    slope = (
        f" An upslope of {cycles} cycles from {SLOPE_END_PERCENT:g} % limits it to {peak(currents.sloped_worst)}."
        if cycles and currents.sloped_worst.primary_peak_A < 0.95 * worst_A
        else ""
    )
    return (
        "Make the first weld after power-up, or after an interrupted weld, on scrap: the flux left in the core is not known. "
        f"A weld after another peaks at {peak(currents.against_residue)}, one after a long downslope at "
        f"{peak(currents.settled)}.{slope}"
    )


def breaker(run: PacedJob) -> Finding:
    """The breaker's magnetic release against the worst peak.

    The worst peak may never come: it counts as a possible trip. Where the working current is enough the breaker must trip.
    """
    currents, fitted = run.currents, run.welder.breaker
    working_A = currents.working_peak_A * currents.scale
    release = magnetic(fitted, max(currents.worst.primary_peak_A, working_A))
    if release.trip is Trip.TRIPS and magnetic(fitted, working_A).trip is not Trip.TRIPS:
        release = replace(release, trip=Trip.MAY_TRIP)
    peak = f"The worst peak over root 2 is {shown(release.figure)} A"
    found = _breaker_finding(
        "breaker",
        release,
        "A",
        {
            Trip.HOLDS: f"{peak}; the breaker holds up to {shown(release.holds_to)} A.",
            Trip.MAY_TRIP: f"{peak}; above {shown(release.holds_to)} A the breaker may trip, and from "
            f"{shown(release.trips_from)} A it must.",
            Trip.TRIPS: f"{peak}; from {shown(release.trips_from)} A the breaker must trip.",
            Trip.UNKNOWN: f"{peak}; whether that trips the breaker is not known.",
        },
        "Slope the current up and down, make the first weld after power-up on scrap, or have an electrician fit a slower "
        "characteristic.",
    )
    return replace(found, conditions=("peak over root 2",), half_cycle=run.peak_at(currents.worst))


def breaker_heat(run: PacedJob) -> Finding:
    """The breaker's bimetal against the pace."""
    release = thermal(run.welder.breaker, run.currents.impulses, 60 / run.welds_per_minute)
    warms = f"At this pace the breaker warms to {percent_of(release.figure)} of the point where it may trip"
    return _breaker_finding(
        "breaker-heat",
        release,
        "of the way to tripping",
        {
            Trip.HOLDS: f"{warms}.",
            Trip.MAY_TRIP: f"{warms}; from {percent_of(release.trips_from)} it must.",
            Trip.TRIPS: f"{warms}, and trips.",
            Trip.UNKNOWN: "Whether the breaker holds at this pace is not known.",
        },
        "Weld more slowly or for less time, or have an electrician fit a larger circuit.",
    )


def _breaker_finding(name: str, judgement: Judgement, unit: str, says: Mapping[Trip, str], advice: str) -> Finding:
    """The finding of a release. `says`: the sentence for each outcome."""
    severity = _SEVERITY[judgement.trip]
    if judgement.trip is Trip.UNKNOWN:
        figure = 0.0 if math.isnan(judgement.figure) else round(judgement.figure, 1)
        return Finding(name, severity, figure, None, unit, judgement.source, judgement.wanted, says=says[Trip.UNKNOWN])
    limit = round(judgement.holds_to, 3)
    advice = "" if severity == "passed" else advice
    return Finding(
        name, severity, round(judgement.figure, 3), limit, unit, judgement.source, advice, says=says[judgement.trip]
    )


def supply_dip(run: PacedJob) -> Finding:
    """The voltage that the outlet loses under the working current, at the worst of the ranges."""
    welder = run.welder
    tap = welder.machine.in_use
    fall = dip(welder.machine, tap.working_primary, tap.load_angle)
    return judged(
        "supply-dip",
        100 * fall.high / welder.mains.voltage_V,
        DIP_LIMIT_PERCENT,
        "% of the mains voltage",
        f"EN 50160: 10 %; {welder.machine.source_resistance.source}",
        "Use a lower tap or per cent, or an outlet nearer the board; other users of the supply will see lights flicker.",
        otherwise="caution",
        digits=1,
        says="During a weld the outlet loses {figure} % of its voltage; {limit} % is allowed.",
    )


def switch_current(run: PacedJob) -> Finding | None:
    """RMS current while welding against the switch's rated current."""
    rated = run.welder.switch.rated_current_A
    if rated is None:
        return None
    most = max((amperes for amperes, _ in run.currents.impulses), default=0.0)
    return judged(
        "switch-current",
        most,
        rated,
        "A RMS while welding",
        "switch.rated_current_A, its data sheet",
        "Fit a larger switch, or weld with less current.",
        digits=1,
        says="During a weld the switch carries {figure} A RMS; it is rated for {limit} A.",
    )


def switch_surge(run: PacedJob) -> Finding | None:
    """The worst peak, on the work or on shorted electrodes, against the data sheet's surge current."""
    surge = run.welder.switch.surge_current_A
    if surge is None:
        return None
    peak = max(run.currents.worst.primary_peak_A, run.currents.shorted_worst.primary_peak_A)
    found = judged(
        "switch-surge",
        peak,
        surge,
        "A peak",
        "switch.surge_current_A, its data sheet (one half-cycle, not to be repeated)",
        "Fit a larger switch; one weld from the worst residue would destroy this one.",
        digits=1,
        says="The worst peak, with shorted electrodes, is {figure} A; the switch withstands {limit} A once.",
    )
    worst = max(run.currents.worst, run.currents.shorted_worst, key=lambda impulse: impulse.primary_peak_A)
    return replace(found, conditions=("shorted", "worst residue"), half_cycle=run.peak_at(worst))


def switch_i2t(run: PacedJob) -> Finding | None:
    """The square of the current integrated over the worst half-cycle, against the data sheet's (10 ms, not repeated)."""
    rated = run.welder.switch.i2t_A2s
    if rated is None:
        return None
    currents = run.currents
    swings = currents.worst.swings + currents.shorted_worst.swings
    most = max((swing.primary_rms_A**2 * currents.half_s for swing in swings), default=0.0)
    found = judged(
        "switch-i2t",
        most,
        rated,
        "A2 s in one half-cycle",
        "switch.i2t_A2s, its data sheet (for fusing: one half-cycle, not to be repeated)",
        "Fit a larger switch: no fuse will save this one.",
        digits=2,
        says="The worst half-cycle, with shorted electrodes, has {figure} A2 s; the switch withstands {limit} A2 s once.",
    )
    return replace(found, conditions=("shorted", "worst residue"))


def triac_commutation(run: PacedJob) -> Finding | None:
    """The rise of the voltage across a triac as its current ends, against the data sheet."""
    welder = run.welder
    if welder.switch.kind != "triac":
        return None
    # The step of voltage is greatest where the current ends nearest the next peak.
    steps = [abs(math.sin(math.radians(swing.end_deg))) for swing in run.currents.settled.swings]
    step_V = welder.mains.voltage_V * math.sqrt(2) * max(steps, default=0.0)
    rated = run.welder.switch.commutating_dv_dt_V_per_us
    source = (
        "switch.commutating_dv_dt_V_per_us" if rated else f"typical {TYPICAL_DV_DT:g} V/us, common practice, no source"
    )
    return judged(
        "triac-commutation",
        step_V / SNUBBER_RISE_US,
        rated or TYPICAL_DV_DT,
        "V/us behind a 10 us snubber",
        source,
        "It may go on conducting without a gate. Use two thyristors.",
        digits=1,
        says="As the current ends, the voltage across the triac rises at {figure} V/us; it withstands {limit}.",
    )


def zero_cross_relay(run: PacedJob) -> Finding | None:
    """A zero-cross relay turns a transformer on at the worst moment, and this firmware's gate is off at the crossings.

    It is always refused. The figure is the greatest peak from the worst residue, of a relay that turns on again as a
    current ends and of one that waits for the next zero and so skips every other half-cycle.
    """
    currents, welder = run.currents, run.welder
    if welder.switch.fires_at_any_phase:
        return None
    again, waits = currents.zero_worst.primary_peak_A, currents.zero_inhibited.primary_peak_A
    limits = {"the working peak": currents.working_peak_A}
    held = magnetic(welder.breaker, again).holds_to * math.sqrt(2)
    if not math.isnan(held):
        limits["what the breaker lets through"] = held
    if welder.switch.surge_current_A is not None:
        limits["the switch's surge current"] = welder.switch.surge_current_A
    passed = [what for what, most in limits.items() if max(again, waits) > most]
    beyond = f", more than {' and '.join(passed)}" if passed else ""
    one_way = "; the core is driven one way" if currents.zero_inhibited.half_wave else ""
    return Finding(
        "zero-cross-relay",
        "refuse",
        round(max(again, waits), 1),
        round(min(limits.values()), 1),
        "A peak at switch-on",
        "textbook: a transformer switched on at the voltage zero swings to twice its steady flux",
        f"Fit a pair of thyristors, or a relay that turns on at any phase. This one passes {again:.3g} A where it turns "
        f"on again by itself, {waits:.3g} A where it waits for the next zero{one_way}{beyond}; and this firmware's gate "
        "is off at the crossings.",
        conditions=("worst residue",),
        says="A relay that waits for the zero crossing turns a transformer on at its worst moment.",
    )
