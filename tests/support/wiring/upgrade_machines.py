"""Machines of every shape for the tests of parts and wiring, and what is chosen and drawn for them."""

from __future__ import annotations

from typing import Any

from gen.boards import Board, boards
from gen.machine.welder import Welder
from gen.wiring.choice import Choice, Load
from gen.wiring.choosing import choose
from gen.wiring.power_parts import inrush_figure
from gen.wiring.sheet import Sheet, wiring_sheet

# Every shape that the netlist can take.
MACHINES: dict[str, dict[str, Any]] = {
    "thyristors": {},
    "triac": {"switch": {"kind": "triac"}},
    "relay": {"switch": {"kind": "random_phase_relay"}},
    "everything": {
        "board": {"name": "pico", "conduction_sense": True},
        "force": {"source": "air", "force_switch": True},
        "mains": {"frequency_Hz": 60, "voltage_V": 480},
        "breaker": {"rating_A": 125},
        "current_sense": {"turns": 1000, "burden_ohm": 33},
    },
    "pulse detector": {"detector": {"kind": "pulse"}},
    "relay and pulse detector with sense": {
        "switch": {"kind": "random_phase_relay"},
        "detector": {"kind": "pulse"},
        "board": {"name": "pico", "conduction_sense": True},
    },
    "secondary off earth": {"protection": {"secondary_earthed": False, "residual_current_device": True}},
    "pulse transformer": {"protection": {"gate_drive": "pulse_transformer"}},
    "taps": {
        "transformer": {
            "open_secondary_V": None,
            "taps": {"I": 1.6, "II": 1.9, "III": 2.2, "IV": 2.5, "full": 3.0},
            "tap": "III",
            "working_tap": "III",
        }
    },
    "nothing fitted": {
        "protection": dict.fromkeys(("isolator", "contactor", "stop_cuts_contactor", "secondary_earthed"), False)
    },
}


def load_of(welder: Welder, pace: float = 4) -> Load:
    return Load(welder.machine.in_use.working_primary, inrush_figure(33, 60), 12.0, 3.0, pace)


def chosen(welder: Welder, pace: float = 4) -> Choice:
    return choose(welder, boards()["pico"], load_of(welder, pace))


_DRAWN: dict[tuple[str, str], Sheet] = {}


def sheet_of(welder: Welder, board: Board | None = None) -> Sheet:
    """The sheet, drawn once for each machine and board."""
    board = board or boards()["pico"].with_pins(welder.board.pins)
    key = welder.model_dump_json(), board.model_dump_json()
    if key not in _DRAWN:
        _DRAWN[key] = drawn_anew(welder, board)
    return _DRAWN[key]


def drawn_anew(welder: Welder, board: Board) -> Sheet:
    return wiring_sheet(welder, board, chosen(welder))
