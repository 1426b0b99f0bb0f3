"""Two or three sheets: from the classes of the spot-welding table for the thinner outer sheet, compared with two other tables."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from gen.handbook.classes import BELOW_C, LOSS_TO_MM, WITHIN_CLASSES, WITHIN_LOSS, Classes, loss_law
from gen.handbook.practice import (
    LOWER_TAP,
    NOTES,
    face_cautions,
    force_cautions,
    force_practice,
    helps,
    sheet_shunting,
    spacing_factor,
    weld_size_rule,
)
from gen.handbook.shape import LEAST_PERCENT, Shape, sheet_shape
from gen.handbook.suggestion import Suggestion, compared, percent_for, scaled
from gen.handbook.tables import IsoRange, IsoRow, OptimumRow, between, cited, class_rows, iso_row, optimum_rows
from gen.joint import Joint
from gen.quantities import Measures
from gen.ranges import Figure, shown, spanning

ISO_PILE_MM = 9.0  # three sheets together: scope of ISO 14373:2015
NEAR_OPTIMUM = 0.1  # the optimum table has one current: its time is shown for currents within this share of it


def suggest_sheets(joint: Joint, current: Figure, frequency_Hz: int, measures: Measures) -> Suggestion:
    """The suggestion for two or three sheets, by the thinner of the two that the electrodes touch."""
    mm = joint.outer_mm
    classes = Classes(mm)
    percent = percent_for(classes.at("A").current_A, current)
    delivered = scaled(current, percent)
    optimum = _optimum(joint, mm)
    figures = _figures(joint, classes, optimum, delivered.middle)
    middle_s = classes.weld_s(delivered.middle)
    why_not = _why_not(classes, percent, delivered, middle_s, measures)
    against = _against(classes, current)
    if why_not or middle_s is None:
        ways = (LOWER_TAP,) if percent < LEAST_PERCENT else helps(joint)
        return Suggestion(joint, frequency_Hz, current, why_not, ways, figures=figures, against=against)
    time = _time(joint, classes, delivered, measures)
    table_force = _table_force(classes, delivered.middle)
    warned, neighbours = sheet_shunting(joint, optimum.spacing, optimum.overlap, measures)
    cautions = [
        *force_cautions(joint, table_force, measures),
        *time.cautions,
        *face_cautions(joint, optimum.face.middle, measures),
        *warned,
    ]
    if sum(joint.sheets_mm or ()) > ISO_PILE_MM:
        cautions.append(
            f"ISO 14373 is for three sheets of at most {measures.given([ISO_PILE_MM])} together: this pile is outside it"
        )
    return Suggestion(
        joint,
        frequency_Hz,
        current,
        percent=percent,
        weld=time.weld,
        start_s=time.start_s,
        hold=optimum.hold,
        figures=figures,
        assumptions=time.assumptions,
        cautions=tuple(cautions),
        other_times=_other_times(optimum, mm, delivered.middle, measures),
        against=against,
        practice=(*time.shape.practice, *force_practice(joint, table_force, measures), *neighbours),
        shape=time.shape,
    )


@dataclass(frozen=True)
class _Time:
    """The weld time: its range, the first one to try, the form of the current, and the assumptions."""

    weld: Figure
    start_s: float
    shape: Shape
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]


def _time(joint: Joint, classes: Classes, delivered: Figure, measures: Measures) -> _Time:
    """The weld time over the range of the machine's current. The tables must have one at its middle at least."""
    c = classes.at("C")
    weakest_A, longest_s = _weakest(classes, delivered)
    pile = _pile(joint, weakest_A, longest_s, measures)
    assumptions, cautions = list(pile.assumptions), list(pile.cautions)
    margin = WITHIN_CLASSES
    if delivered.middle < c.current_A:
        margin = WITHIN_LOSS
        assumptions.append("Below class C neither weld size nor strength is known; class C's are the nearest.")
    if weakest_A > delivered.low:
        cautions.append(
            f"the current may be {shown(delivered.low)} A, for which nothing is known; the long end of the range is for "
            f"{shown(weakest_A)} A"
        )
    start_s = classes.weld_s(delivered.high) or longest_s
    low_s = start_s * (1 - margin)
    source = f"{_how(classes, delivered, weakest_A)}{pile.how}; over the machine's current and {100 * margin:.0f} % either way"
    for iso in _shorter(classes.thickness_mm, delivered.middle, low_s):
        assumptions.append(
            f"The tables disagree: {iso.source} has {iso.text} at this current, with its own force. The range includes it, and "
            "the schedule begins with it."
        )
        low_s, start_s = iso.low, iso.high
    shape = sheet_shape(sum(joint.sheets_mm or ()), start_s)
    long_margin = WITHIN_LOSS if weakest_A < c.current_A or pile.below_c else margin
    weld = Figure(low_s, pile.long_s * (1 + long_margin) * shape.longer, "s", source)
    return _Time(weld, start_s, shape, tuple(assumptions), tuple(cautions))


