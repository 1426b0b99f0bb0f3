"""A board's settings in the tests: its config, its store, and what of it must survive."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

from firmware_templates.app.store import Store
from gen.boards import boards
from gen.firmware import FirmwareBundle, render
from gen.table import TimingTable, board_delay_us, heat
from sim.bench.chip import Flash
from tests.support.machines import compiled, make_welder

PHASES: tuple[dict[str, Any], ...] = (
    {"pulse": "2 cycles", "current_percent": 60, "cool": "3 cycles"},
    {"weld": "20 cycles", "current_percent": 80, "upslope": "3 cycles"},
)
# The shortest that has all it needs: phase, half-cycles, delay in microseconds, heat.
SHORT_ROWS = (("squeeze", 10, -1, 0), ("weld", 2, 5000, 50), ("hold", 4, -1, 0), ("off", 10, -1, 0))
# Selected schedule, and name, digest and rows of each.
Settings = tuple[str, tuple[tuple[str, str, bytes], ...]]


def config_of(bundle: FirmwareBundle) -> Any:
    """The board's config.py as a module."""
    names: dict[str, Any] = {}
    exec(compile(bundle.files["config.py"], "config.py", "exec"), names)
    return SimpleNamespace(**names)


def made(name: str = "first", **tables: dict[str, Any]) -> tuple[FirmwareBundle, TimingTable]:
    """A bundle whose burnt-in schedule has this name."""
    welder = make_welder(**tables)
    table = replace(compiled(welder, *PHASES), name=name)
    return render(table, welder, boards()["pico"]), table


def rows_of(table: TimingTable) -> tuple[tuple[str, int, int, int], ...]:
    return tuple((row.phase, row.half_cycles, board_delay_us(row), heat(row)) for row in table.rows)


@dataclass
class FlashDriver:
    """The part of the driver interface that the store asks."""

    flash: Flash

    def read_file(self, name: str) -> bytes | None:
        data = self.flash.read(name)
        return None if data is None else bytes(bytearray(data))  # another object, as what is read from flash always is

    def write_file(self, name: str, data: bytes) -> int:
        return self.flash.write(name, data)


def settings(store: Store) -> Settings:
    return store.selected, tuple(store.schedules)


def started(driver: Any, config: Any) -> Store:
    """A store after a start that found its settings whole."""
    store = Store(driver, config)
    assert store.start()
    return store
