"""The example that opens sim/bench/world.py, and how many arguments the bench's parts take."""

from __future__ import annotations

import doctest
import inspect
import pkgutil
from collections.abc import Iterator
from dataclasses import is_dataclass
from importlib import import_module

import sim.bench
from sim.bench import world

MOST_ARGUMENTS = 7


def test_the_example_runs() -> None:
    """Protects the first thing that a reader of the simulator tries: every line gives what stands under it."""
    outcome = doctest.testmod(world)
    assert outcome.attempted >= 15
    assert outcome.failed == 0


def functions() -> Iterator[tuple[str, int]]:
    """(name, number of arguments without self) of each function of the bench, and of each constructor of a part."""
    for module in (import_module(f"sim.bench.{found.name}") for found in pkgutil.iter_modules(sim.bench.__path__)):
        for name, member in vars(module).items():
            if getattr(member, "__module__", "") != module.__name__:
                continue
            if inspect.isclass(member):
                for inner, method in inspect.getmembers(member, inspect.isfunction):
                    if not (is_dataclass(member) and inner == "__init__"):
                        yield f"{name}.{inner}", len(inspect.signature(method).parameters) - 1
            elif inspect.isfunction(member):
                yield name, len(inspect.signature(member).parameters)


def test_no_part_takes_more_than_seven_arguments() -> None:
    """Protects the wiring from growing back: what belongs together comes as one value. Values are made by field names."""
    found = dict(functions())
    assert found["HostDriver.__init__"] == MOST_ARGUMENTS
    assert [name for name, number in found.items() if number > MOST_ARGUMENTS] == []
