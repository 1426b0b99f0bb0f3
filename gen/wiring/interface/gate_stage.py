"""The one-shot on the gate, and the gate's isolation to the mains side.

The pin's rise pulls GX down. C31 couples the step to GY, which falls below the threshold GT, and the comparator turns the
PNP transistor on. GY charges back through R33. At the threshold the transistor turns off, whether the pin has fallen or
not. The pin's fall ends the current in two ways: the second MOSFET opens the return, and GX lifts GY at once. Since C31 is
in the path, no static level at the pin or in the first MOSFET can hold the stage on.

All voltages are ratios of one supply, so the pulse length depends on R33, C31 and the divider alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product

from gen.machine.welder import Welder
from gen.ranges import Figure, spanning
from gen.wiring.arithmetic import E24, nearest_preferred, preferred_at_least, preferred_at_most
from gen.wiring.interface.components import BoardStage, Component, ceramic, comparator, diode, film, mosfet, resistor
from gen.wiring.signal_parts import DRIVE_LIMIT_MS, LONGEST_GATE_MARGIN, PULL_OHM, gates_ohm, longest_gate_ms

SUPPLY_V = 24.0
SUPPLY_SPREAD = 0.1  # spread of the 24 V: the supply's regulation and the leads' drop; common practice, no source
TIMING_FARAD = 22e-9
TOLERANCES = (0.05, 0.02, 0.01)  # tolerances of film capacitors
DIVIDER_OHM = (5600.0, 10_000.0)
LIFT_OHM = 4700.0  # lifts GX, and empties C31 within a millisecond
BIAS_A = 0.4e-6  # greatest input current of a comparator, data sheets, from memory
LED_A = 0.012  # for a phototriac coupler that fires at 10 mA or less; common practice, no source
LED_V = 1.5  # greatest forward voltage of one infrared diode
SATURATED_V = 0.3  # saturation voltage of the transistor
RESISTOR = 0.01
BLOCKED_BY_ONE_V = 260.0  # mains that one phototriac coupler of 800 V blocks
BLOCKED_AT_600_V = 130.0


@dataclass(frozen=True)
class OneShot:
    """R33 and the tolerance grade of C31 for this machine. `length_ms`: the worst case of all tolerances."""

    ohm: float
    grade: float
    length_ms: Figure


def one_shot(welder: Welder) -> OneShot:
    """The values that keep the length inside its window over all tolerances, with the widest sufficient capacitor grade.

    Where no grade is sufficient, the length stays below 12 ms, which is the limit that protects.
    """
    window = longest_gate_ms(welder) * LONGEST_GATE_MARGIN, DRIVE_LIMIT_MS
    ratio = DIVIDER_OHM[1] / sum(DIVIDER_OHM)
    middle_ms = 2 / (1 / window[0] + 1 / window[1])  # the same relative distance from both ends
    ohm = nearest_preferred(middle_ms / 1000 / (TIMING_FARAD * math.log(1 / (1 - ratio))), E24)
    while length_ms(ohm, TOLERANCES[-1]).high > window[1]:
        ohm = preferred_at_most(ohm * 0.99, E24)
    for grade in TOLERANCES:
        length = length_ms(ohm, grade)
        if window[0] <= length.low and length.high <= window[1]:
            return OneShot(ohm, grade, length)
    return OneShot(ohm, TOLERANCES[-1], length_ms(ohm, TOLERANCES[-1]))


def length_ms(ohm: float, grade: float) -> Figure:
    """Time from the pin's rise until GY is at the threshold, every tolerance at its worst.

    RC charging from zero to a share of the supply: t = RC ln(1 / (1 - k)), textbook. The input's bias current raises the
    final voltage.
    """
    found = []
    lower, upper = DIVIDER_OHM[1], DIVIDER_OHM[0]
    for r, c, low, up, bias, supply in product((-1, 1), repeat=6):
        r33 = ohm * (1 + RESISTOR * r)
        volts = SUPPLY_V * (1 + SUPPLY_SPREAD * supply)
        ratio = 1 / (1 + upper * (1 + RESISTOR * up) / (lower * (1 + RESISTOR * low)))
        final = 1 + BIAS_A * (bias + 1) / 2 * r33 / volts
        found.append(1000 * r33 * TIMING_FARAD * (1 + grade * c) * math.log(final / (final - ratio)))
    return spanning(found, "ms", "R C ln(1 / (1 - k)), textbook; every tolerance at its worst")


def couplers(welder: Welder) -> int:
    """The number of phototriac couplers in series; 0 for a relay or a pulse transformer."""
    if welder.switch.kind == "random_phase_relay" or welder.protection.gate_drive == "pulse_transformer":
        return 0
    return 1 if welder.mains.voltage_V <= BLOCKED_BY_ONE_V else 2


def gate_stage(welder: Welder) -> BoardStage:
    """The stage from the board's pin to the coupler's diode or a relay's input."""
    shot = one_shot(welder)
    upper, lower = DIVIDER_OHM
    pulsed = welder.switch.kind != "random_phase_relay" and welder.protection.gate_drive == "pulse_transformer"
    carrier = ("HT", "HC", "HO") if pulsed else ("0V", "0V", "")
    return BoardStage(
        "gate",
        "One-shot on the gate",
        f"Starts at the pin's rise, is reset by its fall, and ends by itself after {shot.length_ms.text}, whatever the pin "
        "does.",
        (
            resistor("R8", PULL_OHM, ("GATE", "0V"), "holds the pin low until the program drives it"),
            resistor("R31", 1000.0, ("GATE", "GQ"), "keeps 24 V off the pin when a MOSFET breaks down"),
            mosfet("Q31", "N-MOSFET", ("GQ", "GX", "0V"), "pulls GX down while the pin is high"),
            resistor("R32", LIFT_OHM, ("24E", "GX"), "lifts GX, and with it the reset, as the pin falls"),
            film("C31", TIMING_FARAD, ("GX", "GY"), "passes the pin's rise and no level", shot.grade),
            resistor("R33", shot.ohm, ("24E", "GY"), "the length of the pulse"),
            diode("D31", "GY", "24E", "empties C31 at the pin's fall"),
            resistor("R34", upper, ("24E", "GT"), "threshold"),
            resistor("R35", lower, ("GT", "0V"), "threshold"),
            comparator("U4", ("GC", "GT", "GY"), "low while GY is below the threshold", carrier),
            resistor("R36", 10_000.0, ("24E", "GB"), "holds Q33 off"),
            resistor("R37", 4700.0 if pulsed else 10_000.0, ("GC", "GB"), "base current of Q33"),
            Component("Q33", "PNP transistor", (("E", "24E"), ("B", "GB"), ("C", "GO")), "feeds the gate current"),
            resistor("R38", *_led_resistor(welder)),
            mosfet("Q32", "N-MOSFET", ("GQ", "HQ" if pulsed else "FIRE0", "0V"), "opens the return as the pin falls"),
            ceramic("C32", 100e-9, ("24E", "0V"), "at U4's supply; too small to feed it on when the stop opens"),
        ),
    )


