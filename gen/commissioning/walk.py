"""The walk from the unpowered welder to its first weld: the questions of each step, its result, and the next step."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

from gen.ask import Ask, Stopped, number
from gen.boards import Board
from gen.commissioning.board import BoardAsked, judge_log
from gen.commissioning.calibration import readings_for_file
from gen.commissioning.shots import Shot, short_circuit_A, shot
from gen.commissioning.steps import READING_FACTOR, SHORT_CIRCUIT, steps
from gen.commissioning.values import NO_BOARD, NO_TOOL, Judged, Stage, Step, is_done, judge
from gen.link import Link
from gen.link.ports import only_port
from gen.machine.welder import Welder
from gen.ranges import shown
from gen.records import CheckRecord, Records
from gen.wiring.detector_offset import DetectorParts, offset_from_parts

_PATIENCE_S = 15.0
_NONE, _PARTS = "none", "parts"
# field of DetectorParts, question, least, most
_PARTS_ASKED = (
    ("series_ohm", "Resistance before the optocoupler's LED, ohm", 0.001, 1e7),
    ("pull_ohm", "Resistance at its output, ohm", 0.001, 1e7),
    ("transfer_low_percent", "Current transfer ratio, least of the data sheet, %", 0.001, 1e4),
    ("transfer_high_percent", "Current transfer ratio, greatest, %", 0.001, 1e4),
    ("delay_low_us", "Delay of its output, least, us", 0.0, 1e4),
    ("delay_high_us", "Delay of its output, greatest, us", 0.0, 1e4),
)


class Guide(Ask, Protocol):
    """A front end's side of a walk: display and questions."""

    def begin(self, place: int, count: int, step: Step, enters: bool) -> bool:
        """Show that step `place` of `count` begins.

        `enters`: it is the first of its stage. Show the required states first, and ask whether they are true. Returns the answer.
        """

    def say(self, text: str) -> None:
        """Show one instruction or piece of information."""

    def lets_by(self, shot: Shot) -> bool:
        """Whether the verdict allows a shot. Shows the reason where it does not."""

    def came_of(self, judged: Judged) -> None:
        """Show the outcome of the step begun last."""


@dataclass(frozen=True)
class Walked:
    """The progress of a walk."""

    number: int
    """Number of the walk, from 1."""
    count: int
    """The number of its steps."""
    failed: int | None
    """Number of the step that stopped the walk, from 1. None where the walk is complete."""
    left_out: tuple[str, ...] = ()
    """Keys of the steps that were not checked."""
    values: Mapping[str, float | int | str] = field(default_factory=dict)
    """Readings by welder file key. Empty where the walk was stopped."""


@contextmanager
def walking(
    welder: Welder,
    board: Board,
    kept: Path,
    guide: Guide,
    port: str | None = None,
    anew: bool = False,
) -> Iterator[Walk]:
    """The last walk to continue, or one `anew`, with link and records open. Readings are recorded at `kept`.

    `port`: the board's port. Without it the only board found is used. Without any board the steps that need one are not
    checked. Raises LinkError, InputError.
    """
    device = port or only_port()
    with ExitStack() as stack:
        link = stack.enter_context(Link(device, _PATIENCE_S)) if device else None
        asked = None if link is None else BoardAsked(link, welder, guide.say)
        records = stack.enter_context(Records(kept))
        if asked is not None:
            stack.callback(asked.put_back)
        yield Walk(welder, board, asked, records, guide, anew)


@dataclass(frozen=True)
class _Result:
    """The outcome of a step, for the records."""

    judged: Judged
    reading: float | None = None
    note: str = ""


