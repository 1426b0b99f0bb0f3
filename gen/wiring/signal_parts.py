"""Parts of firing, sensing and isolation: gate drive, detector, conduction sense, insulation."""

from __future__ import annotations

import math

from gen.boards import Board
from gen.current import scale_of
from gen.machine.welder import FREQUENCY_BAND, Welder
from gen.ranges import Figure, shown
from gen.units import degrees_to_us
from gen.wiring.arithmetic import (
    LED_V,
    LOGIC_OF_SUPPLY,
    MAINS_OF_NOMINAL,
    edge_offset_us,
    preferred_at_least,
    resistor_W,
)
from gen.wiring.choice import PRACTICE, CalculationLine, Chosen, DetectorValues
from gen.wiring.power_parts import OVERVOLTAGE
from gen.words import GATE_END_DEG

# Couplers: typical, common practice, no source.
TRANSFER = Figure(0.5, 2.0, "A/A", f"current transfer ratio 50 to 200 %, new to aged, {PRACTICE}")
COUPLER_OFF_US = Figure(5, 60, "us", f"turn-off of a phototransistor, {PRACTICE}")
HALF = 0.5  # share of a resistor's rating that is used
LED_PEAK_A = 0.01
EACH_RATED_W = 2.0
PULL_OHM = 6800.0  # below the 8.2 kilo-ohm that some chips demand
INTERNAL_PULL_OHM = (50_000.0, 80_000.0)  # pull resistors of the RP2 chips, from memory
SENSE_PULL_OHM = 10_000.0
SENSE_FARAD = 1e-9  # against noise only: one that bridges the dark of a crossing would swallow the end of a current
PHOTOTRIAC_PULSE_A = 1.0  # greatest current of one pulse, from memory
DRIVE_LIMIT_MS = 12.0
LONGEST_GATE_MARGIN = 1.05

# Clearance of reinforced insulation, overvoltage category III (IEC 60664-1, from memory): up to V to earth, mm.
REINFORCED = ((150, 3.0), (300, 5.5), (600, 8.0))


def longest_gate_ms(welder: Welder) -> float:
    """The longest gate: from the firing of full current, the earliest of all, to the gate's end, at the lowest frequency."""
    f = welder.mains.frequency_Hz
    return degrees_to_us(GATE_END_DEG - scale_of(welder).full_deg, f) / FREQUENCY_BAND[0] / 1000


def gates_ohm(mains_V: float) -> float:
    """The resistor between the gates, which limits the current at the mains' peak to a phototriac coupler's pulse rating."""
    return preferred_at_least(mains_V * math.sqrt(2) * OVERVOLTAGE / PHOTOTRIAC_PULSE_A)


# Lines for a phototriac coupler only.
_COUPLER_ONLY = ("resistor between the gates", "off-state voltage of the coupler")


def gate_drive(welder: Welder, board: Board) -> tuple[Figure, Chosen]:
    """The range of the one-shot's length, ms, and the part."""
    volts = welder.mains.voltage_V
    longest = longest_gate_ms(welder)
    band = Figure(longest * LONGEST_GATE_MARGIN, DRIVE_LIMIT_MS, "ms", "longer than any gate, at most 12 ms")
    peak_V = volts * math.sqrt(2) * OVERVOLTAGE
    ohm = gates_ohm(volts)
    middle = (band.low + band.high) / 2
    spread = 100 * (band.high - band.low) / (band.high + band.low)
    in_series = " (two in series)" if volts > 260 else ""
    steps: tuple[CalculationLine, ...] = (
        CalculationLine(
            "longest gate",
            f"earliest firing to {GATE_END_DEG:g} degrees, mains at {FREQUENCY_BAND[0]:g} of its frequency",
            f"{longest:.2f} ms",
            "this firmware; EN 50160 for the band",
        ),
        CalculationLine(
            "one-shot",
            "starts at the pin's rise, is reset by its fall, and ends the gate current however long the pin stays high",
            f"{middle:.1f} ms within {spread:.0f} %",
            "longer than any gate, below 12 ms: one half-cycle and no second",
        ),
        CalculationLine(
            "resistor between the gates",
            f"{peak_V:.0f} V / {PHOTOTRIAC_PULSE_A:g} A, the next preferred value",
            f"{ohm:g} ohm, 1 W",
            "one pulse of a phototriac coupler: data sheets, from memory",
        ),
        CalculationLine(
            "off-state voltage of the coupler",
            f"{peak_V:.0f} V with a margin for transients",
            "600 V" if volts <= 130 else "800 V" + in_series,
            PRACTICE,
        ),
        CalculationLine(
            "gate current",
            "at least 3 times the data sheet's gate trigger current at the coldest",
            "from your thyristor's data sheet",
            PRACTICE,
        ),
    )
    kind = welder.protection.gate_drive
    if kind == "pulse_transformer":
        steps = tuple(step for step in steps if step.what not in _COUPLER_ONLY)
    notes = [
        f"External pull-down at the gate pin, {PULL_OHM / 1000:g} kohm. From power-up until the program sets it the pin is: "
        f"{board.pins['gate'].at_boot}."
    ]
    if kind == "direct":
        notes.append('Yours is "direct": nothing ends the gate current but the pin. Fit a one-shot.')
    elif kind is None:
        notes.append("The welder file names no protection.gate_drive: the one-shot is to be fitted.")
    shot = f"a one-shot of {middle:.1f} ms"
    if welder.switch.kind == "random_phase_relay":
        fit = f"{shot[0].upper()}{shot[1:]} that feeds the relay's own input"
    elif kind == "pulse_transformer":
        fit = f"Pulse transformer 1:1:1 with a carrier, behind {shot}; 100 ohm from each gate to its cathode"
    else:
        fit = (
            f"Phototriac coupler for any phase (no zero-crossing circuit), {'600' if volts <= 130 else '800'} V{in_series}, "
            f"behind {shot}; 330 ohm from each gate to its cathode"
        )
    return band, Chosen("gate drive", fit, steps, notes=tuple(notes))


