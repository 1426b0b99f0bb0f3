"""The course of a weld from its board's timings: load angle and resistance of each half-cycle with current."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from gen.measured.load_angle import Timing, load_angle_range_deg
from gen.ranges import Figure
from gen.records import GateRecord, WeldRecord
from gen.words import NOT_TIMED, RUNS_ON_US

COUPLER_LATE_US = Figure(
    1, 60, "us", "turn-on of a coupler: 1 at a full mains peak (solved), 60 aged (common practice, no source)"
)
GATE_ERROR_US = 40.0  # error of the firing delay, from detector and mains
SETTLING_GATES = 10  # gates in which contact breakdown of sound welds causes as fast a fall; common practice, no source
SUDDEN_FALL = 0.08  # fall of the loop's resistance from cycle to cycle at the same firing that indicates expulsion


@dataclass(frozen=True)
class HalfCycleSeen:
    """One gate. Angles are degrees of the mains voltage.

    `end_deg` is None where no current flowed, or where it had not ended when the next gate was due. `angle_deg`, the load
    angle with its range, is None then too, and where no load angle fits the timing. `ratio`: the loop's resistance over its
    reactance.
    """

    gate: int
    delay_deg: float
    length_us: int
    end_deg: float | None
    angle_deg: Figure | None
    ratio: float | None
    current_A: float | None
    peak_A: float | None


@dataclass(frozen=True)
class Course:
    """A weld and its half-cycles, in order."""

    weld: WeldRecord
    seen: tuple[HalfCycleSeen, ...]

    @property
    def cycles(self) -> tuple[tuple[int, float], ...]:
        """(First gate, mean ratio of both polarities) of each whole cycle in which both were measured."""
        pairs = zip(self.seen[::2], self.seen[1::2], strict=False)
        return tuple(
            (one.gate, (one.ratio + other.ratio) / 2)
            for one, other in pairs
            if one.ratio is not None and other.ratio is not None
        )

    @property
    def ratio(self) -> float | None:
        """The median ratio of all cycles."""
        return median([ratio for _, ratio in self.cycles]) if self.cycles else None

    @property
    def currents(self) -> tuple[tuple[int, float], ...]:
        """(Gate, RMS amperes) of each half-cycle whose current was measured."""
        return tuple((seen.gate, seen.current_A) for seen in self.seen if seen.current_A is not None)

    @property
    def sudden_falls(self) -> tuple[int, ...]:
        """Gates at which the resistance fell suddenly at the same firing. Expulsion is likely."""
        found = []
        for (before, high), (gate, low) in zip(self.cycles, self.cycles[1:], strict=False):
            same = abs(self.seen[gate].delay_deg - self.seen[before].delay_deg) < 0.5
            if gate >= SETTLING_GATES and same and gate == before + 2 and low < (1 - SUDDEN_FALL) * high:
                found.append(gate)
        return tuple(found)

    def work(self, shorted: Course) -> tuple[tuple[int, float], ...]:
        """As `cycles`, for the work alone: less the ratio of a weld on shorted electrodes."""
        least = shorted.ratio or 0.0
        return tuple((gate, ratio - least) for gate, ratio in self.cycles)


def course_of(weld: WeldRecord, gates: Sequence[GateRecord]) -> Course:
    """The course from the timings of a weld. The middle of the coupler's delay is subtracted from each end."""
    return Course(weld, tuple(_seen(gate) for gate in gates))


def _seen(gate: GateRecord) -> HalfCycleSeen:
    degrees = 180 / gate.half_us
    delay = gate.delay_us * degrees
    measured = (gate.current_A, gate.peak_A)
    if gate.length_us in (NOT_TIMED, 0, RUNS_ON_US):
        return HalfCycleSeen(gate.gate, delay, gate.length_us, None, None, None, *measured)
    end = (gate.delay_us + gate.length_us - COUPLER_LATE_US.middle) * degrees
    coupler = (COUPLER_LATE_US.high - COUPLER_LATE_US.low) / 2
    angles = load_angle_range_deg(Timing(delay, end, GATE_ERROR_US * degrees, coupler * degrees))
    if angles is None:
        return HalfCycleSeen(gate.gate, delay, gate.length_us, end, None, None, *measured)
    likeliest, low, high = angles
    figure = Figure(low, high, "degrees", "firing delay and end of current")
    ratio = 1 / math.tan(math.radians(likeliest))
    return HalfCycleSeen(gate.gate, delay, gate.length_us, end, figure, ratio, *measured)


def correction_text(weld: WeldRecord) -> str:
    """What the weld was fired for and means to the next; "" where the board corrects nothing."""
    if weld.fired_for_percent is None:
        return ""
    return f"fired for {weld.fired_for_percent:.1f} % of the planned current; correction {weld.correction}"


COLUMNS = (
    "board",
    "boot",
    "weld",
    "ended_at",
    "gate",
    "firing_delay_us",
    "conduction_us",
    "half_cycle_us",
    "load_angle_low_deg",
    "load_angle_high_deg",
    "resistance_over_reactance",
    "current_A",
    "peak_A",
)


def to_csv(courses: Sequence[tuple[Course, Sequence[GateRecord]]]) -> str:
    """CSV, one line a gate.

    `conduction_us` is 0 without a current, 16383 where the current had not ended when the next gate was due, and empty without
    a conduction sense.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for course, gates in courses:
        weld = course.weld
        for seen, gate in zip(course.seen, gates, strict=True):
            angle = seen.angle_deg
            row = [weld.board, weld.boot, weld.count, weld.ended_at]
            row += [gate.gate, gate.delay_us, "" if gate.length_us == NOT_TIMED else gate.length_us, gate.half_us]
            row += ["", ""] if angle is None else [f"{angle.low:.2f}", f"{angle.high:.2f}"]
            row += ["" if seen.ratio is None else f"{seen.ratio:.4f}"]
            row += ["" if value is None else value for value in (gate.current_A, gate.peak_A)]
            writer.writerow(row)
    return out.getvalue()


_HIGH = 5
_WIDE = 60


def text_chart(course: Course) -> list[str]:
    """A chart of the ratio of each cycle as lines of text, one column a cycle. Empty with fewer than two cycles."""
    values = [ratio for _, ratio in course.cycles]
    if len(values) < 2:
        return []
    each = math.ceil(len(values) / _WIDE)
    columns = [sum(values[n : n + each]) / len(values[n : n + each]) for n in range(0, len(values), each)]
    low, high = min(columns), max(columns)
    step = (high - low) / (_HIGH - 1) or 1.0
    lines = []
    for row in reversed(range(_HIGH)):
        edge = {_HIGH - 1: high, 0: low}.get(row)
        marks = "".join("*" if round((value - low) / step) == row else " " for value in columns)
        lines.append(f"{'' if edge is None else f'{edge:.3f}':>7} |{marks}".rstrip())
    return lines
