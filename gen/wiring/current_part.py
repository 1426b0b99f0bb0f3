"""The current transformer on the primary: its ratio, its burden, and the flux in its core."""

from __future__ import annotations

import math

from gen.boards import Board
from gen.current_limits import BIAS_SHARE, COUNTS, MAINS_SHARE, SENSOR_SHARE, amperes_a_count
from gen.machine.welder import Welder
from gen.ranges import shown
from gen.wiring.arithmetic import E24, preferred_at_most, resistor_W
from gen.wiring.choice import PRACTICE, CalculationLine, Chosen, Yours

TURNS = (500, 1000, 2000, 2500, 3000, 4000, 5000)  # ratios of small through-hole current transformers
SECONDARY_A = 0.15  # greatest secondary peak of such a transformer into a few ohms; common practice, no source
USED = 0.9  # share of the converter's range that is used
WINDING_OHM = 40.0  # common practice, no source
OFFSET_FACTOR = 2.0  # factor on the flux, for a core with remanence at the current's start; common practice, no source


def greatest_peak_A(welder: Welder) -> float:
    """Greatest peak of the primary current: shorted electrodes, full conduction, the mains at its highest."""
    return welder.machine.in_use.short_primary.high * math.sqrt(2) * (1 + MAINS_SHARE) * (1 + SENSOR_SHARE)


def turns_for(peak_A: float) -> int:
    """The least usual turns ratio whose secondary bears this peak; the greatest ratio where none does."""
    return next((turns for turns in TURNS if peak_A / turns <= SECONDARY_A), TURNS[-1])


def turns_and_burden(welder: Welder, board: Board) -> tuple[int, float]:
    """(Turns ratio, burden in ohms) for the greatest peak of this machine's primary."""
    peak_A = greatest_peak_A(welder)
    turns = turns_for(peak_A)
    return turns, preferred_at_most(_room_V(board) / (peak_A / turns), E24)


def _room_V(board: Board) -> float:
    return board.logic_V * (0.5 - BIAS_SHARE) * USED


def current_transformer(welder: Welder, board: Board) -> Chosen:
    """The part, its calculation, and whether the file's transformer covers the greatest current."""
    peak_A, frequency_Hz = greatest_peak_A(welder), welder.mains.frequency_Hz
    turns, burden = turns_and_burden(welder, board)
    room_V = _room_V(board)
    secondary = f"{shown(1000 * peak_A / turns)} mA"
    rms_A = welder.machine.in_use.short_primary.high
    flux_Vs = OFFSET_FACTOR * (burden + WINDING_OHM) * peak_A / turns / (2 * math.pi * frequency_Hz)
    a_count = board.logic_V / COUNTS * turns / burden
    steps = (
        CalculationLine(
            "greatest peak of the primary",
            f"{shown(rms_A)} A shorted x sqrt 2, mains +{100 * MAINS_SHARE:.0f} %, sensor +{100 * SENSOR_SHARE:.0f} %",
            f"{shown(peak_A)} A",
            "upper end of the shorted current; EN 50160",
        ),
        CalculationLine(
            "ratio",
            f"the least of {', '.join(map(str, TURNS))} that leaves {1000 * SECONDARY_A:g} mA at most",
            f"1 to {turns}, {secondary}",
            PRACTICE,
        ),
        CalculationLine(
            "burden",
            f"{shown(room_V)} V of the converter's half range / {secondary}, the next preferred value below",
            f"{burden:g} ohm, 1 %, {shown(resistor_W(rms_A / turns * burden, burden))} W",
            "Ohm's law; IEC 60063 for the values",
        ),
        CalculationLine(
            "one count of the converter",
            f"{board.logic_V:g} V / {COUNTS} x {turns} / {burden:g} ohm",
            f"{shown(1000 * a_count)} mA",
            "this firmware",
        ),
        CalculationLine(
            "flux that the core must carry",
            f"{OFFSET_FACTOR:g} x ({burden:g} + {WINDING_OHM:g}) ohm x {secondary} / (2 pi {frequency_Hz} Hz)",
            f"{shown(1000 * flux_Vs)} mVs: {shown(flux_Vs * math.sqrt(2) * math.pi * frequency_Hz)} V RMS at its knee",
            f"volt-seconds of a sine; twice for an offset: {PRACTICE}",
        ),
    )
    fit = (
        f"Current transformer 1 to {turns} around one supply conductor, both its ends to the board's input: {burden:g} ohm "
        "burden, bias to half of the board's supply by two 10 kohm with 10 uF, 1 kohm and 10 nF before the converter"
    )
    notes = [
        "Never open its secondary while current flows: the burden stays on it, whatever else is disconnected.",
        "It goes around one conductor only, after the contactor. Either direction will do.",
    ]
    return Chosen("current transformer", fit, steps, _yours(welder, board, peak_A), tuple(notes + _use(welder)))


def _yours(welder: Welder, board: Board, peak_A: float) -> tuple[Yours, ...]:
    a_count = amperes_a_count(welder, board)
    if not a_count:
        return ()
    return (Yours("peak that is shown", a_count * COUNTS * (0.5 - BIAS_SHARE), peak_A, "A"),)


def _use(welder: Welder) -> list[str]:
    if welder.current_sense is not None:
        return ["This machine uses it."]
    return ["Optional, and not in the welder file: give its turns and burden_ohm as [current_sense]."]
