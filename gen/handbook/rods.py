"""Two crossed rods: from the table's time and current to this machine's, by a conduction solution fitted for each diameter.

Below the table's current heat flows away along the rods and into the electrodes, and the time grows far faster than by equal
I^2 t. `_LONGER` is a fit to a three-dimensional conduction model of two crossed rods between copper electrodes
(tests/support/outside/rods_conduction.py: finite volumes, low-carbon steel with properties that change with temperature, from
memory), calibrated at the table's row of 15 % setdown and extrapolated to cells of size zero. Its error is
`WITHIN_CONDUCTION`. How an electrode touches a round rod is not known; the two limits are two columns.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from gen.handbook.practice import (
    LOWER_TAP,
    face_words,
    force_cautions,
    force_practice,
    helps,
    rod_shunting,
    setdown_practice,
)
from gen.handbook.shape import LEAST_PERCENT, rod_shape
from gen.handbook.suggestion import TYPICAL, Suggestion, compared, percent_for, scaled
from gen.handbook.tables import around, between, cited, rod_rows
from gen.joint import Joint
from gen.quantities import Measures
from gen.ranges import Figure, shown, spanning
from gen.roots import root

if TYPE_CHECKING:
    from scipy.interpolate import PchipInterpolator  # type: ignore[import-untyped,unused-ignore]

WITHIN_TABLE = 0.10  # the error of a time: the worst error of a row predicted from its neighbours
# The error of a time from 60 % of the table's current up: 5 to 10 % by the grid, 3 to 12 % by the temperature taken for a weld
# (1000 to 1400 degC).
WITHIN_CONDUCTION = 0.15
# At 30 % setdown the patch is wider, and the model's rates are those at 15 % to this power (within 7 % for 8 mm under flat faces
# and 5 mm in grooves). At 50 % the patch would be as wide as the rod, beyond the model: the same power is taken.
MORE_SETDOWN = 0.8
# The greatest ratio of diameters, 5 on 12 mm, by the model; no measurement of unlike rods is known to us.
CHECKED_RATIO = 2.4
# ASTM A1064, from memory: a crossing must have a strength if the thinner wire has at least this share of the other's area.
LEAST_AREA = 0.4
HOLD_S = 0.5  # typical (common practice, no source); thick rods as long as the table welds them

# Time over the table's, at each current over the table's in `_SHARES`: by diameter in mm, under a flat face, which touches a
# rod along a narrow strip, and in a groove of the rod's radius. From the model above; inf: never, or outside the model.
_SHARES = (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1)
_NEVER = 25.0  # longest weld over the table's time; a longer one counts as impossible
_INF = math.inf
_LONGER: dict[float, dict[str, tuple[float, ...]]] = {
    1.5875: {
        "flat": (_INF, _INF, _INF, 17.3, 4.03, 1.8, 1.0, 0.619),
        "groove": (_INF, _INF, _INF, _INF, 8.41, 1.98, 1.0, 0.61),
    },
    3.0: {
        "flat": (_INF, _INF, 16.5, 5.35, 2.63, 1.54, 1.0, 0.688),
        "groove": (_INF, _INF, _INF, 8.48, 2.92, 1.58, 1.0, 0.686),
    },
    5.0: {
        "flat": (_INF, 30.6, 8.64, 4, 2.28, 1.46, 1.0, 0.72),
        "groove": (_INF, _INF, 20.2, 4.83, 2.44, 1.49, 1.0, 0.716),
    },
    8.0: {
        "flat": (_INF, 19.5, 7.11, 3.64, 2.17, 1.43, 1.0, 0.724),
        "groove": (_INF, _INF, 9.26, 3.97, 2.25, 1.45, 1.0, 0.727),
    },
    12.7: {
        "flat": (_INF, 17.9, 6.99, 3.65, 2.19, 1.43, 1.0, 0.725),
        "groove": (_INF, 32.6, 7.97, 3.77, 2.2, 1.43, 1.0, 0.73),
    },
}


@cache
def _rate(diameter_mm: float, contact: str) -> PchipInterpolator:
    """The table's time over the time, as a function of the share of the table's current; 0 for never. Of a fitted diameter."""
    from scipy.interpolate import PchipInterpolator  # type: ignore[import-untyped,unused-ignore]

    return PchipInterpolator(_SHARES, [1 / longer for longer in _LONGER[diameter_mm][contact]])


def _rate_at(diameter_mm: float, share: float, contact: str) -> float:
    """The same of any diameter, interpolated in its logarithm; above 1.1 of the current by equal I^2 t."""
    known = sorted(_LONGER)
    mm = min(max(diameter_mm, known[0]), known[-1])
    thin, thick = max(each for each in known if each <= mm), min(each for each in known if each >= mm)
    part = 0.0 if thin == thick else math.log(mm / thin) / math.log(thick / thin)
    at = min(max(share, _SHARES[0]), _SHARES[-1])
    rate = (1 - part) * float(_rate(thin, contact)(at)) + part * float(_rate(thick, contact)(at))
    return rate * max(1.0, share / at) ** 2


@dataclass(frozen=True)
class RodSetting:
    """The table's time and current at one diameter, and the time at another current.

    `contact`: how the electrodes touch the rods, "flat" or "groove".
    """

    diameter_mm: float
    weld_s: float
    current_A: float
    setdown_percent: float

    def _rate(self, share: float, contact: str) -> float:
        rate = _rate_at(self.diameter_mm, share, contact)
        return rate if self.setdown_percent <= 15 or rate <= 0 else rate**MORE_SETDOWN

    def time_s(self, current_A: float, contact: str) -> float:
        """Weld time at another current, by conduction; infinite above `_NEVER` times the table's."""
        rate = self._rate(current_A / self.current_A, contact)
        return self.weld_s / rate if rate > 1 / _NEVER else math.inf

    def least_A(self, contact: str) -> float:
        """The current below which no weld time is enough."""

        def over(share: float) -> float:
            return self._rate(share, contact) - 1 / _NEVER

        return self.current_A * root(over, _SHARES[0], 1.0)


