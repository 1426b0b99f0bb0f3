"""Options and types of the command line, with the same messages as the files: the value given, and what is allowed."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import click

import gen.ask
from gen.ask import NotTaken
from gen.units import PACE, PACES
from gen.user_files import FileModel

T = TypeVar("T")


def taken(read: Callable[[Any], T]) -> Callable[[Any], T]:
    """An option's type: its text is read by `read`."""

    def convert(text: Any) -> T:
        try:
            return read(text)
        except NotTaken as error:
            raise click.BadParameter(str(error)) from None

    return convert


def number(least: float, most: float, words: Mapping[str, float] | None = None) -> Callable[[str], float]:
    """An option's type, as `gen.ask.number` reads it."""
    return taken(gen.ask.number(least, most, words))


def value_of(model: type[FileModel], key: str) -> Callable[[Any], Any]:
    """An option's type, as `gen.ask.value_of` reads it."""
    return taken(gen.ask.value_of(model, key))


USER_PATH = click.types.FuncParamType(taken(gen.ask.path_of))  # a file or folder on the command line
USER_PATH.name = "path"

schedule_argument = click.argument("schedule", type=USER_PATH)
welder_option = click.option(
    "--welder",
    "welder_path",
    type=USER_PATH,
    help="The welder file; by default welder.toml in the current folder.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON, for another program to read.")
port_argument = click.argument("port", required=False)
FASTEST = math.inf  # the word `max` on the command line


def pace_asked(welds_per_minute: float) -> float | None:
    """The pace as `sim.run.run` takes it: None for the word `max`."""
    return None if welds_per_minute == FASTEST else welds_per_minute


pace_option = click.option(
    "--welds-per-minute",
    "--pace",
    "welds_per_minute",
    type=number(*PACES, {"max": FASTEST}),
    metavar="NUMBER",
    default=PACE,
    show_default=True,
    help="Pedal presses a minute, {:g} to {:g}; max: the fastest pace within all limits.".format(*PACES),
)
seed_option = click.option(
    "--seed",
    type=number(0, 1_000_000),
    metavar="NUMBER",
    default=0,
    show_default=True,
    help="A whole number that selects the random draws.",
)
