"""The page of one weld of the joint model: six section views, curves, assumptions.

Temperature is shown by bands with numbers and hatches, never by colour alone, so that it can be printed in black and white.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt  # type: ignore[import-untyped,unused-ignore]

from gen.joint import Joint
from gen.machine.welder import Welder
from gen.table import TimingTable
from sim.joint.estimate import LONGEST_S, amperes_at_full, estimated_time, joint_work, pictured_weld, trust
from sim.joint.machine import machine_spans
from sim.joint.metals import METALS, Array
from sim.joint.outcome import JointOutcome, electrode_pressure_MPa, good_s, outcome, target_m
from sim.joint.rods import filled_m, half_widths, widened
from sim.joint.sites import RodSite, SheetSite
from sim.joint.weld import Picture, Span, WeldCourse
from sim.joint.work import COARSE, Work
from sim.report.sections import all_cautions, templates
from sim.report.svg import FONT, Scale, element, line, number, path, picture, svg, text, ticks, width_of

_SHARES = (0.15, 0.35, 0.55, 0.75, 1.0)  # ends of the bands over the solidus temperature
_PIXELS = 130  # pixels across a view
_GAP = 18
_ROOM = 0.9  # room that a label needs in its band on each side, over its height
_PANEL = 92
_LEFT, _RIGHT = 58, 14
_LONGER = 1.25  # length of the weld over the model's time, so that the target is seen to be reached


@dataclass(frozen=True)
class CoursePage:
    """The content of the page. `lines`: (name, words) of the results. `assumed` and `outcome.doubts` are sentences."""

    title: str
    subtitle: str
    work: Work
    course: WeldCourse
    outcome: JointOutcome
    lines: tuple[tuple[str, str], ...]
    assumed: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class CourseView:
    """A section as pixels: temperatures in degC, nan outside the work. `mm`: width and height."""

    time_s: float
    at_C: Array
    mm: tuple[float, float]


def render_course(page: CoursePage) -> str:
    """The page as HTML without other files, scripts or network. Same course, same text."""
    body = course_body(page, all_cautions())
    return templates().get_template("joint_course.html.j2").render(page=page, body=body) + "\n"


def course_body(page: CoursePage, cautions: Markup | None = None) -> Markup:
    """The page below its heading, for use in another page as well."""
    views = [view_of(each, page.work) for each in page.course.pictures]
    edges = band_edges(page.work)
    drawn = (
        templates()
        .get_template("joint_course_body.html.j2")
        .render(
            page=page,
            sections=picture(lambda width, name: draw_views(views, edges, width, name), "sections"),
            curves=picture(lambda width, _: draw_curves(page.course, page.work, width), "curves"),
            bands=band_labels(edges),
            cautions=cautions,
        )
    )
    return Markup(drawn)


def band_edges(work: Work) -> tuple[float, ...]:
    """Temperatures at which bands end, degC; the last is where the metal begins to melt."""
    solidus = METALS[work.metal].solidus_degC
    return (*(round(share * solidus, -1) for share in _SHARES[:-1]), solidus)


def band_labels(edges: Sequence[float]) -> tuple[str, ...]:
    """Each band in words, from 1."""
    words = [f"below {edges[0]:.0f}"]
    words += [f"{low:.0f} to {high:.0f}" for low, high in zip(edges[:-1], edges[1:], strict=True)]
    return tuple(f"{n + 1}: {each} °C" for n, each in enumerate([*words, f"above {edges[-1]:.0f}, melting"]))


def view_of(shot: Picture, work: Work) -> CourseView:
    """The section through the axis of sheets; of crossed rods along the lower, of a rod on a flat bar across the rod."""
    site = shot.site
    if isinstance(site, SheetSite):
        return _sheets_view(shot, site)
    if isinstance(site, RodSite):
        return _rods_view(shot, site, work)
    raise TypeError(f"no view of {type(site).__name__}")


def _sheets_view(shot: Picture, site: SheetSite) -> CourseView:
    made, stack = site.made, site.made.stack
    pile = sum(stack.sheets_m)
    half, above = 1.1 * stack.face_m, min(0.6 * pile, 0.9 * stack.copper_m)
    x, z = _pixels(half, -above, pile + above)
    at = _smooth(
        np.where(made.number >= 0, shot.at_C[np.maximum(made.number, 0)], np.nan),
        made.height_m,
        made.radius_m,
        z,
        abs(x),
    )
    away = np.maximum(-z, z - pile)
    wide = np.where(away <= 0, half, np.minimum(stack.face_m / 2 + stack.slope * away, stack.body_m / 2))
    at[np.abs(x)[None, :] > wide[:, None]] = np.nan
    return CourseView(shot.time_s, at[::-1], (2e3 * half, 1e3 * (pile + 2 * above)))


def _rods_view(shot: Picture, site: RodSite, work: Work) -> CourseView:
    made, cross = site.made, site.made.cross
    first, second = cross.rods_m
    (x_edges, _, up_low), (_, across, up_high) = made.edges
    low, high = made.boxes
    if cross.flat_m is not None:
        return _bar_view(shot, site)
    deep, tall = float(up_low[-1] - up_low[0]), float(up_high[-1] - up_high[0])
    half = 0.75 * max(second, first)
    x, z = _pixels(half, -deep, tall)
    at = np.full((len(z), len(x)), np.nan)
    below = z < 0
    boxes = [np.where(box >= 0, shot.at_C[np.maximum(box, 0)], np.nan) for box in (low[:, 0, :].T, high[0].T)]
    at[below] = _smooth(boxes[0], up_low - up_low[-1], x_edges, z[below], abs(x))
    at[~below] = _smooth(boxes[1], up_high - up_high[-1], across[: high.shape[1] + 1], -z[~below], abs(x))
    # Across the upper rod, whose section is a circle but for what has been pressed in.
    height, sunk_m = up_high[-1] - z[~below], site.sunk_m
    chord = np.sqrt(np.clip((second / 2) ** 2 - height**2, 0, None))
    filled = height > second / 2 - filled_m((first, second), sunk_m)
    chord = np.where(filled, np.maximum(chord, half_widths((first, second), sunk_m)[0]), chord)
    chord = chord * widened((first, second), sunk_m)
    at[~below] = np.where(np.abs(x)[None, :] <= chord[:, None], at[~below], np.nan)
    return CourseView(shot.time_s, at[::-1], (2e3 * half, 1e3 * (deep + tall)))


def _bar_view(shot: Picture, site: RodSite) -> CourseView:
    """The section across the rod, along the flat bar."""
    made, cross, sunk_m = site.made, site.made.cross, site.sunk_m
    (_, y_rod, up_rod), (y_bar, _, up_bar) = made.edges
    deep, tall, radius = float(up_rod[-1] - up_rod[0]), float(up_bar[-1] - up_bar[0]), cross.rods_m[0] / 2
    half = 2.2 * radius
    y, z = _pixels(half, -deep, tall)
    at, below = np.full((len(z), len(y)), np.nan), z < 0
    low, high = made.boxes
    rod, bar = (np.where(box >= 0, shot.at_C[np.maximum(box, 0)], np.nan) for box in (low[0].T, high[:, 0, :].T))
    at[below] = _smooth(rod, up_rod - up_rod[-1], y_rod[: low.shape[1] + 1], z[below], abs(y))
    at[~below] = _smooth(bar, up_bar - up_bar[-1], y_bar, -z[~below], abs(y))
    height = up_rod[-1] + z[below]
    chord = np.sqrt(np.clip(radius**2 - height**2, 0, None))
    chord = np.where(height > radius - cross.deep_m(sunk_m), np.maximum(chord, cross.half_widths(sunk_m)[1]), chord)
    chord = chord * cross.wider(sunk_m)[1]
    at[below] = np.where(np.abs(y)[None, :] <= chord[:, None], at[below], np.nan)
    return CourseView(shot.time_s, at[::-1], (2e3 * half, 1e3 * (deep + tall)))


def _smooth(box: Array, row_edges: Array, column_edges: Array, rows: Array, columns: Array) -> Array:
    """Values of a box of cells at points, on lines between the cells' middles; beyond the last cell its value."""
    filled = box.copy()
    for column in range(1, box.shape[1]):
        gap = np.isnan(filled[:, column])
        filled[gap, column] = filled[gap, column - 1]
    middles = [(edges[1:] + edges[:-1]) / 2 for edges in (row_edges, column_edges)]
    lengthwise = np.array([np.interp(columns, middles[1], row) for row in filled])
    return np.array([np.interp(rows, middles[0], column) for column in lengthwise.T]).T


