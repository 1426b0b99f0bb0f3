"""The charge pump that holds the contactor. Only edges at the pin move charge, so only a pulse train holds the coil.

Each edge pulls KX or KW down, and its capacitor (C41, C42) draws KS far below 0 V. R44 and R45 then charge KS back up. When
KN, between them, passes the threshold KT, the comparator releases the coil. No static level at the pin, and no shorted
capacitor or diode, can take KS below 0 V. All voltages are shares of 12Z.

The coil is switched at its high side, so that an earth fault in its lead cannot hold it.
"""

from __future__ import annotations

import math
from itertools import product

from gen.ranges import Figure, spanning
from gen.wiring.interface.components import BoardStage, Component, ceramic, comparator, diode, film, mosfet, resistor
from gen.wiring.signal_parts import PULL_OHM

ZENER_V = 12.0
ZENER = 0.05
PUMP_FARAD, STORE_FARAD = 100e-9, 10e-9
LEAK_OHM = (470_000.0, 430_000.0)  # R44 and R45
DIVIDER_OHM = (12_000.0, 10_000.0)
LIFT_OHM = 10_000.0
RESISTOR, PUMP, STORE = 0.01, 0.02, 0.05
JUNCTION_V = (0.35, 0.75)  # of a signal diode at microamperes, hot, to milliamperes, cold; from memory
BIAS_A = 0.4e-6
LONGEST_GAP_MS = 40.0  # longest gap between edges of a healthy board; the pump has to bridge it
TRAIN_GONE_MS = 60.0  # latest release of the coil after the last edge


def held_ms() -> Figure:
    """Time from the last edge until the coil is off, every tolerance at its worst.

    The capacitor of the last edge stays connected to KS through its diode, so both capacitors hold the charge. KS rises from
    -V0 towards 12Z: t = RC ln((V + V0) / (V - Vs)), textbook. V0 is least after one stroke onto a store at the point of
    release, and greatest with a full store.
    """
    found = []
    upper, lower = DIVIDER_OHM
    for r, c, pump, high, low, zener, junction, bias in product((-1, 1), repeat=8):
        V = ZENER_V * (1 + ZENER * zener)
        r44, r45 = LEAK_OHM[0] * (1 + RESISTOR * r), LEAK_OHM[1] * (1 + RESISTOR * high)
        store, stroke = STORE_FARAD * (1 + STORE * c), PUMP_FARAD * (1 + PUMP * pump)
        threshold = V / (1 + upper * (1 + RESISTOR * low) / (lower * (1 - RESISTOR * low)))
        # The bias current flows out of the comparator's input, into KN.
        lifted = BIAS_A * (bias + 1) / 2 * r44 * r45 / (r44 + r45)
        at_release = ((threshold - lifted) * (r44 + r45) - V * r44) / r45
        full = V - 2 * JUNCTION_V[(junction + 1) // 2]
        least = (stroke * full - store * at_release) / (stroke + store)
        final = V + BIAS_A * (bias + 1) / 2 * r44
        found += [
            1000 * (r44 + r45) * (store + stroke) * math.log((final + v) / (final - at_release)) for v in (least, full)
        ]
    return spanning(
        found, "ms", "(R44 + R45) (C41 + C43) ln((V + V0) / (V - Vs)), textbook; every tolerance at its worst"
    )


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
            resistor("R40", 2200.0, ("24E", "12Z"), "feeds 12Z", "0.5 W"),
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
            resistor("R44", LEAK_OHM[0], ("KS", "KN"), "sets how long the charge lasts"),
            resistor("R45", LEAK_OHM[1], ("KN", "12Z"), "sets how long the charge lasts"),
            resistor("R46", upper, ("12Z", "KT"), "threshold"),
            resistor("R47", lower, ("KT", "0V"), "threshold"),
            comparator("U5", ("KC", "KT", "KN"), "low while KN is below the threshold"),
            resistor("R48", 10_000.0, ("KC", "KG"), "halves the voltage at Q43's gate"),
            resistor("R49", 10_000.0, ("24E", "KG"), "holds Q43 off"),
            mosfet("Q43", "P-MOSFET", ("KG", "COIL", "24E"), "feeds the coil"),
            ceramic("C45", 100e-9, ("24E", "0V"), "at U5's supply"),
        ),
    )
