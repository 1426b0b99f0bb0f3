"""Machines of every shape that the interface board can take."""

from __future__ import annotations

from typing import Any

from tests.support.wiring.upgrade_machines import MACHINES

INTERFACE_MACHINES: dict[str, dict[str, Any]] = MACHINES | {
    "all that is sensed": {
        "board": {"name": "pico", "conduction_sense": True},
        "force": {"source": "air", "force_switch": True},
        "current_sense": {"turns": 1000, "burden_ohm": 33},
    },
    "pulse transformer before a triac": {
        "protection": {"gate_drive": "pulse_transformer"},
        "switch": {"kind": "triac"},
    },
}
