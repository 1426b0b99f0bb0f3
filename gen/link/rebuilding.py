"""Rebuilds a schedule file from the rows on a board: one that compiles to the same rows, where there is one."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, groupby, islice
from pathlib import Path

from gen.boards import Board, boards
from gen.current import PercentScale, scale_of
from gen.errors import InputError
from gen.link.client import BoardSchedule, wire_rows
from gen.link.messages import Row
from gen.machine.welder import Welder
from gen.schedule import schedule_from
from gen.table import TimingTable
from gen.timing import compile_schedule, first_delay_us
from gen.units import degrees_to_us, us_to_degrees
from gen.words import FIRED_PHASES, GATE_END_DEG, PHASES

_MOST_DECIMALS = 6
_MOST_TRIED = 100  # percentages that all give the same row
_WELD = ("upslope", "weld", "downslope")


def digest_under(text: str, name: str, welder: Welder) -> str | None:
    """The digest of the table that this text compiles to under this name on this machine; None if it does not compile."""
    table = _compiled(text, name, welder)
    return None if table is None else table.digest


def rebuilt(held: BoardSchedule, welder: Welder) -> str:
    """A schedule file that compiles to exactly these rows on this machine. Raises InputError if none was found."""
    beyond = _beyond(held, boards()[welder.board.name])
    if beyond is not None:
        raise _from_no_schedule(held, beyond)
    furthest = 0
    for step in (1, 2):  # half-cycles between two steps of a slope
        try:
            text = _text(held, welder, step)
        except _NoSuchPercent as error:
            furthest = max(furthest, held.rows.index(error.row))
            continue
        table = _compiled(text, held.name, welder)
        if table is not None and table.digest == held.digest:
            return text
        made = [] if table is None else wire_rows(table)
        same = next((i for i, (a, b) in enumerate(zip(made, held.rows, strict=False)) if a != b), len(made))
        furthest = max(furthest, min(same, len(held.rows) - 1))
    raise _from_no_schedule(held, furthest)


def _beyond(held: BoardSchedule, board: Board) -> int | None:
    """The row from which on the table exceeds the board's limits, where a search would not end; None if it does not."""
    fired = accumulate(row.half_cycles if PHASES[row.phase] in FIRED_PHASES else 0 for row in held.rows)
    limits = board.limits
    return next((i for i, so_far in enumerate(fired) if i >= limits.rows or so_far > limits.half_cycles), None)


def _from_no_schedule(held: BoardSchedule, number: int) -> InputError:
    row = held.rows[number]
    return InputError(
        held.name,
        f"row {number + 1} on the board ({PHASES[row.phase]}, {row.half_cycles} half-cycles, firing delay {row.delay_us} us)",
        None,
        "comes from no schedule on this machine; allowed: --welder with the welder file that it was compiled for",
    )


def _compiled(text: str, name: str, welder: Welder) -> TimingTable | None:
    path = Path(f"{name}.toml")
    try:
        return compile_schedule(schedule_from(text, path), welder, boards()[welder.board.name], path)
    except InputError:
        return None


class _NoSuchPercent(Exception):
    """No percentage of current gives the delay and the heat of `row` on this machine."""

    def __init__(self, row: Row) -> None:
        self.row = row


def _text(held: BoardSchedule, welder: Welder, step: int) -> str:
    lines = [
        f"# Written by Weldbeat from the rows on a board (digest {held.digest}).",
        f"frequency_Hz = {held.frequency_Hz}",
    ]
    finder = _Finder(welder, step)
    rows = list(held.rows)
    while rows:
        lines.append("[[phase]]")
        kind = PHASES[rows[0].phase]
        if kind == "pulse":
            part = _same_current(rows)
            lines += [f'pulse = "{_length(part)} half-cycles"', f"current_percent = {finder.percent(part[-1])}"]
            del rows[: len(part)]
            if rows and PHASES[rows[0].phase] == "cool":
                lines.append(f'cool = "{rows.pop(0).half_cycles} half-cycles"')
        elif kind in _WELD:
            part = _weld(rows)
            lines += finder.weld_lines(part)
            del rows[: len(part)]
        else:
            lines.append(f'{kind} = "{rows.pop(0).half_cycles} half-cycles"')
    return "\n".join([*lines, ""])


def _length(rows: list[Row]) -> int:
    return sum(row.half_cycles for row in rows)


def _same_current(rows: list[Row]) -> list[Row]:
    """The rows of one impulse at one current. Its first half-cycle may fire later than the rest."""
    first, *rest = rows
    late = first.half_cycles == 1 and bool(rest) and rest[0].phase == first.phase
    return [first, rest[0]] if late else [first]