def detector(welder: Welder, board: Board) -> tuple[DetectorValues, Chosen]:
    """The resistors, their heat, and the range of the edges' offsets."""
    volts, f, square = welder.mains.voltage_V, welder.mains.frequency_Hz, welder.detector.kind == "square"
    share_V = volts * OVERVOLTAGE / 2
    peak_V = volts * math.sqrt(2) * OVERVOLTAGE
    each = preferred_at_least(max(share_V**2 / (EACH_RATED_W * HALF), peak_V / LED_PEAK_A / 2))
    low_V, high_V = (volts * math.sqrt(2) * share for share in MAINS_OF_NOMINAL)
    peaks = Figure(low_V, high_V, "V", "EN 50160, +10 and -15 %")
    pull = 1 / (1 / PULL_OHM + 1 / INTERNAL_PULL_OHM[0]), 1 / (1 / PULL_OHM + 1 / INTERNAL_PULL_OHM[1])
    low_A, high_A = (LOGIC_OF_SUPPLY[n] * board.logic_V / pull[1 - n] for n in (0, 1))
    # The diode current at which the pin changes: least with a high transfer ratio and a low threshold.
    led = low_A / TRANSFER.high, high_A / TRANSFER.low
    threshold = Figure(led[0] * 2 * each + LED_V[0], led[1] * 2 * each + LED_V[1], "V", "diode current times resistors")
    late = Figure(
        edge_offset_us(threshold.low, peaks.high, f), edge_offset_us(threshold.high, peaks.low, f), "us", "asin"
    )
    early = Figure(-late.high + COUPLER_OFF_US.low, -late.low + COUPLER_OFF_US.high, "us", "asin, less the turn-off")
    rise, fall = (late, early) if square else (early, early)
    values = DetectorValues(each, EACH_RATED_W, PULL_OHM, rise, fall)
    heat_W = resistor_W(share_V, each)
    steps = (
        CalculationLine(
            "each of two resistors",
            f"({share_V:.0f} V)2 / {EACH_RATED_W * HALF:g} W, and {peak_V:.0f} V / {1000 * LED_PEAK_A:g} mA for both; "
            "the next preferred value",
            f"{each / 1000:g} kohm, {EACH_RATED_W:g} W, 350 V or more",
            f"half the rating: {PRACTICE}; IEC 60063 for the values",
        ),
        CalculationLine(
            "heat in each", f"({share_V:.0f} V)2 / {each / 1000:g} kohm", f"{shown(heat_W)} W", "V2 / R, textbook"
        ),
        CalculationLine(
            "mains voltage at which the edge comes",
            f"{1000 * led[0]:.2g} to {1000 * led[1]:.2g} mA x {2 * each / 1000:g} kohm, and the diode",
            threshold.text,
            f"pin threshold over {PULL_OHM / 1000:g} kohm and transfer ratio: {TRANSFER.source}",
        ),
        CalculationLine(
            "edge offset, turning on",
            f"asin(Vth / Vpk) / omega, {f} Hz, mains +10 to -15 %",
            f"{late.low:.0f} to {late.high:.0f} us after the crossing",
            "textbook; EN 50160",
        ),
        CalculationLine(
            "edge offset, turning off",
            f"the same before the crossing, less {COUPLER_OFF_US.text} to turn off",
            f"{early.low:.0f} to {early.high:.0f} us",
            COUPLER_OFF_US.source,
        ),
    )
    given = welder.detector.model_fields_set
    outside = [
        f"Yours gives detector.{key} = {getattr(welder.detector, key)} us, outside the band of {band.low:.0f} to "
        f"{band.high:.0f} us: another detector, or not measured yet."
        for key, band in (("offset_rise_us", rise), ("offset_fall_us", fall))
        if key in given and not band.low <= getattr(welder.detector, key) <= band.high
    ]
    shape = (
        "Phototransistor coupler with a diode across its light-emitting diode; transistor from supply to pin, so that the "
        "pin is high in the positive half-cycle"
        if square
        else "Coupler with two light-emitting diodes back to back; transistor from pin to ground, so that the pin is high "
        "at each crossing"
    )
    way = "down" if square else "up"
    fit = f"{shape}; two {each / 1000:g} kohm {EACH_RATED_W:g} W in series; {PULL_OHM / 1000:g} kohm {way} at the pin"
    notes: tuple[str, ...] = (
        "Connect it across the two conductors that feed the transformer, before the contactor: no other phase, no other outlet.",
        "The band of the offsets (--all) is that of this design. Measure those of your detector, and enter them.",
        *outside,
    )
    if square and board.family == "rp2":
        notes += ("This board pulls the input down: a detector that only pulls to ground needs a pull-up of its own.",)
    return values, Chosen("detector", fit, steps, notes=notes)


