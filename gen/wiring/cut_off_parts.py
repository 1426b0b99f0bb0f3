"""Parts that disconnect by hand or on a fault: isolator, emergency stop, residual-current device."""

from __future__ import annotations

from gen.machine.supply import second_is_live
from gen.machine.welder import Welder
from gen.ranges import shown
from gen.wiring.choice import PRACTICE, CalculationLine, Chosen, Load
from gen.wiring.power_parts import rated_to_make, step_up

ISOLATOR_STEPS = (16, 20, 25, 32, 40, 63, 80, 100, 125, 160, 200, 250, 315, 400, 630, 800, 1250, 2500)
SOCKET_A = 32.0  # IEC 60364-4-41 requires 30 mA at socket outlets for general use up to this rating, from memory


def isolator(welder: Welder, load: Load) -> Chosen:
    """A switch-disconnector rated to make and break the greatest current of this machine."""
    making_A, making = rated_to_make(
        load, "AC-23A makes 10 times and breaks 8 times its rated current (IEC 60947-3, from memory)"
    )
    breaker_A = welder.breaker.rating_A if welder.breaker else 0.0
    least_A = max(load.working_rms_A.high, making_A, breaker_A)
    rated_A = step_up(least_A, ISOLATOR_STEPS)
    steps = (
        CalculationLine(
            "carries the weld and what the breaker lets pass",
            f"upper end of {load.working_rms_A.text}" + (f"; breaker {breaker_A:g} A" if breaker_A else ""),
            f"{shown(max(load.working_rms_A.high, breaker_A))} A",
            "IEC 60947-3",
        ),
        making,
        CalculationLine("rated current, AC-23A", "the greatest, the next step up", f"at least {rated_A:g} A", PRACTICE),
    )
    fit = (
        f"Switch-disconnector to IEC 60947-3, two poles, {rated_A:g} A in category AC-23A at {welder.mains.voltage_V:g} V, "
        "handle that can be locked off; in North America a disconnect switch with a horsepower rating to match"
    )
    notes = (
        "It may be opened during a weld. A plain disconnector (AC-20) must not be opened under load.",
        "The control isolator next to it is of the same type; 16 A is enough.",
    )
    return Chosen("isolator", fit, steps, notes=notes)


def stop_button() -> Chosen:
    """An emergency stop with direct opening contacts."""
    steps = (
        CalculationLine(
            "contacts",
            "one that breaks 24 V to gate stage and coil, one that the board reads",
            "two, normally closed, both opened directly by the button",
            "direct opening action: IEC 60947-5-1 Annex K, from memory (an arrow in a circle on the contact)",
        ),
        CalculationLine(
            "switches",
            "the coil's current at 24 V DC, an inductive load",
            "DC-13, 24 V, 1 A or more",
            "IEC 60947-5-1, from memory",
        ),
    )
    fit = "Red mushroom button on yellow, latching (ISO 13850), two normally closed contacts with direct opening action"
    notes = ("A contact that only a spring opens may stay welded shut: it does not count as an emergency stop.",)
    return Chosen("emergency stop", fit, steps, notes=notes)


def residual_device(welder: Welder) -> Chosen:
    """The residual-current device, and the conditions that require one."""
    p = welder.protection
    breaker_A = welder.breaker.rating_A if welder.breaker else None
    reasons = []
    if not p.secondary_earthed:
        reasons.append("the secondary is not earthed, so nothing else ends a fault from primary to secondary")
    if breaker_A is not None and breaker_A <= SOCKET_A:
        reasons.append(f"a plug in a socket outlet of {SOCKET_A:g} A or less (30 mA, IEC 60364-4-41, from memory)")
    reasons.append(
        "a supply with its own earth electrode (TT), whose loop impedance is too high to open a breaker in time"
    )
    poles = "two poles, both live" if second_is_live(welder.mains) else "phase and neutral"
    steps = (
        CalculationLine(
            "type",
            "phase-controlled current, half-wave where one thyristor fails: the residual current has a d.c. part",
            "A, never AC",
            "type A trips on pulsating d.c.: IEC 60755, from memory",
        ),
        CalculationLine("required if", "; ".join(reasons), "fit it there", "your local code decides"),
    )
    fit = f"Residual-current device type A, {poles}, rated for the breaker's current; 30 mA where people are protected by it"
    given = (
        "The welder file names one: test it each month." if p.residual_current_device else "The welder file names none."
    )
    notes = (
        given,
        "The filters of a 24 V supply leak a few milliamperes: use one device for each machine, or it trips without a fault.",
    )
    return Chosen("residual-current device", fit, steps, notes=notes)