def _pixels(half_m: float, low_m: float, high_m: float) -> tuple[Array, Array]:
    step = 2 * half_m / _PIXELS
    rows = max(8, round((high_m - low_m) / step))
    x = (np.arange(_PIXELS) + 0.5) * step - half_m
    return np.asarray(x), np.asarray(low_m + (np.arange(rows) + 0.5) * (high_m - low_m) / rows)


def draw_views(views: Sequence[CourseView], edges: Sequence[float], width: int, name: str) -> str:
    """The views in rows of three or of two, all at one scale."""
    columns = 3 if width > 500 else 2
    wide = (width - _GAP * (columns - 1)) / columns
    tall = max(view.mm[1] / view.mm[0] for view in views) * wide
    parts, height = [_hatches(name)], 0.0
    for n, view in enumerate(views):
        left, top = (n % columns) * (wide + _GAP), (n // columns) * (tall + 44) + 16
        hottest = float(np.nanmax(view.at_C))
        parts.append(text(left, top - 4, f"{view.time_s:.2g} s: up to {hottest:.0f} °C", class_="strong"))
        parts.append(_section(view, edges, (left, top, wide, wide * view.mm[1] / view.mm[0]), name))
        height = max(height, top + tall + 22)
    bar_mm = _bar_mm(views[0].mm[0])
    parts.append(line(0, height - 8, bar_mm / views[0].mm[0] * wide, height - 8, "mark"))
    parts.append(text(bar_mm / views[0].mm[0] * wide + 6, height - 4, f"{bar_mm:g} mm"))
    hottest = max(float(np.nanmax(view.at_C)) for view in views)
    label = f"Sections at {len(views)} instants; the hottest place reaches {hottest:.0f} degrees"
    return svg(width, height, "".join(parts), label)


def _bar_mm(across_mm: float) -> float:
    return max(each for each in (0.2, 0.5, 1, 2, 5, 10) if each <= max(0.25 * across_mm, 0.2))


def _hatches(name: str) -> str:
    """One pattern a band, denser the hotter; none for the coldest, black for what melts."""
    patterns = []
    for n, step in enumerate((14, 9, 6, 3.5), start=1):
        stroke = element(
            "path", d=f"M-1 {step + 1}L{step + 1} -1M-1 1L1 -1M{step - 1} {step + 1}L{step + 1} {step - 1}"
        )
        patterns.append(
            element("pattern", stroke, id=f"{name}-{n}", width=step, height=step, patternUnits="userSpaceOnUse")
        )
    return element("defs", "".join(patterns))


def _section(view: CourseView, edges: Sequence[float], place: tuple[float, float, float, float], name: str) -> str:
    left, top, wide, tall = place
    rows, columns = view.at_C.shape
    px, py = wide / columns, tall / rows
    known = np.isfinite(view.at_C)
    band = np.where(known, np.searchsorted(edges, np.nan_to_num(view.at_C), side="right"), -1)
    parts = []
    for n in range(len(edges) + 1):
        runs = _runs(band == n)
        if not runs:
            continue
        d = "".join(
            f"M{left + a * px:.1f} {top + r * py:.1f}h{(b - a) * px:.1f}v{py:.2f}h{-(b - a) * px:.1f}Z"
            for r, a, b in runs
        )
        fill = "#fff" if n == 0 else "#111" if n == len(edges) else f"url(#{name}-{n})"
        parts.append(element("path", d=d, class_="area", fill=fill))
    parts.append(_outlines(band, left, top, px, py))
    for n in range(len(edges) + 1):
        parts.append(_label(band == n, n, (left, top, px, py)))
    return "".join(parts)


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int, int]]:
    """(Row, first, past the last) of each run of pixels."""
    found = []
    for r, row in enumerate(mask):
        steps = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(np.int8), [0]])))
        found += [(r, int(a), int(b)) for a, b in zip(steps[::2], steps[1::2], strict=True)]
    return found


