"""Two crossed rods: from the table's time and current to this machine's, by equal I^2 t and with a loss of heat."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gen.figures import Figure, shown, spanning
from gen.handbook.sheets import loss_time_s
from gen.handbook.suggestion import HELPS, LEAST_PERCENT, TYPICAL, Suggestion, force_caution, percent_for, scaled
from gen.handbook.tables import around, between, cited, rod_rows
from gen.joint import Joint

# Low-carbon steel, W/(m K) / (kg/m3 x J/(kg K)): handbook values, from memory.
DIFFUSIVITY_MM2_S = 1e6 * 50 / (7850 * 480)
WITHIN_TABLE = 0.10  # how far a time may be off: the worst error of a row foretold from its neighbours
HOLD = Figure(0.5, 0.5, "s", TYPICAL)


@dataclass(frozen=True)
class RodSetting:
    """The table at one diameter: time and current, and what they come to at another current."""

    diameter_mm: float
    weld_s: float
    current_A: float

    def floor_s(self, current_A: float) -> float:
        """Equal I^2 t: right only if no heat were lost in the longer time."""
        return self.weld_s * (self.current_A / current_A) ** 2

    def ceiling_s(self, current_A: float) -> float:
        """With a first-order loss of heat whose time constant is d^2 over the diffusivity (our assumption); may be infinite."""
        tau_s = self.diameter_mm**2 / DIFFUSIVITY_MM2_S
        least_A = self.current_A * math.sqrt(-math.expm1(-self.weld_s / tau_s))
        return loss_time_s(tau_s, least_A, current_A)


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
    figures = _figures(joint, middle)
    if percent < LEAST_PERCENT:
        why_not = f"the table wants {shown(middle.current_A)} A, {percent} % of this tap's current; change the tap"
        return Suggestion(joint, frequency_Hz, current, why_not, ("a lower tap",), figures=figures)
    longest_s = middle.ceiling_s(delivered.middle)
    if longest_s == math.inf:
        why_not = (
            f"not known: {shown(delivered.middle)} A is {of_table}, and "
            "so much heat may flow away along the rods that it never gets hot enough"
        )
        return Suggestion(joint, frequency_Hz, current, why_not, _helps(joint), figures=figures)
    cautions = list(force_caution(joint, dict(figures)["force"]))
    worst_s = high.ceiling_s(delivered.low)
    if worst_s == math.inf:
        cautions.append(
            f"at the low end of the current, {shown(delivered.low)} A, it may never get hot enough: the range's long end is "
            f"that of {shown(delivered.middle)} A"
        )
    if joint.groove_radius_mm is None:
        cautions.append(
            "a flat face marks the rod and lets it roll: a groove of the rod's radius holds it (common practice, no source)"
        )
    weld = Figure(
        low.floor_s(delivered.high) * (1 - WITHIN_TABLE),
        (longest_s if worst_s == math.inf else worst_s) * (1 + WITHIN_TABLE),
        "s",
        f"From equal I^2 t (floor) to our loss of heat (ceiling), and {100 * WITHIN_TABLE:.0f} % either way",
    )
    assumptions = [
        f"{shown(delivered.middle)} A is {of_table}, the only one it has: away from it, outside the table, equal I^2 t is "
        "the floor, as if no heat were lost.",
        "Ceiling: a first-order loss with the time constant d^2 over the steel's diffusivity "
        f"({middle.diameter_mm**2 / DIFFUSIVITY_MM2_S:.2g} s; our assumption, not measured).",
    ]
    if joint.thin_mm != joint.thick_mm:
        assumptions.append(
            f"Unlike rods: by an effective diameter sqrt(d1 d2) = {shown(middle.diameter_mm)} mm, from "
            f"{shown(low.diameter_mm)} to {shown(high.diameter_mm)} mm in the range. Our assumption: no published rule is "
            "known to us."
        )
    return Suggestion(
        joint,
        frequency_Hz,
        current,
        "",
        (),
        percent,
        weld,
        middle.floor_s(delivered.high),
        HOLD,
        figures,
        tuple(assumptions),
        tuple(cautions),
    )


def _helps(joint: Joint) -> tuple[str, ...]:
    return HELPS if joint.setdown_percent == 15 else (*HELPS, "less setdown, which is less strong")


def _figures(joint: Joint, middle: RodSetting) -> tuple[tuple[str, Figure], ...]:
    rows, mm = rod_rows(joint.finish, joint.setdown_percent), middle.diameter_mm
    table = f"cross-wire table, {joint.finish.replace('_', '-')}, setdown {joint.setdown_percent:g} %"
    source = f"{table}, {cited(rows, mm)}"
    # The table's forces climb unevenly with the diameter: between two rows, both.
    near = around(rows, mm)
    force = spanning((row.force_N for row in near), "N", source)
    forces = [("force", force)]
    if joint.finish == "cold_drawn" and joint.setdown_percent == 15 and any(row.diameter_in == 0.3125 for row in near):
        other = "a metric copy of the table, which has 933 lb in row 0.3125 in where this one has 825"
        most_N = max(row.force_N * (933 / 825 if row.diameter_in == 0.3125 else 1) for row in near)
        forces.insert(0, ("force", Figure(force.low, most_N, "N", f"up to {other}")))
    thin = f"{table}, {cited(rows, joint.thin_mm)}, by the thinner rod"
    strength_N = between(rows, joint.thin_mm, lambda r: r.strength_N)
    setdown_mm = joint.setdown_percent / 100 * joint.thin_mm
    return (
        ("current", Figure(middle.current_A, middle.current_A, "A", source)),
        ("weld time", Figure(middle.weld_s, middle.weld_s, "s", f"{source}, at that current")),
        *forces,
        ("setdown", Figure(setdown_mm, setdown_mm, "mm", f"{joint.setdown_percent:g} % of the thinner rod")),
        ("strength", Figure(strength_N, strength_N, "N", thin)),
    )
