"""The snubber across the switch, and whether a triac or a relay could replace the thyristors."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from gen.machine.welder import Welder
from gen.ranges import shown
from gen.wiring.arithmetic import (
    E6,
    E12,
    Recovery,
    capacitor_current_A,
    damping_ratio,
    preferred_at_least,
    recovery,
    snubber_loss_W,
    step_at_least,
)
from gen.wiring.choice import PRACTICE, CalculationLine, Chosen, SnubberValues, SwitchRatings
from gen.wiring.power_parts import OFF_STATE_STEPS, OVERVOLTAGE

# Snubber: common practice, no source.
DISCHARGE_A = 10.0
LEAST_SNUBBER_W = 3.0
STATIC_DV_DT = 500.0  # V/us of a thyristor
TYPICAL_COMMUTATING = 5.0  # V/us of a triac
HALF = 0.5  # share of a rating that is used
MOST_MAINS_OHM = 3300.0
CAPACITORS_UF = (0.047, 0.1, 0.15, 0.22, 0.33, 0.47)
# With open electrodes the snubber resonates with the core's inductance, which is not constant. A reading counts as half to
# twice its value. Without a reading the magnetising current is 1 to 10 % of the working current.
IDLE_ABOUT = (0.5, 2.0)
IDLE_TYPICAL = (0.01, 0.10)


@dataclass(frozen=True)
class SwungCircuit:
    """The circuit that resonates with the snubber: inductance, resistance, and the current at which the switch turns off."""

    henry: float
    ohm: float
    chopped_A: float = 0.0


def open_circuits(welder: Welder) -> tuple[SwungCircuit, ...]:
    """Open electrodes: the core's inductance at both ends of the idle current's range, turned off at the holding current.

    The core's loss, which damps, is left out. So slow a current is chopped at the holding current; a weld's is not.
    """
    t, omega = welder.transformer, 2 * math.pi * welder.mains.frequency_Hz
    given = t.open_current_A is not None
    low, high = IDLE_ABOUT if given else IDLE_TYPICAL
    base_A = t.idle_current_A if given else t.working_current_A
    currents = [base_A * share for share in (low, high)]
    chopped_A = welder.switch.holding_current_A
    return tuple(
        SwungCircuit(welder.mains.voltage_V / (omega * amperes), 0.0, min(chopped_A, amperes * math.sqrt(2)))
        for amperes in currents
    )


def load_circuits(welder: Welder) -> tuple[SwungCircuit, ...]:
    """While welding: the circuits at both ends of the working impedance's angle and size."""
    tap, omega = welder.machine.in_use, 2 * math.pi * welder.mains.frequency_Hz
    sizes = (welder.mains.voltage_V / tap.working_primary.high, welder.mains.voltage_V / tap.short_primary.high)
    angles = (math.radians(max(tap.load_angle.low, 5)), math.radians(tap.load_angle.high))
    return tuple(SwungCircuit(z * math.sin(a) / omega, z * math.cos(a)) for z in sizes for a in angles)


