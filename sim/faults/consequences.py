"""The consequences of broken parts, by their names in gen.wiring.broken_parts, and the fault that simulates each."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Consequence:
    """The effect of a broken part on the machine."""

    words: str
    plays: str = ""
    """The fault that is simulated for it; "" where the weld goes on as before, and nothing is simulated."""
    steps: tuple[str, ...] = ()
    """Keys of the commissioning steps that would reveal it."""
    unseen: str = ""
    """The reason why a board does not notice it, and how a person could; "" if it does."""
    no_weld: bool = False
    """No weld is made any more, which the person sees at the work."""
    unasked: bool = False
    """The pedal's circuit asks for a weld while no foot is on it."""
    plays_more: bool = False
    """The simulation breaks more than the part does, as the worst; a lockout in it is no answer to this part."""
    from_start: bool = False
    """It is there from power-up in the simulation, whichever state it is counted under."""


_WORKS_ON = "the machine works without it"

CONSEQUENCES: dict[str, Consequence] = {
    "no-gate": Consequence(
        "no gate current, so no weld",
        "gate wire open",
        ("resistive-load",),
        "no weld is made",
        no_weld=True,
    ),
    "no-end": Consequence(
        "the one-shot no longer ends the gate; the pin's fall still does",
        "one-shot without end",
        ("gate-stands", "gate-pulse"),
        "welds are as before until a second fault holds the pin high; commission again after each repair",
        from_start=True,
    ),
    "short-gate": Consequence(
        "the one-shot ends the gate early", "one-shot short", ("gate-pulse",), "welds are weak", from_start=True
    ),
    "late-gate": Consequence("gates come late", "late gate", ("resistive-load",), "welds are weak or uneven"),
    "half-wave": Consequence("one polarity no longer conducts", "switch half-wave", ("resistive-load", "open-balance")),
    "shorted": Consequence("the switch conducts without a gate", "switch shorted", ("resistive-load",)),
    "not-closing": Consequence(
        "the contactor does not close", "contactor does not close", ("coil-supply", "resistive-load"), no_weld=True
    ),
    "held": Consequence(
        "the contactor stays closed (played as welded contacts, which no stop opens)",
        "contactor welded shut",
        ("train-stops", "open-contacts"),
    ),
    "slow": Consequence(
        "the contactor opens late",
        "contactor slow",
        ("coil-clamp",),
        "it still opens, 0.3 s late; the board looks at its mirror contact only later",
    ),
    "half": Consequence(
        "one of the coil's two switches no longer opens; the other releases the coil as before",
        steps=("coil-switches",),
        unseen=f"{_WORKS_ON}: nothing tells before the other fails too; then the mirror contact does",
    ),
    "half-slow": Consequence(
        "one of the coil's two switches no longer opens, and the other opens late",
        "contactor slow",
        ("coil-switches",),
        "it still opens, within 0.3 s; the board looks at its mirror contact only later",
    ),
    "mirror": Consequence("the mirror contact no longer changes", "mirror contact stuck", ("resistive-load",)),
    "detector-high": Consequence(
        "the detector's pin stays high", "detector dead high", ("frequency",), "the board waits for mains", True
    ),
    "detector-low": Consequence(
        "the detector's pin stays low", "detector dead low", ("frequency",), "the board waits for mains", True
    ),
    "offset": Consequence(
        "the detector's edges move",
        "detector drift",
        ("offset-rise", "offset-fall"),
        "all gates move with the edges, by less than the firing hardware refuses",
    ),
    "board-dead": Consequence("the board has no supply", "board dead", ("board-supply",), "no weld is made", True),
    "board-stands": Consequence(
        "the board stands still with its pins as they are",
        "soft reset in a gate",
        ("board-supply", "gate-stands", "train-stops"),
        "one-shot and charge pump pass no level that stands, so no weld is made",
        True,
        plays_more=True,
    ),
    "clock": Consequence(
        "the board's clock is 3 % off", "clock 3 % slow", ("frequency",), "the lock follows the mains"
    ),
    "no-mains": Consequence(
        "the supply fails for a second", "dropout of a second", ("voltage",), "no weld is made", True
    ),
    "sag": Consequence("the supply sags", "sag", ("voltage",), "the weld is weaker, for as long as it lasts"),
    "stop-open": Consequence("the stop reads pressed", "stop reads open", ("stop",)),
    "stop-closed": Consequence(
        "the board does not see the stop; only its contacts in the supply cut, where the file names "
        "them (played with a board that hangs besides)",
        "stop, hung, no test",
        ("stop",),
        "it shows only when the stop is pressed; the board does not report it",
        plays_more=True,
    ),
    "stop-bridged": Consequence(
        "the stop cuts no supply; the board still sees it", "stop bridged", ("stop-cuts", "stop-drops")
    ),
    "pedal-open": Consequence("the pedal reads released", "release", ("pedal",), "no weld is made", True),
    "pedal-closed": Consequence(
        "the pedal reads pressed; in ready this asks for one weld with no foot on it",
        "pedal stuck",
        ("pedal",),
        "the board lets the pedal begin a weld only once until it reads released; keep fingers out of the electrodes "
        "whenever the machine is in ready, and stop it before you reach between them",
        unasked=True,
    ),
    "hot-open": Consequence("the board's over-temperature contact reads open", "hot reads open", ("over-temperature",)),
    "hot-closed": Consequence(
        "the board no longer sees heat; only the contact in the supply cuts, where the file names it",
        "",
        ("over-temperature",),
        "it shows only at over-temperature; the board does not report it",
    ),
    "heat-bridged": Consequence("heat cuts no supply; the board still sees it", "hot bridged", ("heat-cuts",)),
    "force-open": Consequence("the force switch reads open", "force reads open", ("force-switch",)),
    "force-closed": Consequence("the force switch reads closed without force", "force reads closed", ("force-switch",)),
    "sense-dead": Consequence(
        "the sense shows a current all the time", "sense dead", ("resistive-load",), from_start=True
    ),
    "sense-stuck": Consequence(
        "the sense shows voltage all the time", "sense stuck", ("resistive-load",), from_start=True
    ),
    "sense-late": Consequence(
        "the sense is 2 ms late",
        "sense late",
        unseen="the board measures each current too long; compare a curve with a scope",
        from_start=True,
    ),
    "amps-low": Consequence("the current's converter reads 0", "converter low", from_start=True),
    "amps-high": Consequence("the current's converter reads its upper end", "converter high", from_start=True),
    "amps-middle": Consequence(
        "the current's converter sees no current", "converter middle", ("resistive-load",), from_start=True
    ),
    "amps-bias": Consequence("the middle of the current's converter has moved", "bias moved", from_start=True),
    "amps-hum": Consequence(
        "hum on the current's converter",
        "hum",
        unseen="compare the current of `weldbeat weld show` with a clamp meter",
        from_start=True,
    ),
    "amps-off": Consequence(
        "the current is reported too high or too low in proportion",
        unseen="compare the current of `weldbeat weld show` with a clamp meter",
    ),
    "spare": Consequence(
        "one of two in series has failed",
        unseen=f"{_WORKS_ON}: the other one does the work; there is no sign before that fails too",
    ),
    "surge": Consequence(
        "a clamp, a filter or a resistor that guards a stage is gone",
        unseen=f"{_WORKS_ON} until a surge or noise comes; there is no sign, so replace it after a surge",
    ),
    "varistor": Consequence(
        "the varistor no longer clamps", steps=("varistor",), unseen=f"{_WORKS_ON} until the next surge of the mains"
    ),
    "clamp": Consequence(
        "the coil's clamp is missing",
        steps=("coil-clamp",),
        unseen=f"{_WORKS_ON}: the spike then breaks the transistor that holds the coil, and the mirror contact reports it",
    ),
    "snubber": Consequence(
        "the snubber is missing or bridged",
        steps=("snubber",),
        unseen=f"{_WORKS_ON}: a steep spike may then turn the switch on for the rest of one half-cycle",
    ),
    "bleeder": Consequence(
        "the snubber keeps its charge",
        steps=("discharge",),
        unseen=f"{_WORKS_ON}; the charge is a danger when the enclosure is opened: measure before touching",
    ),
    "pull-down": Consequence(
        "a pin floats while the board starts",
        steps=("pull-downs",),
        unseen=f"{_WORKS_ON}: one-shot and charge pump pass no level, and the board's own pull holds the pin",
    ),
    "pull-up": Consequence(
        "a contact has only the board's own, weaker pull-up",
        steps=("pull-ups",),
        unseen=f"{_WORKS_ON}, nearer to noise",
    ),
    "diode": Consequence(
        "the coupler's diode takes the reverse voltage",
        steps=("detector-diode",),
        unseen=f"{_WORKS_ON} until the coupler stops, and then the detector is silent",
    ),
    "feeds": Consequence(
        "computer and converter feed each other",
        steps=("feeds-apart",),
        unseen=f"{_WORKS_ON}; the computer's port may be damaged",
    ),
    "isolator": Consequence(
        "an isolator does not open",
        steps=("open-contacts",),
        unseen="it shows only when the isolator is opened: prove dead with a tester each time",
    ),
    "no-fuse": Consequence(
        "a fuse is bridged",
        steps=("open-contacts",),
        unseen="it shows only in a short-circuit, which the circuit breaker then ends",
    ),
    "earth": Consequence(
        "an earth conductor is off",
        steps=("earth", "bond"),
        unseen=f"{_WORKS_ON}; a fault of insulation would make metal live: measure it at each inspection",
    ),
    "shorted-turn": Consequence(
        "a turn of the transformer is shorted",
        steps=("open-electrodes",),
        unseen="it hums, heats and welds weakly; the circuit breaker or the fuse ends a full short-circuit",
    ),
    "usb": Consequence(
        "the USB isolator is bridged",
        steps=("usb-isolator",),
        unseen=f"{_WORKS_ON}; a fault of the machine would reach the computer",
    ),
    "none": Consequence(
        "no consequence for weld or cut-off", unseen=f"{_WORKS_ON}: only its margin or a meter's reading changes"
    ),
}
