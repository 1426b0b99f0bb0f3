"""The schematic of each stage, with this machine's values. It can be read back to the netlist."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from gen.wiring.canvas import DrawnPage
from gen.wiring.interface.components import BoardStage
from gen.wiring.interface.low_layouts import (
    contactor_layout,
    current_layout,
    gate_layout,
    inputs_layout,
    supply_layout,
)
from gen.wiring.interface.mains_layouts import detector_layout, isolation_layout, sense_layout
from gen.wiring.interface.stage_page import StagePage

_DRAWN: dict[str, Callable[[StagePage], float]] = {
    "supply": supply_layout,
    "gate": gate_layout,
    "isolation": isolation_layout,
    "contactor": contactor_layout,
    "detector": detector_layout,
    "sense": sense_layout,
    "inputs": inputs_layout,
    "current": current_layout,
}


def stage_pages(stages: Sequence[BoardStage], first: int) -> tuple[DrawnPage, ...]:
    """A page for each stage, numbered from `first`. Raises ValueError where a pin is not on its page."""
    pages = []
    for number, stage in enumerate(stages, first):
        c = StagePage(stage)
        page = c.page(number, stage.title, f"interface-{stage.name}", _DRAWN[stage.name](c))
        wanted = {f"{part.name}.{pin}" for part in stage.components for pin, net in part.pins if net}
        if missing := wanted - page.terminals:
            raise ValueError(f"not drawn: {', '.join(sorted(missing))}")
        pages.append(page)
    return tuple(pages)