def snubber(welder: Welder, ratings: SwitchRatings) -> tuple[SnubberValues, Chosen]:
    """The smallest capacitor, with the resistor of least peak, that keep peak, rise and discharge within their limits."""
    volts, f = welder.mains.voltage_V, welder.mains.frequency_Hz
    peak_V = volts * math.sqrt(2) * OVERVOLTAGE
    circuits, idle = load_circuits(welder), open_circuits(welder)
    steepest = _rise_limit(welder) * HALF
    ohm, farad, seen = _least_snubber(peak_V, (*circuits, *idle), ratings.off_state_V, steepest)
    unloaded = worst_recovery(peak_V, idle, ohm, farad)
    loaded = worst_recovery(peak_V, circuits, ohm, farad)
    loss_W = snubber_loss_W(farad, peak_V, 2 * 2 * f)
    values = SnubberValues(ohm, farad, max(LEAST_SNUBBER_W, preferred_at_least(3 * loss_W, E6)))
    low_H, high_H = min(c.henry for c in circuits), max(c.henry for c in circuits)
    damping = [damping_ratio(values.ohm + c.ohm, c.henry, values.farad) for c in circuits]
    leak_A = capacitor_current_A(values.farad, volts, f)
    uF = values.farad * 1e6
    steps = (
        CalculationLine(
            "inductance it swings with",
            "working to shorted impedance, at the ends of the load angle",
            f"{1e3 * low_H:.3g} to {1e3 * high_H:.3g} mH",
            "X over omega; the core's own loss damps further and is left out",
        ),
        CalculationLine(
            "damping ratio",
            f"(R + load) / 2 x sqrt(C / L), {values.ohm:g} ohm and {uF:.3g} uF",
            f"{min(damping):.2g} to {max(damping):.2g}",
            "textbook; 0.5 to 1 is usual (Rashid, from memory); here peak and rise decide, open electrodes included",
        ),
        CalculationLine(
            "peak at turn-off",
            f"a step of {peak_V:.0f} V into R, L and C; limit {HALF:g} x {ratings.off_state_V:g} V",
            f"{loaded.peak_V:.0f} V",
            f"second-order circuit, textbook; limit: {PRACTICE}",
        ),
        CalculationLine(
            "peak at turn-off, electrodes open",
            f"the same with the core's {min(c.henry for c in idle):.3g} to {max(c.henry for c in idle):.3g} H, let go at "
            f"{shown(idle[0].chopped_A)} A",
            f"{unloaded.peak_V:.0f} V",
            (
                "V over omega times the idle current, half to twice of what was read"
                if welder.transformer.open_current_A is not None
                else f"V over omega times 1 to 10 % of the working current, {PRACTICE}"
            )
            + "; holding current of the switch; the core's own loss, which damps, is left out",
        ),
        CalculationLine(
            "steepest rise",
            f"limit {shown(steepest)} V/us, half of the rating{'' if welder.switch.kind == 'triac' else ' 500 V/us'}",
            f"{seen.steepest_V_per_s / 1e6:.3g} V/us",
            "the same circuit",
        ),
        CalculationLine(
            "discharge into the switch",
            f"{peak_V:.0f} V / {values.ohm:g} ohm; limit {DISCHARGE_A:g} A",
            f"{peak_V / values.ohm:.3g} A",
            f"V / R (Rashid, from memory); limit: {PRACTICE}",
        ),
        CalculationLine(
            "heat in the resistor",
            f"C V2 / 2 x {4 * f:g} a second: charged and discharged in each half-cycle",
            f"{shown(loss_W)} W while welding",
            "Rashid, from memory",
        ),
        CalculationLine(
            "leakage through the primary",
            f"{volts:g} V x 2 pi {f} Hz x {uF:.3g} uF",
            f"{1000 * leak_A:.3g} mA whenever isolator and contactor are closed",
            "V omega C, textbook",
        ),
    )
    fit = (
        f"{values.ohm:g} ohm, {values.rated_W:g} W, wire-wound without inductance or pulse-proof; {uF:.3g} uF, "
        f"class X1 for {volts:g} V mains; 1 Mohm across the capacitor to empty it"
    )
    notes: tuple[str, ...] = ("The snubber keeps the primary live, even when the transformer is silent.",)
    if seen.steepest_V_per_s > steepest * 1e6 or seen.peak_V > HALF * ratings.off_state_V:
        notes += (_what_would(welder, seen),)
    return values, Chosen("snubber", fit, steps, notes=notes)


def _what_would(welder: Welder, seen: Recovery) -> str:
    """Advice where no snubber keeps peak and rise within their limits."""
    text = "No snubber keeps both peak and rise within their limits here"
    if welder.switch.kind != "scr_pair":
        return f"{text}: fit the pair of thyristors."
    volts = step_at_least(seen.peak_V / HALF, OFF_STATE_STEPS)
    wanted = f"{volts:g} V off-state" if volts is not None else f"more than {OFF_STATE_STEPS[-1]:g} V off-state"
    idle = (
        ""
        if welder.transformer.open_current_A is not None
        else "; or read transformer.open_current_A, which narrows it"
    )
    return f"{text}: fit thyristors of {wanted}{idle}."


