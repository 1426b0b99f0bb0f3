"""The key of a file as the words and the unit beside its field."""

from __future__ import annotations

from gen.page.texts import table
from gen.quantities import unit_of

# Units that a key ends with and that are written otherwise, or are typed by no command; the longer ending first.
_WRITTEN = {
    "V_per_us": "V/µs",
    "K_per_W": "K/W",
    "J_per_K": "J/K",
    "A2s": "A²s",
    "mm2": "mm²",
    "percent": "%",
    "mohm": "mohm",
    "deg": "°",
    "ms": "ms",
    "us": "µs",
    "C": "°C",
}


def words_and_unit(key: str) -> tuple[str, str]:
    """What stands before a field and what behind it; "" for a key without a unit."""
    known = unit_of(key)
    ending = next((each for each in _WRITTEN if key == each or key.endswith(f"_{each}")), known or "")
    words = key.removesuffix(ending).rstrip("_").replace("_", " ")
    return words or table()[f"named.{key}"], _WRITTEN.get(ending, ending)
