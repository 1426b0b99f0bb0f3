"""`trial run`: the terminal or program, and the board, of a sitting led by gen.trials.running."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any, TypeVar

import click

from gen.ask import NotTaken, Stopped
from gen.cautions import AT_THE_ELECTRODES, CAUTIONS, caution_lines
from gen.cli.joint import by_window
from gen.cli.large import large
from gen.cli.options import USER_PATH, json_option, pace_asked, pace_option, port_argument, welder_option
from gen.cli.said import WIDTH, folded, said, say, say_data, say_over
from gen.cli.terminal import Asked, Keys
from gen.cli.trial import between_option, joint_argument, percent_option
from gen.cli.trial_window import dress_option
from gen.job import Job
from gen.link import Link, Watch, push
from gen.link.ports import find_port
from gen.link.ports import ports as serial_ports
from gen.link.watching import IN_A_WELD, NO_EMERGENCY_STOP
from gen.machine import WELDER_FILE
from gen.records import Records, WeldRecord
from gen.trials import Bounds, Forbidden, NextWeld, Operator, TrialRun, completed
from gen.trials.running import DRESSED, LEAVE, UNDO, Left

_PAUSE_S = 0.02
_PATIENCE_S = 15.0
_WAITING: Mapping[str, Left] = {UNDO: "u", DRESSED: "d", LEAVE: "q"}
_MEANINGS = {UNDO: "change the last outcome", DRESSED: "electrodes dressed", LEAVE: "leave"}
_WAITING_WORDS = ", ".join(f"{key} {meaning}" for key, meaning in _MEANINGS.items())

T = TypeVar("T")


class _Console(Asked):
    """The terminal of the person at the machine. The cautions are shown before the first weld."""

    _cautioned = False

    def say(self, text: str) -> None:
        say("")
        say("\n".join(folded(line) for line in text.splitlines()))

    def shown(self, weld: NextWeld) -> None:
        if not self._cautioned:
            self._cautioned = True
            say("\n".join(caution_lines(WIDTH, AT_THE_ELECTRODES)))
        say("")
        say(f"Weld {weld.number}: {weld.setting}")
        say("")
        for line in large(f"{weld.cycles} {weld.percent:g}%"):
            say(f"  {line}")
        say("  cycles, and per cent current")
        say("")
        say(folded(f"{weld.likely[:1].upper()}{weld.likely[1:]}."))
        say(folded(f"It {weld.why}."))
        if weld.settled:
            say(folded("Settled: it may be kept with `weldbeat trial keep`."))
        for reminder in weld.reminders:
            say(said(f"Mind: {reminder}.", ""))

    def key(self, question: str, keys: Mapping[str, str]) -> str:
        say("")
        say(folded(question))
        say(folded("; ".join(f"{key} {meaning}" for key, meaning in keys.items()), "  "))
        while True:
            pressed = _pressed()
            if pressed in keys:
                say(f"  {keys[pressed]}")
                return pressed
            say(f"  allowed: {', '.join(keys)}")

    def waits(self, text: str, keys: Mapping[str, str], stop: bool = False) -> None:
        """Print what is waited for, and the keys meanwhile."""
        say("")
        say(folded(f"{text}. {_WAITING_WORDS}."))
        if stop:
            say(f"s stop ({NO_EMERGENCY_STOP})")

    def state(self, text: str | None) -> None:
        """Print the board's state on a line that changes; None ends the line."""
        if text is None:
            say("")
        elif sys.stdout.isatty():
            say_over(text[: WIDTH - 1])


class _Program:
    """Another program in place of the person. It reads one JSON object a line, and writes one answer a line."""

    def tell(self, kind: str, **content: Any) -> None:
        """Write one object, at once."""
        say_data(json.dumps({"type": kind, **content}))
        sys.stdout.flush()

    def say(self, text: str) -> None:
        self.tell("said", text=text)

    def shown(self, weld: NextWeld) -> None:
        self.tell("next", **asdict(weld))

    def key(self, question: str, keys: Mapping[str, str]) -> str:
        self.tell("key", question=question, keys=dict(keys))
        while (pressed := _line()) not in keys:
            self.tell("wrong", says=f"allowed: {', '.join(keys)}")
        return pressed

    def yes(self, question: str) -> bool:
        return self.key(question, {"y": "yes", "n": "no"}) == "y"

    def answer(self, question: str, read: Callable[[Any], T], typical: Any = None) -> T:
        self.tell("answer", question=question, typical=typical)
        while True:
            typed = _line()
            try:
                return read(typical if typed == "" and typical is not None else typed)
            except NotTaken as error:
                self.tell("wrong", says=str(error))

    def waits(self, text: str, keys: Mapping[str, str], stop: bool = False) -> None:
        """Like a console's, but without a key for stop: this program listens to the board meanwhile."""
        self.tell("wait", says=text, keys={} if stop else dict(keys))

    def state(self, text: str | None) -> None:
        """Nothing: the board's state is for a person."""


