"""The words that the board and the host share: numbers that cross a line or lie in storage may never change unnoticed.

Source of the first four codes of an error reply: JSON-RPC 2.0 specification, section 5.1. The rest is our own.
"""

from __future__ import annotations

import gen.words
from firmware_templates.app import words


def test_the_host_reads_the_boards_own_file() -> None:
    """No name is lost on the way; what the host has besides is made of the board's."""
    names = [name for name in vars(words) if not name.startswith("_")]
    assert [name for name in vars(gen.words) if name not in names and not name.startswith("_")] == ["ARMED_STATES"]
    assert gen.words.ARMED_STATES == ("squeeze", "weld", "hold", "off")
    assert all(getattr(gen.words, name) == getattr(words, name) for name in names)
    assert all(type(getattr(words, name)) in (int, str, tuple) for name in names), (
        "nothing that a board would have to make"
    )


def test_the_bits_of_the_driver_interface() -> None:
    """Each input a bit of its own; conduction seen both ways is both bits."""
    assert (words.PEDAL, words.STOP_OPEN, words.FORCE, words.HOT, words.WATCHDOG) == (1, 2, 4, 8, 16)
    assert words.CONTACTOR_OPEN == 32
    assert (words.NOT_FITTED, words.BLOCKING, words.CONDUCTING) == (0, 1, 2)


def test_the_gate_ends_before_the_next_crossing_can_come() -> None:
    """165 degrees of a half-cycle; a half-cycle shorter by the edge of the band (47 to 63 Hz) still ends after it."""
    assert words.GATE_END_DEG == 165
    assert words.GATE_END_DEG / 180 < 60 / 63


def test_the_phases_by_their_codes() -> None:
    """They lie in storage and cross the line as their places."""
    assert words.PHASES == ("squeeze", "pulse", "cool", "upslope", "weld", "downslope", "hold", "off")
    assert words.FIRED_PHASES == ("pulse", "upslope", "weld", "downslope")


def test_each_state_reason_and_ending_is_reported_by_its_names_place() -> None:
    """The pairs of number and name; every lockout has a way out."""
    names = {
        words.STARTING: "starting",
        words.WAITING_FOR_MAINS: "waiting for mains",
        words.READY: "ready",
        words.STORING: "storing",
        words.SQUEEZE: "squeeze",
        words.WELD: "weld",
        words.HOLD: "hold",
        words.OFF: "off",
        words.LOCKED_OUT: "locked out",
    }
    assert names == dict(enumerate(words.STATE_NAMES))
    ways = {
        words.NO_REASON: ("none", ""),
        words.STOP_CIRCUIT_OPEN: ("stop is open", "close the stop"),
        words.MAINS_LOST: ("mains lost or unsteady", "wait for steady mains"),
        words.EXTRA_EDGES: ("extra edges from the detector", "find the noise; clears when the mains is steady"),
        words.OUT_OF_BAND: ("frequency out of band", "clears when the mains is back in its band"),
        words.OVER_TEMPERATURE: ("over-temperature contact open", "let it cool"),
        words.STUCK_PEDAL: ("pedal stuck closed", "let go of the pedal"),
        words.SWITCH_SHORTED: (
            "switch conducts without a gate",
            "isolate; replace the switch, and check that the new one blocks; then weldbeat clear",
        ),
        words.NO_CONDUCTION: (
            "no conduction after firing",
            "check gate wiring and contactor, then press and release stop",
        ),
        words.GATE_STUCK: ("gate pin does not go low", "isolate; replace the board or the gate driver"),
        words.WATCHDOG_RESTART: ("restarted by the watchdog", "press and release stop"),
        words.DUTY: ("duty used up", "wait for the countdown"),
        words.SETTINGS_DAMAGED: ("settings damaged", "remove both settings files and flash the board again"),
        words.PROGRAM_FAILED: ("the program failed", "read the failure in the status, then press and release stop"),
        words.ONE_SIDED: (
            "current flows in one direction only",
            "isolate; check both halves of the switch and their gate wires; then weldbeat clear",
        ),
        words.LOPSIDED: (
            "current lasts longer in one direction: the core is near saturation",
            "isolate; check the switch, its gate wiring and the detector, then press and release stop",
        ),
        words.TOO_LONG: (
            "current lasts longer than the load angle allows: the core is near saturation",
            "isolate; check tap, load angles in the welder file and the switch, then press and release stop",
        ),
        words.CURRENT_SENSE_FAULT: (
            "current transformer or converter at fault",
            "isolate; check the current transformer, its burden and wires, then press and release stop",
        ),
        words.SENSES_DISAGREE: (
            "current transformer and sense across the switch disagree",
            "isolate; check the wires of both senses, then press and release stop",
        ),
        words.CURRENT_HIGH: (
            "current above the planned band",
            "isolate; check tap, electrodes and work, then press and release stop",
        ),
        words.CURRENT_LOW: (
            "current below the planned band",
            "clean work and electrodes; isolate and check secondary joints and tap, then press and release stop",
        ),
        words.CONTACTOR_SHUT: (
            "contactor stayed closed",
            "isolate; replace the contactor, or repair its mirror contact's wire; then weldbeat clear",
        ),
        words.CONTACTOR_NOT_SHUT: (
            "contactor did not close, or opened under current",
            "check the contactor's coil, its driver and the stop's contacts, then press and release stop",
        ),
        words.MEMORY_DAMAGED: ("memory of the half-cycles damaged", "isolate; replace the board"),
        words.FILE_DAMAGED: (
            "firmware damaged",
            "isolate; flash the firmware again; if it recurs, replace the board",
        ),
    }
    assert ways == dict(enumerate(zip(words.REASON_NAMES, words.WAY_OUT, strict=True)))
    endings = {
        words.NEVER: "none",
        words.COMPLETED: "completed",
        words.RELEASED: "released",
        words.STOPPED: "stopped",
        words.FAULT: "fault",
        words.NO_FORCE: "no force",
        words.EXPELLED: "expulsion",
    }
    assert endings == dict(enumerate(words.ENDING_NAMES))


def test_the_figures_of_the_serial_line() -> None:
    """A board and a host of different days must agree on them, or say that they do not."""
    assert (words.PROGRAM, words.PROTOCOL) == ("weldbeat", 1)
    assert (words.LONGEST_LINE, words.LARGEST_ID) == (480, 999_999_999)
    assert (words.ROWS_A_LINE, words.WELDS_A_LINE, words.WELDS_KEPT) == (8, 6, 64)
    assert (words.MOST_SCHEDULES, words.LONGEST_NAME, words.DIGEST_LETTERS) == (16, 32, 16)


def test_the_codes_of_an_error_reply() -> None:
    """JSON-RPC 2.0: parse error, invalid request, method not found, invalid params; -32000 to -32099 are the server's own."""
    theirs = (words.DAMAGED, words.NOT_A_REQUEST, words.UNKNOWN_METHOD, words.WRONG_PARAMETERS)
    assert theirs == (-32700, -32600, -32601, -32602)
    ours = (words.BUSY, words.OUT_OF_ORDER, words.BEYOND_LIMITS, words.NO_SUCH_SCHEDULE, words.STORAGE)
    assert ours == (-32000, -32001, -32002, -32003, -32004)
