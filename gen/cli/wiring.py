"""The command that draws the upgrade: `wiring`."""

from __future__ import annotations

from pathlib import Path

import click

from gen.cautions import caution_lines
from gen.cli.choose import chosen_for, pace_option
from gen.cli.plan import welder_option
from gen.errors import InputError
from gen.job import board_of, find_welder
from gen.machine.welder import WELDER_FILE
from gen.user_files import Wrong
from gen.wiring.sheet import DRAWING_FILES, wiring_sheet
from gen.wiring.upgrade import to_be_fitted
from gen.writing import check_folder, check_targets, refused, write_whole

_OURS = 'aria-label="Drawing'


@click.command("wiring")
@welder_option
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    required=True,
    help="The sheet, one HTML file to print on A4 or Letter.",
)
@click.option("--svg", "folder", type=click.Path(path_type=Path), help="Folder for the two drawings, as SVG too.")
@pace_option
def wiring_command(welder: Path | None, output: Path, folder: Path | None, pace: float) -> None:
    """The wiring sheet of the upgrade, with this machine's own pins: two drawings, wire list, parts list."""
    machine = find_welder(welder)
    board = board_of(machine)
    path = welder or Path(WELDER_FILE)
    check_targets({"--output": output}, keep=(path,))
    if folder is not None:
        _check_drawings(folder, output)
    choice, _ = chosen_for(machine, board, pace, path)
    try:
        sheet = wiring_sheet(machine, board, choice)
    except Wrong as wrong:
        raise InputError(path, wrong.key, wrong.given, str(wrong)) from None
    written = [output]
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
        for name, svg in sheet.drawings:
            write_whole(folder / name, svg)
            written.append(folder / name)
    write_whole(output, sheet.html)
    for file in written:
        click.echo(f"Written: {file}")
    if missing := to_be_fitted(machine):
        click.echo("To be fitted, since the welder file does not name it:")
        for what in missing:
            click.echo(f"  {what}")
    click.echo("Before anything is wired:")
    for line in caution_lines():
        click.echo(f"  {line}")


def _check_drawings(folder: Path, output: Path) -> None:
    """Raise InputError where the drawings could not go into the folder, or would go over anything but earlier ones."""
    check_folder("--svg", folder)
    for name in DRAWING_FILES:
        file = folder / name
        if file.resolve() == output.resolve():
            raise refused("--output", output, "this is also a drawing of --svg; allowed: a file of its own")
        if file.is_dir() or (file.exists() and _OURS not in file.read_text(encoding="utf-8", errors="replace")):
            allowed = "allowed: a folder without one, or with earlier drawings"
            raise refused("--svg", folder, f"{name} in it is not one of these drawings; {allowed}")
