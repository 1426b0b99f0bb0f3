"""Two sheets: between the classes of the spot-welding table, a little below them, and beside two other tables."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from scipy.optimize import brentq  # type: ignore[import-untyped,unused-ignore]

from gen.figures import Figure, shown, spanning
from gen.handbook.suggestion import HELPS, LEAST_PERCENT, Suggestion, force_caution, percent_for, scaled
from gen.handbook.tables import INCH_MM, ClassRow, IsoRange, between, cited, class_rows, iso_row, optimum_rows
from gen.joint import Joint

LOSS_TO_MM = 1.575  # 0.062 in: in thicker sheets classes A and C do not obey the loss law
BELOW_C = 0.85  # of class C's current: the least for which anything is said
# How far a time may be off: the worst error of class B foretold from classes A and C, by each of the two rules.
WITHIN_CLASSES = 0.25
WITHIN_LOSS = 0.30


def loss_law(first: tuple[float, float], second: tuple[float, float]) -> tuple[float, float] | None:
    """(tau s, Ic A) of t = -tau ln(1 - (Ic/I)^2) through two (time s, current A), the first the greater current.

    A first-order loss of heat: Ic is the current that only just gets there, after for ever. None where none fits.
    """
    (t1, i1), (t2, i2) = first, second

    def miss(x: float) -> float:
        return math.log1p(-x / i2**2) / math.log1p(-x / i1**2) - t2 / t1

    least, most = 1e-6 * i2**2, (1 - 1e-12) * i2**2
    if miss(least) >= 0 or miss(most) <= 0:
        return None
    x = float(brentq(miss, least, most))
    return -t1 / math.log1p(-x / i1**2), math.sqrt(x)


def loss_time_s(tau_s: float, least_A: float, current_A: float) -> float:
    """Time of the loss law; infinite at `least_A` and below."""
    return math.inf if current_A <= least_A else -tau_s * math.log1p(-((least_A / current_A) ** 2))


@dataclass(frozen=True)
class Classes:
    """The class table at one thickness."""

    thickness_mm: float

    def at(self, letter: str) -> ClassRow:
        """A class at this thickness; `printed` names the thickness, not a row."""
        rows, mm = class_rows(letter), self.thickness_mm
        return ClassRow(
            thickness_in=mm / INCH_MM,
            letter=letter,
            weld_cycles_60Hz=between(rows, mm, lambda r: r.weld_cycles_60Hz),
            force_lb=between(rows, mm, lambda r: r.force_lb),
            current_A=between(rows, mm, lambda r: r.current_A),
            nugget_in=between(rows, mm, lambda r: r.nugget_in),
            shear_lb=between(rows, mm, lambda r: r.shear_lb),
            from_memory="FROM MEMORY" in cited(rows, mm),
        )

    @cached_property
    def rows(self) -> tuple[ClassRow, ClassRow, ClassRow]:
        """A, B and C, by falling current."""
        return self.at("A"), self.at("B"), self.at("C")

    def pair(self, current_A: float) -> tuple[ClassRow, ClassRow]:
        """The classes on either side of a current; the end one twice above A and below C."""
        a, b, c = self.rows
        if current_A >= a.current_A:
            return a, a
        if current_A < c.current_A:
            return c, c
        return (a, b) if current_A >= b.current_A else (b, c)

    def along(self, current_A: float, first: tuple[float, float], second: tuple[float, float]) -> float:
        """Between two (current, value), straight in logarithms."""
        (i1, v1), (i2, v2) = first, second
        if i1 == i2:
            return v1
        share = math.log(current_A / i1) / math.log(i2 / i1)
        return float(v1 ** (1 - share) * v2**share)

    def weld_s(self, current_A: float) -> float | None:
        """Weld time: between classes by interpolation, above A by equal I^2 t, below C by the loss law; None: not known."""
        a, _, c = self.rows
        if current_A >= a.current_A:
            return a.weld_s * (a.current_A / current_A) ** 2
        if current_A >= c.current_A:
            one, two = self.pair(current_A)
            return self.along(current_A, (one.current_A, one.weld_s), (two.current_A, two.weld_s))
        if self.thickness_mm > LOSS_TO_MM or current_A < BELOW_C * c.current_A:
            return None
        law = loss_law((a.weld_s, a.current_A), (c.weld_s, c.current_A))
        time_s = loss_time_s(*law, current_A) if law else math.inf
        return time_s if time_s < math.inf else None

    def force_N(self, current_A: float) -> float:
        """Electrode force for a current; that of the end class outside."""
        one, two = self.pair(current_A)
        return self.along(current_A, (one.current_A, one.force_N), (two.current_A, two.force_N))


def suggest_sheets(joint: Joint, current: Figure, frequency_Hz: int) -> Suggestion:
    """The suggestion for two sheets, by the thinner of them."""
    mm = joint.thin_mm
    classes = Classes(mm)
    a, _, c = classes.rows
    percent = percent_for(a.current_A, current)
    delivered = scaled(current, percent)
    figures = _figures(classes, delivered.middle)
    middle_s = classes.weld_s(delivered.middle)
    why_not = _why_not(classes, percent, delivered, middle_s)
    if why_not or middle_s is None:
        helps = ("a lower tap",) if percent < LEAST_PERCENT else HELPS
        return Suggestion(joint, frequency_Hz, current, why_not, helps, figures=figures)
    below = delivered.middle < c.current_A
    margin = WITHIN_LOSS if below else WITHIN_CLASSES
    weakest_A, longest_s = _weakest(classes, delivered)
    shortest_s = classes.weld_s(delivered.high) or middle_s
    cautions = list(force_caution(joint, next(figure for name, figure in figures if name == "force")))
    if weakest_A > delivered.low:
        cautions.append(
            f"the current may be {shown(delivered.low)} A, of which nothing is known: the range's long end is that of "
            f"{shown(weakest_A)} A"
        )
    low_s = shortest_s * (1 - margin)
    high_s = longest_s * (1 + (WITHIN_LOSS if weakest_A < c.current_A else margin))
    cautions += _face_caution(joint)
    one, two = classes.pair(delivered.middle)
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
    weld = Figure(low_s, high_s, "s", f"{how}; over the machine's current and {100 * margin:.0f} % either way")
    assumptions = []
    if joint.thin_mm != joint.thick_mm:
        assumptions.append("Unlike sheets: the thinner one sets the schedule (common practice, no source).")
    hold = dict(figures)["hold, at least"]
    start_s = shortest_s
    for iso in _shorter(figures, weld):
        assumptions.append(
            f"The tables disagree: {iso.source} has {iso.text} at this current, with its own force. The range reaches down to "
            "it, and the schedule begins with it."
        )
        weld, start_s = Figure(iso.low, weld.high, weld.unit, weld.source), iso.high
    notes = (tuple(assumptions), tuple(cautions))
    return Suggestion(joint, frequency_Hz, current, "", (), percent, weld, start_s, hold, figures, *notes)


def _weakest(classes: Classes, delivered: Figure) -> tuple[float, float]:
    """The least current of which something is known, from the low end to the middle, and its weld time."""
    steps = 50
    for step in range(steps + 1):
        current_A = delivered.low + (delivered.middle - delivered.low) * step / steps
        weld_s = classes.weld_s(current_A)
        if weld_s is not None:
            return current_A, weld_s
    raise ValueError("nothing is known even at the middle of the current")


def _why_not(classes: Classes, percent: int, delivered: Figure, middle_s: float | None) -> str:
    a, _, c = classes.rows
    if percent < LEAST_PERCENT:
        return f"class A wants {shown(a.current_A)} A, {percent} % of this tap's current; below {LEAST_PERCENT} % change the tap"
    if middle_s is not None:
        return ""
    short = f"not known: {shown(delivered.middle)} A is below class C's {shown(c.current_A)} A (FROM MEMORY)"
    if classes.thickness_mm > LOSS_TO_MM:
        return f"{short}, and above {LOSS_TO_MM:g} mm (0.062 in) the loss law does not fit the table"
    if delivered.middle < BELOW_C * c.current_A:
        return f"{short} by more than {100 * (1 - BELOW_C):.0f} %"
    return f"{short}, and by the loss law it may never get hot enough"


def _figures(classes: Classes, current_A: float) -> tuple[tuple[str, Figure], ...]:
    mm = classes.thickness_mm
    one, two = classes.pair(current_A)
    found: list[tuple[str, Figure]] = []
    for row in classes.rows:
        source = (
            f"class {row.letter}, {cited(class_rows(row.letter), mm)}; {shown(row.force_N)} N, {shown(row.weld_s)} s"
        )
        found.append(("current", Figure(row.current_A, row.current_A, "A", source)))
    letters = f"class {one.letter}" if one is two else f"between classes {one.letter} and {two.letter}"
    rows = f"{letters}, {cited(class_rows(two.letter), mm)}"
    force_N = classes.force_N(current_A)
    found += [
        ("force", Figure(force_N, force_N, "N", rows)),
        ("weld size", spanning((one.nugget_mm, two.nugget_mm), "mm", rows)),
        ("strength in shear", spanning((one.strength_N, two.strength_N), "N", rows)),
    ]
    optimum, best = optimum_rows(), f"optimum table, {cited(optimum_rows(), mm)}"

    def point(name: str, value: float, unit: str) -> None:
        found.append((name, Figure(value, value, unit, best)))

    point("current", between(optimum, mm, lambda r: r.current_A), "A")
    point("weld time", between(optimum, mm, lambda r: r.weld_s), "s")
    point("force", between(optimum, mm, lambda r: r.force_N), "N")
    point("weld size", between(optimum, mm, lambda r: r.fused_zone_mm), "mm")
    point("strength in shear", between(optimum, mm, lambda r: r.strength_N), "N")
    point("hold, at least", between(optimum, mm, lambda r: r.hold_s), "s")
    point("electrode face", between(optimum, mm, lambda r: r.face_diameter_mm), "mm")
    point("spacing, at least", between(optimum, mm, lambda r: r.spacing_mm), "mm")
    point("overlap, at least", between(optimum, mm, lambda r: r.overlap_mm), "mm")
    found += _iso_figures(mm, current_A)
    root = math.sqrt(mm)
    found.append(
        ("weld size", Figure(3.5 * root, 5 * root, "mm", "3.5 sqrt t least, 5 sqrt t wanted (ISO 14373, from memory)"))
    )
    names = list(dict.fromkeys(name for name, _ in found))
    return tuple(sorted(found, key=lambda named: names.index(named[0])))


def _iso_figures(mm: float, current_A: float) -> list[tuple[str, Figure]]:
    """The ISO condition whose currents hold this machine's, or the medium one's current alone where none does."""
    row = iso_row(mm)
    if row is None:
        return []
    named: tuple[tuple[str, IsoRange], ...] = (("medium", row.medium), ("high", row.high))
    found = []
    for name, condition in named:
        if condition.current_A[0] <= current_A <= condition.current_A[1]:
            source = f"ISO 14373, {name} force, {row.printed}"
            found.append(("current", Figure(*condition.current_A, "A", source)))
            found.append(("weld time", Figure(*condition.weld_s, "s", source)))
            found.append(("force", Figure(*condition.force_N, "N", source)))
    if not found:
        outside = "below" if current_A < row.medium.current_A[0] else "outside"
        source = f"ISO 14373, medium force, {row.printed}; this machine is {outside} it"
        found.append(("current", Figure(*row.medium.current_A, "A", source)))
    return found


def _shorter(figures: tuple[tuple[str, Figure], ...], weld: Figure) -> list[Figure]:
    """Where ISO gives a time for this very current and it is shorter than the whole range: that of the least force."""
    times = [figure for name, figure in figures if name == "weld time" and "ISO" in figure.source]
    return [figure for figure in times[:1] if figure.high < weld.low]


def _face_caution(joint: Joint) -> list[str]:
    if joint.face_diameter_mm is None:
        return []
    table_mm = between(optimum_rows(), joint.thin_mm, lambda r: r.face_diameter_mm)
    if 0.8 <= joint.face_diameter_mm / table_mm <= 1.25:
        return []
    wide = joint.face_diameter_mm > table_mm
    what = "spreads the current: expect to need more" if wide else "crowds the current: expect expulsion, begin shorter"
    return [f"an electrode face of {joint.face_diameter_mm:g} mm, where the table has {shown(table_mm)} mm, {what}"]
