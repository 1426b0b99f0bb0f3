"""A suggestion in words for every front end: the rows of the schedule, and the tables by source."""

from __future__ import annotations

from gen.handbook.practice import COMMON
from gen.handbook.shape import BEDDING_COOL_S, IMPULSE_COOL_S
from gen.handbook.suggestion import OFF, SQUEEZE, Suggestion
from gen.quantities import METRIC, Measures
from gen.ranges import Figure


def by_source(figures: tuple[tuple[str, Figure], ...], measures: Measures = METRIC) -> list[str]:
    """The figures, a line to each source."""
    lines: dict[str, list[str]] = {}
    for name, figure in figures:
        lines.setdefault(figure.source, []).append(f"{name} {measures.text(figure)}")
    return [f"{source}: {'; '.join(texts)}" for source, texts in lines.items()]


def guess(found: Suggestion) -> list[tuple[str, Figure]]:
    """The rows of the schedule suggested, each with its name; empty where nothing is known."""
    if found.weld is None or found.hold is None:
        return []
    percent = Figure(found.percent, found.percent, "%", f"delivers {found.delivered.text} on this tap")
    start_s = found.weld_cycles / found.frequency_Hz
    impulses = f" in {found.shape.impulses} impulses" if found.shape.impulses > 1 else ""
    first = Figure(start_s, start_s, "s", f"{found.weld_cycles} cycles{impulses}, to be tried on scrap")
    shape = found.shape
    soft = f"at {shape.soft_percent} % current ({COMMON})"
    parts = (
        ("bedding pulse", shape.bedding_s, f"{soft}, then {BEDDING_COOL_S:g} s without current"),
        ("upslope", shape.upslope_s, f"{soft} to begin with; inside the weld time"),
        ("between impulses", IMPULSE_COOL_S if shape.impulses > 1 else 0.0, f"{shape.impulses} impulses, from memory"),
    )
    return [
        ("squeeze", SQUEEZE),
        *((name, Figure(time_s, time_s, "s", source)) for name, time_s, source in parts if time_s),
        ("percent current", percent),
        ("weld, begin with", first),
        ("weld, range", found.weld),
        *(("weld, by another table", figure) for figure in found.other_times),
        ("hold", found.hold),
        ("off", OFF),
    ]
