"""A suggestion as `weldbeat suggest` tells it: lines to read, in either kind of units, and data for another program."""

from __future__ import annotations

import re
import textwrap
from dataclasses import asdict
from typing import Any

from gen.handbook.practice import COMMON, given_force
from gen.handbook.shape import BEDDING_COOL_S, IMPULSE_COOL_S
from gen.handbook.suggestion import OFF, SQUEEZE, Suggestion
from gen.ranges import Figure, shown
from gen.units import INCH_MM, POUND_N

_WIDTH = 120
_COLUMN = 50  # where the sources begin
_NAME = 24
# One number or several joined, before mm or N; a metric table's row, "over 0.8 to 1 mm", to be left as it is printed.
_METRIC = re.compile(r"over [\d.]+ to [\d.]+ mm|((?:\d+(?:\.\d+)?(?: to | x | \+ | = ))*\d+(?:\.\d+)?) (mm|N)\b")
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def in_inches(text: str) -> str:
    """Every length in mm and force in N of a text in inches and pounds, but for the names of a metric table's rows."""

    def converted(found: re.Match[str]) -> str:
        if found[1] is None:
            return found[0]
        each, unit = (INCH_MM, "in") if found[2] == "mm" else (POUND_N, "lb")
        return f"{_NUMBER.sub(lambda number: shown(float(number[0]) / each), found[1])} {unit}"

    return _METRIC.sub(converted, text)


def as_data(found: Suggestion, refusal: str) -> dict[str, Any]:
    """Everything that the command tells, for another program: SI, lengths in mm."""
    return {
        "joint": found.joint.model_dump(),
        "frequency_Hz": found.frequency_Hz,
        "working_current_A": asdict(found.current),
        "force_N": asdict(force) if (force := given_force(found.joint)) else None,
        "against": found.against,
        "known": found.known,
        "why_not": found.why_not,
        "helps": list(found.helps),
        "current_percent": found.percent if found.known else None,
        "weld_s": asdict(found.weld) if found.weld else None,
        "start_s": found.start_s if found.known else None,
        "shape": asdict(found.shape) if found.known else None,
        "beside": [asdict(figure) for figure in found.beside],
        "squeeze_s": asdict(SQUEEZE),
        "hold_s": asdict(found.hold) if found.hold else None,
        "off_s": asdict(OFF),
        "figures": [{"name": name} | asdict(figure) for name, figure in found.figures],
        "assumptions": list(found.assumptions),
        "cautions": list(found.cautions),
        "practice": list(found.practice),
        "machine_refuses": refusal,
        "schedule": found.schedule_text() if found.known else None,
    }


def as_lines(found: Suggestion, refusal: str, inch: bool = False) -> list[str]:
    """The suggestion to read, in lines of at most 120 characters; `inch`: in inches and pounds."""
    turned = in_inches if inch else str

    def row(name: str, figure: Figure) -> str:
        start = f"{turned(f'  {name:<{_NAME}}{figure.text}'):<{_COLUMN - 2}}"
        text = f"{start}  {turned(figure.source)}"
        return textwrap.fill(text, _WIDTH, subsequent_indent=" " * _COLUMN, break_long_words=False)

    def said(text: str) -> str:
        return textwrap.fill(
            turned(text), _WIDTH, initial_indent="  ", subsequent_indent="    ", break_long_words=False
        )

    lines = [turned(found.joint.title), row("this machine", found.current)]
    if force := given_force(found.joint):
        lines.append(row("its force", force))
    if found.against:
        lines.append(said(found.against))
    if found.figures:
        lines += ["", "What the tables say", *(said(text) for text in _by_source(found.figures))]
    if found.weld is None or found.hold is None:
        lines += ["", textwrap.fill(turned(f"No suggestion: {found.why_not}."), _WIDTH), "What would help"]
        lines += [f"  {help_}" for help_ in found.helps]
    else:
        lines += ["", "On this machine, as a first guess", *(row(*named) for named in _guess(found))]
    for title, texts in (("Assumed", found.assumptions), ("In practice", found.practice)):
        if texts:
            lines += ["", title, *(said(text) for text in texts)]
    if refusal:
        lines += ["", textwrap.fill(f"The machine refuses it as it stands, so nothing is written: {refusal}", _WIDTH)]
    if found.cautions:
        lines += ["", "Cautions", *(said(text) for text in found.cautions)]
    return lines


def _by_source(figures: tuple[tuple[str, Figure], ...]) -> list[str]:
    """The figures, a line to each source."""
    lines: dict[str, list[str]] = {}
    for name, figure in figures:
        lines.setdefault(figure.source, []).append(f"{name} {figure.text}")
    return [f"{source}: {'; '.join(told)}" for source, told in lines.items()]


def _guess(found: Suggestion) -> list[tuple[str, Figure]]:
    """The rows of the schedule suggested, each with its name; none where nothing is known."""
    if found.weld is None or found.hold is None:
        return []
    percent = Figure(found.percent, found.percent, "%", f"of the working current: {found.delivered.text}")
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
        *(("weld, by another table", figure) for figure in found.beside),
        ("hold", found.hold),
        ("off", OFF),
    ]