def _led_resistor(welder: Welder) -> tuple[float, tuple[str, str], str, str]:
    """Value, nets, purpose and rating of R38: the value for the lowest supply, the rating for the highest."""
    low_V, high_V = (SUPPLY_V * (1 + sign * SUPPLY_SPREAD) for sign in (-1, 1))
    number = couplers(welder)
    if number == 0:
        return 100.0, ("GO", "FIRE"), "limits the current of a shorted lead", "0.5 W"
    ohm = preferred_at_most((low_V - SATURATED_V - number * LED_V) / LED_A, E24)
    heat_W = (high_V - number * 1.0) ** 2 / ohm
    return (
        ohm,
        ("GO", "FIRE"),
        "current of the coupler's diode",
        f"{preferred_at_least(2 * heat_W, (1.0, 2.0, 5.0)):g} W",
    )


def isolation_stage(welder: Welder) -> BoardStage | None:
    """The stage from the diode's current over the insulation to the gates. None for a relay, which contains it."""
    if welder.switch.kind == "random_phase_relay":
        return None
    pulsed = welder.protection.gate_drive == "pulse_transformer"
    return BoardStage(
        "isolation",
        "Gate isolation",
        "Passes the gate current to the mains side.",
        _pulse_transformer(welder) if pulsed else _phototriacs(welder),
    )


