"""Draws the schedule: phases over time, with bars as high as their percent current."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import accumulate

from gen.table import LEVEL_PHASES, TimingRow, TimingTable
from gen.units import milliseconds
from gen.words import FIRED_PHASES
from sim.report.svg import FONT, LINE, Scale, filled, hatch, line, path, spread, svg, text, width_of

_TOP, _HEIGHT, _AXIS = 26, 120, 44  # room above the bars, for the bars, and left of them
_LEAST_PX = 3.0  # a phase is never drawn narrower
_HEAD = "percent current"
_FAR = 80.0  # the greatest distance of a label from its phase
_BREAK = 0.25  # length over the fired time; a longer unfired phase is drawn this long, with a break


@dataclass(frozen=True)
class PhaseSpan:
    """A phase as drawn: the rows of one slope are one span. `times`: its repetitions together with its neighbour."""

    phase: str
    rows: tuple[TimingRow, ...]
    times: int = 1

    @property
    def half_cycles(self) -> int:
        return sum(row.half_cycles for row in self.rows)

    @property
    def fired(self) -> bool:
        return self.phase in FIRED_PHASES

    @property
    def percent(self) -> str:
        """The percent current, or both ends of a slope; "" if nothing fires."""
        if not self.fired:
            return ""
        first, last = self.rows[0].current_percent, self.rows[-1].current_percent
        if first == last:
            return f"{first:g}\u00a0%"
        return f"first {first:g}\u00a0%, then {last:g}\u00a0%" if self.late_first else f"{first:g} to {last:g}\u00a0%"

    @property
    def share(self) -> tuple[float, float]:
        """Least and greatest share of the current at full conduction that its rows deliver."""
        return min(row.share[0] for row in self.rows), max(row.share[1] for row in self.rows)

    @property
    def late_first(self) -> bool:
        """Whether its first half-cycle fires later than the others, which all fire alike."""
        return self.phase in LEVEL_PHASES and len(self.rows) == 2 and self.rows[0].half_cycles == 1

    @property
    def delay_us(self) -> str:
        """The firing delay, or its range in the order of the rows."""
        delays = [row.firing_delay_us for row in self.rows if row.firing_delay_us is not None]
        if not delays:
            return ""
        if len(set(delays)) == 1:
            return f"{delays[0]}"
        return f"first {delays[0]}, then {delays[-1]}" if self.late_first else f"{delays[0]} to {delays[-1]}"


def segments(table: TimingTable) -> list[PhaseSpan]:
    """The rows of the table, with neighbours of one phase merged."""
    found: list[PhaseSpan] = []
    for row in table.rows:
        if found and found[-1].phase == row.phase:
            found[-1] = replace(found[-1], rows=(*found[-1].rows, row))
        else:
            found.append(PhaseSpan(row.phase, (row,)))
    return found


def grouped(parts: list[PhaseSpan]) -> list[list[PhaseSpan]]:
    """Segments in groups of one, or of two that repeat: a pulse and its cool time. `times` counts the repetitions."""
    groups: list[list[PhaseSpan]] = []
    at = 0
    while at < len(parts):
        pair, count = parts[at : at + 2], 1
        while len(pair) == 2 and parts[at + 2 * count : at + 2 * count + 2] == pair:
            count += 1
        if count > 1:
            groups.append([replace(part, times=count) for part in pair])
            at += 2 * count
        else:
            groups.append(parts[at : at + 1])
            at += 1
    return groups


def in_ms(half_cycles: int, frequency_Hz: int) -> str:
    """A time in milliseconds, to a tenth."""
    return f"{round(float(milliseconds(half_cycles, frequency_Hz)), 1):g}"


@dataclass(frozen=True)
class ScheduleMark:
    """Words that stand over a half-cycle of the schedule, counted from its begin."""

    half_cycle: int
    words: str


def draw_timeline(table: TimingTable, width: int, name: str, marks: Sequence[ScheduleMark] = ()) -> str:
    """Fired phases and short gaps to scale; longer unfired phases with a break, which strokes and a note show.

    `marks` stand above the bars, each over its half-cycle.
    """
    parts = segments(table)
    right = width - 8
    longest = max(_BREAK * table.fired_half_cycles, 4.0)
    lengths = [float(part.half_cycles) if part.fired else min(part.half_cycles, longest) for part in parts]
    room = right - _AXIS - _LEAST_PX * len(parts)
    per_half_cycle = max(room, 0.0) / sum(lengths)
    base = _TOP + _HEIGHT
    height = Scale(0, 100, base, _TOP)
    drawn = [hatch(f"hatch-{name}")]
    for percent in (0, 50, 100):
        drawn.append(line(_AXIS, height(percent), right, height(percent), "grid" if percent else "axis"))
        drawn.append(text(_AXIS - 6, height(percent) + 4, f"{percent} %", "end"))
    drawn.append(text(2, 12, _HEAD))
    edges = [float(_AXIS)]
    for part, length in zip(parts, lengths, strict=True):
        x, w = edges[-1], length * per_half_cycle + _LEAST_PX
        edges.append(x + w)
        if part.fired:
            drawn.append(_bar(part, x, w, height, f"hatch-{name}"))
        elif part.half_cycles > longest:
            drawn += [line(x + w / 2 + s, base + 5, x + w / 2 + s + 5, base - 5, "mark") for s in (-4, 0)]
        drawn.append(line(x, base, x, base + 5, "axis"))
    drawn.append(line(edges[-1], base, edges[-1], base + 5, "axis"))
    drawn += _marks(marks, parts, edges, base, width)
    labels, bottom = _labels(table, edges, width, base)
    drawn.append(labels)
    if any(not part.fired and part.half_cycles > longest for part in parts):
        bottom += 1.5 * LINE
        drawn.append(text(_AXIS, bottom, "// marks a wait that is longer than drawn"))
    return svg(width, bottom + 6, "".join(drawn), f"Schedule {table.name}: percent current of each phase along time")


def _marks(
    marks: Sequence[ScheduleMark], parts: list[PhaseSpan], edges: list[float], base: float, width: int
) -> list[str]:
    """A dashed line over each half-cycle that is marked, and above it the words of all that stand at that place."""
    begins = [0, *accumulate(part.half_cycles for part in parts)]
    places: dict[float, list[str]] = {}
    for mark in sorted(marks, key=lambda mark: mark.half_cycle):
        at = min(max(bisect_right(begins, mark.half_cycle) - 1, 0), len(parts) - 1)
        share = min((mark.half_cycle + 0.5 - begins[at]) / parts[at].half_cycles, 1.0)
        x = edges[at] + share * (edges[at + 1] - edges[at])
        near = next((other for other in places if abs(other - x) < FONT), x)
        places.setdefault(near, []).append(mark.words)
    words = [", ".join(each) for each in places.values()]
    drawn = [line(x, _TOP - 6, x, base, "limit") for x in places]
    written = spread(list(places), [width_of(each) + FONT for each in words], width_of(_HEAD) + FONT, width)
    if written is not None:
        drawn += [text(x, _TOP - 9, each, "middle", "strong") for x, each in zip(written, words, strict=True)]
    return drawn


def _bar(part: PhaseSpan, x: float, w: float, height: Scale, pattern: str) -> str:
    """One step for each row of the segment."""
    base, points = height(0), []
    at = x
    for row in part.rows:
        step = w * row.half_cycles / part.half_cycles
        points += [(at, height(row.current_percent)), (at + step, height(row.current_percent))]
        at += step
    outline = [(x, base), *points, (x + w, base)]
    return filled(outline, pattern) + path(outline, "current")


def _labels(table: TimingTable, edges: list[float], width: int, base: float) -> tuple[str, float]:
    """Each group's name, length and current below it, shortened to fit, and their bottom edge."""
    groups = grouped(segments(table))
    centres, at = [], 0
    for group in groups:
        count = len(group) * group[0].times
        centres.append((edges[at] + edges[at + count]) / 2)
        at += count
    full = [_words(n, group, table.frequency_Hz) for n, group in enumerate(groups, 1)]
    names = [words[:1] for words in full]
    numbers = [[str(n)] for n in range(1, len(groups) + 1)]
    for written in (full, names, numbers):
        places = spread(centres, [max(map(width_of, words)) + FONT for words in written], 0, width)
        if (
            places is not None
            and max(abs(place - centre) for place, centre in zip(places, centres, strict=True)) <= _FAR
        ):
            break
    else:
        return "", base + LINE
    drawn = []
    for centre, place, words in zip(centres, places, written, strict=True):
        drawn.append(path([(centre, base + 6), (centre, base + 9), (place, base + 18), (place, base + 21)], "leader"))
        drawn += [text(place, base + 34 + n * LINE, words_, "middle") for n, words_ in enumerate(words)]
    return "".join(drawn), base + 34 + LINE * (max(map(len, written)) - 1)


def _words(n: int, group: list[PhaseSpan], frequency_Hz: int) -> list[str]:
    """Number and names, half-cycles, milliseconds and current of a group."""
    lengths = [part.half_cycles for part in group]
    times = f"{group[0].times} × " if group[0].times > 1 else ""
    names = " + ".join(part.phase for part in group)
    ms = " + ".join(in_ms(length, frequency_Hz) for length in lengths)
    percent = next((part.percent for part in group if part.fired), "")
    words = [f"{n}: {times}{names}", " + ".join(map(str, lengths)) + " half-cycles", f"{ms} ms"]
    return [*words, percent] if percent else words