def _outlines(band: NDArray[np.int64], left: float, top: float, px: float, py: float) -> str:
    """A line wherever two neighbours are of different bands."""
    padded = np.pad(band, 1, constant_values=-1)
    pieces = []
    for r, c in np.argwhere(padded[1:, 1:-1] != padded[:-1, 1:-1]):
        pieces.append(f"M{left + c * px:.1f} {top + r * py:.1f}h{px:.1f}")
    for r, c in np.argwhere(padded[1:-1, 1:] != padded[1:-1, :-1]):
        pieces.append(f"M{left + c * px:.1f} {top + r * py:.1f}v{py:.1f}")
    return element("path", d="".join(pieces), class_="section") if pieces else ""


def _label(mask: NDArray[np.bool_], n: int, place: tuple[float, float, float, float]) -> str:
    """The band's number where the band is widest, on white; none where it does not fit."""
    left, top, px, py = place
    if not mask.any():
        return ""
    room = distance_transform_edt(np.pad(mask, 1), sampling=(py, px))[1:-1, 1:-1]
    r, c = np.unravel_index(int(np.argmax(room)), room.shape)
    if room[r, c] < _ROOM * FONT / 2:
        return ""
    x, y, word = left + (float(c) + 0.5) * px, top + (float(r) + 0.5) * py, str(n + 1)
    half = width_of(word) / 2 + 1.5
    corners = [(x - half, y - 6.5), (x + half, y - 6.5), (x + half, y + 6.5), (x - half, y + 6.5)]
    return path(corners, "ground", closed=True) + text(x, y + 4.5, word, "middle", "strong")