def _phototriacs(welder: Welder) -> tuple[Component, ...]:
    """One or two phototriac couplers between the gates, or from the triac's far end to its gate."""
    volts, number, pair = welder.mains.voltage_V, couplers(welder), welder.switch.kind == "scr_pair"
    off_V = 600 if volts <= BLOCKED_AT_600_V else 800
    first, last = ("G1", "G2") if pair else ("L3", "G")
    chain = ["GS", *(["GM"] if number == 2 else []), last]
    leds = ["FIRE", *(["FIREM"] if number == 2 else []), "FIRE0"]
    parts = [
        resistor(
            "R61", gates_ohm(volts), (first, "GS"), "limits the first moment's gate current", "1 W, 350 V, pulse-proof"
        )
    ]
    for n in range(number):
        pins = ("A", leds[n]), ("K", leds[n + 1]), ("T1", chain[n]), ("T2", chain[n + 1])
        parts.append(
            Component(
                f"U2{n + 1}",
                "phototriac coupler",
                pins,
                "fires at any phase",
                rating=f"{off_V} V, any phase (no zero-crossing circuit), fires at 10 mA or less, 3.75 kV RMS or more",
            )
        )
        if number == 2:
            parts.append(resistor(f"R6{4 + n}", 1e6, (chain[n], chain[n + 1]), "shares the voltage", "0.5 W, 350 V"))
    return (*parts, *_gate_resistors(pair, 330.0), *(_bypasses() if pair else ()))


def _gate_resistors(pair: bool, ohm: float) -> tuple[Component, ...]:
    """Resistors from each gate to its cathode, so that leakage does not fire it."""
    gates = (("R62", "G1", "L4"), ("R63", "G2", "L3")) if pair else (("R62", "G", "L4"),)
    return tuple(resistor(name, ohm, (gate, end), "no leakage fires the gate") for name, gate, end in gates)


def _bypasses() -> tuple[Component, ...]:
    """Diodes past the gate of the thyristor that is not fired. That gate would not bear the reverse current."""
    what = "takes the gate current past the other gate"
    return (
        diode("D61", "L4", "G1", what, "rectifier diode"),
        diode("D62", "L3", "G2", what, "rectifier diode"),
    )


def _pulse_transformer(welder: Welder) -> tuple[Component, ...]:
    """A pulse transformer with a carrier from the second half of U4, so that a small core passes a gate of any length."""
    pair = welder.switch.kind == "scr_pair"
    second = ("HB", "L3") if pair else ("", "")
    ends = ("S1", "HA"), ("S2", "L4"), ("S3", second[0]), ("S4", second[1])
    windings = (("P1", "FIRE"), ("P2", "FIRE0"), *ends)
    rating = "1:1:1, 500 V us or more, 200 mA, 3.75 kV RMS or more"
    return (
        resistor("R51", 100_000.0, ("24E", "HT"), "thresholds of the carrier"),
        resistor("R52", 100_000.0, ("HT", "0V"), "thresholds of the carrier"),
        resistor("R53", 100_000.0, ("HO", "HT"), "thresholds of the carrier"),
        resistor("R54", 47_000.0, ("HO", "HC"), "length of the carrier's half-wave"),
        ceramic("C51", 1e-9, ("HC", "0V"), "length of the carrier's half-wave"),
        resistor("R55", 4700.0, ("24E", "HO"), "lifts the comparator's output"),
        resistor("R56", 10_000.0, ("HO", "HG"), "halves the voltage at Q34"),
        resistor("R57", 10_000.0, ("HG", "0V"), "halves the voltage at Q34"),
        mosfet("Q34", "N-MOSFET", ("HG", "FIRE0", "HQ"), "chops the current of the transformer"),
        diode("D51", "FIRE0", "HZ", "lets the transformer's field die away"),
        Component("Z51", "Zener diode", (("A", "FIRE"), ("K", "HZ")), "lets it die away fast", 18.0, 0.05, "1.3 W"),
        Component("T2", "pulse transformer", windings, "passes the gate current to the mains side", rating=rating),
        diode("D61", "HA", "G1" if pair else "G", "keeps the field's end off the gate", "rectifier diode"),
        *((diode("D62", "HB", "G2", "keeps the field's end off the gate", "rectifier diode"),) if pair else ()),
        *_gate_resistors(pair, 100.0),
    )