def _weld(rows: list[Row]) -> list[Row]:
    """The rows of one weld: upslope, constant part and downslope."""
    part: list[Row] = []
    for kind in _WELD:
        rest = rows[len(part) :]
        if rest and PHASES[rest[0].phase] == kind:
            if kind == "weld":
                part += _same_current(rest)
            else:
                part += next(list(group) for _, group in groupby(rest, key=lambda row: row.phase))
    return part


@dataclass(frozen=True)
class _Finder:
    """Finds the percentages of rows; of several that give the same row, the one with the fewest decimals."""

    welder: Welder
    step: int

    @property
    def scale(self) -> PercentScale:
        return scale_of(self.welder)

    def delay_us(self, percent: float) -> int:
        """The firing delay that the compiler computes for a percentage."""
        return _delay_us(percent, self.scale, self.welder.mains.frequency_Hz)

    def interval(self, row: Row) -> tuple[float, float]:
        """Least and greatest percentage whose delay, rounded to a microsecond, is that of `row`."""
        found = _interval(row.delay_us, self.scale, self.welder.mains.frequency_Hz)
        if found is None:
            raise _NoSuchPercent(row)
        return found

    def percents(self, row: Row) -> Iterator[str]:
        """The percentages of a row, as written in a file."""
        low, high = self.interval(row)
        for text in _decimals(low, high):
            if self.delay_us(float(text)) == row.delay_us:
                yield text

    def percent(self, row: Row) -> str:
        """The first percentage of a row."""
        for text in self.percents(row):
            return text
        raise _NoSuchPercent(row)

    def weld_lines(self, part: list[Row]) -> list[str]:
        """The lines of one weld in a file."""
        rows = {kind: [row for row in part if PHASES[row.phase] == kind] for kind in _WELD}
        if not rows["weld"]:
            raise _NoSuchPercent(part[0])  # a weld of slopes alone does not show its percentage
        missing = _NoSuchPercent(rows["weld"][-1])
        for percent in islice(self.percents(rows["weld"][-1]), _MOST_TRIED):
            lines = [f'weld = "{_length(part)} half-cycles"', f"current_percent = {percent}"]
            try:
                for kind, key in (("upslope", "upslope_from_percent"), ("downslope", "downslope_to_percent")):
                    if rows[kind]:
                        each = [row for row in rows[kind] for _ in range(row.half_cycles)]
                        end = self.slope_end(each if kind == "upslope" else each[::-1], float(percent))
                        lines += [f'{kind} = "{len(each)} half-cycles"', f"{key} = {end}"]
                return lines
            except _NoSuchPercent as error:
                missing = error
        raise missing

    def slope_end(self, each: list[Row], percent: float) -> str:
        """The percentage at the low end of a slope, from all of its steps. `each`: its half-cycles from that end."""
        stairs = max(1, len(each) // self.step)
        low, high = 0.0, percent
        for i, row in enumerate(each):
            if i == 0 and row.delay_us <= first_delay_us(self.welder) and len(each) > 1:
                continue  # the first after a pause may have been delayed
            share = (i // self.step) / stairs
            if share >= 1:
                raise _NoSuchPercent(row)
            least, most = ((p - percent * share) / (1 - share) for p in self.interval(row))
            low, high = max(low, least), min(high, most)
        for text in _decimals(low, high):
            return text
        raise _NoSuchPercent(each[0])


@lru_cache(maxsize=4096)
def _delay_us(percent: float, scale: PercentScale, frequency_Hz: int) -> int:
    return round(degrees_to_us(scale.delay_deg(min(percent, 100)), frequency_Hz))


@lru_cache(maxsize=4096)
def _interval(delay_us: int, scale: PercentScale, frequency_Hz: int) -> tuple[float, float] | None:
    full_us = _delay_us(100, scale, frequency_Hz)
    latest_deg = us_to_degrees(delay_us + 0.5, frequency_Hz)
    if delay_us < full_us or latest_deg >= GATE_END_DEG:
        return None
    low = scale.percent(latest_deg)
    return low, 100 if delay_us == full_us else scale.percent(us_to_degrees(delay_us - 0.5, frequency_Hz))


def _decimals(low: float, high: float) -> Iterator[str]:
    """Decimal numbers from `low` to `high`, those with fewer decimals first."""
    slack = 1e-6
    for places in range(_MOST_DECIMALS + 1):
        unit = 10.0**places
        first, last = math.ceil((low - slack) * unit), math.floor((high + slack) * unit)
        for number in range(last, max(first, last - 200) - 1, -1):
            yield f"{number / unit:.{places}f}"
