"""The command `rescue`, for records that were damaged."""

from __future__ import annotations

from pathlib import Path

import click

from gen.cli.options import USER_PATH, welder_option
from gen.cli.said import say
from gen.machine import WELDER_FILE
from gen.records import RECORDS_FILE
from gen.rescue import rescue


@click.command("rescue")
@click.argument("new", type=USER_PATH)
@welder_option
def rescue_command(new: Path, welder_path: Path | None) -> None:
    """Write what can still be read of the records beside the welder file into the file NEW. The damaged file stays."""
    damaged = (welder_path or Path(WELDER_FILE)).absolute().parent / RECORDS_FILE
    for table, found in rescue(damaged, new).items():
        lost = f", at least {found.lost} lost" if found.lost else ""
        say(f"{table}: {found.kept} read{lost}")
    say(f"Written: {new}. Look it over; then move {RECORDS_FILE} away and give {new} its name.")
