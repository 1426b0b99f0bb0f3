"""Parts in the welding current's circuit: switch, heat sink, fuse, contactor, varistor, conductors."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gen.machine.breaker import curve_of, most_let_through
from gen.machine.welder import Welder
from gen.ranges import Figure, shown
from gen.wiring.arithmetic import (
    half_sine_i2t,
    heat_sink_K_per_W,
    pair_loss_W,
    step_at_least,
)
from gen.wiring.choice import PRACTICE, CalculationLine, Chosen, Load, SinkValues, SwitchRatings, Yours

# Margins: common practice, no source.
RMS_MARGIN = 1.5
SURGE_MARGIN = 1.5
OFF_STATE_MARGIN = 2.5
FUSE_MARGIN = 1.25
AGEING = 0.6  # greatest inrush over the fuse's pre-arcing I2t that does not age the fuse
CLEARING = 5.0  # total over pre-arcing I2t of a semiconductor fuse at its rated voltage, from memory
FUSE_BELOW_SWITCH = 0.75  # greatest total I2t of the fuse over that of the switch
CASE_C = 85.0
WARM_BOX_C = 40.0  # inside an enclosure in a warm workshop
RIPPLE_K = 10.0  # greatest rise of the sink during one weld
ALUMINIUM_J_PER_KG_K = 900.0
OVERVOLTAGE = 1.1  # EN 50160: 230 V and 10 %
CLAMPING = 2.7  # a disc varistor's clamping voltage over its continuous rating, from memory
MAKING = 10.0  # making capacity over rated current, AC-3 (IEC 60947-4-1) and AC-23A (IEC 60947-3), from memory

# Ratings as commonly sold (common practice, no source), and the preferred currents of fuses (from memory).
RMS_STEPS = (16, 25, 40, 55, 70, 90, 110, 130, 160, 200, 250, 330, 420, 500, 700, 1000, 1500, 2000, 3000)
SURGE_STEPS = (200, 300, 400, 500, 700, 1000, 1500, 2000, 3000, 5000, 8000, 12000, 20000, 40000)
OFF_STATE_STEPS = (400, 600, 800, 1200, 1600, 2200)
FUSE_STEPS = (10, 12, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1250, 2500)
VARISTOR_STEPS = (115, 130, 140, 150, 175, 230, 250, 275, 300, 320, 385, 420, 460, 510, 550)
CONTACTOR_STEPS = (9, 12, 18, 25, 32, 40, 50, 65, 80, 95, 115, 150, 185, 250, 400, 630, 1000, 2500)


@dataclass(frozen=True)
class WireSize:
    """A copper conductor in mm2 and in AWG, each sufficient alone, and the ampacity of the lesser."""

    mm2: float
    awg: str
    most_A: float

    @property
    def gauge(self) -> str:
        return f"{self.mm2:g} mm2 / {self.awg} AWG"


# In each row the gauge has no less copper than the section. The current is the lesser of two, both from memory:
# IEC 60364-5-52 (copper, PVC, two loaded conductors in conduit on a wall, method B1, 30 degC), and NEC table 310.16
# (copper, 75 degC) with the limits of 240.4(D) for small conductors.
CONDUCTORS = (
    WireSize(1.5, "14", 15),
    WireSize(2.5, "12", 20),
    WireSize(4, "10", 30),
    WireSize(6, "8", 41),
    WireSize(10, "6", 57),
    WireSize(16, "4", 76),
    WireSize(25, "3", 100),
    WireSize(35, "1", 125),
    WireSize(50, "1/0", 150),
    WireSize(70, "3/0", 192),
    WireSize(95, "4/0", 230),
)

_KINDS: dict[str, tuple[str, ...]] = {
    "triac": ("Yours is a triac: whether it will do stands under the next part.",),
    "random_phase_relay": ("Yours is a relay for any phase: whether it will do stands under the next part.",),
    "zero_cross_relay": ("Yours waits for the zero crossing: it must not switch a transformer. Fit the pair.",),
}


def step_up(value: float, steps: tuple[int, ...]) -> float:
    """The next step up. Above the last step no part is sold, so the value itself is returned, to two digits."""
    found = step_at_least(value, steps)
    return found if found is not None else float(f"{value * 1.05:.2g}")


def varistor(welder: Welder) -> tuple[float, Chosen]:
    """The varistor's continuous rating, V, and the part."""
    volts = welder.mains.voltage_V
    rated_V = step_up(volts * OVERVOLTAGE, VARISTOR_STEPS)
    fit = (
        f"Metal-oxide disc, {rated_V:g} V AC continuous, 20 mm, across the conductors behind the fuse; with a thermal "
        "cut-out or in a flame-proof sleeve, since it ends short-circuited and hot"
    )
    steps = (
        CalculationLine(
            "continuous voltage",
            f"{volts:g} V x {OVERVOLTAGE:g}, the next step up",
            f"{rated_V:g} V",
            "EN 50160: 230 V and 10 %; 1.1 to 1.25 is common practice",
        ),
        CalculationLine(
            "clamps at", f"{rated_V:g} V x {CLAMPING:g}", f"{rated_V * CLAMPING:.0f} V", "typical of discs, from memory"
        ),
    )
    return rated_V, Chosen("varistor", fit, steps)


