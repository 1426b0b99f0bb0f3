"""Watches a board: asks its status again and again, and keeps its welds in the records."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from gen import words
from gen.current import delivered
from gen.errors import InputError
from gen.job import board_of
from gen.link.client import ARMED_S, Link
from gen.link.errors import BoardRefused, Silent
from gen.link.messages import CurveEntry, Status, WeldEntry
from gen.link.ports import unique_name
from gen.machine import Welder
from gen.ranges import Figure
from gen.records import GateRecord, Records, WeldRecord
from gen.schedule import schedule_from
from gen.timing import compile_schedule

_ANSWER_S = 0.25  # short, so that the user's stop is sent soon while the board is silent in a weld
_NOTICED_S = 1.0  # a board silent for longer is taken to be in a weld
IN_A_WELD = "in a weld (the board answers again when its off time is over)"
NO_EMERGENCY_STOP = "not an emergency stop"


@dataclass(frozen=True)
class Look:
    """The result of one look."""

    status: Status | None
    """None: the board was silent."""
    silent_s: float
    """Time since the board's last answer."""
    welds: tuple[WeldRecord, ...] = ()
    """The welds kept at this look."""
    curve: tuple[GateRecord, ...] = ()
    """The gates of the last of them, if the board timed their currents."""


def computed_current(weld: WeldRecord, records: Records, welder: Welder) -> Figure | None:
    """The current in amperes that the longest row of a weld's schedule delivers by the welder file. It is not measured.

    None if the schedule's text was not kept, or no longer compiles to the same table.
    """
    text = records.pushed_text(weld.digest) if weld.digest else None
    if text is None:
        return None
    path = Path(f"{weld.schedule}.toml")
    try:
        table = compile_schedule(schedule_from(text, path), welder, board_of(welder), path)
    except InputError:
        return None
    fired = [row for row in table.rows if row.firing_delay_us is not None]
    if table.digest != weld.digest or not fired:
        return None
    return delivered(welder.machine.in_use.working, max(fired, key=lambda row: row.half_cycles).share)


class Watch:
    """One watch of the board on an open link. It knows the last weld kept and the time of the last answer."""

    def __init__(self, link: Link, records: Records) -> None:
        self._link = link
        self._records = records
        hello = link.hello
        self.board = unique_name(link.port, hello.board)
        self._boot = hello.boot
        self._last = 0  # number of the last weld kept
        self._selected = (hello.selected, hello.digest)
        self._began = time.monotonic()
        self._heard = self._began

    def begin(self) -> tuple[WeldRecord, ...]:
        """Keep the welds made before the watch. Raises LinkError."""
        return self._keep(self._link.welds()[1])

    def look(self) -> Look | None:
        """Ask once. None: the board has just fallen silent. Raises LinkError after too long a silence."""
        try:
            status = self._link.status(_ANSWER_S, tries=1)
        except Silent:
            silent_s = time.monotonic() - self._heard
            if silent_s > ARMED_S:
                raise
            return Look(None, silent_s) if silent_s > _NOTICED_S else None
        self._heard = time.monotonic()
        if status.selected != self._selected[0]:
            held = dict(self._link.schedules().names)
            self._selected = (status.selected, held.get(status.selected, ""))
        welds: tuple[WeldRecord, ...] = ()
        curve: tuple[GateRecord, ...] = ()
        if status.welds != self._last:
            if status.welds < self._last:
                self._last = 0  # the board has restarted
            self._boot, entries = self._link.welds(self._last)
            welds = self._keep(entries)
            curve = self._keep_curve(welds)
        return Look(status, 0.0, welds, curve)

    def stop(self) -> None:
        """Send the stop line, which ends a weld. It is not an emergency stop."""
        self._link.stop()

    def _keep_curve(self, welds: tuple[WeldRecord, ...]) -> tuple[GateRecord, ...]:
        """Keep the gates of the board's last weld, if that is the last of `welds`. An older firmware has none."""
        try:
            boot, number, entries = self._link.curve()
        except BoardRefused as refused:
            if refused.code != words.UNKNOWN_METHOD:
                raise
            return ()
        if not welds or (boot, number) != (welds[-1].boot, welds[-1].count):
            return ()
        gates = tuple(self._gate(boot, number, n, entry) for n, entry in enumerate(entries))
        self._records.add_curve(gates)
        return gates

    def _gate(self, boot: int, number: int, n: int, entry: CurveEntry) -> GateRecord:
        measured = entry.current_dA >= 0
        current_A, peak_A = (entry.current_dA / 10, entry.peak_dA / 10) if measured else (None, None)
        timed = (entry.delay_us, entry.length_us, entry.half_us)
        return GateRecord(self.board, boot, number, n, *timed, current_A, peak_A)

    def _keep(self, welds: Iterable[WeldEntry]) -> tuple[WeldRecord, ...]:
        now = datetime.now(UTC)
        watched_s = time.monotonic() - self._began
        records = []
        for weld in welds:
            ended_at = (now - timedelta(seconds=weld.age_s)).strftime("%Y-%m-%dT%H:%M:%SZ")
            name, digest = self._selected if weld.age_s < watched_s else (None, None)
            records.append(
                WeldRecord(
                    self.board,
                    self._boot,
                    weld.number,
                    ended_at,
                    words.ENDING_NAMES[weld.ending],
                    weld.planned,
                    weld.fired,
                    weld.duty_used_half_cycles,
                    name,
                    digest,
                    weld.fired_for_permille / 10 or None,
                    words.CORRECTION_NAMES[weld.correction] if weld.fired_for_permille else None,
                )
            )
        self._records.add_welds(records)
        self._last = max((self._last, *(record.count for record in records)))
        return tuple(records)
