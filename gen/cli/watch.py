"""`weldbeat watch`: what a board does, as it does it."""

from __future__ import annotations

import json
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import click

from gen import words
from gen.cli.given import number
from gen.cli.keys import Keys
from gen.cli.link import opened, port_argument
from gen.cli.plan import json_option, welder_option
from gen.job import find_welder
from gen.link.client import ARMED_S, Link
from gen.link.errors import Silent
from gen.link.messages import Status, WeldEntry
from gen.link.ports import unique_name
from gen.machine.welder import WELDER_FILE
from gen.records import Records, WeldRecord

_ANSWER_S = 0.25  # short, so that the stop key is heard while the board is silent in a weld
_PAUSE_S = 0.25
_PATIENCE_S = 15.0
IN_A_WELD = "in a weld (the board answers again when its off time is over)"
NO_EMERGENCY_STOP = "not an emergency stop"


@click.command("watch")
@port_argument
@welder_option
@click.option(
    "--for",
    "seconds",
    type=number(0.0, 1_000_000.0),
    metavar="SECONDS",
    help="End after so many seconds; otherwise Ctrl-C ends it.",
)
@json_option
def watch_command(port: str | None, welder: Path | None, seconds: float | None, as_json: bool) -> None:
    """Show mains frequency, state, welds and duty left of the board on PORT, and keep its welds in records.sqlite.

    Key s sends the stop line, which ends a weld. It is not an emergency stop: it needs this program, the cable and a
    board that listens. Without PORT the only board found is taken. With --json, one JSON object a line.
    """
    find_welder(welder)  # the records lie beside it
    until = None if seconds is None else time.monotonic() + seconds
    with opened(port, _PATIENCE_S) as link, Records.beside(welder or Path(WELDER_FILE)) as records, Keys() as keys:
        watch = _Watch(link, records, as_json)
        try:
            watch.begin()
            while until is None or time.monotonic() < until:
                watch.look()
                pause = time.monotonic() + _PAUSE_S
                while True:
                    if "s" in keys.pressed().lower():
                        watch.stop()
                    if time.monotonic() >= pause:
                        break
                    time.sleep(0.02)
        except KeyboardInterrupt:
            pass  # the way to end it
        finally:
            watch.end()


class _Watch:
    """One watch: what was shown last, and the last weld that was kept."""

    def __init__(self, link: Link, records: Records, as_json: bool) -> None:
        self._link = link
        self._records = records
        self._as_json = as_json
        self._live = sys.stdout.isatty() and not as_json
        hello = link.hello
        self._board = unique_name(link.port, hello.board)
        self._boot = hello.boot
        self._last = 0  # weld that was heard of
        self._selected = (hello.selected, hello.digest)
        self._began = time.monotonic()
        self._heard = self._began
        self._shown: tuple[str, ...] | None = None  # the state shown last; () in a weld, when the board says none

    def begin(self) -> None:
        """Say which board this is, and keep what it welded before."""
        hello = self._link.hello
        if self._as_json:
            self._json("board", {"name": self._board, **hello.model_dump()})
        else:
            click.echo(f"{self._board}, Weldbeat {hello.version}, schedule {hello.selected} ({hello.digest}).")
            click.echo(f"Key s: stop ({NO_EMERGENCY_STOP}). Ctrl-C: end watching.")
        self._hear(self._link.welds()[1])

    def look(self) -> None:
        """Ask once and show what is new."""
        try:
            status = self._link.status(_ANSWER_S, tries=1)
        except Silent:
            if time.monotonic() - self._heard > ARMED_S:
                raise
            if time.monotonic() - self._heard > 1.0:
                self._show_silence()
            return
        self._heard = time.monotonic()
        if status.selected != self._selected[0]:
            held = dict(self._link.schedules().names)
            self._selected = (status.selected, held.get(status.selected, ""))
        if status.welds != self._last:
            if status.welds < self._last:
                self._last = 0  # it has started anew
            self._boot, welds = self._link.welds(self._last)
            self._hear(welds)
        self._show(status)

    def stop(self) -> None:
        """Send the stop line."""
        self._link.stop()
        if self._as_json:
            self._json("stop", {"sent": True, "note": NO_EMERGENCY_STOP})
        else:
            self._line(f"stop sent ({NO_EMERGENCY_STOP})")

    def end(self) -> None:
        """Leave the terminal on a new line."""
        if self._live and self._shown is not None:
            click.echo("")

    def _hear(self, welds: list[WeldEntry]) -> None:
        now = datetime.now(UTC)
        watched_s = time.monotonic() - self._began
        records = []
        for weld in welds:
            ended_at = (now - timedelta(seconds=weld.age_s)).strftime("%Y-%m-%dT%H:%M:%SZ")
            name, digest = self._selected if weld.age_s < watched_s else (None, None)
            records.append(
                WeldRecord(
                    self._board,
                    self._boot,
                    weld.number,
                    ended_at,
                    words.ENDING_NAMES[weld.ending],
                    weld.planned,
                    weld.fired,
                    weld.duty_used_half_cycles,
                    name,
                    digest,
                )
            )
        self._records.add_welds(records)
        for record in records:
            self._last = max(self._last, record.count)
            if self._as_json:
                self._json("weld", vars(record))
            else:
                halves = f"{record.fired} of {record.planned} half-cycles"
                self._line(f"weld {record.count}: {record.ending}, {halves}, {record.ended_at}")

    def _show(self, status: Status) -> None:
        if self._as_json:
            self._json("status", status.model_dump())
            return
        mains = f"{status.mains_mHz / 1000:.2f} Hz" if status.mains_mHz else "no mains"
        state = status.state + (f": {status.reason}; {status.way_out}" if status.reason != "none" else "")
        duty = f"duty left {max(0, status.duty_left_half_cycles)} half-cycles"
        if status.duty_wait_s:
            duty += f" ({status.duty_wait_s} s until the next weld)"
        self._now((status.state, status.reason, status.way_out), f"{mains}  {state}  {duty}")

    def _show_silence(self) -> None:
        if self._as_json:
            self._json("silence", {"seconds": round(time.monotonic() - self._heard, 1)})
        else:
            self._now((), IN_A_WELD)

    def _now(self, state: tuple[str, ...], text: str) -> None:
        """The state: on a terminal one line that changes, elsewhere a line where the state is new, whatever else is."""
        if self._live:
            click.echo(f"\r\x1b[K{text}", nl=False)
        elif state != self._shown:
            click.echo(text)
        self._shown = state

    def _line(self, text: str) -> None:
        click.echo(f"\r\x1b[K{text}" if self._live else text)

    def _json(self, kind: str, content: dict[str, object]) -> None:
        click.echo(json.dumps({"type": kind, **content}))
        sys.stdout.flush()
