"""The commands of the upgrade's hardware: `choose` selects the parts, `wiring` draws their connection."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from gen.boards import Board
from gen.cautions import BEFORE_BUYING, caution_lines
from gen.cli.options import USER_PATH, json_option, number, taken, welder_option
from gen.cli.said import folded, said, say, say_data, say_long, say_object
from gen.errors import InputError
from gen.job import board_of, find_welder
from gen.machine import WELDER_FILE, Welder
from gen.units import PACES
from gen.user_files import Wrong
from gen.wiring import Choice, Chosen, Warmth, chosen_for, strip_size
from gen.writing import check_folder, check_targets, made_here, refused, write_whole

# Texts that identify a file written by this command.
_OURS = ('aria-label="Drawing', 'id="board-', "<title>Interface board</title>", '(tool "weldbeat")')

pace_option = click.option(
    "--pace",
    type=number(*PACES),
    metavar="NUMBER",
    default=4,
    show_default=True,
    help="Welds a minute, {:g} to {:g}, for the choice of the heat sink.".format(*PACES),
)


@click.command("choose")
@welder_option
@pace_option
@click.option("--all", "everything", is_flag=True, help="Print every calculation, with its source.")
@json_option
def choose_command(welder_path: Path | None, pace: float, everything: bool, as_json: bool) -> None:
    """The parts that suit this machine: switch, heat sink, fuse, snubber and the rest; with --all the calculation of each.

    They are chosen for the longest weld that the welder file allows, at full current.
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
    """The output of `choose` as JSON data."""
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
                f"  Simulated on it: {w.part} peaks at {w.for_ever_C:.1f} C in continuous work (limit {w.limit_C:g} C)"
                for w in warmth
            ]
    if choice.not_enough:
        lines += ["", "Not enough", *(f"  {text}" for text in choice.not_enough)]
    lines += ["", "Before anything is bought or wired"]
    return lines + [f"  {line}" for line in caution_lines(cautions=BEFORE_BUYING)]


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
@click.option(
    "--interface",
    type=USER_PATH,
    metavar="FOLDER",
    help="Folder for the interface board: schematics, parts, stripboards at 1:1, test points, and a net list for KiCad.",
)
@click.option(
    "--stripboard",
    "strips",
    type=taken(strip_size),
    metavar="STRIPSxHOLES",
    default="24x37",
    show_default=True,
    help="The stripboard on hand, for --interface: its strips and the holes of each.",
)
@pace_option
@json_option
def wiring_command(welder_path: Path | None, output: Path, as_json: bool, pace: float, **wanted: Any) -> None:
    """The wiring sheet of the upgrade, with this machine's own pins: drawings, wire list, parts list."""
    from gen.wiring.sheet import DRAWING_FILES, wiring_sheet
    from gen.wiring.upgrade import to_be_fitted

    folder: Path | None = wanted["folder"]
    interface: Path | None = wanted["interface"]
    welder = find_welder(welder_path)
    board = board_of(welder)
    path = welder_path or Path(WELDER_FILE)
    check_targets({"--output": output}, keep=(path,))
    if folder is not None:
        _check_drawings("--svg", folder, output, DRAWING_FILES)
    choice, _ = _chosen(welder, board, pace, path)
    try:
        sheet = wiring_sheet(welder, board, choice)
    except Wrong as wrong:
        raise InputError(path, wrong.key, wrong.given, str(wrong)) from None
    texts = {folder / name: svg for name, svg in sheet.drawings} if folder is not None else {}
    if interface is not None:
        texts |= _interface_texts(welder, choice, interface, output, wanted["strips"])
    for file, text in texts.items():
        file.parent.mkdir(parents=True, exist_ok=True)
        write_whole(file, text)
    write_whole(output, sheet.html)
    written = [output, *texts]
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
    for line in caution_lines(cautions=BEFORE_BUYING):
        say(f"  {line}")


def _interface_texts(
    welder: Welder, choice: Choice, folder: Path, output: Path, size: tuple[int, int]
) -> dict[Path, str]:
    """Every file of the interface board. Raises InputError where a file cannot be written, or a board is too small."""
    from gen.wiring.interface.document import interface_pages

    try:
        pages = interface_pages(welder, choice.detector, size)
    except Wrong as wrong:
        raise InputError("command line", wrong.key, wrong.given, str(wrong)) from None
    texts = {"interface.html": pages.html, "interface.net": pages.kicad} | dict(pages.svgs)
    _check_drawings("--interface", folder, output, texts)
    return {folder / name: text for name, text in texts.items()}


def _check_drawings(option: str, folder: Path, output: Path, names: Iterable[str]) -> None:
    """Raise InputError where the folder cannot take the drawings, or one would overwrite a file that is not a drawing."""
    check_folder(option, folder)
    for name in names:
        file = folder / name
        if file.resolve() == output.resolve():
            raise refused("--output", output, f"this is also a file of {option}; allowed: a file of its own")
        if (file.exists() or file.is_symlink()) and not any(made_here(file, ours) for ours in _OURS):
            allowed = "allowed: a folder without one, or with earlier drawings"
            raise refused(option, folder, f"{name} in it is not one of these drawings; {allowed}")