@dataclass(frozen=True)
class _Pile:
    """All sheets together: the longest weld time in s, its rule and its assumptions."""

    long_s: float
    below_c: bool = False
    how: str = ""
    assumptions: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def _pile(joint: Joint, weakest_A: float, longest_s: float, measures: Measures) -> _Pile:
    """The long end for unlike or three sheets: that of two sheets of half the pile, which need more heat than the outer pair."""
    sheets_mm = joint.sheets_mm or ()
    pile_mm = sum(sheets_mm)
    three = len(sheets_mm) > 2
    if not three and joint.thin_mm == joint.thick_mm:
        return _Pile(longest_s)
    half_mm = pile_mm / 2
    of_half = f"of two sheets of {measures.length(half_mm)}"
    if three:
        rule = "Three sheets: the thinner of the outer ones sets the schedule, in a pile of at most 4 times it and a ratio of "
        rule += "at most 3 to 1"
    else:
        rule = "Unlike sheets: the thinner one sets the schedule, to a ratio of 3 to 1"
    assumptions = [
        f"{rule} ({NOTES}; common practice). The long end is that of two sheets of half the pile, {measures.length(half_mm)}: "
        "our assumption."
    ]
    if three:
        second_mm = sorted(sheets_mm)[1]
        if second_mm != joint.outer_mm:
            assumptions.append(
                "The rules disagree: BS 1140:1993 (public reproduction) goes by the second thinnest of three, here "
                f"{measures.given([second_mm])}."
            )
        assumptions.append(
            "The tables here are for two equal sheets; for three they are only a start. Peel both joints of a test piece."
        )
    try:
        half = Classes(half_mm)
        half_s = half.weld_s(weakest_A)
    except ValueError:  # outside the table
        half_s = None
    if half_s is None:
        caution = (
            f"{of_half}, half the pile, nothing is known at this current; the long end of the range is "
            f"that of two sheets of {measures.given([joint.outer_mm])}, and may be too short"
        )
        return _Pile(longest_s, assumptions=tuple(assumptions), cautions=(caution,))
    how = f"; the long end that {of_half}"
    if weakest_A < half.at("B").current_A:
        how += ", class C FROM MEMORY"
    below_c = weakest_A < half.at("C").current_A
    how += ", below it and outside the table" if below_c else ""
    return _Pile(max(longest_s, half_s), below_c, how, tuple(assumptions))


def _how(classes: Classes, delivered: Figure, weakest_A: float) -> str:
    """The rule that leads from the table to this current, in words."""
    a, _, c = classes.rows
    one, two = classes.pair(delivered.middle)
    below = delivered.middle < c.current_A
    if below:
        how = (
            f"Below class C ({shown(c.current_A)} A, FROM MEMORY), outside the table: loss law through classes A and C"
        )
    elif one is two:
        how = "Class A"
    else:
        how = f"Between classes {one.letter} and {two.letter}, log of current against log of time"
        how += "; class C is FROM MEMORY" if two.letter == "C" else ""
    if weakest_A < c.current_A and not below:
        how += "; the long end below class C, outside the table, by the loss law through classes A and C"
    if delivered.high > a.current_A * 1.005:
        how += "; the short end above class A, outside the table, by equal I^2 t"
    return how


def _weakest(classes: Classes, delivered: Figure) -> tuple[float, float]:
    """The least current with a known weld time, from the low end to the middle, and that time."""
    steps = 50
    for step in range(steps + 1):
        current_A = delivered.low + (delivered.middle - delivered.low) * step / steps
        weld_s = classes.weld_s(current_A)
        if weld_s is not None:
            return current_A, weld_s
    raise ValueError("nothing is known even at the middle of the current")


