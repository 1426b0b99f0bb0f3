"""The figures that a person sets before the first weld, printed large."""

from __future__ import annotations

from gen.current import delivered
from gen.machine.tables import OneElectrode
from gen.ranges import shown
from gen.table import LEVEL_PHASES
from sim.report.data import ReportData


def figures_to_set(data: ReportData) -> tuple[tuple[str, str], ...]:
    """Names and figures: percent and amperes of the longest impulse at constant current, time, tap, pace, electrodes."""
    table, machine = data.table, data.welder.machine
    main = max((row for row in table.rows if row.phase in LEVEL_PHASES), key=lambda row: row.half_cycles, default=None)
    found: list[tuple[str, str]] = []
    if main is not None:
        tap = machine.in_use
        flows = delivered(tap.working, main.share)
        side = "Secondary" if tap.working_secondary else "Primary"
        found.append(("Current", f"{main.current_percent:g} %"))
        found.append((f"{side} current", flows.text))
    cycles = table.time_of(*LEVEL_PHASES, "upslope", "downslope") / 2
    found.append(("Current flows for", f"{cycles:g} cycles, {shown(cycles / table.frequency_Hz)} s"))
    if machine.in_use.name:
        found.append(("Tap", machine.in_use.name))
    found.append(("Welds a minute, at most", f"{data.welds_per_minute:g}"))
    electrodes = data.welder.electrodes
    if electrodes is not None:
        upper, lower = electrodes.pair
        if upper == lower:
            found.append(("Electrodes", _electrode(upper)))
        else:
            found += [("Upper electrode", _electrode(upper)), ("Lower electrode", _electrode(lower))]
    return tuple(found)


def _electrode(one: OneElectrode) -> str:
    face = ""
    if one.face_diameter_mm is not None:
        face = f", face {one.face_diameter_mm:g} mm"
    elif one.groove_radius_mm is not None:
        face = f", groove {one.groove_radius_mm:g} mm"
    return f"{one.diameter_mm:g} mm {one.alloy}{face}"
