"""The commands for a board: `ports`, `flash`, `push`, `pull`, `schedules` and `watch`."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path
from typing import Any

import click

from gen.cautions import AT_THE_ELECTRODES, CAUTIONS, caution_lines
from gen.cli.options import (
    USER_PATH,
    json_option,
    number,
    pace_asked,
    pace_option,
    port_argument,
    schedule_argument,
    taken,
    welder_option,
)
from gen.cli.said import say, say_data, say_object, say_over, visible
from gen.cli.show import cut_off_json, cut_off_lines, verdict_text
from gen.cli.terminal import Keys
from gen.commissioning import may_last_too_long, shorted_job
from gen.errors import InputError
from gen.job import find_welder, read_job
from gen.link import Link, Look, Watch, answer_on, as_file, push, schedule_name
from gen.link.client import PATIENCE_S
from gen.link.flashing import bundle_board, bundle_fitted, bundle_schedule, flash, look, now_on, read_bundle, replaced
from gen.link.messages import Hello
from gen.link.ports import find_port
from gen.link.ports import ports as serial_ports
from gen.link.watching import IN_A_WELD, NO_EMERGENCY_STOP, computed_current
from gen.machine import WELDER_FILE
from gen.measured import correction_text, course_of, text_chart
from gen.ranges import Figure
from gen.records import Records, WeldRecord
from gen.user_files import written
from gen.words import LASTING, REASON_NAMES
from gen.writing import check_targets, refused, write_whole

CHECK_FIRST = (
    "With the welder isolated and locked off, and shown dead by a tester. A board that is cleared welds again, whatever is "
    "wrong with the machine."
)


def opened(port: str | None, patience_s: float = PATIENCE_S) -> Link:
    """The link to the board on `port`, or to the only one."""
    return Link(find_port(port), patience_s)


@click.command("ports")
@json_option
def ports_command(as_json: bool) -> None:
    """The serial ports of this computer, and what answers on those of timer boards."""
    found = [(port, answer_on(port)) for port in serial_ports()]
    if as_json:
        listed = [
            {
                "port": port.device,
                "description": port.description,
                "serial_number": port.serial_number,
                "board": port.board,
                "answer": answer,
            }
            for port, answer in found
        ]
        say_data(json.dumps(listed, indent=2))
        return
    for port, answer in found:
        say(f"{port.device}: {port.description or 'no description'}")
        say(f"  {answer}")
    if not any(port.board for port, _ in found):
        say("No timer board found. Some cables only charge and carry no data: try another one.")


@click.command("flash")
@click.argument("bundle", type=USER_PATH)
@port_argument
@click.option("--yes", is_flag=True, help="Do not ask before the board's files are replaced.")
@click.option("--forget-schedules", is_flag=True, help="Also remove the schedules that were pushed to the board.")
@json_option
def flash_command(bundle: Path, port: str | None, yes: bool, forget_schedules: bool, as_json: bool) -> int:
    """Put the firmware in the folder BUNDLE, written by `weldbeat build`, onto the board on PORT.

    A machine that lacks a part that must end a faulty weld is refused, as by `build`: nothing is sent (exit code 1). A
    running board is asked to stop first. Every file is checked after it was copied, and the board starts only when all are
    there. Without PORT it takes the only board found. With --json it asks nothing, and copies nothing without --yes.
    """
    firmware = read_bundle(bundle)
    from sim.verdict.cut_off import findings_of
    from sim.verdict.finding import cut_off_named

    ends = findings_of(bundle_fitted(firmware))
    amiss = [finding for finding in ends if finding.severity != "passed"]
    if any(finding.severity == "refuse" for finding in amiss):
        if as_json:
            nothing: dict[str, Any] = {"port": None, "was": None, "replaced": [], "runs": None, "refused": True}
            say_object(nothing | {"cut_off": cut_off_json(ends), "cautions": CAUTIONS})
        else:
            say("\n".join(cut_off_lines(amiss, cut_off_named(ends))[1:]))
            say("Nothing was sent.")
        return 1
    device = find_port(port)
    on_board = look(device, bundle_board(firmware))
    if as_json:
        runs = flash(device, firmware, on_board, forget_schedules, lambda line: None) if yes else None
        say_object(
            {
                "port": device,
                "was": now_on(on_board),
                "replaced": replaced(on_board, forget_schedules),
                "runs": runs and {"version": runs.version, "bundle": runs.bundle, "selected": runs.selected},
                "refused": False,
                "cut_off": cut_off_json(ends),
                "cautions": CAUTIONS,
            }
        )
        return 0
    for line in caution_lines():
        say(line)
    say("")
    say(f"{device}: {now_on(on_board)}")
    say(f"{bundle}: {bundle_board(firmware).title}, schedule {bundle_schedule(firmware)}, {len(firmware.files)} files")
    for line in replaced(on_board, forget_schedules):
        say(line)
    if not yes:
        click.confirm(visible("Replace it?"), abort=True)
    hello = flash(device, firmware, on_board, forget_schedules, say)
    say(f"The board runs Weldbeat {hello.version} ({hello.bundle}); the next weld is {hello.selected}.")
    say("First with the gate lead off and a lamp or a scope in its place.")
    return 0


@click.command("push")
@schedule_argument
@port_argument
@welder_option
@pace_option
@click.option("--select", "select", is_flag=True, help="Also make it the schedule of the next weld.")
@click.option("--shorted", is_flag=True, help="Judge it on shorted electrodes, as for `weldbeat calibrate --loop`.")
@json_option
def push_command(
    schedule: Path, port: str | None, welder_path: Path | None, welds_per_minute: float, as_json: bool, **wanted: bool
) -> int:
    """Compile and simulate SCHEDULE, and store it on the board on PORT under its name.

    If the verdict refuses, nothing is sent (exit code 1). The board checks the schedule against the limits of its build. The
    stored schedule is read back and compared. Without PORT it takes the only board found.
    """
    job = read_job(schedule, welder_path)
    from sim.run import run as run_job

    run = run_job(shorted_job(job) if wanted["shorted"] else job, pace_asked(welds_per_minute), seed=0)
    if run.verdict.refused and as_json:
        nothing = {"port": None, "held": None, "selected": None, "cut_off": cut_off_json(run.verdict.findings)}
        say_object({"verdict": run.verdict.word, "refused": True} | nothing)
        return 1
    if run.verdict.refused:
        say(verdict_text(run))
        say("Nothing was sent.")
        return 1
    with opened(port) as link, Records.beside(welder_path or Path(WELDER_FILE)) as records:
        pushed = push(job, schedule, link, records, wanted["select"])
    held = pushed.held
    if as_json:
        stored = {"name": held.name, "digest": held.digest, "rows": len(held.rows)}
        verdict = {"verdict": run.verdict.word, "refused": False, "cut_off": cut_off_json(run.verdict.findings)}
        say_object(verdict | {"port": link.port, "held": stored, "selected": pushed.selected})
        return 0
    say(f"Verdict: {run.verdict.word}. {link.port} holds {held.name}, {len(held.rows)} rows, digest {held.digest}.")
    if pushed.selected == held.name:
        say("It is the schedule of the next weld.")
    else:
        say(f"The next weld is still {pushed.selected}; change that with `weldbeat schedules --select {held.name}`.")
    if wanted["shorted"]:
        say("It is judged on shorted electrodes: press them together, with nothing between, before each weld.")
        if may_last_too_long(job.welder):
            say(
                "The board may end it, since its current lasts longer than the load angle of the welder file allows. If so, "
                "leave load_angle_min_deg and load_angle_max_deg out of the file, build and flash it, and push this again."
            )
        for line in caution_lines(cautions=AT_THE_ELECTRODES):
            say(line)
    return 0


@click.command("pull")
@click.argument("name", type=taken(schedule_name), metavar="NAME")
@port_argument
@click.option("-o", "--output", type=USER_PATH, help="The file to write. Otherwise NAME.toml here.")
@welder_option
@json_option
def pull_command(name: str, port: str | None, output: Path | None, welder_path: Path | None, as_json: bool) -> None:
    """Fetch the schedule NAME from the board on PORT as a schedule file.

    The file compiles to the schedule on the board, with the same digest. A schedule pushed from here comes back as it was
    written; another is rebuilt from the rows on the board. Without PORT it takes the only board found.
    """
    target = output or Path(f"{name}.toml")
    if target.exists() and output is None:
        why = f"{target} is there already; allowed: --output with a new file"
        raise InputError("command line", "NAME", written(name), why)
    if target.exists():
        raise refused("--output", target, "is there already; allowed: a new file")
    check_targets({"--output": target}, keep=(welder_path or Path(WELDER_FILE),))
    welder = find_welder(welder_path)
    with opened(port) as link, Records.beside(welder_path or Path(WELDER_FILE)) as records:
        held = link.read(name)
        text, origin = as_file(held, welder, records)
    write_whole(target, text)
    if as_json:
        say_object({"name": name, "digest": held.digest, "written": str(target), "origin": origin})
        return
    say(f"Written: {target}, {origin}; digest {held.digest}, as on the board.")


@click.command("schedules")
@port_argument
@click.option(
    "--select", "select", type=taken(schedule_name), metavar="NAME", help="Make NAME the schedule of the next weld."
)
@click.option("--remove", "remove", type=taken(schedule_name), metavar="NAME", help="Remove NAME from the board.")
@json_option
def schedules_command(port: str | None, select: str | None, remove: str | None, as_json: bool) -> None:
    """List the schedules on the board on PORT. The selected one is the schedule of the next weld.

    Without PORT it takes the only board found.
    """
    with opened(port) as link:
        if select is not None:
            link.select(select)
        if remove is not None:
            link.remove(remove)
        found = link.schedules()
    if as_json:
        held = [{"name": name, "digest": digest} for name, digest in found.names]
        say_data(json.dumps({"selected": found.selected, "schedules": held}, indent=2))
        return
    for name, digest in found.names:
        say(f"{'*' if name == found.selected else ' '} {name:<32} {digest}")
    say("* is the schedule of the next weld")


@click.command("clear")
@port_argument
@click.option("--yes", is_flag=True, help="Do not ask: it was checked.")
@json_option
def clear_command(port: str | None, yes: bool, as_json: bool) -> int:
    """End a lockout of the board on PORT that outlasts the power: a shorted switch, one half of it dead, a welded contactor.

    It says what must be checked first, with the welder isolated and locked off, and asks. A fault that is still there locks
    out again. Without PORT the only board found is taken. With --json it asks nothing, and ends a lockout only with --yes.
    Exit code 1 if no lockout was ended.
    """
    with opened(port) as link:
        status = link.status()
        lasts = status.reason in {REASON_NAMES[reason] for reason in LASTING}
        if not as_json:
            if not lasts:
                say(f"{link.port}: {status.state}{f': {status.reason}' if status.reason != 'none' else ''}.")
                say("No lockout that outlasts the power stands. Any other ends by what `weldbeat watch` says of it.")
                return 1
            say(f"{link.port} is locked out: {status.reason}.")
            say(f"What to do first: {status.way_out}.")
            say(CHECK_FIRST)
            if not yes:
                click.confirm(visible("Is that done?"), abort=True)
        done = lasts and (yes or not as_json)
        if done:
            link.clear(status.reason)
        after = link.status()
    if as_json:
        told = {"port": link.port, "was": status.reason, "way_out": status.way_out, "cleared": done}
        say_object(told | {"state": after.state, "reason": after.reason})
    else:
        say(f"Cleared. The board is {after.state}{f': {after.reason}' if after.reason != 'none' else ''}.")
    return 0 if done else 1


_PAUSE_S = 0.25
_WATCH_PATIENCE_S = 15.0


@click.command("watch")
@port_argument
@welder_option
@click.option(
    "--for",
    "seconds",
    type=number(0.0, 1_000_000.0),
    metavar="SECONDS",
    help="End after this time; otherwise Ctrl-C ends it.",
)
@json_option
def watch_command(port: str | None, welder_path: Path | None, seconds: float | None, as_json: bool) -> None:
    """Show mains frequency, state, welds and duty left of the board on PORT, and keep its welds in records.sqlite.

    Key s sends the stop line, which ends a weld. It is not an emergency stop: it needs this program, the cable and a
    board that listens. Without PORT it takes the only board found. With --json it prints one JSON object a line.
    """
    welder = find_welder(welder_path)  # the records are in its folder
    until = None if seconds is None else time.monotonic() + seconds
    with (
        opened(port, _WATCH_PATIENCE_S) as link,
        Records.beside(welder_path or Path(WELDER_FILE)) as records,
        Keys() as keys,
    ):
        watch = Watch(link, records)
        shown = _Shown(as_json, partial(computed_current, records=records, welder=welder))
        try:
            shown.board(watch.board, link.hello)
            shown.welds(watch.begin())
            while until is None or time.monotonic() < until:
                seen = watch.look()
                if seen is not None:
                    shown.welds(seen.welds)
                    shown.curve(seen)
                    shown.look(seen)
                pause = time.monotonic() + _PAUSE_S
                while True:
                    if "s" in keys.pressed().lower():
                        watch.stop()
                        shown.stop()
                    if time.monotonic() >= pause:
                        break
                    time.sleep(0.02)
        except KeyboardInterrupt:
            pass  # the way to end it
        finally:
            shown.end()


class _Shown:
    """Prints a watch: in a terminal with a last line that changes, elsewhere with a line for each change."""

    def __init__(self, as_json: bool, delivers: Callable[[WeldRecord], Figure | None]) -> None:
        self._as_json = as_json
        self._delivers = delivers
        self._live = sys.stdout.isatty() and not as_json
        self._last: tuple[str, ...] | None = (
            None  # the state printed last; () in a weld, when the board does not answer
        )

    def board(self, name: str, hello: Hello) -> None:
        if self._as_json:
            self._json("board", {"name": name, **hello.model_dump()})
        else:
            say(f"{name}, Weldbeat {hello.version}, schedule {hello.selected} ({hello.digest}).")
            say(f"Key s: stop ({NO_EMERGENCY_STOP}). Ctrl-C: end watching.")

    def welds(self, records: Iterable[WeldRecord]) -> None:
        for record in records:
            if self._as_json:
                self._json("weld", vars(record))
            else:
                halves = f"{record.fired} of {record.planned} half-cycles"
                current = self._delivers(record)
                flowed = f", calculated {current.text}" if current else ""
                self._line(f"weld {record.count}: {record.ending}, {halves}{flowed}, {record.ended_at}")
                if told := correction_text(record):
                    self._line(told)

    def curve(self, look: Look) -> None:
        """Print the currents of the last weld as a curve."""
        if not look.curve:
            return
        if self._as_json:
            self._json("curve", {"half_cycles": [vars(gate) for gate in look.curve]})
            return
        course = course_of(look.welds[-1], look.curve)
        chart = text_chart(course)
        if chart:
            self._line("resistance of the loop over its reactance, by cycle:")
            for line in chart:
                say(line)
        for gate in course.sudden_falls:
            say(f"The resistance fell suddenly at half-cycle {gate + 1}: expulsion is likely.")

    def look(self, look: Look) -> None:
        status = look.status
        if status is None and self._as_json:
            self._json("silence", {"seconds": round(look.silent_s, 1)})
        elif status is None:
            self._now((), IN_A_WELD)
        elif self._as_json:
            self._json("status", status.model_dump())
        else:
            state = status.state + (f": {status.reason}; {status.way_out}" if status.reason != "none" else "")
            if status.failure:
                state += f" ({status.failure})"
            mains = f"{status.mains_mHz / 1000:.2f} Hz" if status.mains_mHz else "no mains"
            duty = f"duty left {max(0, status.duty_left_half_cycles)} half-cycles"
            if status.duty_wait_s:
                duty += f" ({status.duty_wait_s} s until the next weld)"
            self._now((status.state, status.reason, status.way_out), f"{mains}  {state}  {duty}")

    def stop(self) -> None:
        if self._as_json:
            self._json("stop", {"sent": True, "note": NO_EMERGENCY_STOP})
        else:
            self._line(f"stop sent ({NO_EMERGENCY_STOP})")

    def end(self) -> None:
        """Leave the terminal on a new line."""
        if self._live and self._last is not None:
            say("")

    def _now(self, state: tuple[str, ...], text: str) -> None:
        """Print the state: on a terminal on a line that changes, elsewhere a line whenever the state is new."""
        if self._live:
            say_over(text)
        elif state != self._last:
            say(text)
        self._last = state

    def _line(self, text: str) -> None:
        say(f"\r\x1b[K{text}" if self._live else text)

    def _json(self, kind: str, content: dict[str, object]) -> None:
        say_data(json.dumps({"type": kind, **content}))
        sys.stdout.flush()
