"""The command that suggests a first schedule from the handbook tables: `suggest`."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from gen.cli.joint import by_model
from gen.cli.options import USER_PATH, json_option, value_of, welder_option
from gen.cli.said import folded, said, said_all, say, say_data
from gen.errors import InputError
from gen.handbook import Suggestion, by_source, guess, naming_taps, refusal, suggest_on
from gen.handbook.practice import given_force
from gen.handbook.suggestion import OFF, SQUEEZE
from gen.job import find_welder
from gen.joint import FLATS_MM, RODS_MM, SHEETS_MM, Joint, read_joint
from gen.machine import WELDER_FILE
from gen.quantities import INCH, METRIC, Measures, NoQuantity, measure, parts
from gen.ranges import Figure
from gen.user_files import validated, written
from gen.writing import check_targets, refused, write_whole

_KEYS = {
    "sheets_mm": "--sheets",
    "rods_mm": "--rods",
    "material": "--material",
    "surface": "--surface",
    "finish": "--finish",
    "setdown_percent": "--setdown",
    "force_N": "--force",
    "force_measured": "--force-measured",
    "face_diameter_mm": "--face",
    "groove_radius_mm": "--groove",
    "dome_radius_mm": "--dome",
    "flat_width_mm": "--flat-width",
    "pitch_mm": "--pitch",
    "overlap_mm": "--overlap",
}
_NAME = 24
_COUNTS = {2: "two", 3: "three"}


def _sizes(least_mm: float, most_mm: float, most: int) -> Callable[[str], list[float]]:
    """An option's type: two to `most` sizes, separated by commas, in mm or each with `in`."""
    many = " or ".join(word for count, word in _COUNTS.items() if count <= most)
    allowed = f"allowed: {many} sizes from {least_mm:g} to {most_mm:g} mm, such as 1.6,2 or 0.0625in,0.08in"

    def convert(text: str) -> list[float]:
        try:
            sizes = [measure(part, "mm") for part in parts(text)]
        except NoQuantity as error:
            why = f"{error}; " if str(error) else ""
            raise click.BadParameter(f"{written(text)} given; {why}{allowed}") from None
        if len(sizes) > most:
            raise click.BadParameter(
                f"{written(text)} given; nothing is known here of more than {_COUNTS[most]}; {allowed}"
            )
        if len(sizes) < 2 or not all(least_mm * 0.999 <= size <= most_mm * 1.001 for size in sizes):
            raise click.BadParameter(f"{written(text)} given; {allowed}")
        return sizes

    return convert


def _grooves(text: str) -> Any:
    """An option's type: one radius, or one for each rod."""
    read = value_of(Joint, "groove_radius_mm")
    radii = [read(part) for part in parts(text)]
    return radii[0] if len(radii) == 1 else radii


def _option(name: str, key: str, metavar: str, text: str) -> Callable[[Any], Any]:
    return click.option(name, key, type=value_of(Joint, key), metavar=metavar, help=text)


@click.command("suggest")
@click.option(
    "--sheets",
    "sheets_mm",
    type=_sizes(*SHEETS_MM, 3),
    metavar="T,T[,T]",
    help="Two or three sheets in order: 1,1 (mm); 1mm,0.06in.",
)
@click.option(
    "--rods",
    "rods_mm",
    type=_sizes(FLATS_MM[0], RODS_MM[1], 2),
    metavar="D,D",
    help="Two crossed rods, such as 5,8 (mm).",
)
@click.option("--joint", type=USER_PATH, help="A joint file, in place of the other options.")
@_option("--material", "material", "METAL", "low_carbon_steel, stainless_steel, brass or nickel.")
@_option("--surface", "surface", "SURFACE", "clean, scaled or zinc.")
@_option("--finish", "finish", "FINISH", "Finish of rods: cold_drawn or hot_drawn.")
@_option("--setdown", "setdown_percent", "PERCENT", "Setdown of rods: 15, 30 or 50 % of the thinner (15).")
@_option("--force", "force_N", "N", "Electrode force in N (or 400lb), if known.")
@_option("--force-measured", "force_measured", "HOW", "How the force was measured: gauge, spring or lever.")
@_option("--face", "face_diameter_mm", "MM", "Electrode face diameter; else the welder file's.")
@click.option(
    "--groove",
    "groove_radius_mm",
    type=_grooves,
    metavar="MM[,MM]",
    help="Radius of each groove; else the welder file's.",
)
@_option("--dome", "dome_radius_mm", "MM", "Radius of domed faces on sheets; else flat.")
@_option("--flat-width", "flat_width_mm", "MM", "Width of a flat bar or sheet, the second of --rods.")
@_option("--pitch", "pitch_mm", "MM", "Distance to the nearest weld made before.")
@_option("--overlap", "overlap_mm", "MM", "Overlap of sheets, if known.")
@welder_option
@click.option("--model", is_flag=True, help="Compute the joint as well, which takes some seconds.")
@click.option("-o", "--output", type=USER_PATH, help="Write the schedule to this new file.")
@click.option("--inch", is_flag=True, help="Print inches and pounds; files stay metric.")
@json_option
def suggest_command(
    joint: Path | None,
    welder_path: Path | None,
    output: Path | None,
    inch: bool,
    as_json: bool,
    model: bool,
    **options: Any,
) -> int | None:
    """A first schedule for a joint on this machine, from the handbook tables.

    It is a first guess: test it on scrap. Exit code 1 if nothing is known; then it
    prints what would help.
    """
    given = {key: value for key, value in options.items() if value is not None}
    if joint is not None and given:
        raise InputError(
            "command line", "--joint", written(str(joint)), "allowed: --joint or the other options of a joint"
        )
    if inch and as_json:
        raise InputError("command line", "--inch and --json", None, "allowed: one of them; data is metric")
    if output is not None:
        _check_output(output)
    wanted = read_joint(joint) if joint else _from_options(given)
    welder = find_welder(welder_path)
    found = suggest_on(wanted, welder)
    if found is None:
        allowed = "missing; allowed: this or transformer.taps, from which the secondary current follows"
        raise InputError(welder_path or Path(WELDER_FILE), "transformer.open_secondary_V", None, allowed)
    found = naming_taps(found, welder)
    why_not = refusal(found, welder, *([output.name] if output else [])) if found.known else ""
    computed = by_model(wanted, welder, found, joint or "command line") if model else ()
    if as_json:
        say_data(json.dumps(_data(found, why_not) | ({"model": list(computed)} if model else {}), indent=2))
    else:
        printed = naming_taps(suggest_on(wanted, welder, INCH) or found, welder) if inch else found
        say("\n".join(_lines(printed, why_not, INCH if inch else METRIC)))
        say("\n".join(said_all("By the model of the joint, computed and not measured", _sentences(computed))))
    if not found.known:
        return 1
    if output is not None and not why_not:
        write_whole(output, found.schedule_text())
        if not as_json:
            say(f"\nWritten: {output}. Next: weldbeat simulate {output}")
    return 1 if why_not else None


