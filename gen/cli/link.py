"""Commands that speak to a board: `ports`, `flash`, `push`, `pull` and `schedules`."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gen.cautions import caution_lines
from gen.cli.plan import json_option, schedule_argument, welder_option
from gen.cli.prove import pace_asked, pace_option
from gen.cli.show import verdict_text
from gen.errors import InputError
from gen.job import find_welder, read_job
from gen.link import Link, LinkError
from gen.link.client import PATIENCE_S, BoardSchedule
from gen.link.flashing import OnBoard, bundle_board, bundle_schedule, flash, look, read_bundle
from gen.link.messages import NAME_PATTERN
from gen.link.ports import FoundPort, find_port
from gen.link.ports import ports as serial_ports
from gen.machine.welder import WELDER_FILE
from gen.records import Records
from gen.user_files import written
from gen.writing import check_targets, refused, write_whole

if TYPE_CHECKING:
    from gen.machine.welder import Welder


def _name(text: str) -> str:
    """The type of a schedule's name on the command line."""
    if re.fullmatch(NAME_PATTERN, text) is None:
        allowed = "allowed: at most 32 of a to z, 0 to 9, - and _, the first a letter or digit"
        raise click.BadParameter(f"{written(text)} given; {allowed}")
    return text


port_argument = click.argument("port", required=False)
_ASK_S = 1.5


def opened(port: str | None, patience_s: float = PATIENCE_S) -> Link:
    """The link to the board on `port`, or to the only one."""
    return Link(find_port(port), patience_s)


@click.command("ports")
@json_option
def ports_command(as_json: bool) -> None:
    """The serial ports of this computer, and what answers on each that belongs to a timer board."""
    found = [(port, _answer(port)) for port in serial_ports()]
    if as_json:
        told = [
            {
                "port": port.device,
                "description": port.description,
                "serial_number": port.serial_number,
                "board": port.board,
                "answer": answer,
            }
            for port, answer in found
        ]
        click.echo(json.dumps(told, indent=2))
        return
    for port, answer in found:
        click.echo(f"{port.device}: {port.description or 'no description'}")
        click.echo(f"  {answer}")
    if not any(port.board for port, _ in found):
        click.echo("No timer board found. A cable that only charges carries no data: try another one.")


def _answer(port: FoundPort) -> str:
    if not port.board:
        return "not asked: no timer board"
    try:
        with Link(port.device, _ASK_S) as link:
            hello = link.hello
            return f"Weldbeat {hello.version} on {hello.board}, schedule {hello.selected}, {link.status().state}"
    except LinkError as error:
        return error.key


@click.command("flash")
@click.argument("bundle", type=click.Path(path_type=Path))
@port_argument
@click.option("--yes", is_flag=True, help="Do not ask before the board's files are replaced.")
@click.option("--forget-schedules", is_flag=True, help="Also remove the schedules that were pushed to the board.")
def flash_command(bundle: Path, port: str | None, yes: bool, forget_schedules: bool) -> None:
    """Put the firmware in the folder BUNDLE, written by `weldbeat build`, onto the board on PORT.

    A running board is asked to stop first. Every file is checked after it was copied, and the board starts only when all
    are there. Without PORT the only board found is taken.
    """
    firmware = read_bundle(bundle)
    device = find_port(port)
    on_board = look(device, bundle_board(firmware))
    for line in caution_lines():
        click.echo(line)
    click.echo("")
    click.echo(f"{device}: {_now_on(on_board)}")
    click.echo(
        f"{bundle}: {bundle_board(firmware).title}, schedule {bundle_schedule(firmware)}, {len(firmware.files)} files"
    )
    for line in _replaced(on_board, forget_schedules):
        click.echo(line)
    if not yes:
        click.confirm("Replace it?", abort=True)
    hello = flash(device, firmware, on_board, forget_schedules, click.echo)
    click.echo(f"The board runs Weldbeat {hello.version} ({hello.bundle}); the next weld is {hello.selected}.")
    click.echo("First with the gate lead off and a lamp or a scope in its place.")


def _now_on(on_board: OnBoard) -> str:
    if on_board.hello is not None:
        return f"runs Weldbeat {on_board.hello.version}, schedule {on_board.hello.selected}"
    return f"MicroPython {'.'.join(str(part) for part in on_board.micropython)} on {on_board.machine}"


def _replaced(on_board: OnBoard, forget_schedules: bool) -> list[str]:
    """What will be gone, in words."""
    if on_board.damaged:
        return ["Will be replaced: its firmware, and its settings, which are damaged."]
    if on_board.schedules is not None:
        names = ", ".join(held.name for held in on_board.schedules.names)
        if forget_schedules:
            return [f"Will be gone: its firmware, and its schedules ({names}); `weldbeat pull` fetches one."]
        return [f"Will be replaced: its firmware. Its schedules stay ({names}) where the new limits allow them."]
    if on_board.files:
        return [
            f"Will be replaced or left beside it: {', '.join(on_board.files[:12])}{' ...' if len(on_board.files) > 12 else ''}"
        ]
    return ["The board holds no files."]