def conduction_sense(welder: Welder, board: Board, values: DetectorValues) -> Chosen:
    """The coupler across the switch, and its capacitor at the pin."""
    dark_us = 2 * values.offset_rise_us.high if welder.detector.kind == "square" else -2 * values.offset_rise_us.low
    pulls = [1 / (1 / SENSE_PULL_OHM + 1 / own) for own in INTERNAL_PULL_OHM]
    dark = CalculationLine(
        "dark around each crossing",
        "twice the detector's worst offset, since the resistors are the same",
        f"up to {dark_us / 1000:.2f} ms",
        "as the detector",
    )
    led_A = LOGIC_OF_SUPPLY[1] * board.logic_V / min(pulls) / TRANSFER.low
    charge_us = SENSE_FARAD * board.logic_V / (led_A * TRANSFER.low) * 1e6
    at_pin = CalculationLine(
        "delay at the pin",
        f"{SENSE_FARAD * 1e9:g} nF from {board.logic_V:g} V by {1000 * led_A * TRANSFER.low:.2g} mA",
        f"up to {charge_us:.0f} us",
        f"C V / I, textbook; the board times the edge, with the coupler's own {COUPLER_OFF_US.text}",
    )
    fit = (
        f"Coupler with two light-emitting diodes back to back across the switch, behind two {values.each_ohm / 1000:g} kohm "
        f"{values.each_rated_W:g} W; {SENSE_PULL_OHM / 1000:g} kohm up and {SENSE_FARAD * 1e9:g} nF down at the pin"
    )
    on = welder.board.conduction_sense
    notes = (
        "Low: voltage across the switch, so it blocks. It reports a shorted switch before you touch the electrodes, and a gate "
        "lead that has come off."
        " The board also times each current with it, and derives the load angle.",
        "This machine uses it." if on else "Optional, and not in the welder file: set board.conduction_sense = true.",
    )
    return Chosen("conduction sense", fit, (dark, at_pin), notes=notes)


def insulation(welder: Welder) -> Chosen:
    """Insulation between the sides, protective class, and the opening temperature of the thermal contact."""
    volts = welder.mains.voltage_V
    clearance = next((mm for most, mm in REINFORCED if volts <= most), REINFORCED[-1][1])
    limits = {"A": 105, "E": 120, "B": 130, "F": 155, "H": 180}
    winding = welder.transformer.insulation_class
    contact = limits[winding] - 15
    steps = (
        CalculationLine(
            "mains to low voltage",
            f"reinforced, {volts:g} V, overvoltage category III, pollution degree 2",
            f"{clearance:g} mm of air or more; 8 mm over surfaces",
            f"IEC 60664-1, from memory; the 8 mm: {PRACTICE}",
        ),
        CalculationLine(
            "couplers and the 24 V supply",
            "reinforced or double insulation",
            "3.75 kV RMS for a minute or more",
            PRACTICE,
        ),
        CalculationLine(
            "thermal contact on the winding",
            f"class {winding}: {limits[winding]} C less 15 K for the hottest spot",
            f"opens at {contact} C or below, normally closed",
            f"IEC 60085, from memory; 15 K: {PRACTICE}",
        ),
    )
    fit = (
        "Protective class I: machine, enclosure, heat sink and core on protective earth; couplers, gate isolator and 24 V "
        "supply with reinforced insulation; wires inside for 600 V and 90 C"
    )
    given = "insulation_class" in welder.transformer.model_fields_set
    notes = () if given else ("The welder file names no transformer.insulation_class: A is taken, the most cautious.",)
    return Chosen("insulation", fit, steps, notes=notes)