def _sentences(texts: Sequence[str]) -> list[str]:
    return [f"{text[:1].upper()}{text[1:]}." for text in texts]


def _from_options(given: dict[str, Any]) -> Joint:
    if not given.keys() & {"sheets_mm", "rods_mm"}:
        raise InputError("command line", "--sheets, --rods or --joint", None, "missing; allowed: one of them")
    return validated(Joint, given, Path("command line"), names=_KEYS)


def _check_output(output: Path) -> None:
    """Raise InputError where the schedule cannot go there."""
    check_targets({"--output": output}, ())
    if output.exists():
        raise refused("--output", output, "is there already; allowed: a new file")


def _data(found: Suggestion, refusal: str) -> dict[str, Any]:
    """All that the command prints, for another program: SI, lengths in mm."""
    return {
        "joint": found.joint.model_dump(),
        "frequency_Hz": found.frequency_Hz,
        "working_current_A": asdict(found.current),
        "force_N": asdict(force) if (force := given_force(found.joint)) else None,
        "against": found.against,
        "known": found.known,
        "why_not": found.why_not,
        "helps": list(found.helps),
        "current_percent": found.percent if found.known else None,
        "weld_s": asdict(found.weld) if found.weld else None,
        "start_s": found.start_s if found.known else None,
        "shape": asdict(found.shape) if found.known else None,
        "beside": [asdict(figure) for figure in found.other_times],
        "squeeze_s": asdict(SQUEEZE),
        "hold_s": asdict(found.hold) if found.hold else None,
        "off_s": asdict(OFF),
        "figures": [{"name": name} | asdict(figure) for name, figure in found.figures],
        "assumptions": list(found.assumptions),
        "cautions": list(found.cautions),
        "practice": list(found.practice),
        "machine_refuses": refusal,
        "schedule": found.schedule_text() if found.known else None,
    }


def _lines(found: Suggestion, refusal: str, measures: Measures) -> list[str]:
    """The suggestion as lines for a terminal."""

    def row(name: str, figure: Figure) -> str:
        return f"  {name:<{_NAME}}{measures.text(figure)}\n{folded(figure.source, ' ' * 6)}"

    lines = [found.joint.text_in(measures), row("this machine", found.current)]
    if force := given_force(found.joint, measures):
        lines.append(row("its force", force))
    if found.against:
        lines.append(said(found.against))
    if found.figures:
        lines += ["", "What the tables say", *(said(text) for text in by_source(found.figures, measures))]
    if found.weld is None or found.hold is None:
        lines += ["", folded(f"No suggestion: {found.why_not}."), "What would help"]
        lines += [f"  {help_}" for help_ in found.helps]
    else:
        lines += ["", "On this machine, as a first guess", *(row(*named) for named in guess(found))]
    for title, texts in (("Assumed", found.assumptions), ("In practice", found.practice)):
        if texts:
            lines += ["", title, *(said(text) for text in texts)]
    if refusal:
        lines += ["", folded(f"This machine refuses the schedule, so nothing is written: {refusal}")]
    if found.cautions:
        lines += ["", "Cautions", *(said(text) for text in _sentences(found.cautions))]
    return lines