def setting(finish: str, setdown_percent: float, diameter_mm: float) -> RodSetting:
    """The table's time and current at a diameter. Raises ValueError outside the table."""
    rows = rod_rows(finish, setdown_percent)
    return RodSetting(
        diameter_mm,
        between(rows, diameter_mm, lambda r: r.weld_s),
        between(rows, diameter_mm, lambda r: r.current_A),
        setdown_percent,
    )


def effective_mm(thin_mm: float, thick_mm: float) -> tuple[float, float, float]:
    """Least, middle and greatest effective diameter of unlike rods: d1^p d2^(1-p), p of 3/4, 5/8 and 1/2, d1 the thinner.

    1/2 is the power of crossed cylinders at equal gap. The conduction model, with setdown in percent of the thinner rod,
    gives 3/4 at the table's current and 5/8 at 60 % of it, for ratios up to `CHECKED_RATIO`.
    """
    ratio = thick_mm / thin_mm
    least, middle, most = (thin_mm * ratio**power for power in (1 / 4, 3 / 8, 1 / 2))
    return least, middle, most


def suggest_rods(joint: Joint, current: Figure, frequency_Hz: int, measures: Measures) -> Suggestion:
    """The suggestion for two crossed rods."""
    low, middle, high = (
        setting(joint.finish, joint.setdown_percent, mm) for mm in effective_mm(joint.thin_mm, joint.thick_mm)
    )
    percent = percent_for(middle.current_A, current)
    delivered = scaled(current, percent)
    of_table = f"{100 * delivered.middle / middle.current_A:.0f} % of the table's current"
    table = _at_diameter(joint, middle)
    never = spanning((low.least_A("flat"), high.least_A("groove")), "A", _FIT)
    figures = (*table.figures(), ("no time is enough below", never))
    against = f"of the table's current: {compared(current, middle.current_A)}"
    if percent < LEAST_PERCENT:
        why_not = f"the table has {shown(middle.current_A)} A, {percent} % of this tap's current; change the tap"
        ways = (LOWER_TAP,)
        return Suggestion(joint, frequency_Hz, current, why_not, ways, figures=figures, against=against)
    longest_s = middle.time_s(delivered.middle, "flat")
    if longest_s == math.inf:
        surely = delivered.high < never.low
        why_not = (
            f"{'no time is enough' if surely else 'not known'}: {shown(delivered.middle)} A is {of_table}, where "
            f"{'the' if surely else 'so much'} heat {'flows' if surely else 'may flow'} away along the rods and into the "
            f"electrodes {'as fast as it is made' if surely else 'that the joint never gets hot enough'}; more than "
            f"{never.text} is needed (a conduction fit)"
        )
        return Suggestion(joint, frequency_Hz, current, why_not, _helps(joint), figures=figures, against=against)
    cautions = list(force_cautions(joint, table.force, measures))
    worst_s = high.time_s(delivered.low, "groove")
    if worst_s == math.inf:
        cautions.append(
            f"at the low end of the current, {shown(delivered.low)} A, or in grooves, the joint may never get hot enough; the "
            f"long end of the range is for {shown(delivered.middle)} A under flat faces"
        )
    cautions += _ratio_cautions(joint)
    warned, faces = face_words(joint, measures)
    start_s = low.time_s(delivered.high, "flat")
    shape = rod_shape(joint.thin_mm, start_s, percent)
    below = delivered.middle < middle.current_A * (1 - WITHIN_TABLE)
    within = WITHIN_CONDUCTION if below else WITHIN_TABLE
    weld = Figure(
        start_s * (1 - within),
        max(longest_s if worst_s == math.inf else worst_s, start_s) * (1 + within) * shape.longer,
        "s",
        f"By a conduction fit, flat face to groove, and {100 * within:.0f} % either way",
    )
    return Suggestion(
        joint,
        frequency_Hz,
        current,
        percent=percent,
        weld=weld,
        start_s=start_s,
        hold=_hold(middle),
        figures=figures,
        assumptions=_assumptions(joint, (low, middle, high), f"{shown(delivered.middle)} A is {of_table}", measures),
        cautions=(*cautions, *warned),
        against=against,
        practice=(
            *shape.practice,
            *force_practice(joint, table.force, measures),
            setdown_practice(table.setdown.middle, measures),
            *faces,
            *rod_shunting(joint, delivered, measures),
        ),
        shape=shape,
    )


