"""`weldbeat commission`: walks the steps from unpowered to the first weld, keeps every reading, stops at a failed step."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import click

from gen.boards import Board, boards
from gen.cautions import CAUTIONS, caution_lines
from gen.cli.calibrate import offer, readings_for_file
from gen.cli.commission_board import BoardAsked, judge_log
from gen.cli.given import number
from gen.cli.job import Job, find_welder, run_job
from gen.cli.plan import welder_option
from gen.cli.show import verdict_text
from gen.commissioning.sheet import record_html, sheet_html
from gen.commissioning.shots import short_circuit_A, shot
from gen.commissioning.steps import SHORT_CIRCUIT, steps
from gen.commissioning.walk import NO_BOARD, NO_TOOL, Judged, Stage, Step, is_done, judge
from gen.errors import InputError
from gen.link import Link
from gen.link.errors import Unplugged
from gen.link.ports import find_port
from gen.machine.welder import WELDER_FILE, Welder
from gen.records import RECORDS_FILE, CheckRecord, Records
from gen.user_files import written
from gen.wiring.detector_offset import DetectorParts, offset_from_parts
from gen.writing import check_targets, write_whole

_PATIENCE_S = 15.0
_WIDTH = 116
_NONE, _PARTS = "none", "parts"
# option's value of DetectorParts, question, most
_PARTS_ASKED = (
    ("series_ohm", "Resistance before the optocoupler's LED, ohm", 1e7),
    ("pull_ohm", "Resistance at its output, ohm", 1e7),
    ("transfer_low_percent", "Current transfer ratio, least of the data sheet, %", 1e4),
    ("transfer_high_percent", "Current transfer ratio, greatest, %", 1e4),
    ("delay_low_us", "Delay of its output, least, us", 1e4),
    ("delay_high_us", "Delay of its output, greatest, us", 1e4),
)


@click.command("commission")
@click.argument("port", required=False)
@welder_option
@click.option(
    "--sheet", type=click.Path(path_type=Path), help="Write the numbered steps as a sheet, one HTML file; no walk."
)
@click.option(
    "--record", type=click.Path(path_type=Path), help="Write the last walk as a record to sign, HTML; no walk."
)
@click.option("--anew", is_flag=True, help="Begin a new walk, from the first step.")
def commission_command(
    port: str | None, welder: Path | None, sheet: Path | None, record: Path | None, anew: bool
) -> int:
    """Walk the steps that take the welder from unpowered to its first weld, with the board on PORT.

    Each step says what must be off and on and what to read, and is judged against a limit with its source. A failed step
    ends the walk (exit code 1); the same command goes on with it when it is mended. Readings are kept in records.sqlite.
    Without PORT the only board found is asked; without any, the steps that need one say "not checked".
    """
    machine, path = find_welder(welder), welder or Path(WELDER_FILE)
    board = boards()[machine.board.name]
    kept = path.absolute().parent / RECORDS_FILE
    check_targets({"--sheet": sheet, "--record": record}, keep=(path, kept))
    if sheet is not None or record is not None:
        for what, given in (("PORT", port), ("--anew", anew or None)):
            if given is not None:
                shown = None if given is True else written(given)
                raise InputError("command line", what, shown, "no walk is made; allowed: without --sheet and --record")
        _write(sheet, record, machine, board, kept)
        return 0
    device = port or _only_board()
    with ExitStack() as stack:
        link = stack.enter_context(Link(device, _PATIENCE_S)) if device else None
        asked = None if link is None else BoardAsked(link, machine, _say)
        records = stack.enter_context(Records(kept))
        if asked is not None:
            stack.callback(asked.put_back)
        return _Walk(machine, board, asked, records, path, anew).go()


def _only_board() -> str | None:
    try:
        return find_port(None)
    except Unplugged:
        return None


def _write(sheet: Path | None, record: Path | None, machine: Welder, board: Board, kept: Path) -> None:
    """The printable files, both made before the first is written."""
    made: list[tuple[Path, str]] = []
    if sheet is not None:
        made.append((sheet, sheet_html(machine, board, steps(machine, board))))
    if record is not None:
        checks = []
        if kept.exists():
            with Records(kept) as records:
                checks = records.checks()
        if not checks:
            allowed = "allowed: a walk with `weldbeat commission` before"
            raise InputError(RECORDS_FILE, "no commissioning in it", None, allowed)
        walk = [check for check in checks if check.walk == checks[-1].walk]
        made.append((record, record_html(machine, board, steps(machine, board), walk)))
    for path, text in made:
        write_whole(path, text)
        click.echo(f"Written: {path}")


def _say(text: str) -> None:
    for line in textwrap.wrap(text, _WIDTH, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False):
        click.echo(line)


@dataclass(frozen=True)
class _Result:
    """What came of a step, for the records."""

    judged: Judged
    reading: float | None = None
    note: str = ""


class _Walk:
    """One commissioning: the steps that are behind it, and the one that is next."""

    def __init__(
        self, welder: Welder, board: Board, asked: BoardAsked | None, records: Records, path: Path, anew: bool
    ) -> None:
        self._welder = welder
        self._board = board
        self._asked = asked
        self._records = records
        self._path = path
        checks = records.checks()
        last = checks[-1].walk if checks else 0
        self._number = last + 1 if anew or not checks else last

    def go(self) -> int:
        """Walk on from the first step that is not passed. Exit code 0 at the end, 1 at a failed step."""
        for line in caution_lines():
            click.echo(line)
        stage: Stage | None = None
        ahead = self._steps()
        names = [step.name for step in ahead]
        for place, name in enumerate(names):
            step = ahead[place]
            outcomes = {check.step: check.outcome for check in self._checks()}
            if is_done(step, outcomes.get(name), self._asked is not None):
                continue
            click.echo("")
            left_out = step.lacking or (NO_BOARD if step.needs_board and self._asked is None else "")
            if not left_out and (stage is None or stage.title != step.stage.title):
                stage = step.stage
                _enter(stage)
            click.echo(f"Step {place + 1} of {len(names)}: {step.title}")
            result = _Result(Judged("not checked", left_out)) if left_out else self._take(step)
            self._keep(step, result)
            if result.judged.outcome == "failed":
                _say(f"FAILED: {result.judged.why}")
                click.echo(
                    f"Stopped at step {place + 1}. Isolate and lock off; when it is mended the same command goes on with it."
                )
                return 1
            if result.reading is not None:
                ahead = self._steps()  # limits may rest on it
            why = result.judged.why and f": {result.judged.why}"
            _say(f"{result.judged.outcome}{why}")
        return self._finish(names)

    def _steps(self) -> tuple[Step, ...]:
        passed = {c.step: c.reading for c in self._checks() if c.outcome == "passed" and c.reading is not None}
        return steps(self._welder, self._board, passed)

    def _checks(self) -> list[CheckRecord]:
        return self._records.checks(self._number)

    def _take(self, step: Step) -> _Result:
        for line in step.do if step.contact is None else ():
            _say(line)
        if step.limit_text:
            _say(f"Limit: {step.limit_text} ({step.limit.source})")
        if step.contact is not None and self._asked is not None:
            return _Result(self._asked.contact(step.contact))
        if step.shot and self._asked is not None:
            return self._shoot(step, self._asked)
        if step.name == "frequency" and self._asked is not None:
            hertz, wrong = self._asked.frequency()
            if wrong:
                return _Result(Judged("failed", f"{wrong}; {step.mend}"))
            return _Result(judge(step, hertz), hertz)
        return self._read(step)

    def _read(self, step: Step) -> _Result:
        """Have a reading typed, and judge it."""
        words = [*([_NONE] if step.tool_may_lack else []), *([_PARTS] if step.name.startswith("offset-") else [])]
        others = "".join(f", or {word}" for word in words)
        answer = click.prompt(f"  {step.read}: reading in {step.limit.unit}{others}", value_proc=_reading(step, words))
        if answer == _NONE:
            return _Result(Judged("not checked", NO_TOOL))
        if answer == _PARTS:
            return self._from_parts(step)
        return _Result(judge(step, float(answer)), float(answer))

    def _from_parts(self, step: Step) -> _Result:
        """The detector's offset from its parts: a band, in which the file's value must lie."""
        given = {
            key: click.prompt(f"  {question}", value_proc=number(0.0 if key.startswith("delay") else 0.001, most))
            for key, question, most in _PARTS_ASKED
        }
        mains = self._welder.mains
        falling = step.name == "offset-fall"
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
            return _Result(Judged("passed", note), None, note)
        return _Result(Judged("failed", f"{note}; the welder file says {held} us; {step.mend}"))

    def _shoot(self, step: Step, asked: BoardAsked) -> _Result:
        """Judge a shot beforehand, have it made, and hold reading and log against what was planned."""
        if step.tool_may_lack and not click.confirm(f"  To read {step.read}: is there one?"):
            return _Result(Judged("not checked", NO_TOOL))
        table = None
        if step.shot != "selected":
            planned = shot(step.shot, self._welder, self._board)
            table = planned.table
            job = Job(planned.schedule, planned.meets, self._board, table)
            run = run_job(job, 1, 1, seed=0)
            if run.verdict.refused:
                click.echo(verdict_text(run))
                return _Result(
                    Judged("failed", "the verdict refuses this shot, and nothing was sent; mend what it names")
                )
        ready = asked.load(table)
        if ready.outcome == "failed":
            return _Result(ready)
        _say("Now: press the pedal and hold it.")
        if not asked.pressed():
            return _Result(Judged("failed", "the board took no pedal; press it again when the walk goes on"))
        reading = float(click.prompt(f"  {step.read}: reading in A", value_proc=_reading(step, [])))
        entry, state = asked.weld()
        log = judge_log(step, entry, None if table is None else table.fired_half_cycles, state)
        judged = judge(step, reading)
        if log.outcome == "failed":
            return _Result(log, reading)
        return _Result(judged, reading, log.why)

    def _keep(self, step: Step, result: _Result) -> None:
        limit = f"limit: {step.limit_text} ({step.limit.source})" if step.limit_text and not step.lacking else ""
        beyond = result.judged.outcome == "failed" and result.judged == judge(step, result.reading)
        why = step.mend if beyond else "" if result.judged.why == result.note else result.judged.why
        note = "; ".join(part for part in (result.note, why, limit) if part)
        unit = step.limit.unit if result.reading is not None else ""
        self._add(step.name, result.judged.outcome, result.reading, unit, note)
        if step.name == "shorted" and result.judged.outcome == "passed" and result.reading is not None:
            # Reckoned now, with the file that the shot was made from: it may be another when the value is put into it.
            full = short_circuit_A(result.reading, self._welder, self._board)
            _say(f"At full conduction {full.text}: {full.source}.")
            self._add(
                SHORT_CIRCUIT,
                "passed",
                float(f"{full.middle:.3g}"),
                "A",
                f"{full.text} at full conduction; {full.source}",
            )

    def _add(self, name: str, outcome: str, reading: float | None, unit: str, note: str) -> None:
        now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        board = "" if self._asked is None else self._asked.name
        self._records.add_check(CheckRecord(self._number, name, 0, now, board, outcome, reading, unit, note))

    def _finish(self, names: list[str]) -> int:
        """Say what was left out, and offer the readings to the welder file."""
        last = {check.step: check for check in self._checks()}
        left_out = [name for name in names if last[name].outcome != "passed"]
        click.echo("")
        click.echo(f"Walk {self._number}: {len(names) - len(left_out)} of {len(names)} steps passed.")
        if left_out:
            click.echo(f"Not checked: {', '.join(left_out)}.")
        click.echo(
            "The record to sign: weldbeat commission --record FILE.html. A new walk: weldbeat commission --anew."
        )
        values = readings_for_file(self._checks(), self._welder)
        if values:
            click.echo("The readings, in the place of what the welder file holds:")
            offer(self._path, values, yes=False)
        return 0


def _enter(stage: Stage) -> None:
    """Say what must be off and on for the steps to come, and have it confirmed."""
    click.echo(stage.title)
    for line in stage.state:
        _say(line)
    for place in stage.cautions:
        _say(f"- {CAUTIONS[place]}")
    click.confirm("  Is all of this so?", abort=True)


def _reading(step: Step, words: list[str]) -> Callable[[str], str | float]:
    """A prompt's type: a number, below nothing only where the step's reading has a sign, or one of `words`."""
    signed = step.name in ("offset-rise", "offset-fall", "open-balance")
    numeric = number(-1e6 if signed else 0.0, 1e6)

    def convert(text: str) -> str | float:
        return text if text in words else numeric(text)

    return convert
