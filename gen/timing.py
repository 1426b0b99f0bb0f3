"""The compiler: from a schedule, a welder and a board to a timing table in mains half-cycles."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from gen.boards import Board
from gen.current import FULL_MARGIN_DEG, NARROW, PercentScale, delivered, scale_of
from gen.errors import InputError
from gen.machine.welder import FREQUENCY_BAND, Welder
from gen.phase_control import extinction_angle_deg, volt_seconds
from gen.schedule import Cool, Hold, Off, Pulse, Schedule, Squeeze, Weld
from gen.table import LEVEL_PHASES, TimingRow, TimingTable
from gen.units import Duration, Rounded, degrees_to_us, milliseconds, nearest, nearest_even, us_to_degrees
from gen.user_files import Written, figure, written
from gen.words import GATE_END_DEG

NOTED_LOSS = 0.05  # share of a weld's heat; a greater loss by rounding is noted
LEAST_GATE_DEG = 10.0  # with a shorter gate latching is uncertain
MOST_ONE_SIDED = 0.9  # limit over the board's, whose tables are in whole numbers
LONGEST_S = 60  # longest single time; a longer one is a mistake


@dataclass(frozen=True)
class _Compiler:
    schedule: Schedule
    welder: Welder
    board: Board
    source: Path

    def error(self, key: str, given: object, allowed: str) -> InputError:
        return InputError(self.source, key, written(given), allowed)

    # -- times ---------------------------------------------------------------------------------------------------

    def exact(self, key: str, time: Duration) -> Fraction:
        exact = time.half_cycles(self.schedule.frequency_Hz)
        if exact > 2 * self.schedule.frequency_Hz * LONGEST_S:
            raise self.error(key, str(time), f"allowed: at most {LONGEST_S} s")
        return exact

    def unfired(self, key: str, time: Duration, notes: list[str]) -> int:
        rounded = nearest(self.exact(key, time))
        if rounded.half_cycles == 0:
            least = f"{self.ms(Fraction(1, 2))} (half a half-cycle) or more"
            raise self.error(key, str(time), f"this rounds to nothing; allowed: {least}")
        return self.noted(key, time, rounded, notes)

    def squeeze(self, key: str, time: Duration, notes: list[str]) -> int:
        """Before the current the force must be there, and the contactor closed."""
        welder, least = self.welder, self.welder.least_squeeze_half_cycles
        if nearest(self.exact(key, time)).half_cycles < least:
            whats = [f"the force (force.builds_up_ms = {welder.force.there_after_ms:g})"]
            if welder.protection.contactor:
                c = welder.contactor
                whats.append(f"the contactor (contactor.closes_ms + bounce_ms = {c.closes_ms:g} + {c.bounce_ms:g})")
            allowed = f"allowed: {self.ms(Fraction(least))} or more; until then {' and '.join(whats)} may not be there"
            raise self.error(key, str(time), allowed)
        return self.unfired(key, time, notes)

    def even(self, key: str, time: Duration, notes: list[str]) -> int:
        """A fired time, or the gap between two, in whole cycles; an odd half-cycle would leave the core magnetised."""
        exact = self.exact(key, time)
        if time.counted and exact % 2:
            below, above = 2 * int(exact / 2), 2 * math.ceil(exact / 2)
            raise self.error(
                key,
                str(time),
                "allowed: an even number of half-cycles, so that the core is not left magnetised: "
                + (f"{below} or {above} half-cycles" if below else "2 half-cycles or more"),
            )
        rounded = nearest_even(exact)
        if rounded.half_cycles == 0:
            least = f"more than {self.ms(Fraction(1))} (a half-cycle)"
            raise self.error(key, str(time), f"this rounds to nothing; allowed: {least}")
        return self.noted(key, time, rounded, notes)

    def ms(self, half_cycles: Fraction) -> str:
        return f"{float(half_cycles * Fraction(500, self.schedule.frequency_Hz)):.3g} ms"

    def noted(self, key: str, time: Duration, rounded: Rounded, notes: list[str]) -> int:
        f = self.schedule.frequency_Hz
        if rounded.off_by:
            notes.append(
                f"{key}: {time} becomes {rounded.half_cycles} half-cycles, {milliseconds(rounded.half_cycles, f):g} ms "
                f"({float(rounded.off_by * Fraction(500, f)):+.3g} ms)"
            )
        return rounded.half_cycles

    # -- delays --------------------------------------------------------------------------------------------------

    @property
    def scale(self) -> PercentScale:
        return scale_of(self.welder)

    def delay_deg(self, percent: float, key: str) -> float:
        if percent == 100:
            return self.scale.full_deg
        if not self.welder.switch.fires_at_any_phase:
            raise self.error(
                key,
                figure(percent),
                "a zero-cross relay cannot set the current; allowed: 100 without slopes, or another switch in the welder file",
            )
        if not self.board.capabilities.random_phase_firing:
            raise self.error(key, figure(percent), f"board {self.board.name} cannot time a firing delay; allowed: 100")
        delay = self.scale.delay_deg(percent)
        left = GATE_END_DEG - delay
        if left < LEAST_GATE_DEG:
            least = self.scale.percent(GATE_END_DEG - LEAST_GATE_DEG)
            raise self.error(
                key,
                figure(percent),
                f"fires at {delay:.0f} degrees and leaves {left:.1f} degrees of gate, {LEAST_GATE_DEG:g} are needed; "
                f"allowed: {math.ceil(least)} or more (better: a lower tap of the transformer)",
            )
        return delay

    def delay_us(self, percent: float, key: str) -> int:
        """The delay as a time. It must be after the detector's edge, from which it is timed."""
        f, detector = self.schedule.frequency_Hz, self.welder.detector
        us = round(degrees_to_us(self.delay_deg(percent, key), f))
        latest_edge = max(detector.offset_rise_us, detector.offset_fall_us)
        earliest, least_us = us / FREQUENCY_BAND[1], self.board.limits.least_blank_us
        if earliest - latest_edge < least_us:
            needed_deg = us_to_degrees((latest_edge + least_us) * FREQUENCY_BAND[1], f)
            raise self.error(
                key,
                figure(percent),
                f"fires {earliest:.0f} us after the zero crossing where the mains runs fast, but the detector's edge comes "
                f"{latest_edge} us after it; allowed: offsets of at most {math.floor(earliest - least_us)} us, or a "
                f"load_angle_max_deg of at least {math.ceil(needed_deg - FULL_MARGIN_DEG)}, in the welder file",
            )
        return us

    # -- phases --------------------------------------------------------------------------------------------------

    def slope_percents(self, start: float, end: float, half_cycles: int, step: int) -> list[float]:
        """Percentages of a slope that reaches `end` just after its last half-cycle, changing every `step` half-cycles."""
        stairs = half_cycles // step
        return [start + (end - start) * (i // step) / stairs for i in range(half_cycles)]

    def weld_rows(self, number: int, phase: Weld, step: int, notes: list[str]) -> list[TimingRow]:
        key = f"phase {number}: "
        total = self.even(key + "weld", phase.weld, notes)
        up = self.even(key + "upslope", phase.upslope, notes) if phase.upslope else 0
        down = self.even(key + "downslope", phase.downslope, notes) if phase.downslope else 0
        if up + down > total:
            raise self.error(
                key + "weld",
                str(phase.weld),
                f"upslope and downslope take {up + down} half-cycles of its {total}; allowed: slopes that fit inside the weld",
            )
        percent = phase.current_percent
        rising = self.slope_percents(phase.upslope_from_percent, percent, up, step)
        falling = self.slope_percents(phase.downslope_to_percent, percent, down, step)
        rows = [self.fired_row("upslope", 1, p, key + "upslope_from_percent") for p in rising]
        if total > up + down:
            rows.append(self.fired_row("weld", total - up - down, percent, key + "current_percent"))
        rows += [self.fired_row("downslope", 1, p, key + "downslope_to_percent") for p in reversed(falling)]
        return rows

    def fired_row(self, phase: str, half_cycles: int, percent: float, key: str) -> TimingRow:
        return self.row_at(phase, half_cycles, self.delay_us(percent, key), percent)

    def row_at(self, phase: str, half_cycles: int, delay_us: int, percent: float) -> TimingRow:
        share = self.scale.share(us_to_degrees(delay_us, self.schedule.frequency_Hz))
        return TimingRow(phase, half_cycles, delay_us, round(percent, 1), share)

    def pulse_rows(self, number: int, phase: Pulse, notes: list[str]) -> list[TimingRow]:
        key = f"phase {number}: "
        rows = [
            self.fired_row(
                "pulse", self.even(key + "pulse", phase.pulse, notes), phase.current_percent, key + "current_percent"
            )
        ]
        if phase.cool is not None:
            rows.append(TimingRow("cool", self.even(key + "cool", phase.cool, notes)))
        return rows * phase.repeat

    def rows(self, step: int, notes: list[str]) -> list[TimingRow]:
        rows: list[TimingRow] = []
        for number, phase in enumerate(self.schedule.phases, 1):
            match phase:
                case Squeeze():
                    rows.append(TimingRow("squeeze", self.squeeze(f"phase {number}: squeeze", phase.squeeze, notes)))
                case Pulse():
                    rows += self.pulse_rows(number, phase, notes)
                case Weld():
                    rows += self.weld_rows(number, phase, step, notes)
                case Cool():
                    rows.append(TimingRow("cool", self.even(f"phase {number}: cool", phase.cool, notes)))
                case Hold():
                    rows.append(TimingRow("hold", self.unfired(f"phase {number}: hold", phase.hold, notes)))
                case Off():
                    rows.append(TimingRow("off", self.unfired(f"phase {number}: off", phase.off, notes)))
        return merged(self.delay_first(rows))

    def delay_first(self, rows: list[TimingRow]) -> list[TimingRow]:
        """After a pause the first half-cycle fires at the welder's first delay or later, so that the core starts near balance.

        With a zero-cross relay the rows stay as they are: it would not turn on there.
        """
        if not self.welder.switch.fires_at_any_phase:
            return rows
        first_us = first_delay_us(self.welder)
        result: list[TimingRow] = []
        for row in rows:
            after_pause = not result or result[-1].firing_delay_us is None
            if row.firing_delay_us is not None and after_pause and row.firing_delay_us < first_us:
                percent = self.scale.percent(us_to_degrees(first_us, self.schedule.frequency_Hz))
                result.append(self.row_at(row.phase, 1, first_us, percent))
                row = replace(row, half_cycles=row.half_cycles - 1)
            if row.half_cycles:
                result.append(row)
        return result

    # -- limits --------------------------------------------------------------------------------------------------

    def check_current_time(self) -> None:
        """Check the current time of one weld against the welder's limit, before any row is made."""
        longest = self.welder.limits.longest_weld
        most = longest.half_cycles(self.schedule.frequency_Hz)
        total = 0
        for number, phase in enumerate(self.schedule.phases, 1):
            match phase:
                case Pulse():
                    total += self.even(f"phase {number}: pulse", phase.pulse, []) * phase.repeat
                case Weld():
                    total += self.even(f"phase {number}: weld", phase.weld, [])
        if total > most:
            raise self.error(
                "pulses and welds together",
                Written(f"{total} half-cycles"),
                f"allowed: at most {float(most):g} half-cycles (limits.longest_weld = {longest} in the welder file)",
            )

    def check_limits(self, table: TimingTable) -> None:
        cool = self.welder.limits.least_cool
        least = cool.half_cycles(self.schedule.frequency_Hz)
        for row in table.impulse_rows:
            if row.phase == "cool" and row.half_cycles < least:
                raise self.error(
                    "cool between impulses",
                    Written(f"{row.half_cycles} half-cycles"),
                    f"allowed: at least {float(least):g} half-cycles (limits.least_cool = {cool} in the welder file)",
                )
        span = sum(row.half_cycles for row in table.impulse_rows)
        for what, given, most in (
            ("rows of the timing table", len(table.rows), self.board.limits.rows),
            ("half-cycles from the first fired to the last", span, self.board.limits.half_cycles),
        ):
            if given > most:
                raise self.error(what, given, f"allowed: at most {most} on board {self.board.name}")

    def percent_notes(self) -> list[str]:
        notes = []
        percents = {p.current_percent for p in self.schedule.phases if isinstance(p, (Pulse, Weld))}
        for percent in sorted(percents):
            delay = self.delay_deg(percent, "current_percent")
            current = delivered(self.welder.machine.in_use.working, self.scale.share(delay))
            notes.append(f"{percent:g} % fires at {delay:.1f} degrees and delivers {current.text} RMS")
        t = self.welder.transformer
        least = self.scale.share(self.scale.full_deg)[0]
        if least < NARROW:
            narrower = (
                "a reading with the electrodes shorted narrows it (`weldbeat commission`, then `weldbeat calibrate`)"
                if t.shorted_current_A is None
                else "a measured load angle narrows it (load_angle_min_deg and load_angle_max_deg in the welder file)"
            )
            notes.append(
                f"100 % may be as little as {100 * least:.0f} % of the current at full conduction: the load angle is known "
                f"only within {t.load_angle_min_deg:g} to {t.load_angle_max_deg:g} degrees; {narrower}"
            )
        return notes

    def first_notes(self, rows: Sequence[TimingRow]) -> list[str]:
        """A note if the first half-cycle of an impulse fires late, with its cost in heat if that is considerable."""
        asked = taken = 0.0
        for row, after in zip(rows, [*rows[1:], None], strict=True):
            heat = row.half_cycles * row.current_percent**2
            late = row.half_cycles == 1 and after is not None and after.phase == row.phase
            if late and after is not None and row.phase in LEVEL_PHASES and after.current_percent > row.current_percent:
                taken += after.current_percent**2 - heat
                heat = after.current_percent**2
            asked += heat
        if taken == 0:
            return []
        cost = f"; that takes {100 * taken / asked:.0f} % of this weld's heat" if taken >= NOTED_LOSS * asked else ""
        return [
            f"the first half-cycle of an impulse fires at {self.welder.limits.first_delay_deg:g} degrees or later, so that the "
            f"core starts near balance{cost}"
        ]


def delay_range_us(welder: Welder, board: Board) -> tuple[int, int]:
    """The earliest and the latest firing delay of any table for this machine, at nominal frequency."""
    f, detector = welder.mains.frequency_Hz, welder.detector
    full = round(degrees_to_us(scale_of(welder).full_deg, f))
    latest_edge = max(detector.offset_rise_us, detector.offset_fall_us)
    earliest = max(full, math.ceil((latest_edge + board.limits.least_blank_us) * FREQUENCY_BAND[1]))
    if not welder.switch.fires_at_any_phase:
        return earliest, full
    return earliest, round(degrees_to_us(GATE_END_DEG - LEAST_GATE_DEG, f))


def first_delay_us(welder: Welder) -> int:
    """The least firing delay of an impulse's first half-cycle; 0 for a switch that fires only at the crossing."""
    if not welder.switch.fires_at_any_phase:
        return 0
    return round(degrees_to_us(welder.limits.first_delay_deg, welder.mains.frequency_Hz))


def merged(rows: list[TimingRow]) -> list[TimingRow]:
    """The rows, with neighbours that differ only in length merged."""
    result: list[TimingRow] = []
    for row in rows:
        if result and replace(result[-1], half_cycles=row.half_cycles) == row:
            row = replace(row, half_cycles=result.pop().half_cycles + row.half_cycles)
        result.append(row)
    return result


def flux_peak(rows: tuple[TimingRow, ...] | list[TimingRow], frequency_Hz: int, load_angle_deg: float) -> float:
    """Greatest flux excursion of one weld on an R-L load, from no residue, in units of the steady peak (Vm / omega).

    Voltage is applied from the gate to extinction, so the flux of a half-cycle peaks where its voltage passes zero.
    """
    flux = peak = 0.0
    flowing_until = 0.0  # in degrees of this half-cycle: the tail of the current before
    sign = 1
    for row in rows:
        if row.firing_delay_us is None:  # the flux stays, however long: an off time has thousands of half-cycles
            flowing_until = 0.0 if row.half_cycles else flowing_until
            sign = -sign if row.half_cycles % 2 else sign
            continue
        for _ in range(row.half_cycles):
            a = max(us_to_degrees(row.firing_delay_us, frequency_Hz), flowing_until)
            b = extinction_angle_deg(a, load_angle_deg) if a > load_angle_deg else a + 180
            cos_a = math.cos(math.radians(a))
            peak = max(peak, abs(flux + sign * (1 + cos_a)), abs(flux))
            flux += sign * (cos_a - math.cos(math.radians(b)))
            flowing_until = max(0.0, b - 180)
            peak = max(peak, abs(flux))
            sign = -sign
    return peak


def one_sided(rows: Sequence[TimingRow], frequency_Hz: int, scale: PercentScale) -> float:
    """The greatest excess of one polarity in any part of an impulse, over the range of volt-seconds that delays span.

    Flux from before the part may have decayed, and then balances nothing. The excess is counted at the end of each cycle,
    at both ends of the range of the load angle. The board refuses more than 1. Slopes that step each cycle have only the
    excess of the late first half-cycle, which is less.
    """
    most = 0.0
    for angle in (scale.low_deg, scale.high_deg):
        latest_deg = GATE_END_DEG - LEAST_GATE_DEG
        widest = volt_seconds(scale.full_deg, angle) - volt_seconds(latest_deg, angle)
        lead, sign = 0.0, 1
        lowest = highest = 0.0
        for row in rows:
            if row.firing_delay_us is None:
                lead, sign = 0.0, 1
                lowest = highest = 0.0
                continue
            added = volt_seconds(us_to_degrees(row.firing_delay_us, frequency_Hz), angle)
            left = row.half_cycles
            if sign < 0:
                lead, sign, left = lead - added, 1, left - 1
                lowest, highest = min(lowest, lead), max(highest, lead)
                most = max(most, (highest - lowest) / widest)
            if left % 2:
                lead, sign = lead + added, -1
    return most


def compile_schedule(schedule: Schedule, welder: Welder, board: Board, source: Path) -> TimingTable:
    """The timing table of `schedule` on this machine.

    `source` is the schedule's file, for messages. Raises InputError, with the figures and a remedy, if a rule of the
    timing table is broken.
    """
    compiler = _Compiler(schedule, welder, board, source)
    if schedule.frequency_Hz != welder.mains.frequency_Hz:
        raise compiler.error(
            "frequency_Hz",
            schedule.frequency_Hz,
            f"allowed: {welder.mains.frequency_Hz}, the mains.frequency_Hz of the welder file",
        )
    if not board.welds:
        raise compiler.error(
            "board",
            written(board.name),
            f"may not fire a welder: {board.why_not}; allowed: one that welds, see `weldbeat boards`",
        )
    compiler.check_current_time()
    by_step: dict[str, tuple[list[TimingRow], list[str]]] = {}
    for name, step in (("half-cycle", 1), ("cycle", 2)):
        notes: list[str] = []
        by_step[name] = (compiler.rows(step, notes), notes)
    angle = compiler.scale.middle_deg
    peaks = {name: flux_peak(rows, schedule.frequency_Hz, angle) for name, (rows, _) in by_step.items()}
    even = one_sided(by_step["half-cycle"][0], schedule.frequency_Hz, compiler.scale) <= MOST_ONE_SIDED
    step_name = "half-cycle" if peaks["half-cycle"] < peaks["cycle"] and even else "cycle"
    rows, notes = by_step[step_name]
    sloped = any(row.phase in ("upslope", "downslope") for row in rows)
    notes += [*compiler.percent_notes(), *compiler.first_notes(rows)]
    if sloped:
        notes.append(
            f"slopes step each {step_name}: flux peaks at {peaks[step_name]:.2f} of its steady peak "
            f"(each half-cycle {peaks['half-cycle']:.2f}, each cycle {peaks['cycle']:.2f})"
        )
    table = TimingTable(schedule.name, schedule.frequency_Hz, tuple(rows), tuple(notes), step_name if sloped else "")
    compiler.check_limits(table)
    return table
