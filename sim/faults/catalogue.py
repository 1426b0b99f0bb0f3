"""The faults by name: the states in which they can begin, what protects against them, and how an unseen one is found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

from gen.words import ARMED_STATES, STATE_NAMES
from sim.bench.world import Bench
from sim.faults import injections
from sim.faults.injections import Injection

Layer = Literal["firmware", "firing hardware", "table", "hardware"]
"""What protects against a fault: program, PIO with its hunt and stop test, the bounded table, or hardware off the board."""


@dataclass(frozen=True)
class Fault:
    """One thing that goes wrong."""

    name: str
    words: str
    layer: Layer
    takes: frozenset[str]
    """Parts of the bench that it changes. Two faults of the same part are never in one run."""
    apply: Callable[[Injection], Bench]
    states: tuple[str, ...] = STATE_NAMES
    """The states in which it can begin."""
    elsewhere: str = ""
    """Why it cannot begin in the others."""
    acts: bool = False
    """Whether a person has to act: current may flow without a gate."""
    not_asked: dict[str, str] = field(default_factory=dict)
    """Invariants that do not apply, each with the reason."""
    unseen: str = ""
    """What the fault does until a person finds it, and how to find it. "" for a fault that the board always notices."""


def _named(*faults: tuple[str, str, Layer, str, Callable[[Injection], Bench]], **common: Any) -> tuple[Fault, ...]:
    return tuple(
        Fault(name, words, layer, frozenset(takes.split()), apply, **common)
        for name, words, layer, takes, apply in faults
    )


_BARE = {"flux": "the currents are not those that the board's gates ask for"}
_SUPPLY = {"flux": "the flux of a supply that comes and goes is not made by firing"}
_STAYS = "the pin stays high until boot.py; the gate drive ends the current"
_FROZEN = {**_BARE, "window": _STAYS, "mains_loss": _STAYS}

FAULTS: dict[str, Fault] = {
    fault.name: fault
    for fault in (
        *_named(
            (
                "missing crossing",
                "the detector leaves out one or two crossings",
                "firing hardware",
                "edges",
                injections.missing,
            ),
            ("doubled edges", "a false edge follows each true one", "firing hardware", "edges", injections.doubled),
            ("noise burst", "up to sixty false edges", "firing hardware", "edges", injections.noise),
            ("frequency step", "the mains jumps to 40 to 70 Hz", "firing hardware", "frequency", injections.step),
            (
                "frequency ramp",
                "the mains drifts to 40 to 70 Hz and back",
                "firing hardware",
                "frequency",
                injections.ramp,
            ),
            ("detector stuck high", "no edges, level high", "firing hardware", "edges", injections.stuck_detector(1)),
            ("detector stuck low", "no edges, level low", "firing hardware", "edges", injections.stuck_detector(0)),
            ("detector drift", "its edges move by up to 0.4 ms", "firing hardware", "offset", injections.drift),
            ("pedal bounce", "the contact bounces", "firmware", "pedal", injections.bounce),
            ("pedal stuck", "the contact does not open again", "firmware", "pedal", injections.stuck_pedal),
            (
                "pedal chatters",
                "the contact opens and closes for up to a second",
                "firmware",
                "pedal",
                injections.chatter,
            ),
            ("stop", "stop is pressed", "firing hardware", "stop", injections.stop),
            ("stop for a millisecond", "stop opens and closes again at once", "firmware", "stop", injections.blip),
            ("over-temperature", "the contact opens", "firmware", "hot", injections.hot),
            (
                "garbage-collection pause",
                "no step for up to 0.4 s",
                "table",
                "program",
                injections.board("hang", 0.02, 0.4),
            ),
            ("interpreter hang", "no step ever again", "table", "program", injections.hang),
            ("exception", "a step raises", "firmware", "program", injections.board("exception")),
            (
                "watchdog bite",
                "the board is reset by its watchdog",
                "firmware",
                "program",
                injections.board("watchdog"),
            ),
            ("brown-out", "no supply for up to 0.5 s", "firmware", "program", injections.board("brown-out", 0.01, 0.5)),
            ("serial flood", "kilobytes of nonsense on the line", "firmware", "serial", injections.flood),
            (
                "settings damaged",
                "stored files are cut short, then a restart",
                "firmware",
                "program",
                injections.restarted_after("damage"),
            ),
            (
                "firmware damaged",
                "a bit of a file in flash turns over, then a restart",
                "firmware",
                "program",
                injections.restarted_after("flip"),
            ),
            (
                "memory damaged",
                "a bit of the half-cycles' memory sticks, then a restart",
                "firmware",
                "program",
                injections.restarted_after("stick"),
            ),
            ("clock 3 % fast", "the board's crystal is off", "firmware", "rate", injections.clock(1.03)),
            ("clock 3 % slow", "the board's crystal is off", "firmware", "rate", injections.clock(0.97)),
            (
                "stop, Python hung",
                "stop is pressed while no step is made",
                "firing hardware",
                "program stop",
                injections.hang_and_stop,
            ),
            (
                "stop, no stop test",
                "the firing hardware does not see stop",
                "firmware",
                "stop test",
                injections.without_stop_test,
            ),
            (
                "stop, hung, no test",
                "neither program nor firing hardware sees stop",
                "hardware",
                "program stop test",
                injections.hang_and_stop_without_test,
            ),
        ),
        *_named(
            ("sag", "20 to 90 % of the voltage is left", "firing hardware", "voltage", injections.sag),
            (
                "half-wave supply",
                "only one polarity of the mains comes",
                "firing hardware",
                "voltage",
                injections.half_wave_supply,
            ),
            ("dropout", "no mains for up to 0.2 s", "firing hardware", "voltage", injections.short_dropout),
            ("dropout of a second", "no mains for a second", "firing hardware", "voltage", injections.second),
            ("dropout of an hour", "no mains for an hour", "firing hardware", "voltage clock", injections.hour),
            not_asked=_SUPPLY,
        ),
        *_named(
            ("release", "the pedal is let go", "firmware", "pedal", injections.release),
            (
                "release, Python hung",
                "the pedal is let go while no step is made",
                "firing hardware",
                "pedal program",
                injections.hang_and_release,
            ),
            states=ARMED_STATES,
            elsewhere="no weld has been asked for, so there is nothing to let go of",
        ),
        *_named(
            (
                "soft reset in a gate",
                "the interpreter restarts, the pin stays",
                "hardware",
                "program",
                injections.soft_reset,
            ),
            not_asked=_FROZEN,
        ),
        *_named(
            (
                "gate wire open",
                "the switch no longer turns on",
                "firmware",
                "switch",
                lambda s: injections.switch(s, "gate_open"),
            ),
            not_asked=_BARE,
        ),
        *_named(
            (
                "switch half-wave",
                "one thyristor no longer turns on: direct current until the table or the breaker ends it",
                "table",
                "switch",
                lambda s: injections.switch(s, "half_wave"),
            ),
            not_asked=_BARE,
            unseen="With a sense across the switch (board.conduction_sense) the next weld ends within two cycles, and the board "
            "locks out. Without it nothing sees that the core saturates in every weld until the table or the breaker ends it. "
            "Where welds turn weak, or the transformer growls or trips the breaker: stop, isolate, and read the direct current "
            "with open electrodes, as commissioning does.",
        ),
        *_named(
            ("late gate", "the driver passes each gate up to 4 ms late", "table", "driver", injections.late),
            not_asked=_BARE,
        ),
        *_named(
            (
                "gate driver stuck on",
                "gate current without end",
                "hardware",
                "driver",
                lambda s: injections.protection(s, stuck_on_s=s.at_s),
            ),
            ("switch shorted", "it conducts for ever", "hardware", "switch", lambda s: injections.switch(s, "shorted")),
            not_asked=_BARE,
            acts=True,
        ),
        *_named(
            (
                "contactor slow",
                "a plain diode lies across its coil, and it opens 0.3 s late",
                "hardware",
                "contactor",
                lambda s: injections.protection(s, opens_s=0.3),
            ),
            (
                "contactor does not close",
                "no current flows in its coil any more",
                "firmware",
                "contactor",
                lambda s: injections.protection(s, coil_open_s=s.at_s),
            ),
            (
                "mirror contact stuck",
                "the contactor's mirror contact says the same whatever the contactor does",
                "firmware",
                "mirror",
                injections.mirror,
            ),
            not_asked=_BARE,
        ),
        *_named(
            (
                "contactor welded shut",
                "its contacts stay closed",
                "firmware",
                "contactor",
                lambda s: injections.protection(s, welded_s=s.at_s),
            ),
            unseen="The primary stays live after each weld, and neither the stop nor a dead board can cut it: only the switch "
            "still blocks. Once a shift, with the welder idle, see that the contactor has dropped (its contacts dead on both "
            "sides by a tester), and do not work on with one that hums or sticks.",
        ),
    )
}


_WORN = {**_BARE, "window": "the gate of a worn part is not that of its pin", "mains_loss": _STAYS}

# What only a broken part does. The set of `weldbeat faults` leaves them out; `--parts` takes them with the rest.
PART_FAULTS: dict[str, Fault] = {
    fault.name: fault
    for fault in (
        *_named(
            (
                "detector dead high",
                "no edge ever again, level high",
                "firing hardware",
                "edges",
                injections.dead_detector(1),
            ),
            (
                "detector dead low",
                "no edge ever again, level low",
                "firing hardware",
                "edges",
                injections.dead_detector(0),
            ),
            ("stop reads open", "its contact stays open", "firing hardware", "stop", injections.stays_stopped),
            ("hot reads open", "its contact stays open", "firmware", "hot", injections.stays_hot),
            ("force reads open", "the force switch stays open", "firmware", "force", injections.force(0)),
            ("force reads closed", "the force switch stays closed", "firmware", "force", injections.force(1)),
            ("board dead", "no supply ever again", "hardware", "program", injections.board("brown-out", 99, 99)),
        ),
        *_named(
            (
                "stop bridged",
                "stop cuts neither gate supply nor coil",
                "firing hardware",
                "stop",
                injections.bridged_stop,
            ),
            ("hot bridged", "heat cuts neither gate supply nor coil", "firmware", "hot", injections.bridged_heat),
            ("one-shot without end", "a gate lasts as long as its pin", "firmware", "driver", injections.pulse(None)),
            ("one-shot short", "no gate lasts longer than 1 ms", "firmware", "driver", injections.pulse(0.001)),
            not_asked=_WORN,
        ),
        *_named(
            ("sense dead", "it shows a current all the time", "firmware", "sense", injections.sense(stuck=1)),
            ("sense stuck", "it shows voltage all the time", "firmware", "sense", injections.sense(stuck=0)),
            (
                "sense late",
                "it shows the end of a current 2 ms late",
                "firmware",
                "sense",
                injections.sense(lit_us=2000.0),
            ),
            ("converter low", "each sample is 0", "firmware", "current", injections.ammeter(stuck=0)),
            ("converter high", "each sample is 4095", "firmware", "current", injections.ammeter(stuck=4095)),
            ("converter middle", "each sample is 2048", "firmware", "current", injections.ammeter(stuck=2048)),
            ("bias moved", "the middle has moved by 14 %", "firmware", "current", injections.ammeter(bias=2048 * 1.14)),
            (
                "hum",
                "hum of 40 counts, twenty bursts a second",
                "firmware",
                "current",
                injections.ammeter(hum_counts=40.0, bursts_a_s=20.0),
            ),
        ),
    )
}
ALL_FAULTS = FAULTS | PART_FAULTS