def worst_recovery(peak_V: float, circuits: Sequence[SwungCircuit], ohm: float, farad: float) -> Recovery:
    """The greatest peak and the steepest rise over the circuits."""
    found = [recovery(peak_V, c.henry, c.ohm, ohm, farad, c.chopped_A) for c in circuits]
    return Recovery(max(r.peak_V for r in found), max(r.peak_s for r in found), max(r.steepest_V_per_s for r in found))


def _rise_limit(welder: Welder) -> float:
    """The greatest rise at turn-off that the switch withstands, V/us."""
    if welder.switch.kind == "triac":
        return welder.switch.commutating_dv_dt_V_per_us or TYPICAL_COMMUTATING
    return STATIC_DV_DT


def _least_snubber(
    peak_V: float, circuits: tuple[SwungCircuit, ...], off_state_V: float, steepest_V_per_us: float
) -> tuple[float, float, Recovery]:
    """Ohm and farad of the least snubber, and the greatest peak and rise over the circuits."""
    best: tuple[float, float, Recovery] | None = None
    for farad in (c * 1e-6 for c in CAPACITORS_UF):
        for ohm in (float(round(n * d)) for d in (10, 100, 1000) for n in E12 if n * d <= MOST_MAINS_OHM):
            if peak_V / ohm > DISCHARGE_A:
                continue
            worst = worst_recovery(peak_V, circuits, ohm, farad)
            if worst.steepest_V_per_s > steepest_V_per_us * 1e6:
                continue
            if best is None or worst.peak_V < best[2].peak_V:
                best = ohm, farad, worst
        if best is not None and best[2].peak_V <= HALF * off_state_V:
            return best
    if best is None:  # every rise is too steep: take the largest capacitance and the least resistance allowed
        ohm, farad = preferred_at_least(peak_V / DISCHARGE_A), CAPACITORS_UF[-1] * 1e-6
        return ohm, farad, worst_recovery(peak_V, circuits, ohm, farad)
    return best


def alternatives(ratings: SwitchRatings, rise_V_per_us: float) -> Chosen:
    """The conditions under which a triac or a relay is sufficient."""
    steps = (
        CalculationLine(
            "triac: rise at turn-off",
            f"{rise_V_per_us:.3g} V/us behind the snubber, against {TYPICAL_COMMUTATING:g} to 10 V/us commutating",
            "may do" if rise_V_per_us <= TYPICAL_COMMUTATING else "does not do with an ordinary one",
            f"typical data sheets, {PRACTICE}",
        ),
        CalculationLine(
            "triac: surge",
            f"about 10 times its RMS current; {shown(ratings.surge_A)} A is wanted",
            f"one of {shown(ratings.surge_A / 10)} A or more",
            PRACTICE,
        ),
        CalculationLine(
            "relay for any phase: surge and I2t",
            f"{shown(ratings.surge_A)} A and {shown(ratings.i2t_A2s)} A2s, as the pair",
            f"one of about {shown(max(ratings.rms_A, ratings.surge_A / 10))} A or more, on the same heat sink",
            PRACTICE,
        ),
        CalculationLine(
            "relay that waits for the zero crossing",
            "a transformer switched on at the voltage zero swings to twice its steady flux",
            "never",
            "textbook",
        ),
    )
    fit = "Prefer the pair of thyristors. A triac or a random-phase relay needs these figures (--all)"
    notes = (
        "Usually unsuitable: a triac may stay on without a gate, since its other half is still warm; a relay is rated for "
        "resistive current, its gate circuit cannot be inspected, and a zero-cross relay looks the same.",
    )
    return Chosen("triac or relay instead", fit, steps, notes=notes)