_Front = _Console | _Program


def _line() -> str:
    """One line from another program. Raises Stopped at their end."""
    line = sys.stdin.readline()
    if not line:
        raise Stopped
    return line.strip()


def _pressed() -> str:
    """One key; without a terminal the first letter of a line. Raises Stopped at the end of input."""
    if not sys.stdin.isatty():
        line = sys.stdin.readline()
        if not line:
            raise Stopped
        return line.strip()[:1].lower()
    with Keys() as keys:
        while True:
            typed = keys.pressed()
            if typed:
                return typed[0].lower()
            time.sleep(_PAUSE_S)


class _ByHand:
    """A machine without a cable: a person sets it, and reports each weld."""

    def __init__(self, front: _Front) -> None:
        self._front = front

    def made(self, schedule: Path, job: Job, operator: Operator) -> WeldRecord | Left | None:
        self._front.waits("Set it and weld; then Enter", {"": "made"} | _MEANINGS)
        while True:
            pressed = _pressed()
            if pressed in ("", "\r", "\n"):
                return None
            if pressed in _WAITING:
                return _WAITING[pressed]


class _OnBoard:
    """A board on a port: it takes the schedule, and its weld is watched."""

    def __init__(self, front: _Front, port: str, welder: Path) -> None:
        self._front = front
        self._port = port
        self._welder = welder

    def made(self, schedule: Path, job: Job, operator: Operator) -> WeldRecord | Left | None:
        with Records.beside(self._welder) as records:
            with Link(self._port, _PATIENCE_S) as link:
                if (link.hello.selected, link.hello.digest) != (job.table.name, job.table.digest):
                    push(job, schedule, link, records, select=True)
            self._front.waits(
                f"{job.table.name} is on the board as its next weld. Weld with the pedal", _MEANINGS, stop=True
            )
            with Link(self._port, _PATIENCE_S) as link, Keys() as keys:
                watch = Watch(link, records)
                watch.begin()
                try:
                    return self._seen(watch, keys)
                finally:
                    self._front.state(None)

    def _seen(self, watch: Watch, keys: Keys) -> WeldRecord | Left:
        while True:
            look = watch.look()
            for weld in look.welds if look else ():
                if completed(weld):
                    return weld
                halves = f"{weld.fired} of {weld.planned} half-cycles"
                self._front.say(f"That weld was {weld.ending}, {halves}: weld again.")
            if look is not None:
                self._front.state(look.status.state if look.status else IN_A_WELD)
            for pressed in keys.pressed().lower():
                if pressed == "s":
                    watch.stop()
                elif pressed in _WAITING:
                    return _WAITING[pressed]
            time.sleep(_PAUSE_S)


@click.command("run")
@joint_argument
@port_argument
@click.option(
    "--schedule",
    type=USER_PATH,
    help="The schedule to change; otherwise the one tried last, or the suggestion.",
)
@percent_option
@between_option
@dress_option
@pace_option
@click.option("--no-board", is_flag=True, help="Use no board: set each weld by hand.")
@welder_option
@json_option
def run_command(
    joint: Path,
    port: str | None,
    schedule: Path | None,
    percent: float | None,
    between: tuple[float, float] | None,
    dress_every: int,
    welds_per_minute: float,
    no_board: bool,
    welder_path: Path | None,
    as_json: bool,
) -> int | None:
    """Trial after trial of JOINT: the next weld is shown, sent to the board on PORT and watched; a key notes its outcome.

    Leave it whenever you like; the same command goes on. Without a board set each weld by hand. Exit code 1 if there is no
    weld to try. With --json it writes one object a line for another program, which answers on standard input, a line each.
    """
    from sim.remedy import bearable_pace
    from sim.run import refusal

    def judge(job: Job, pace: float | None) -> Forbidden | None:
        found = refusal(job, pace)
        return None if found is None else Forbidden(found.name, found.sentence)

    on_board = not no_board and (port is not None or any(found.board for found in serial_ports()))
    program = _Program() if as_json else None
    front: _Front = program or _Console()
    welds = _OnBoard(front, find_port(port), welder_path or Path(WELDER_FILE)) if on_board else _ByHand(front)
    bounds = Bounds(joint, welder_path, judge, bearable_pace, schedule, between, percent, dress_every, by_window)
    sitting = TrialRun(bounds, front, welds, pace_asked(welds_per_minute))
    if program is not None:
        program.tell("cautions", cautions=CAUTIONS)
    there_was = sitting.go()
    if program is not None:
        program.tell("end", noted=sitting.noted)
        return None if there_was else 1
    say("")
    say(f"{sitting.noted} trial{'' if sitting.noted == 1 else 's'} noted. The same command goes on here.")
    return None if there_was else 1