@click.command("push")
@schedule_argument
@port_argument
@welder_option
@pace_option
@click.option("--select", "select", is_flag=True, help="Also make it the schedule of the next weld.")
def push_command(schedule: Path, port: str | None, welder: Path | None, welds_per_minute: float, select: bool) -> int:
    """Compile and simulate SCHEDULE, and store it on the board on PORT under its name.

    Nothing is sent when the verdict refuses (exit code 1). The board checks it against the limits it was built with, and
    what it holds is read back and compared. Without PORT the only board found is taken.
    """
    job = read_job(schedule, welder)
    from sim.run import run as run_job

    run = run_job(job, pace_asked(welds_per_minute), seed=0)
    if run.verdict.refused:
        click.echo(verdict_text(run))
        click.echo("Nothing was sent.")
        return 1
    with opened(port) as link, Records.beside(welder or Path(WELDER_FILE)) as records:
        if link.hello.board != job.board.name:
            raise LinkError(
                link.port,
                f"is a {link.hello.board}, the welder file names {job.board.name}",
                "allowed: the board it names",
            )
        link.push(job.table)
        held = link.read(job.table.name)
        if held.digest != job.table.digest:
            raise LinkError(link.port, f"holds {held.digest}, sent was {job.table.digest}", "allowed: push it again")
        text = schedule.read_bytes().decode("utf-8-sig")
        records.add_pushed(held.digest, held.name, text, datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"))
        selected = link.select(held.name).selected if select else link.hello.selected
    click.echo(
        f"Verdict: {run.verdict.word}. {link.port} holds {held.name}, {len(held.rows)} rows, digest {held.digest}."
    )
    if selected == held.name:
        click.echo("It is the schedule of the next weld.")
    else:
        click.echo(f"The next weld is still {selected}; change that with `weldbeat schedules --select {held.name}`.")
    return 0


@click.command("pull")
@click.argument("name", type=_name, metavar="NAME")
@port_argument
@click.option("-o", "--output", type=click.Path(path_type=Path), help="The file to write. Otherwise NAME.toml here.")
@welder_option
def pull_command(name: str, port: str | None, output: Path | None, welder: Path | None) -> None:
    """Fetch the schedule NAME from the board on PORT as a schedule file.

    The file compiles to what the board holds, digest and all. One that was pushed from here comes back as it was written;
    another is written anew from the rows on the board. Without PORT the only board found is taken.
    """
    target = output or Path(f"{name}.toml")
    if target.exists() and output is None:
        why = f"{target} is there already; allowed: --output with a new file"
        raise InputError("command line", "NAME", written(name), why)
    if target.exists():
        raise refused("--output", target, "is there already; allowed: a new file")
    check_targets({"--output": target}, keep=(welder or Path(WELDER_FILE),))
    machine = find_welder(welder)
    with opened(port) as link, Records.beside(welder or Path(WELDER_FILE)) as records:
        held = link.read(name)
        text, origin = _as_file(held, machine, records)
    write_whole(target, text)
    click.echo(f"Written: {target}, {origin}; digest {held.digest}, as on the board.")


def _as_file(held: BoardSchedule, machine: Welder, records: Records) -> tuple[str, str]:
    """The schedule file, and where it comes from. Raises InputError where no file would compile to the same rows."""
    from gen.link.pulled import digest_under, rebuilt

    kept = records.pushed_text(held.digest)
    if kept is not None and digest_under(kept, held.name, machine) == held.digest:
        return kept, "as it was pushed"
    return rebuilt(held, machine), "written anew from its rows"


@click.command("schedules")
@port_argument
@click.option("--select", "select", type=_name, metavar="NAME", help="Make NAME the schedule of the next weld.")
@click.option("--remove", "remove", type=_name, metavar="NAME", help="Take NAME off the board.")
@json_option
def schedules_command(port: str | None, select: str | None, remove: str | None, as_json: bool) -> None:
    """List the schedules that the board on PORT holds; the selected one is what the next weld will be.

    Without PORT the only board found is taken.
    """
    with opened(port) as link:
        if select is not None:
            link.select(select)
        if remove is not None:
            link.remove(remove)
        found = link.schedules()
    if as_json:
        held = [{"name": name, "digest": digest} for name, digest in found.names]
        click.echo(json.dumps({"selected": found.selected, "schedules": held}, indent=2))
        return
    for name, digest in found.names:
        click.echo(f"{'*' if name == found.selected else ' '} {name:<32} {digest}")
    click.echo("* is the schedule of the next weld")
