"""The long runs stand beside the suite, where a rename leaves them behind unnoticed: each must load."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path

import pytest

HERE = Path(__file__).parent
MODULES = [
    f"tests.{path.parent.name}.{path.stem}" for room in ("campaigns", "bench") for path in (HERE / room).glob("*.py")
]


@pytest.mark.parametrize("name", sorted(MODULES))
def test_a_campaign_loads(name: str) -> None:
    import_module(name)