_FIT = "a conduction fit, flat face to groove, over the effective diameters: computed, not measured"


def _assumptions(
    joint: Joint, settings: tuple[RodSetting, RodSetting, RodSetting], share: str, measures: Measures
) -> tuple[str, ...]:
    low, middle, high = (measures.length(each.diameter_mm) for each in settings)
    assumptions = [
        f"{share}, the only one it has. For other currents a fit to a conduction model of crossed rods is used, outside the "
        "table: heat flows away, and equal I^2 t would be far too short. Steel's properties are from memory; nothing of the "
        "fit is measured.",
    ]
    if joint.thin_mm != joint.thick_mm:
        assumptions.append(
            f"Unlike rods: by an effective diameter of {middle}, from {low} (by the conduction model, for ratios up to "
            f"{CHECKED_RATIO:g}) to sqrt(d1 d2) = {high}. Our assumption: no published rule is known to us."
        )
    return tuple(assumptions)


def _ratio_cautions(joint: Joint) -> list[str]:
    """Cautions for rods too unlike."""
    ratio = joint.thick_mm / joint.thin_mm
    found = []
    if ratio > CHECKED_RATIO * 1.001:
        found.append(f"the rods' ratio, {shown(ratio)}, is beyond the {CHECKED_RATIO:g} to which the rule was computed")
    if (area := ratio**-2) < LEAST_AREA:
        found.append(
            f"the thinner rod has {100 * area:.0f} % of the thicker's area: below {100 * LEAST_AREA:.0f} % ASTM A1064 requires "
            "no strength of a crossing (from memory)"
        )
    return found


def _hold(middle: RodSetting) -> Figure:
    hold_s = max(HOLD_S, middle.weld_s)
    return Figure(hold_s, hold_s, "s", f"{TYPICAL}; the table here has none")


def _helps(joint: Joint) -> tuple[str, ...]:
    return helps(joint) if joint.setdown_percent == 15 else (*helps(joint), "less setdown, which is less strong")


@dataclass(frozen=True)
class _TableFigures:
    """The cross-wire table's figures for a joint."""

    current: Figure
    weld: Figure
    forces: tuple[Figure, ...]
    """More than one where copies of the table differ, the widest first."""
    setdown: Figure
    strength: Figure

    @property
    def force(self) -> Figure:
        return self.forces[0]

    def figures(self) -> tuple[tuple[str, Figure], ...]:
        return (
            ("current", self.current),
            ("weld time", self.weld),
            *(("force", force) for force in self.forces),
            ("setdown", self.setdown),
            ("strength", self.strength),
        )


def _at_diameter(joint: Joint, middle: RodSetting) -> _TableFigures:
    rows, mm = rod_rows(joint.finish, joint.setdown_percent), middle.diameter_mm
    table = f"cross-wire table, {joint.finish.replace('_', '-')}, setdown {joint.setdown_percent:g} %"
    source = f"{table}, {cited(rows, mm)}"
    # The table's forces rise unevenly with the diameter, so between two rows the range spans both.
    near = around(rows, mm)
    force = spanning((row.force_N for row in near), "N", source)
    forces = [force]
    if joint.finish == "cold_drawn" and joint.setdown_percent == 15 and any(row.diameter_in == 0.3125 for row in near):
        other = "a metric copy of the table, with 933 lb in row 0.3125 in instead of 825"
        most_N = max(row.force_N * (933 / 825 if row.diameter_in == 0.3125 else 1) for row in near)
        forces.insert(0, Figure(force.low, most_N, "N", f"up to {other}"))
    strength_N = between(rows, joint.thin_mm, lambda r: r.strength_N)
    setdown_mm = joint.setdown_percent / 100 * joint.thin_mm
    return _TableFigures(
        current=Figure(middle.current_A, middle.current_A, "A", source),
        weld=Figure(middle.weld_s, middle.weld_s, "s", f"{source}, at that current"),
        forces=tuple(forces),
        setdown=Figure(setdown_mm, setdown_mm, "mm", f"{joint.setdown_percent:g} % of the thinner rod"),
        strength=Figure(strength_N, strength_N, "N", f"{table}, {cited(rows, joint.thin_mm)}, by the thinner rod"),
    )