def switch(welder: Welder, load: Load, clamp_V: float) -> tuple[SwitchRatings, Chosen]:
    """The pair of thyristors: least ratings, and their comparison with the switch in the welder file."""
    volts, half_s = welder.mains.voltage_V, 0.5 / welder.mains.frequency_Hz
    rms_least = load.working_rms_A.high * RMS_MARGIN
    peak_V = volts * math.sqrt(2) * OVERVOLTAGE
    off_least = max(peak_V * OFF_STATE_MARGIN, clamp_V)
    surge_least = load.inrush_peak_A.high * SURGE_MARGIN
    i2t_least = load.half_cycle_i2t_A2s / AGEING * CLEARING / FUSE_BELOW_SWITCH
    surge_A = step_up(max(surge_least, math.sqrt(2 * i2t_least / half_s)), SURGE_STEPS)
    ratings = SwitchRatings(
        step_up(rms_least, RMS_STEPS), step_up(off_least, OFF_STATE_STEPS), surge_A, half_sine_i2t(surge_A, half_s)
    )
    ms = 1000 * half_s
    steps = (
        CalculationLine(
            "RMS current",
            f"{shown(load.working_rms_A.high)} A (upper end of {load.working_rms_A.text}) x {RMS_MARGIN:g}",
            f"at least {shown(rms_least)} A, the pair together",
            f"margin: {PRACTICE}",
        ),
        CalculationLine(
            "mean of each thyristor",
            f"{shown(rms_least)} A x sqrt 2 / pi",
            f"at least {shown(rms_least * math.sqrt(2) / math.pi)} A",
            "mean of a half sine, textbook",
        ),
        CalculationLine(
            "off-state voltage",
            f"{volts:g} V x sqrt 2 x {OVERVOLTAGE:g} x {OFF_STATE_MARGIN:g}, and above the varistor's {clamp_V:.0f} V",
            f"at least {off_least:.0f} V",
            f"EN 50160 for the 10 %; 2 to 2.5 times is {PRACTICE}",
        ),
        CalculationLine(
            "surge of one half-cycle",
            f"{shown(load.inrush_peak_A.high)} A (worst of {load.inrush_peak_A.text}) x {SURGE_MARGIN:g}",
            f"at least {shown(surge_least)} A peak, {ms:.1f} ms, hot",
            f"{load.inrush_peak_A.source}; margin: {PRACTICE}",
        ),
        CalculationLine(
            "I2t, so that a fuse can save it",
            f"{shown(load.half_cycle_i2t_A2s)} A2s / {AGEING:g} x {CLEARING:g} / {FUSE_BELOW_SWITCH:g}",
            f"at least {shown(i2t_least)} A2s",
            "I2t of fuse below that of switch: textbook (Mohan, Undeland, Robbins; IEC 60269-4), from memory",
        ),
        CalculationLine(
            "surge of the rating chosen",
            f"{surge_A:g} A squared x {ms:.1f} ms / 2",
            f"{shown(ratings.i2t_A2s)} A2s",
            "half sine, textbook",
        ),
    )
    given = welder.switch
    yours = tuple(
        Yours(what, value, limit, unit)
        for what, value, limit, unit in (
            ("rated current", given.rated_current_A, rms_least, "A"),
            ("surge current", given.surge_current_A, surge_least, "A"),
            ("I2t", given.i2t_A2s, i2t_least, "A2s"),
        )
        if value is not None
    )
    fit = (
        f"Two thyristors back to back in one insulated module, {ratings.rms_A:g} A RMS the pair, {ratings.off_state_V:g} V, "
        f"surge {surge_A:g} A, I2t {shown(ratings.i2t_A2s)} A2s, 500 V/us or more"
    )
    missing = [
        f"switch.{key}" for key in ("rated_current_A", "surge_current_A", "i2t_A2s") if getattr(given, key) is None
    ]
    notes = _KINDS.get(given.kind, ())
    notes += (f"Yours is not compared where the welder file leaves out {', '.join(missing)}.",) if missing else ()
    return ratings, Chosen("switch", fit, steps, yours, notes)


