"""The charge pump that holds the contactor. Only edges at the pin move charge, so only a pulse train holds the coil.

Each edge pulls KX or KW down, and its capacitor (C41, C42) draws KS far below 0 V. R44, R45 and R81 then charge KS back up. No
static level at the pin, and no shorted capacitor or diode, can take KS below 0 V.

Two switches in series feed the coil, and each reads KS in its own way. Q43 is held by a comparator while KN, between R44 and
R45, is below the threshold KT; both are shares of 12Z. Q44 is held by Q45, which conducts only while KS is below 0 V. So one
part that is shorted or open leaves the other switch to release the coil.

The coil is switched at its high side, so that an earth fault in its lead cannot hold it. Q44 is next to the coil: its gate
follows the coil's spike, through 4.2 Mohm, and Q43 never sees it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from itertools import product

from gen.ranges import Figure, spanning
from gen.wiring.interface.components import BoardStage, Component, ceramic, comparator, diode, film, mosfet, resistor
from gen.wiring.signal_parts import PULL_OHM

ZENER_V = 12.0
ZENER = 0.05
PUMP_FARAD, STORE_FARAD = 220e-9, 10e-9
LEAK_OHM = 300_000.0  # R44 and R45, each
DIVIDER_OHM = (12_000.0, 10_000.0)
LIFT_OHM = 4700.0
EMITTER_OHM, GATE_OHM, COLLECTOR_OHM = 270_000.0, 1_500_000.0, 2_700_000.0  # R81, R82 and R83
RESISTOR, PUMP, STORE = 0.01, 0.02, 0.05
JUNCTION_V = (
    0.35,
    0.75,
)  # forward voltage of a signal diode, from microamperes, hot, to milliamperes, cold; from memory
BASE_V = (0.4, 0.7)  # base voltage of a transistor at microamperes, hot to cold; from memory
SWITCHING_V = (2.0, 5.0)  # gate to source of Q44: at its threshold, to a coil's current; data sheets, from memory
BIAS_A = 0.4e-6
LONGEST_GAP_MS = 40.0  # longest gap between edges of a healthy board; the pump has to bridge it
TRAIN_GONE_MS = 60.0  # latest release of the coil after the last edge


@dataclass(frozen=True)
class Releases:
    """Time from the last edge until each switch is off, ms, and until the coil is off: the earlier of the two."""

    by_comparator: Figure
    by_transistor: Figure
    coil: Figure


@cache
def releases() -> Releases:
    """The release of each switch and of the coil, every tolerance at its worst.

    The capacitor of the last edge stays connected to KS through its diode, so both capacitors hold the charge. R44 and R45
    from 12Z, and R81 from the base of Q45, charge KS from -V0 towards Vf: t = RC ln((V0 + Vf) / (Vf - Vs)), textbook. V0 is
    least after one stroke onto a store at the point of release, and greatest with a full store.
    """
    found = [_released(*signs) for signs in product((-1, 1), repeat=9)]
    both = [each for some in found for each in some]

    def figure(times: list[float]) -> Figure:
        return spanning(times, "ms", "R C ln((V0 + Vf) / (Vf - Vs)), textbook; every tolerance at its worst")

    return Releases(
        figure([comparator for comparator, _ in both]),
        figure([transistor for _, transistor in both]),
        figure([min(times) for times in both]),
    )


def held_ms() -> Figure:
    """Time from the last edge until the coil is off, every tolerance at its worst."""
    return releases().coil


def _released(*signs: int) -> list[tuple[float, float]]:
    """Times of both switches with each tolerance at one end, for the least and for the greatest charge."""
    r, c, pump, low, zener, junction, bias, base, gate = signs
    ends = [(sign + 1) // 2 for sign in (junction, base, gate)]
    V = ZENER_V * (1 + ZENER * zener)
    leak, emitter = LEAK_OHM * (1 + RESISTOR * r), EMITTER_OHM * (1 + RESISTOR * r)
    store, stroke = STORE_FARAD * (1 + STORE * c), PUMP_FARAD * (1 + PUMP * pump)
    upper, lower = DIVIDER_OHM
    threshold = V / (1 + upper * (1 + RESISTOR * low) / (lower * (1 - RESISTOR * low)))
    # The bias current flows out of the comparator's input, into KN.
    lifted = BIAS_A * (bias + 1) / 2 * leak / 2
    at_comparator = 2 * (threshold - lifted) - V
    base_V = BASE_V[ends[1]]
    at_transistor = -base_V - SWITCHING_V[ends[2]] * EMITTER_OHM / GATE_OHM * (1 + 2 * RESISTOR * gate)
    full = V - 2 * JUNCTION_V[ends[0]]
    least = (stroke * full - store * at_comparator) / (stroke + store)
    conductance = 1 / (2 * leak) + 1 / emitter
    final = ((V + BIAS_A * (bias + 1) / 2 * leak) / (2 * leak) - base_V / emitter) / conductance
    constant_ms = 1000 * (store + stroke) / conductance

    def until(at: float, begin: float) -> float:
        return constant_ms * math.log((final + begin) / (final - at))

    return [(until(at_comparator, begin), until(at_transistor, begin)) for begin in (least, full)]


def contactor_stage() -> BoardStage:
    """From the board's pulse train to the contactor's coil."""
    upper, lower = DIVIDER_OHM
    return BoardStage(
        "contactor",
        "Charge pump that holds the contactor",
        f"Holds the coil while edges arrive, and releases it {held_ms().text} after the last, at either level of the pin.",
        (
            resistor("R9", PULL_OHM, ("PULSE", "0V"), "holds the pin low until the program drives it"),
            resistor("R41", 1000.0, ("PULSE", "KQ"), "keeps 12 V off the pin when a MOSFET breaks down"),
            resistor("R40", 1800.0, ("24E", "12Z"), "feeds 12Z", "0.5 W"),
            Component(
                "Z41",
                "Zener diode",
                (("A", "0V"), ("K", "12Z")),
                "12Z, the reference of the stage",
                ZENER_V,
                ZENER,
                "1.3 W",
            ),
            ceramic("C44", 1e-6, ("12Z", "0V"), "steadies 12Z while the pump draws"),
            mosfet("Q41", "N-MOSFET", ("KQ", "KX", "0V"), "takes KX down at the pin's rise"),
            resistor("R42", LIFT_OHM, ("12Z", "KX"), "lifts KX, and fills C41"),
            film("C41", PUMP_FARAD, ("KX", "KP"), "moves charge at the pin's rise, and holds it", PUMP),
            diode("D41", "KP", "0V", "lets C41 fill"),
            diode("D42", "KS", "KP", "draws KS down"),
            mosfet("Q42", "N-MOSFET", ("KX", "KW", "0V"), "takes KW down at the pin's fall"),
            resistor("R43", LIFT_OHM, ("12Z", "KW"), "lifts KW, and fills C42"),
            film("C42", PUMP_FARAD, ("KW", "KR"), "moves charge at the pin's fall, and holds it", PUMP),
            diode("D43", "KR", "0V", "lets C42 fill"),
            diode("D44", "KS", "KR", "draws KS down"),
            Component(
                "C43",
                "ceramic capacitor",
                (("1", "KS"), ("2", "0V")),
                "bridges from one capacitor to the other",
                STORE_FARAD,
                STORE,
                "50 V, C0G",
            ),
            resistor("R44", LEAK_OHM, ("KS", "KN"), "sets how long the charge lasts"),
            resistor("R45", LEAK_OHM, ("KN", "12Z"), "sets how long the charge lasts"),
            resistor("R46", upper, ("12Z", "KT"), "threshold"),
            resistor("R47", lower, ("KT", "0V"), "threshold"),
            comparator("U5", ("KC", "KT", "KN"), "low while KN is below the threshold"),
            resistor("R48", 10_000.0, ("KC", "KG"), "halves the voltage at Q43's gate"),
            resistor("R49", 10_000.0, ("24E", "KG"), "holds Q43 off"),
            mosfet("Q43", "P-MOSFET", ("KG", "KM", "24E"), "first switch of the coil"),
            resistor("R84", 100_000.0, ("KM", "0V"), "takes KM to 0 V, for a meter"),
            Component(
                "Q45",
                "NPN transistor",
                (("E", "KE"), ("B", "0V"), ("C", "KD")),
                "conducts while KS is below 0 V, and at no other time",
            ),
            resistor("R81", EMITTER_OHM, ("KE", "KS"), "current of Q45"),
            resistor("R82", GATE_OHM, ("KM", "KH"), "holds Q44 off"),
            resistor("R83", COLLECTOR_OHM, ("KH", "KD"), "limits the voltage at Q44's gate"),
            mosfet("Q44", "P-MOSFET", ("KH", "COIL", "KM"), "second switch of the coil"),
            ceramic("C45", 100e-9, ("24E", "0V"), "at U5's supply"),
        ),
    )
