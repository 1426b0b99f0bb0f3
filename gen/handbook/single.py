"""Sheets whose table has one set-up only: zinc-coated steel (ISO 14373) and austenitic stainless steel.

Neither table has other currents, so there is a suggestion only for a machine that reaches the table's current.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

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
from gen.handbook.shape import LEAST_PERCENT
from gen.handbook.suggestion import TYPICAL, Suggestion, compared, percent_for, scaled
from gen.handbook.tables import IsoRange, between, cited, iso_row, stainless_rows
from gen.joint import Joint
from gen.quantities import Measures
from gen.ranges import Figure, shown

ZINC_TABLE = "iso14373_spot_zinc"
NEAR = 0.1  # equal I^2 t is used down to this share below the stainless table's one current: our assumption
WITHIN = 0.25  # the error of such a time: above the worst error of a row predicted from its neighbours
HOLD = Figure(0.2, 0.2, "s", f"{TYPICAL}; the table here has none")


@dataclass(frozen=True)
class _SetUp:
    """The one set-up of a table: the range of its current in A, and its figures; None where it has none."""

    least_A: float
    most_A: float
    face_mm: float
    force: Figure
    figures: tuple[tuple[str, Figure], ...]
    named: str
    spacing: Figure | None = None
    overlap: Figure | None = None


def suggest_zinc(joint: Joint, current: Figure, frequency_Hz: int, measures: Measures) -> Suggestion:
    """The suggestion for zinc-coated sheets, at the currents for electrolytic zinc, the lower ones."""
    row = iso_row(joint.outer_mm, ZINC_TABLE)
    if row is None:
        return _outside(joint, current, frequency_Hz, "ISO 14373 has zinc-coated sheet over 0.4 and to 3 mm only")
    hot, electrolytic = row.first, row.second
    figures = []
    named: tuple[tuple[str, IsoRange], ...] = (("hot-dip", hot), ("electrolytic", electrolytic))
    for name, condition in named:
        source = f"ISO 14373, {name} zinc, {row.printed}"
        figures += [
            ("current", Figure(*condition.current_A, "A", source)),
            ("weld time", Figure(*condition.weld_s, "s", source)),
            ("force", Figure(*condition.force_N, "N", source)),
        ]
    if row.to_mm == 0.8:
        other = "BS 1140:1993 (public reproduction), hot-dip zinc, 0.6 to 0.8 mm, which differs from ISO"
        figures.append(("force", Figure(1900, 2200, "N", other)))
    source = f"ISO 14373, zinc, {row.printed}"
    figures.append(("electrode face", Figure(row.tip_diameter_mm, row.tip_diameter_mm, "mm", source)))
    figures.append(("weld size", weld_size_rule(joint.thin_mm)))
    low_A, high_A = electrolytic.current_A
    force = Figure(*electrolytic.force_N, "N", source)
    setup = _SetUp(low_A, high_A, row.tip_diameter_mm, force, tuple(figures), "ISO 14373's electrolytic zinc")
    low_s, high_s = electrolytic.weld_s
    weld = Figure(low_s, high_s, "s", f"ISO 14373, electrolytic zinc, {row.printed}: its own range")
    found = _suggested(joint, current, frequency_Hz, setup, (weld, low_s), measures)
    if not found.known:
        return found
    hot_text = f"{shown(hot.current_A[0])} to {shown(hot.current_A[1])} A"
    if found.delivered.middle >= hot.current_A[0]:
        hot_words = f"it is within the table's {hot_text} for hot-dip zinc too"
    elif current.middle >= hot.current_A[0]:
        percent = percent_for(sum(hot.current_A) / 2, current)
        hot_words = f"hot-dip zinc needs {hot_text}: try {percent} % for it"
    else:
        hot_words = f"hot-dip zinc needs {hot_text}, more than this machine has: nothing is known for it"
    text = f"The current is for electrolytic zinc, which needs less; {hot_words}."
    return replace(found, assumptions=(text, *found.assumptions))


def suggest_stainless(joint: Joint, current: Figure, frequency_Hz: int, measures: Measures) -> Suggestion:
    """The suggestion for austenitic stainless sheets: within a tenth of the table's one current, by equal I^2 t."""
    rows, mm, thin_mm = stainless_rows(), joint.outer_mm, joint.thin_mm
    table = "stainless table, "
    factor, more = spacing_factor(joint)

    def point(value: float, unit: str, size_mm: float = mm, also: str = "") -> Figure:
        return Figure(value, value, unit, f"{table}{cited(rows, size_mm)}{also}")

    table_A = between(rows, mm, lambda r: r.current_A)
    table_s = between(rows, mm, lambda r: r.weld_s)
    face_mm = between(rows, mm, lambda r: r.face_diameter_mm)
    force = point(between(rows, mm, lambda r: r.force_N), "N")
    spacing = point(between(rows, mm, lambda r: r.spacing_mm) * factor, "mm", also=more)
    overlap = point(between(rows, mm, lambda r: r.overlap_mm), "mm")
    figures = (
        ("current", point(table_A, "A")),
        ("weld time", point(table_s, "s")),
        ("force", force),
        ("electrode face", point(face_mm, "mm")),
        ("weld size", point(between(rows, thin_mm, lambda r: r.fused_zone_mm), "mm", thin_mm)),
        ("strength in shear", point(between(rows, thin_mm, lambda r: r.strength_N), "N", thin_mm)),
        ("spacing, at least", spacing),
        ("overlap, at least", overlap),
    )
    setup = _SetUp((1 - NEAR) * table_A, table_A, face_mm, force, figures, "the stainless table's", spacing, overlap)
    delivered = scaled(current, percent_for(table_A, current))
    short_s, long_s = (table_s * (table_A / end_A) ** 2 for end_A in (delivered.high, delivered.low))
    source = f"{table}{cited(rows, mm)}: from its one current by equal I^2 t, and {100 * WITHIN:.0f} % either way"
    weld = Figure(short_s * (1 - WITHIN), long_s * (1 + WITHIN), "s", source)
    found = _suggested(joint, current, frequency_Hz, setup, (weld, short_s), measures)
    if not found.known:
        return found
    text = (
        f"The table has one set-up, {shown(table_A)} A. Down to {100 * NEAR:.0f} % below it equal I^2 t is used, outside the "
        "table (our assumption). For steel hardened to 150 000 psi and more the table has about a fifth less current."
    )
    return replace(found, assumptions=(text, *found.assumptions))