def heat_sink(welder: Welder, load: Load) -> tuple[SinkValues, Chosen]:
    """Thermal resistance and heat capacity for the pace, by the case's limit and, if known, the junction's."""
    s = welder.switch
    on_W = pair_loss_W(s.on_state_V, s.on_state_slope_mohm / 1000, load.working_rms_A.high)
    asked = load.weld_s * load.welds_per_minute / 60
    duty = min(1.0, asked, welder.allowed_duty)
    mean_W = on_W * duty
    ambient_C = max(WARM_BOX_C, welder.ambient.temperature_C)
    junction_rise_K = on_W / 2 * sum(term[0] for term in s.foster or ())
    case_C = min(CASE_C, s.junction_limit_C - junction_rise_K)
    sink_C = case_C - on_W * s.case_to_sink_K_per_W - RIPPLE_K
    resistance = heat_sink_K_per_W(sink_C, ambient_C, mean_W)
    J_per_K = on_W * load.weld_s / RIPPLE_K
    guarded = "" if duty == min(1.0, asked) else f", held to {100 * duty:.3g} % by the plate's duty"
    steps = (
        CalculationLine(
            "loss while welding",
            f"{s.on_state_V:g} V x 0.900 x {shown(load.working_rms_A.high)} A + {s.on_state_slope_mohm:g} mohm x I2",
            f"{shown(on_W)} W in the pair",
            "V0 times mean plus r times RMS squared, textbook",
        ),
        CalculationLine(
            "mean loss at the pace",
            f"{load.weld_s:g} s x {load.welds_per_minute:g} a minute / 60 s{guarded}",
            f"{shown(mean_W)} W",
            "energy over time",
        ),
        CalculationLine(
            "hottest the sink may be",
            f"case {shown(case_C)} C - {shown(on_W)} W x {s.case_to_sink_K_per_W:g} K/W - {RIPPLE_K:g} K for one weld",
            f"{shown(sink_C)} C",
            f"case limit and ripple: {PRACTICE}"
            + (
                "; junction from its thermal impedance" if s.foster else "; no thermal impedance given for the junction"
            ),
        ),
        CalculationLine(
            "heat sink to air",
            f"({shown(sink_C)} - {ambient_C:g}) C / {shown(mean_W)} W",
            f"at most {shown(resistance)} K/W" if resistance > 0 else "none is good enough",
            "Rth = (T - Ta) / P less what is in series (Mohan, Undeland, Robbins, from memory)",
        ),
        CalculationLine(
            "heat it must hold",
            f"{shown(on_W)} W x {load.weld_s:g} s / {RIPPLE_K:g} K",
            f"at least {shown(J_per_K)} J/K, {_mass(J_per_K)} of aluminium",
            "heat capacity, 900 J/(kg K) (handbook)",
        ),
    )
    if resistance <= 0:
        fit = "None will do at this pace: a larger switch (less case_to_sink_K_per_W and on-state voltage), or less current"
        return SinkValues(None, J_per_K, ambient_C), Chosen("heat sink", fit, steps)
    given = welder.heat_sink.model_fields_set
    yours = tuple(
        y
        for key, y in (
            ("K_per_W", Yours("to air", welder.heat_sink.K_per_W, resistance, "K/W", at_most=True)),
            ("J_per_K", Yours("heat held", welder.heat_sink.J_per_K, J_per_K, "J/K")),
        )
        if key in given
    )
    fit = (
        f"Aluminium, {shown(resistance)} K/W or less standing free, at least {_mass(J_per_K)}, fins upright, "
        "bonded to protective earth"
    )
    return SinkValues(resistance, J_per_K, ambient_C), Chosen("heat sink", fit, steps, yours)


