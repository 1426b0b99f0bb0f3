"""Commands about the upgrade's parts: `choose` says which suit, `wiring` draws how they are joined."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from gen.boards import Board
from gen.cautions import caution_lines
from gen.cli.options import USER_PATH, json_option, number, welder_option
from gen.cli.said import folded, said, say, say_data, say_long, say_object
from gen.errors import InputError
from gen.job import board_of, find_welder
from gen.machine import WELDER_FILE, Welder
from gen.units import PACES
from gen.user_files import Wrong
from gen.wiring import Choice, Chosen, Warmth, chosen_for
from gen.writing import check_folder, check_targets, made_here, refused, write_whole

_OURS = 'aria-label="Drawing'

pace_option = click.option(
    "--pace",
    type=number(*PACES),
    metavar="NUMBER",
    default=4,
    show_default=True,
    help="Welds a minute that the heat sink is for, {:g} to {:g}.".format(*PACES),
)


@click.command("choose")
@welder_option
@pace_option
@click.option("--all", "everything", is_flag=True, help="Print every calculation, with its source.")
@json_option
def choose_command(welder_path: Path | None, pace: float, everything: bool, as_json: bool) -> None:
    """Which parts suit this machine: switch, heat sink, fuse, snubber and the rest; with --all the calculation of each.

    For the longest weld that the welder file allows, at full current.
    """
    welder = find_welder(welder_path)
    board = board_of(welder)
    choice, warmth = _chosen(welder, board, pace, welder_path or Path(WELDER_FILE))
    if as_json:
        say_data(json.dumps(choice_json(choice, warmth), indent=2))
    else:
        say_long("\n".join(_lines(welder, choice, warmth, everything)))


def _chosen(welder: Welder, board: Board, pace: float, path: Path) -> tuple[Choice, tuple[Warmth, ...]]:
    from sim import parts

    return chosen_for(welder, board, pace, path, parts)


def choice_json(choice: Choice, warmth: tuple[Warmth, ...]) -> dict[str, Any]:
    """Everything that the command tells, for another program."""
    parts = [asdict(part) | {"yours": [asdict(y) | {"enough": y.enough} for y in part.yours]} for part in choice.parts]
    return asdict(choice) | {
        "parts": parts,
        "not_enough": list(choice.not_enough),
        "simulated_on_heat_sink": [asdict(w) for w in warmth],
    }


def _lines(welder: Welder, choice: Choice, warmth: tuple[Warmth, ...], everything: bool) -> list[str]:
    load = choice.load
    lines = [
        f"Parts for {welder.mains.voltage_V:g} V, {welder.mains.frequency_Hz} Hz, welds of up to {load.weld_s:g} s at full "
        f"current, {load.welds_per_minute:g} a minute",
    ]
    for part in choice.parts:
        lines += ["", *_part_lines(part, everything)]
        if part.part == "heat sink":
            lines += [
                f"  Simulated on it: {w.part} {w.for_ever_C:.1f} C at its peak for ever at this pace (limit {w.limit_C:g} C)"
                for w in warmth
            ]
    if choice.not_enough:
        lines += ["", "Not enough as it is", *(f"  {text}" for text in choice.not_enough)]
    lines += ["", "Before anything is bought or wired"]
    return lines + [f"  {line}" for line in caution_lines()]


def _part_lines(part: Chosen, everything: bool) -> list[str]:
    lines = [folded(f"{part.part[0].upper()}{part.part[1:]}: {part.fit}.", "", "  ")]
    for step in part.steps if everything else ():
        lines.append(said(f"{step.what}: {step.working} = {step.result}"))
        lines.append(folded(f"[{step.source}]", " " * 6))
    lines += [said(f"yours: {mine.text}") for mine in part.yours]
    return lines + [said(note) for note in part.notes]


@click.command("wiring")
@welder_option
@click.option(
    "-o",
    "--output",
    type=USER_PATH,
    required=True,
    help="The sheet, one HTML file to print on A4 or Letter.",
)
@click.option("--svg", "folder", type=USER_PATH, help="Folder for the drawings, as SVG too.")
@pace_option
@json_option
def wiring_command(welder_path: Path | None, output: Path, folder: Path | None, pace: float, as_json: bool) -> None:
    """The wiring sheet of the upgrade, with this machine's own pins: drawings, wire list, parts list."""
    from gen.wiring.sheet import DRAWING_FILES, wiring_sheet
    from gen.wiring.upgrade import to_be_fitted

    welder = find_welder(welder_path)
    board = board_of(welder)
    path = welder_path or Path(WELDER_FILE)
    check_targets({"--output": output}, keep=(path,))
    if folder is not None:
        _check_drawings(folder, output, DRAWING_FILES)
    choice, _ = _chosen(welder, board, pace, path)
    try:
        sheet = wiring_sheet(welder, board, choice)
    except Wrong as wrong:
        raise InputError(path, wrong.key, wrong.given, str(wrong)) from None
    written = [output]
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
        for name, svg in sheet.drawings:
            write_whole(folder / name, svg)
            written.append(folder / name)
    write_whole(output, sheet.html)
    if as_json:
        say_object({"written": [str(file) for file in written], "to_be_fitted": list(to_be_fitted(welder))})
        return
    for file in written:
        say(f"Written: {file}")
    if missing := to_be_fitted(welder):
        say("To be fitted, since the welder file does not name it:")
        for what in missing:
            say(f"  {what}")
    say("Before anything is wired:")
    for line in caution_lines():
        say(f"  {line}")


def _check_drawings(folder: Path, output: Path, names: Iterable[str]) -> None:
    """Raise InputError where the drawings could not go into the folder, or would go over anything but earlier ones."""
    check_folder("--svg", folder)
    for name in names:
        file = folder / name
        if file.resolve() == output.resolve():
            raise refused("--output", output, "this is also a drawing of --svg; allowed: a file of its own")
        if (file.exists() or file.is_symlink()) and not made_here(file, _OURS):
            allowed = "allowed: a folder without one, or with earlier drawings"
            raise refused("--svg", folder, f"{name} in it is not one of these drawings; {allowed}")