def draw_curves(course: WeldCourse, work: Work, width: int) -> str:
    """Size of the weld, resistance, current and temperatures over time, one panel each."""
    size = ("setdown, mm", 1e3 * course.of("setdown_m")) if work.rods_m else ("nugget, mm", 1e3 * course.of("nugget_m"))
    # Where no current flows nothing is seen of the resistance.
    ohms = np.where(course.current_A > 0, 1e6 * course.ohm, np.nan)
    panels: list[tuple[str, list[tuple[Array, str]]]] = [
        (size[0], [(size[1], "curve")]),
        ("resistance, micro-ohm", [(ohms, "curve")]),
        ("current, A", [(course.current_A, "curve")]),
        (
            "joint, and (dashed) under the electrode, °C",
            [(course.of("joint_C"), "curve"), (course.of("tip_C"), "other")],
        ),
    ]
    x = Scale(0.0, float(course.time_s[-1]), _LEFT, width - _RIGHT)
    parts = []
    for n, (name, curves) in enumerate(panels):
        top = 20 + n * (_PANEL + 26)
        high = max(float(np.nanmax(values)) for values, _ in curves) * 1.08 or 1.0
        y = Scale(0.0, high, top + _PANEL, top)
        parts.append(text(_LEFT, top - 5, name, class_="strong"))
        for tick in ticks(0.0, high, 4):
            parts.append(line(_LEFT, y(tick), width - _RIGHT, y(tick), "grid"))
            parts.append(text(_LEFT - 6, y(tick) + 4, number(tick, 4), "end"))
        for values, class_ in curves:
            for _, start, end in _runs(np.isfinite(values)[None, :]):
                there = slice(start, end)
                drawn = zip(course.time_s[there], values[there], strict=True)
                parts.append(path([(x(float(t)), y(float(v))) for t, v in drawn], class_))
        parts.append(line(_LEFT, y(0.0), width - _RIGHT, y(0.0), "mark"))
    bottom = 20 + len(panels) * (_PANEL + 26) - 26
    for tick in ticks(0.0, float(course.time_s[-1]), 8 if width > 500 else 4):
        parts.append(line(x(tick), bottom, x(tick), bottom + 4, "mark"))
        parts.append(text(x(tick), bottom + 18, f"{number(tick)} s", "middle"))
    seen = ohms[np.isfinite(ohms)]
    ends = f"resistance from {number(float(seen[0]))} to {number(float(seen[-1]))} micro-ohm"
    said = f"{size[0]} reaches {number(float(size[1].max()))}; {ends}"
    return svg(width, bottom + 26, "".join(parts), said)