def _mass(J_per_K: float) -> str:
    kg = J_per_K / ALUMINIUM_J_PER_KG_K
    return f"{shown(kg)} kg" if kg >= 0.1 else f"{shown(1000 * kg)} g"


def fuse(welder: Welder, load: Load, ratings: SwitchRatings) -> tuple[float, Chosen]:
    """The fuse's rated current, A, and the part; the last line says whether the circuit breaker could replace it."""
    volts = welder.mains.voltage_V
    rated_A = step_up(load.working_rms_A.high * FUSE_MARGIN, FUSE_STEPS)
    switch_i2t = welder.switch.i2t_A2s or ratings.i2t_A2s
    least, most = load.half_cycle_i2t_A2s / AGEING, switch_i2t * FUSE_BELOW_SWITCH
    steps = (
        CalculationLine(
            "rated current",
            f"{shown(load.working_rms_A.high)} A x {FUSE_MARGIN:g}, the next step up",
            f"{rated_A:g} A",
            f"margin: {PRACTICE}; steps: IEC 60269, from memory",
        ),
        CalculationLine(
            "pre-arcing I2t",
            f"{shown(load.half_cycle_i2t_A2s)} A2s of the worst half-cycle / {AGEING:g}",
            f"at least {shown(least)} A2s",
            f"so that no inrush ages it: {PRACTICE}",
        ),
        CalculationLine(
            "total I2t at the mains voltage",
            f"{shown(switch_i2t)} A2s of the switch{'' if welder.switch.i2t_A2s else ' chosen'} x {FUSE_BELOW_SWITCH:g}",
            f"at most {shown(most)} A2s",
            "I2t of fuse below that of switch: IEC 60269-4 and textbooks, from memory",
        ),
        _breaker_instead(welder, most),
    )
    if most < least * CLEARING:
        note = (
            f"No fuse fits: its pre-arcing I2t must exceed {shown(least)} A2s, its total I2t, about {CLEARING:g} times as much, "
            f"must stay below {shown(most)} A2s. The switch is too small for the inrush."
        )
        notes: tuple[str, ...] = (note,)
    else:
        notes = ("It protects the switch. Keep the circuit's own breaker, which protects the cable.",)
    fit = (
        f"Semiconductor fuse (class aR or gR), {rated_A:g} A, {_fuse_volts(volts):g} V AC, pre-arcing at least "
        f"{shown(least)} A2s"
    )
    return rated_A, Chosen("fuse", fit, steps, notes=notes)


def _breaker_instead(welder: Welder, most_A2s: float) -> CalculationLine:
    """Whether the circuit breaker protects the switch, by the standard's bands, since no maker's curve is known here.

    Faults considered: from shorted electrodes to a short circuit at the machine.
    """
    quantity, fitted, machine = "a circuit breaker in its place", welder.breaker, welder.machine
    ask = "a semiconductor fuse (IEC 60269-4), unless its maker's let-through curve says less"
    curve = curve_of(fitted)
    if fitted is None or curve is None:
        working = "no breaker of IEC 60898-1 or UL 489 in the welder file"
        return CalculationLine(quantity, working, f"does not count: {ask}", "its bands are not known here")
    prospective_A = machine.voltage_V / math.hypot(machine.source_resistance.low, machine.source_reactance.low)
    least_A = min(machine.in_use.short_primary.low, prospective_A)
    let_A2s, at_A, after_s = most_let_through(fitted, least_A, prospective_A)
    saves = let_A2s <= most_A2s
    opens = f"need not open before {after_s:g} s" if math.isfinite(after_s) else "need not open at all"
    faults = f"{curve.name}, faults of {shown(least_A)} to {shown(prospective_A)} A"
    through = f"lets {shown(let_A2s)} A2s through" if math.isfinite(let_A2s) else "lets any through"
    word = "it would do" if saves else f"it does not save the switch: {ask}"
    return CalculationLine(
        quantity,
        f"{faults}: at {shown(at_A)} A it {opens}",
        f"{through}: {word}",
        f"{curve.source}, at the slow end of its bands; supply {machine.source_resistance.source}",
    )