class Walk:
    """One commissioning: the steps done, and the next step."""

    def __init__(
        self,
        welder: Welder,
        board: Board,
        asked: BoardAsked | None,
        records: Records,
        guide: Guide,
        anew: bool,
    ) -> None:
        self._welder = welder
        self._board = board
        self._asked = asked
        self._records = records
        self._guide = guide
        checks = records.checks()
        last = checks[-1].walk if checks else 0
        self._number = last + 1 if anew or not checks else last
        self._checks = [check for check in checks if check.walk == self._number]

    def go(self) -> Walked:
        """Continue from the first step not passed, to the end or to a failed step. Raises Stopped, LinkError."""
        stage: Stage | None = None
        ahead = self._steps()
        keys = [step.key for step in ahead]
        for place, key in enumerate(keys, 1):
            step = ahead[place - 1]
            outcomes = {check.step: check.outcome for check in self._checks}
            if is_done(step, outcomes.get(key), self._asked is not None):
                continue
            left_out = step.lacking or (NO_BOARD if step.needs_board and self._asked is None else "")
            enters = not left_out and (stage is None or stage.key != step.stage.key)
            if enters:
                stage = step.stage
            if not self._guide.begin(place, len(keys), step, enters):
                raise Stopped
            result = _Result(Judged("not checked", left_out)) if left_out else self._take(step)
            self._keep(step, result)
            self._guide.came_of(result.judged)
            if result.judged.outcome == "failed":
                return Walked(self._number, len(keys), place)
            if result.reading is not None:
                ahead = self._steps()  # later limits may depend on the reading
        last = {check.step: check.outcome for check in self._checks}
        not_checked = tuple(key for key in keys if last[key] != "passed")
        values = readings_for_file(self._checks, self._welder)
        return Walked(self._number, len(keys), None, not_checked, values)

    def _steps(self) -> tuple[Step, ...]:
        passed = {c.step: c.reading for c in self._checks if c.outcome == "passed" and c.reading is not None}
        return steps(self._welder, self._board, passed)

    def _take(self, step: Step) -> _Result:
        for line in step.do if step.contact is None else ():
            self._guide.say(line)
        if step.limit_text:
            self._guide.say(f"Limit: {step.limit_text} ({step.limit.source})")
        if step.contact is not None and self._asked is not None:
            return _Result(self._asked.contact(step.contact))
        if step.shot and self._asked is not None:
            return self._shoot(step, self._asked)
        if step.counted and self._asked is not None:
            hertz, wrong = self._asked.frequency()
            if wrong:
                return _Result(Judged("failed", f"{wrong}; {step.mend}"))
            return _Result(judge(step, hertz), hertz)
        return self._read(step)

    def _read(self, step: Step) -> _Result:
        """Ask for a reading, and judge it."""
        words = instead_of_reading(step)
        others = "".join(f", or {word}" for word in words)
        answer = self._guide.answer(f"{step.read}: reading in {step.limit.unit}{others}", _reading(step, words))
        if answer == _NONE:
            return _Result(Judged("not checked", NO_TOOL))
        if answer == _PARTS:
            return self._from_parts(step, falling=step.edge == "falling")
        return _Result(judge(step, float(answer)), float(answer))

    def _from_parts(self, step: Step, falling: bool) -> _Result:
        """Judge the detector's offset by its parts: the file's value must lie in their band."""
        given = {
            field: self._guide.answer(question, number(least, most)) for field, question, least, most in _PARTS_ASKED
        }
        mains = self._welder.mains
        try:
            band = offset_from_parts(
                DetectorParts(**given), mains.voltage_V, mains.frequency_Hz, self._board.logic_V, falling=falling
            )
        except ValueError as error:
            return _Result(Judged("failed", f"{error}; {step.mend}"))
        detector = self._welder.detector
        held = detector.offset_fall_us if falling else detector.offset_rise_us
        note = f"{band.text}, {band.source}"
        if band.low <= held <= band.high:
            return _Result(Judged("passed", note))
        return _Result(Judged("failed", f"{note}; the welder file says {held} us; {step.mend}"))

    def _shoot(self, step: Step, asked: BoardAsked) -> _Result:
        """Judge a shot beforehand, have it made, and compare reading and log with the plan."""
        if step.tool_may_lack and not self._guide.yes(f"To read {step.read}: is there one?"):
            return _Result(Judged("not checked", NO_TOOL))
        table = None
        if step.shot is not None and step.shot != "selected":
            planned = shot(step.shot, self._welder, self._board)
            table = planned.table
            if not self._guide.lets_by(planned):
                return _Result(
                    Judged("failed", "the verdict refuses this shot, and nothing was sent; mend what it names")
                )
        ready = asked.load(table)
        if ready.outcome == "failed":
            return _Result(ready)
        self._guide.say(f"Now: press the pedal and {_then(step)}.")
        if not asked.pressed():
            return _Result(Judged("failed", "the board took no pedal; press it again when the walk goes on"))
        reading = None
        if not step.let_go:
            reading = float(self._guide.answer(f"{step.read}: reading in {step.read_unit}", _reading(step, ())))
        entry, state = asked.weld()
        if step.stops:
            self._guide.say("Now: Release the stop.")
        log = judge_log(step, entry, None if table is None else table.fired_half_cycles, state)
        if log.outcome == "failed" or reading is None:
            return _Result(log, None if step.compared else reading)
        note = log.why
        if step.compared:
            shown_A = asked.measured_A()
            if not shown_A:
                return _Result(Judged("failed", f"the board measured no current; {step.mend}"))
            note = f"{shown(reading)} A by the meter, {shown(shown_A)} A by the board; {note}"
            reading = float(f"{reading / shown_A:.4g}")
        judged = judge(step, reading)
        return _Result(judged, reading, note)

    def _keep(self, step: Step, result: _Result) -> None:
        limit = f"limit: {step.limit_text} ({step.limit.source})" if step.limit_text and not step.lacking else ""
        why = step.mend if result.judged.beyond else result.judged.why
        note = "; ".join(part for part in (result.note, why, limit) if part)
        unit = step.limit.unit if result.reading is not None else ""
        self._add(step.key, result.judged.outcome, result.reading, unit, note)
        if (
            step.shot == "shorted"
            and not step.compared
            and result.judged.outcome == "passed"
            and result.reading is not None
        ):
            # Computed now, with the welder file of the shot: the file may differ when the value is written to it.
            full = short_circuit_A(result.reading, self._welder, self._board)
            self._guide.say(f"At full conduction {full.text}: {full.source}.")
            self._add(
                SHORT_CIRCUIT,
                "passed",
                float(f"{full.middle:.3g}"),
                "A",
                f"{full.text} at full conduction; {full.source}",
            )

        sense = self._welder.current_sense
        if step.compared and sense is not None and result.judged.outcome == "passed" and result.reading is not None:
            factor = float(f"{result.reading * sense.reading_factor:.4g}")
            note = f"in the place of {sense.reading_factor:g}, by which the board was built; {result.note}"
            self._add(READING_FACTOR, "passed", factor, "", note)

    def _add(self, key: str, outcome: str, reading: float | None, unit: str, note: str) -> None:
        now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        board = "" if self._asked is None else self._asked.name
        check = CheckRecord(self._number, key, 0, now, board, outcome, reading, unit, note)
        self._records.add_check(check)
        self._checks.append(check)


def instead_of_reading(step: Step) -> tuple[str, ...]:
    """The words allowed in place of a step's reading: no instrument, or computation from the parts."""
    return (*((_NONE,) if step.tool_may_lack else ()), *((_PARTS,) if step.edge is not None else ()))


def _then(step: Step) -> str:
    """The instruction while the pedal is pressed."""
    if step.stops:
        return "the stop as soon as the load is on; keep the stop pressed"
    return "let go as soon as the load is on" if step.let_go else "hold it"


def _reading(step: Step, words: Sequence[str]) -> Callable[[str], str | float]:
    """Converter of a number (negative only where the step's reading is signed) or one of `words`."""
    numeric = number(-1e6 if step.signed else 0.0, 1e6)

    def read(text: str) -> str | float:
        return text if text in words else numeric(text)

    return read
