"""What a board that holds the planned current may make of a timing table: its strongest and its weakest weld.

The board corrects by integers and lines between burnt-in entries; this is the same bound by the analysis of phase_control.
"""

from __future__ import annotations

from dataclasses import replace

from gen.boards import Board
from gen.current import PercentScale, scale_of
from gen.machine.welder import Welder
from gen.phase_control import delay_for_fraction_deg, rms_fraction
from gen.table import TimingRow, TimingTable
from gen.timing import delay_range_us, first_delay_us, merged
from gen.units import degrees_to_us, us_to_degrees


def fired_for(table: TimingTable, welder: Welder, board: Board, factor: float) -> TimingTable:
    """The table with every gate fired for `factor` times its planned current, as far as machine and board allow.

    The first half-cycle of an impulse is not fired before the welder's first delay. Notes are left out.
    """
    scale, f = scale_of(welder), table.frequency_Hz
    earliest_us, latest_us = delay_range_us(welder, board)
    rows: list[TimingRow] = []
    begins = True
    for row in table.rows:
        if row.firing_delay_us is None:
            rows.append(row)
            begins = True
            continue
        delay_us = min(max(_delay_us(row.firing_delay_us, scale, f, factor), earliest_us), latest_us)
        first_us = max(delay_us, first_delay_us(welder)) if begins else delay_us
        rows.append(_row(row, 1, first_us, scale, f))
        if row.half_cycles > 1:
            rows.append(_row(row, row.half_cycles - 1, delay_us, scale, f))
        begins = False
    return replace(table, rows=tuple(merged(rows)), notes=())


def strongest(table: TimingTable, welder: Welder, board: Board) -> TimingTable:
    """The most that the board may make of it; the table itself where no weld corrects the next."""
    return table if welder.correct is None else fired_for(table, welder, board, 1 + welder.correct.share)


def weakest(table: TimingTable, welder: Welder, board: Board) -> TimingTable:
    """The least, likewise."""
    return table if welder.correct is None else fired_for(table, welder, board, 1 - welder.correct.share)


def _delay_us(delay_us: int, scale: PercentScale, frequency_Hz: int, factor: float) -> int:
    planned = rms_fraction(us_to_degrees(delay_us, frequency_Hz), scale.middle_deg)
    return round(degrees_to_us(delay_for_fraction_deg(min(factor * planned, 1.0), scale.middle_deg), frequency_Hz))


def _row(row: TimingRow, half_cycles: int, delay_us: int, scale: PercentScale, frequency_Hz: int) -> TimingRow:
    deg = us_to_degrees(delay_us, frequency_Hz)
    return TimingRow(row.phase, half_cycles, delay_us, round(scale.percent(deg), 1), scale.share(deg))
