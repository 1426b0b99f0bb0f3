"""The option that names another pair of electrodes by its sizes."""

from __future__ import annotations

from typing import Any

import click

from gen.cli.options import value_of
from gen.machine.electrodes import SIDES
from gen.machine.tables import OneElectrode
from gen.user_files import written

_PARTS = {
    "diameter": "diameter_mm",
    "length": "length_mm",
    "offset": "offset_mm",
    "face": "face_diameter_mm",
    "groove": "groove_radius_mm",
    "alloy": "alloy",
}
_ELECTRODE_ALLOWED = (
    "diameter, length, offset, face, groove (its radius; all in mm) or alloy, each once, separated by commas, such as "
    "diameter=10,length=45,offset=20; upper.length=60 for the upper one alone"
)


def electrode_sizes(text: str) -> dict[str, Any]:
    """Reads the option's text as keys of the welder file's [electrodes]."""
    found: dict[str, Any] = {}
    for item in text.split(","):
        name, equals, value = (part.strip() for part in item.partition("="))
        side, dot, own = name.rpartition(".")
        key = f"{side}{dot}{_PARTS.get(own, '')}"
        one = not dot or (side in SIDES and own != "offset")
        if not equals or own not in _PARTS or not one or key in found:
            raise click.BadParameter(f"{written(text)} given; allowed: {_ELECTRODE_ALLOWED}")
        try:
            found[key] = value_of(OneElectrode, _PARTS[own])(value)
        except click.BadParameter as error:
            raise click.BadParameter(f"{name}: {error.message}") from None
    return found
