"""The command `rescue`, for damaged records."""

from __future__ import annotations

from pathlib import Path

import click

from gen.cli.options import USER_PATH, json_option, welder_option
from gen.cli.said import say, say_object
from gen.machine import WELDER_FILE
from gen.records import RECORDS_FILE
from gen.rescue import rescue


@click.command("rescue")
@click.argument("new", type=USER_PATH)
@welder_option
@json_option
def rescue_command(new: Path, welder_path: Path | None, as_json: bool) -> None:
    """Write the readable part of the records next to the welder file into the file NEW. The damaged file stays."""
    damaged = (welder_path or Path(WELDER_FILE)).absolute().parent / RECORDS_FILE
    rescued = rescue(damaged, new)
    if as_json:
        tables = {table: {"read": found.kept, "lost_at_least": found.lost} for table, found in rescued.items()}
        say_object({"written": str(new), "tables": tables})
        return
    for table, found in rescued.items():
        lost = f", at least {found.lost} lost" if found.lost else ""
        say(f"{table}: {found.kept} read{lost}")
    say(f"Written: {new}. Check it; then move {RECORDS_FILE} away and give {new} its name.")