def _fuse_volts(volts: float) -> float:
    return 250 if volts <= 240 else 500 if volts <= 480 else 690


def rated_to_make(load: Load, source: str) -> tuple[float, CalculationLine]:
    """The rated current of a device that closes on the inrush, A, and its line. `source`: of its making capacity."""
    least_A = load.inrush_peak_A.high / math.sqrt(2) / MAKING
    working = f"{shown(load.inrush_peak_A.high)} A / sqrt 2 / {MAKING:g}"
    return least_A, CalculationLine("makes the inrush", working, f"{shown(least_A)} A", source)


def contactor(welder: Welder, load: Load) -> tuple[float, Chosen]:
    """The contactor's rated current (AC-3), A, and the part."""
    making_A, making = rated_to_make(load, "AC-3 makes 10 times its rated current (IEC 60947-4-1, from memory)")
    least = max(load.working_rms_A.high, making_A)
    rated_A = step_up(least, CONTACTOR_STEPS)
    steps = (
        CalculationLine(
            "carries and breaks the weld",
            f"upper end of {load.working_rms_A.text}",
            f"{shown(load.working_rms_A.high)} A",
            "AC-3 breaks 8 times its rated current (IEC 60947-4-1, from memory)",
        ),
        making,
        CalculationLine("rated current, AC-3", "the greater, the next step up", f"at least {rated_A:g} A", PRACTICE),
    )
    fit = (
        f"Two poles or more, both conductors, AC-3 {rated_A:g} A at {welder.mains.voltage_V:g} V (or category AC-6a, which "
        "is for transformers), with a mirror contact, coil 24 V DC of at most 10 W behind a clamp"
    )
    notes = (
        "It usually opens without current, but it must break the weld's current when the stop is pressed.",
        "Mirror contact (IEC 60947-4-1 Annex F, from memory): closed only while every main contact is open, so that it shows a "
        "welded one.",
        "Clamp at the coil: a suppressor that works both ways (TVS), or a diode in series with a Zener diode. With a plain diode "
        "the coil's current decays slowly, and the contacts take several times as long to open (makers' notes, from memory).",
    )
    return rated_A, Chosen("contactor", fit, steps, notes=notes)


def conductor_gauge(amperes: float) -> str:
    """The least conductor of the example table for a current, as text. Beyond the table: the local code."""
    return next((conductor.gauge for conductor in CONDUCTORS if conductor.most_A >= amperes), "local code")


def conductor_current_A(welder: Welder, load: Load) -> float:
    """Current of the power conductors, A: the breaker's rating, or the working current if greater or if none is named."""
    return max(welder.breaker.rating_A if welder.breaker else 0.0, load.working_rms_A.high)


def conductors(welder: Welder, load: Load) -> Chosen:
    """The conductors, with an example of the cross-section. The local code decides."""
    amperes = conductor_current_A(welder, load)
    steps = (
        CalculationLine(
            "current",
            "the breaker's rating, or the working current if more"
            if welder.breaker
            else "working current, no breaker given",
            f"{shown(amperes)} A",
            "a conductor is protected by its breaker: local code",
        ),
        CalculationLine(
            "cross-section, an example",
            "copper, in conduit; each enough by itself",
            conductor_gauge(amperes),
            "the lesser of IEC 60364-5-52 (PVC, method B1, 30 C) and NEC 310.16 (75 C) with 240.4(D); both from memory; "
            "grouping, heat and length enlarge it",
        ),
    )
    fit = "By your local code; in North America article 630 of the NEC has special rules for resistance welders"
    return Chosen("conductors", fit, steps, notes=("Have a licensed electrician size the supply.",))


def inrush_figure(planned_A: float, worst_A: float) -> Figure:
    """The inrush peak from the planned start to the worst start, with its source."""
    source = (
        "simulated on shorted electrodes: as planned, to a start at the voltage zero from the worst residue of the hardest "
        "core that `weldbeat sweep` draws, with the least supply and coil in air to hold it back"
    )
    return Figure(min(planned_A, worst_A), worst_A, "A", source)
