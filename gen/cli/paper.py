"""`weldbeat paper`: papers for the shop, each one HTML file to print."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Any

import click

from gen.cli.commands import Listed
from gen.cli.electrode_sizes import electrode_sizes
from gen.cli.options import USER_PATH, json_option, welder_option
from gen.cli.said import say, say_object
from gen.errors import InputError
from gen.job import board_of, find_welder
from gen.machine import WELDER_FILE
from gen.machine.electrodes import changed_pair
from gen.paper import chart_html, days, electrodes_html, label_html, logbook_html
from gen.records import RECORDS_FILE, Records
from gen.trials import compare, recorded
from gen.user_files import written
from gen.writing import check_targets, write_whole

output_option = click.option(
    "-o", "--output", type=USER_PATH, required=True, help="The paper, one HTML file to print on A4 or Letter."
)
_COMMANDS = {
    "label": ("paper", "A label for the machine."),
    "electrodes": ("paper", "Drawings of the electrodes, to turn them by."),
    "chart": ("paper", "A wall chart of all joints kept, in large figures."),
    "logbook": ("paper", "Welds and trials of a span of days, in local time."),
}


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise click.BadParameter(f"{written(text)} given; allowed: a day such as 2026-01-31") from None


@click.group(
    "paper", cls=Listed, sections={"Commands": _COMMANDS}, context_settings={"help_option_names": ["-h", "--help"]}
)
def paper_command() -> None:
    """Paper for the shop: a label, drawings of the electrodes, a wall chart, a logbook."""


def _write(output: Path, html: str, welder_path: Path | None, as_json: bool) -> None:
    kept = (welder_path or Path(WELDER_FILE)).absolute().parent / RECORDS_FILE
    check_targets({"--output": output}, keep=(welder_path or Path(WELDER_FILE), kept))
    write_whole(output, html)
    if as_json:
        say_object({"written": str(output)})
    else:
        say(f"Written: {output}. Open it in a browser, and print it.")


@click.command("label")
@output_option
@welder_option
@json_option
def label_command(output: Path, welder_path: Path | None, as_json: bool) -> None:
    """A label for the machine: its data, its protections, and what to do before touching it."""
    welder = find_welder(welder_path)
    _write(output, label_html(welder, board_of(welder)), welder_path, as_json)


@click.command("electrodes")
@click.option(
    "--electrode",
    type=electrode_sizes,
    metavar="SIZES",
    help="Draw others, such as diameter=10,length=45,groove=2.5; keys left out stay as in the welder file.",
)
@output_option
@welder_option
@json_option
def electrodes_command(electrode: dict[str, Any] | None, output: Path, welder_path: Path | None, as_json: bool) -> None:
    """Drawings of the electrodes: full size where it fits, material, tolerances, and the groove with its rod."""
    welder, path = find_welder(welder_path), welder_path or Path(WELDER_FILE)
    pair = changed_pair(welder, electrode or {}, path)
    html = electrodes_html(pair, "command line", "--electrode: ") if electrode else electrodes_html(pair, path)
    _write(output, html, welder_path, as_json)


@click.command("chart")
@output_option
@welder_option
@json_option
def chart_command(output: Path, welder_path: Path | None, as_json: bool) -> None:
    """A wall chart of all joints kept: cycles and per cent in figures large enough to read from the machine."""
    welder = find_welder(welder_path)
    trials, kept = recorded(welder_path)
    sizes = {row.joint: row.sizes for row in compare(trials, kept)}
    _write(output, chart_html(kept, sizes, welder.mains.frequency_Hz), welder_path, as_json)


@click.command("logbook")
@click.option("--from", "begin", type=_day, metavar="DAY", help="The first day, such as 2026-01-31; otherwise today.")
@click.option("--to", "end", type=_day, metavar="DAY", help="The last day; otherwise today.")
@output_option
@welder_option
@json_option
def logbook_command(
    begin: date | None, end: date | None, output: Path, welder_path: Path | None, as_json: bool
) -> None:
    """Welds and trials in records.sqlite, from one day to another, by the clock of this computer."""
    welder, today = find_welder(welder_path), datetime.now().astimezone().date()
    end = end or today
    begin = begin or end
    if begin > end:
        raise InputError("command line", "--from", str(begin), f"allowed: a day not after --to ({end})")
    with Records.beside(welder_path or Path(WELDER_FILE)) as records:
        welds, trials = records.welds(), records.trials()
    _write(output, logbook_html(welds, trials, days(begin, end), welder.mains.frequency_Hz), welder_path, as_json)
