"""Two crossed rods: from the table's time and current to this machine's, by equal I^2 t and with a loss of heat."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gen.handbook.classes import loss_time_s
from gen.handbook.practice import face_words, force_cautions, force_practice, helps, rod_shunting, setdown_practice
from gen.handbook.shape import LEAST_PERCENT, rod_shape
from gen.handbook.suggestion import TYPICAL, Suggestion, compared, percent_for, scaled
from gen.handbook.tables import around, between, cited, rod_rows
from gen.joint import Joint
from gen.ranges import Figure, shown, spanning

# Low-carbon steel, W/(m K) / (kg/m3 x J/(kg K)): handbook values, from memory.
DIFFUSIVITY_MM2_S = 1e6 * 50 / (7850 * 480)
WITHIN_TABLE = 0.10  # how far a time may be off: the worst error of a row foretold from its neighbours
HOLD_S = 0.5  # typical (common practice, no source); thick rods as long as the table welds them


@dataclass(frozen=True)
class RodSetting:
    """The table at one diameter: its time and current, and from them the time at another current."""

    diameter_mm: float
    weld_s: float
    current_A: float

    def floor_s(self, current_A: float) -> float:
        """Equal I^2 t: right only if no heat were lost in the longer time."""
        return self.weld_s * (self.current_A / current_A) ** 2

    @property
    def tau_s(self) -> float:
        """Time constant of the loss of heat: d^2 over the diffusivity (our assumption)."""
        return self.diameter_mm**2 / DIFFUSIVITY_MM2_S

    @property
    def least_A(self) -> float:
        """The current that with this loss only just gets there, after for ever."""
        return self.current_A * math.sqrt(-math.expm1(-self.weld_s / self.tau_s))

    def ceiling_s(self, current_A: float) -> float:
        """With a first-order loss of heat whose time constant is d^2 over the diffusivity (our assumption); may be infinite."""
        return loss_time_s(self.tau_s, self.least_A, current_A)


def setting(finish: str, setdown_percent: float, diameter_mm: float) -> RodSetting:
    """The table's time and current at a diameter. Raises ValueError outside the table."""
    rows = rod_rows(finish, setdown_percent)
    return RodSetting(
        diameter_mm, between(rows, diameter_mm, lambda r: r.weld_s), between(rows, diameter_mm, lambda r: r.current_A)
    )


def effective_mm(thin_mm: float, thick_mm: float) -> tuple[float, float, float]:
    """Least, middle and greatest effective diameter of unlike rods: sqrt(d1 d2), and half-way from it to either rod."""
    middle = math.sqrt(thin_mm * thick_mm)
    return math.sqrt(thin_mm * middle), middle, math.sqrt(middle * thick_mm)


def suggest_rods(joint: Joint, current: Figure, frequency_Hz: int) -> Suggestion:
    """The suggestion for two crossed rods."""
    low, middle, high = (
        setting(joint.finish, joint.setdown_percent, mm) for mm in effective_mm(joint.thin_mm, joint.thick_mm)
    )
    percent = percent_for(middle.current_A, current)
    delivered = scaled(current, percent)
    of_table = f"{100 * delivered.middle / middle.current_A:.0f} % of the table's current"
    table = _at_diameter(joint, middle)
    figures = (*table.figures(), ("no time will do below", spanning((low.least_A, high.least_A), "A", _LOSS)))
    against = f"of the table's current: {compared(current, middle.current_A)}"
    if percent < LEAST_PERCENT:
        why_not = f"the table wants {shown(middle.current_A)} A, {percent} % of this tap's current; change the tap"
        ways = ("a lower tap",)
        return Suggestion(joint, frequency_Hz, current, why_not, ways, figures=figures, against=against)
    longest_s = middle.ceiling_s(delivered.middle)
    if longest_s == math.inf:
        why_not = (
            f"not known: {shown(delivered.middle)} A is {of_table}, and "
            "so much heat may flow away along the rods that it never gets hot enough"
            + (
                f"; by our loss of heat, below {shown(low.least_A)} A no time will do"
                if delivered.high < low.least_A
                else ""
            )
        )
        return Suggestion(joint, frequency_Hz, current, why_not, _helps(joint), figures=figures, against=against)
    cautions = list(force_cautions(joint, table.force))
    worst_s = high.ceiling_s(delivered.low)
    if worst_s == math.inf:
        cautions.append(
            f"at the low end of the current, {shown(delivered.low)} A, it may never get hot enough: the range's long end is "
            f"that of {shown(delivered.middle)} A"
        )
    warned, faces = face_words(joint)
    start_s = middle.floor_s(delivered.high)
    shape = rod_shape(joint.thin_mm, start_s, percent)
    weld = Figure(
        low.floor_s(delivered.high) * (1 - WITHIN_TABLE),
        (longest_s if worst_s == math.inf else worst_s) * (1 + WITHIN_TABLE) * shape.longer,
        "s",
        f"From equal I^2 t (floor) to our loss of heat (ceiling), and {100 * WITHIN_TABLE:.0f} % either way",
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
        assumptions=_assumptions(joint, (low, middle, high), f"{shown(delivered.middle)} A is {of_table}"),
        cautions=(*cautions, *warned),
        against=against,
        practice=(
            *shape.practice,
            *force_practice(joint, table.force),
            setdown_practice(table.setdown.middle),
            *faces,
            *rod_shunting(joint, delivered),
        ),
        shape=shape,
    )


_LOSS = "our loss of heat, over the effective diameters: an assumption, not measured"


def _assumptions(joint: Joint, settings: tuple[RodSetting, RodSetting, RodSetting], share: str) -> tuple[str, ...]:
    low, middle, high = settings
    assumptions = [
        f"{share}, the only one it has: away from it, outside the table, equal I^2 t is the floor, as if no heat were lost.",
        "Ceiling: a first-order loss with the time constant d^2 over the steel's diffusivity "
        f"({middle.tau_s:.2g} s; our assumption, not measured).",
    ]
    if joint.thin_mm != joint.thick_mm:
        assumptions.append(
            f"Unlike rods: by an effective diameter sqrt(d1 d2) = {shown(middle.diameter_mm)} mm, from "
            f"{shown(low.diameter_mm)} to {shown(high.diameter_mm)} mm in the range. Our assumption: no published rule is "
            "known to us."
        )
    return tuple(assumptions)


def _hold(middle: RodSetting) -> Figure:
    hold_s = max(HOLD_S, middle.weld_s)
    return Figure(hold_s, hold_s, "s", f"{TYPICAL}; the table here has none")


def _helps(joint: Joint) -> tuple[str, ...]:
    return helps(joint) if joint.setdown_percent == 15 else (*helps(joint), "less setdown, which is less strong")


@dataclass(frozen=True)
class _TableFigures:
    """The cross-wire table's figures for a joint. `forces`: more than one where copies of the table differ, the widest first."""

    current: Figure
    weld: Figure
    forces: tuple[Figure, ...]
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
    # The table's forces climb unevenly with the diameter: between two rows, both.
    near = around(rows, mm)
    force = spanning((row.force_N for row in near), "N", source)
    forces = [force]
    if joint.finish == "cold_drawn" and joint.setdown_percent == 15 and any(row.diameter_in == 0.3125 for row in near):
        other = "a metric copy of the table, which has 933 lb in row 0.3125 in where this one has 825"
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