def _why_not(classes: Classes, percent: int, delivered: Figure, middle_s: float | None, measures: Measures) -> str:
    a, _, c = classes.rows
    if percent < LEAST_PERCENT:
        return f"class A has {shown(a.current_A)} A, {percent} % of this tap's current; below {LEAST_PERCENT} % change the tap"
    if middle_s is not None:
        return ""
    short = f"{shown(delivered.middle)} A is below class C's {shown(c.current_A)} A (FROM MEMORY)"
    if classes.thickness_mm > LOSS_TO_MM:
        no_law = f"above {measures.given([LOSS_TO_MM])} the loss law does not fit the table"
        return f"{short}, and {no_law}, so the current below which no time is enough is not known either"
    law_A = classes.law[1] if classes.law else 0.0
    if delivered.high <= law_A:
        return f"{short}, and by the loss law through classes A and C no time is enough below {shown(law_A)} A"
    if delivered.middle < BELOW_C * c.current_A:
        return f"{short} by more than {100 * (1 - BELOW_C):.0f} %"
    return f"{short}, and by the loss law the joint may never get hot enough"


def _against(classes: Classes, current: Figure) -> str:
    shares = ", ".join(f"{compared(current, row.current_A)} of class {row.letter}" for row in classes.rows)
    optimum_A = between(optimum_rows(), classes.thickness_mm, lambda r: r.current_A)
    return f"of the tables' current: {shares}, {compared(current, optimum_A)} of the optimum"


@dataclass(frozen=True)
class _Optimum:
    """The optimum table at one thickness. Weld size and strength are of the thinnest sheet."""

    current: Figure
    weld: Figure
    force: Figure
    size: Figure
    strength: Figure
    hold: Figure
    face: Figure
    spacing: Figure
    overlap: Figure

    def figures(self) -> tuple[tuple[str, Figure], ...]:
        return (
            ("current", self.current),
            ("weld time", self.weld),
            ("force", self.force),
            ("weld size", self.size),
            ("strength in shear", self.strength),
            ("hold, at least", self.hold),
            ("electrode face", self.face),
            ("spacing, at least", self.spacing),
            ("overlap, at least", self.overlap),
        )


def _optimum(joint: Joint, mm: float) -> _Optimum:
    rows, thin_mm = optimum_rows(), joint.thin_mm
    factor, more = spacing_factor(joint)

    def point(value: Callable[[OptimumRow], float], unit: str, size_mm: float = mm) -> Figure:
        found = between(rows, size_mm, value)
        return Figure(found, found, unit, f"optimum table, {cited(rows, size_mm)}")

    spacing = point(lambda r: r.spacing_mm, "mm")
    return _Optimum(
        current=point(lambda r: r.current_A, "A"),
        weld=point(lambda r: r.weld_s, "s"),
        force=point(lambda r: r.force_N, "N"),
        size=point(lambda r: r.fused_zone_mm, "mm", thin_mm),
        strength=point(lambda r: r.strength_N, "N", thin_mm),
        hold=point(lambda r: r.hold_s, "s"),
        face=point(lambda r: r.face_diameter_mm, "mm"),
        spacing=Figure(spacing.low * factor, spacing.high * factor, "mm", spacing.source + more),
        overlap=point(lambda r: r.overlap_mm, "mm"),
    )


def _figures(joint: Joint, classes: Classes, optimum: _Optimum, current_A: float) -> tuple[tuple[str, Figure], ...]:
    mm, thin_mm = classes.thickness_mm, joint.thin_mm
    found: list[tuple[str, Figure]] = []

    def add(name: str, values: tuple[float, ...], unit: str, source: str) -> None:
        found.append((name, spanning(values, unit, source)))

    # The joint is as strong as its thinnest sheet, which in a pile of three may lie in the middle.
    thin = classes if thin_mm == mm else Classes(thin_mm)
    for row in classes.rows:
        source = f"class {row.letter}, {cited(class_rows(row.letter), mm)}"
        add("current", (row.current_A,), "A", source)
        add("weld time", (row.weld_s,), "s", source)
        add("force", (row.force_N,), "N", source)
        if thin is classes:
            add("weld size", (row.nugget_mm,), "mm", source)
            add("strength in shear", (row.strength_N,), "N", source)
    one, two = classes.pair(current_A)
    if one is not two:
        add("force", (classes.force_N(current_A),), "N", _between(classes, current_A, mm))
    if thin is not classes or one is not two:
        first, second = thin.at(one.letter), thin.at(two.letter)
        source = _between(classes, current_A, thin_mm)
        add("weld size", (first.nugget_mm, second.nugget_mm), "mm", source)
        add("strength in shear", (first.strength_N, second.strength_N), "N", source)
    found += optimum.figures()
    found += _iso_figures(mm, current_A)
    found.append(("weld size", weld_size_rule(thin_mm)))
    found += _never(classes)
    return tuple(found)