def course_page(
    name: str, joint: Joint, welder: Welder, table: TimingTable | None, table_force_N: float | None = None
) -> CoursePage:
    """The page of a joint on a machine: the schedule `table`, or without one 100 % current until the weld is good.

    Raises Wrong and NoCurrentKnown if a file lacks a value that the model needs, Diverged if the solution does not settle.
    """
    made = joint_work(joint, welder, table_force_N)
    work, assumed = made.work, made.assumed
    measure, target = target_m(work, joint.setdown_percent)
    if table is None:
        time_s = estimated_time(work, amperes_at_full(welder), joint.setdown_percent, COARSE).time_s
        spans: tuple[Span, ...] = (Span(min(_LONGER * time_s, LONGEST_S), amperes_at_full(welder)),)
        assumed = (*assumed, "the current is 100 % until the weld is good, since no schedule was given")
    else:
        spans = machine_spans(table, welder)
    course, error = pictured_weld(work, spans, measure)
    what = "setdown" if work.rods_m else "nugget"
    reached = good_s(work, course, measure, target)
    fired = course.current_A > 0
    time_words = f"reached after {number(reached)} s" if reached < float("inf") else "not reached in this weld"
    pressure, hardness = electrode_pressure_MPa(work, course)
    sinks = "; it sinks in" if pressure > hardness else ""
    ohms, amperes = 1e6 * course.ohm[fired], course.current_A[fired]
    lines = (
        ("Force", f"{number(work.force_N)} N"),
        ("Under current", f"{number(float(sum(s.length_s for s in spans if s.amperes)))} s without pauses"),
        (
            what.capitalize(),
            f"{number(1e3 * float(course.of(measure).max()))} mm; {number(1e3 * target)} mm wanted, {time_words}",
        ),
        ("Resistance", f"{number(float(ohms[0]))} micro-ohm at first, {number(float(ohms[-1]))} at the end"),
        (
            "Current",
            f"{number(float(amperes.min()))} to {number(float(amperes.max()))} A, by the joint's resistance",
        ),
        (
            "Under the electrode",
            f"up to {float(course.of('tip_C').max()):.0f} °C; pressure {pressure:.0f} MPa, hardness {hardness:.0f} MPa{sinks}",
        ),
        ("Cells and steps", f"coarser ones change the {what} by {100 * error:.0f} %"),
    )
    subtitle = f"{joint.title}, surface {joint.surface}. {'Schedule ' + table.name if table else 'No schedule'}."
    return CoursePage(name, subtitle, work, course, outcome(work, course), lines, (*assumed, *trust(work)))
