"""The stages that sense the mains: detector, conduction sense and current transformer."""

from __future__ import annotations

from gen.machine.supply import second_is_live
from gen.machine.welder import Welder
from gen.wiring.choice import DetectorValues
from gen.wiring.interface.components import BoardStage, Component, ceramic, diode, film, resistor
from gen.wiring.signal_parts import SENSE_FARAD, SENSE_PULL_OHM

AVERAGE = (100_000.0, 100e-9)  # filter of the averaged copy for a meter


def detector_stage(welder: Welder, detector: DetectorValues) -> BoardStage:
    """Two resistors, a coupler and a pull resistor, across the two conductors that feed the transformer."""
    square, neutral = welder.detector.kind == "square", "CLB" if second_is_live(welder.mains) else "CN"
    resistors = _mains_resistors(("R1", "R2"), ("CL", "DA", "DB"), detector, "current of U1's diode")
    if square:  # the coupler pulls the pin up, and the resistor pulls it down: a broken wire gives no edge
        coupler = Component(
            "U1", "coupler", (("A", "DB"), ("K", neutral), ("E", "DET"), ("C", "3V3")), "over the insulation to the pin"
        )
        pull = ("DET", "0V")
        reverse: tuple[Component, ...] = (diode("D1", neutral, "DB", "takes the other half-wave past U1's diode"),)
        job = "The pin is high in the positive half-cycle."
    else:
        coupler = Component(
            "U1",
            "two-way coupler",
            (("1", "DB"), ("2", neutral), ("E", "0V"), ("C", "DET")),
            "over the insulation to the pin",
        )
        pull, reverse = ("3V3", "DET"), ()
        job = "The pin is high at each zero crossing."
    return BoardStage(
        "detector",
        "Zero-crossing detector",
        job,
        (*resistors, *reverse, coupler, resistor("R7", detector.pull_ohm, pull, "moves the pin when U1 is dark")),
    )


def _mains_resistors(
    names: tuple[str, str], nets: tuple[str, str, str], detector: DetectorValues, purpose: str
) -> tuple[Component, ...]:
    """Two resistors in series, so that one limits the current if the other shorts."""
    rating = f"{detector.each_rated_W:g} W, 350 V or more, flame-proof"
    return tuple(
        resistor(name, detector.each_ohm, pair, purpose, rating) for name, pair in zip(names, (nets[:2], nets[1:]))
    )


def sense_stage(welder: Welder, detector: DetectorValues) -> BoardStage | None:
    """The stage across the switch: low while the switch blocks. The pin is unfiltered for timing; a copy is averaged."""
    if not welder.board.conduction_sense:
        return None
    ohm, farad = AVERAGE
    pins = ("1", "SB"), ("2", "L4"), ("E", "0V"), ("C", "COND")
    return BoardStage(
        "sense",
        "Conduction sense",
        "The pin is low while the switch blocks. The pin's copy is unfiltered but for noise, since the board times its edge; "
        "the averaged copy at TS is for a meter.",
        (
            *_mains_resistors(("R5", "R6"), ("L3", "SA", "SB"), detector, "current of U3's diodes"),
            Component("U3", "two-way coupler", pins, "over the insulation to the pin"),
            resistor("R15", SENSE_PULL_OHM, ("3V3", "COND"), "lifts the pin when U3 is dark"),
            Component(
                "C15",
                "ceramic capacitor",
                (("1", "COND"), ("2", "0V")),
                "against noise only: a larger one would hide the end of a current",
                SENSE_FARAD,
                0.1,
                "50 V, C0G",
            ),
            resistor("R16", ohm, ("COND", "TS"), "averages the copy for a meter"),
            ceramic("C16", farad, ("TS", "0V"), "averages the copy for a meter"),
        ),
    )


FILTER_OHM, FILTER_FARAD = 1000.0, 10e-9
BIAS_OHM = 10_000.0


def current_stage(welder: Welder) -> BoardStage | None:
    """Burden, bias to half the supply, clamp and filter before the converter. None without a current transformer."""
    if welder.current_sense is None:
        return None
    return BoardStage(
        "current",
        "Current transformer's input",
        "Lifts the transformer's alternating voltage to the middle of the supply. Its leads go to CT and MID.",
        (
            resistor(
                "R71",
                welder.current_sense.burden_ohm,
                ("CT", "MID"),
                "burden: never leave the current transformer open",
                "1 W",
            ),
            resistor("R72", BIAS_OHM, ("3V3", "MID"), "middle of the supply"),
            resistor("R73", BIAS_OHM, ("MID", "0V"), "middle of the supply"),
            Component(
                "C71",
                "electrolytic capacitor",
                (("+", "MID"), ("-", "0V")),
                "steadies the middle",
                10e-6,
                0.2,
                "16 V",
            ),
            resistor("R74", FILTER_OHM, ("CT", "AMPS"), "filter, and limits the clamp's current"),
            film("C72", FILTER_FARAD, ("AMPS", "0V"), "filter"),
            diode("D71", "AMPS", "3V3", "clamp", "Schottky diode"),
            diode("D72", "0V", "AMPS", "clamp", "Schottky diode"),
        ),
    )