def _outside(joint: Joint, current: Figure, frequency_Hz: int, why: str) -> Suggestion:
    ways = ("a table for this sheet, or bare low-carbon steel",)
    return Suggestion(joint, frequency_Hz, current, why, ways)


def _suggested(
    joint: Joint,
    current: Figure,
    frequency_Hz: int,
    setup: _SetUp,
    time: tuple[Figure, float],
    measures: Measures,
) -> Suggestion:
    """The suggestion if the machine reaches the set-up's current. Above its upper end the percentage is lowered.

    `time`: the range of the weld time and the first one to try, in s.
    """
    weld, start_s = time
    percent = percent_for(setup.most_A, current)
    delivered = scaled(current, percent)
    least = f"{shown(setup.least_A)} A"
    against = f"of the table's current, {shown(setup.most_A)} A at most: {compared(current, setup.most_A)}"
    why_not, ways = "", helps(joint)
    if joint.surface == "zinc":
        ways += ("bare steel, or the zinc ground off well beyond the weld",)
    if percent < LEAST_PERCENT:
        why_not = f"the table has {shown(setup.most_A)} A at most, {percent} % of this tap's current; change the tap"
        ways = (LOWER_TAP,)
    elif delivered.middle < setup.least_A:
        why_not = f"{shown(delivered.middle)} A is below {least}, the least at which {setup.named} set-up is used"
        why_not += "; the current below which no time is enough is not known either"
    if why_not:
        return Suggestion(joint, frequency_Hz, current, why_not, ways, figures=setup.figures, against=against)
    cautions = [*force_cautions(joint, setup.force, measures), *face_cautions(joint, setup.face_mm, measures)]
    if delivered.low < setup.least_A:
        cautions.append(f"the current may be {shown(delivered.low)} A, below {least}, where nothing is known")
    warned, neighbours = sheet_shunting(joint, setup.spacing, setup.overlap, measures)
    return Suggestion(
        joint,
        frequency_Hz,
        current,
        percent=percent,
        weld=weld,
        start_s=start_s,
        hold=HOLD,
        figures=setup.figures,
        assumptions=_unlike(joint),
        cautions=(*cautions, *warned),
        against=against,
        practice=(*force_practice(joint, setup.force, measures), *neighbours),
    )


def _unlike(joint: Joint) -> tuple[str, ...]:
    sheets_mm = joint.sheets_mm or ()
    if len(sheets_mm) == 2 and joint.thin_mm == joint.thick_mm:
        return ()
    return (
        f"Unlike or three sheets: the thinner of the outer ones sets the schedule ({NOTES}; common practice). The table is "
        "for two equal sheets: the range may end too short.",
    )