def _between(classes: Classes, current_A: float, size_mm: float) -> str:
    """The classes and rows read from the class table, and whether they are from memory."""
    one, two = classes.pair(current_A)
    letters = f"class {one.letter}" if one is two else f"between classes {one.letter} and {two.letter}"
    return f"{letters}, {cited(class_rows(two.letter), size_mm)}"


def _table_force(classes: Classes, current_A: float) -> Figure:
    force_N = classes.force_N(current_A)
    return Figure(force_N, force_N, "N", _between(classes, current_A, classes.thickness_mm))


def _never(classes: Classes) -> list[tuple[str, Figure]]:
    """The current below which no time is enough, where the classes give one."""
    if classes.law is None:
        return []
    _, b, c = classes.rows
    laws = (classes.law, loss_law((b.weld_s, b.current_A), (c.weld_s, c.current_A)))
    source = (
        "the loss law through classes A and C, and B and C where it fits; class C is FROM MEMORY, so a rough figure"
    )
    return [("no time is enough below", spanning((law[1] for law in laws if law), "A", source))]


def _iso_conditions(row: IsoRow, current_A: float) -> list[tuple[str, IsoRange]]:
    """The conditions of a row of ISO 14373 whose range includes this current, each with its source."""
    named = (("medium", row.first), ("high", row.second))
    return [
        (f"ISO 14373, {name} force, {row.printed}", condition)
        for name, condition in named
        if condition.current_A[0] <= current_A <= condition.current_A[1]
    ]


def _iso_figures(mm: float, current_A: float) -> list[tuple[str, Figure]]:
    """The ISO conditions whose range includes this current, or the current of the medium one where none does."""
    row = iso_row(mm)
    if row is None:
        return []
    found = []
    for source, condition in _iso_conditions(row, current_A):
        found.append(("current", Figure(*condition.current_A, "A", source)))
        found.append(("weld time", Figure(*condition.weld_s, "s", source)))
        found.append(("force", Figure(*condition.force_N, "N", source)))
    if not found:
        outside = "below" if current_A < row.first.current_A[0] else "outside"
        source = f"ISO 14373, medium force, {row.printed}; this machine is {outside} it"
        found.append(("current", Figure(*row.first.current_A, "A", source)))
    return found


def _iso_times(mm: float, current_A: float) -> list[tuple[Figure, Figure]]:
    """(weld time, force) of ISO 14373 at this current."""
    row = iso_row(mm)
    return [
        (Figure(*condition.weld_s, "s", source), Figure(*condition.force_N, "N", source))
        for source, condition in (_iso_conditions(row, current_A) if row else [])
    ]


def _other_times(optimum: _Optimum, mm: float, current_A: float, measures: Measures) -> tuple[Figure, ...]:
    """Weld times of the other tables at this current, each with its own force."""
    near = abs(current_A / optimum.current.middle - 1) <= NEAR_OPTIMUM
    pairs = [*([(optimum.weld, optimum.force)] if near else []), *_iso_times(mm, current_A)]
    return tuple(
        Figure(weld.low, weld.high, "s", f"{weld.source}; with its force, {measures.text(force)}")
        for weld, force in pairs
    )


def _shorter(mm: float, current_A: float, low_s: float) -> list[Figure]:
    """The ISO time of the least force at this current, if it is shorter than the whole range."""
    times = [weld for weld, _ in _iso_times(mm, current_A)]
    return [weld for weld in times[:1] if weld.high < low_s]
