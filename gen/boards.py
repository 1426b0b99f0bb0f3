"""The boards and what each can do, read from `boards/*.toml`."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path, PurePath
from typing import Annotated, Self, TypeVar

from pydantic import BeforeValidator, Field, model_validator

from gen.errors import InputError
from gen.user_files import FileModel, Wrong, parsed_toml, validated, written

Gpio = int | str  # as the board's MicroPython takes it: 4 for GP4, "A2" for PA2

Item = TypeVar("Item")
Listed = Annotated[tuple[Item, ...], BeforeValidator(lambda given: tuple(given) if isinstance(given, list) else given)]

# Every board has a pin for each of these roles, even if a machine does not use it.
ROLES = (
    "stop", "pedal", "gate", "contactor", "detector", "force", "over_temperature", "conduction", "primary_current", "mirror",
)  # fmt: skip
# Roles whose pin switches power: one that moves while the board starts would switch it then.
SWITCHING = ("gate", "contactor")


MOST_ROWS = 1024  # limit of a timing table on any board


class BoardLimits(FileModel):
    """The board's memory and timing limits.

    `least_blank_us`: the least time from the detector's edge to a gate. `watchdog_ms`: the watchdog's timeout, which must
    cover the erasing of flash.
    """

    rows: int = Field(ge=1, le=MOST_ROWS)
    half_cycles: int = Field(ge=2, le=100_000)
    timing_error_us: float = Field(ge=0.1, le=20_000)
    least_blank_us: int = Field(ge=1, le=10_000)
    watchdog_ms: int = Field(ge=2000, le=8388)


class OverRun(FileModel):
    """The part that bounds the current if the program stops for good."""

    gate_ends_itself: bool
    """Whether the board alone ends the gate current within 12 ms of the pin rising, whatever the pin then does."""
    count_bounded_by: str | None = None
    """The part that ends the weld's last half-cycle without the main loop, or None."""
    worst: str
    """The longest over-run if the welder file names no hardware against it."""


class Capabilities(FileModel):
    random_phase_firing: bool
    conduction_sense: bool
    primary_current: bool


@dataclass(frozen=True)
class BoardPin:
    """The pin of one role. `header` is the label printed next to it on the board or its drawing.

    `alternatives` are the other pins that can take the role. `at_boot`: what it does from power-up until the program sets
    it; `moves_at_boot`: whether it may drive or change then.
    """

    gpio: Gpio
    name: str
    header: str
    alternatives: tuple[Gpio, ...]
    at_boot: str
    moves_at_boot: bool

    @property
    def label(self) -> str:
        """For drawings and lists: "GP4, pin 6"."""
        return f"{self.name}, pin {self.header}"


class SupplyPins(FileModel):
    """The pads of 5 V in, 3.3 V out and 0 V, as printed on the board."""

    in_5V: str
    out_3V3: str
    ground: str


class AtBoot(FileModel):
    """What the pins do before the program sets them: `usual`, except the pins in `moves`, each with what it does."""

    usual: str
    moves: dict[str, str] = Field(default_factory=dict)


class Erratum(FileModel):
    """A fault of the chip: its name, its effect, the roles whose pins it affects, and its remedy."""

    name: str
    what: str
    roles: Listed[str]
    remedy: str


class Board(FileModel):
    """One board: its chip family names the driver folder.

    `header` names each pin as on the board, by GPIO; `roles` lists those that can take a role, the first being taken
    where the welder file chooses none. `follows`: the role whose pin must be the next one after that of another, since the
    firing hardware looks at both at once. `registers` are addresses that its driver wants to know. `put_micropython` and `erase`
    say how MicroPython's file comes onto the board, and what to do where another program holds it. `why_not`: of a board that
    may not weld.
    """

    name: str
    title: str
    family: str
    chip: str
    logic_V: float = Field(ge=1, le=5.5)
    micropython_min: str
    micropython_file: str
    stubs: str
    stubs_version: str
    file_kind: str
    put_micropython: str
    erase: str
    usb_vendors: Listed[int]
    welds: bool
    why_not: str = ""
    capabilities: Capabilities
    limits: BoardLimits
    over_run: OverRun
    registers: dict[str, int] = Field(default_factory=dict)
    gpio_prefix: str
    at_boot: AtBoot
    errata: Listed[Erratum] = ()
    supply_pins: SupplyPins
    header: dict[str, str]
    follows: dict[str, str] = Field(default_factory=dict)
    roles: dict[str, Listed[Gpio]]

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.welds == bool(self.why_not):
            raise Wrong("why_not", written(self.why_not), "allowed: a reason where welds is false, and only there")
        for role in ROLES:
            if not self.roles.get(role):
                raise Wrong(f"roles.{role}", None, "missing; allowed: a list of one pin or more")
        for role in {**self.follows, **dict.fromkeys(self.follows.values())}:
            if role not in self.roles:
                raise Wrong("follows", written(role), f"allowed: {', '.join(self.roles)}")
        for role, choices in self.roles.items():
            if not choices:
                raise Wrong(f"roles.{role}", None, "empty; allowed: a list of one pin or more")
            for gpio in choices:
                if str(gpio) not in self.header:
                    raise Wrong(f"roles.{role}", written(gpio), "allowed: a pin that stands in [header]")
        self.with_pins({})
        return self

    @property
    def pins(self) -> dict[str, BoardPin]:
        """The pin of each role."""
        return {role: self._pin(choices) for role, choices in self.roles.items()}

    def _pin(self, choices: tuple[Gpio, ...]) -> BoardPin:
        gpio, *others = choices
        moves = self.at_boot.moves.get(str(gpio))
        return BoardPin(
            gpio=gpio,
            name=f"{self.gpio_prefix}{gpio}",
            header=self.header[str(gpio)],
            alternatives=tuple(others),
            at_boot=moves or self.at_boot.usual,
            moves_at_boot=moves is not None,
        )

    def with_pins(self, chosen: dict[str, Gpio]) -> Self:
        """This board with `chosen` pins for some roles. Raises Wrong for a pin that cannot take its role."""
        roles = dict(self.roles)
        for role, gpio in chosen.items():
            if role not in roles:
                raise Wrong(f"pins.{role}", written(gpio), f"unknown key; allowed: {', '.join(roles)}")
            choices = self.roles[role]
            if gpio not in choices and str(gpio) in self.at_boot.moves and role in SWITCHING:
                raise Wrong(
                    f"pins.{role}",
                    written(gpio),
                    f"moves while the board starts ({self.at_boot.moves[str(gpio)]}), which would switch on; "
                    f"allowed: {_listed(choices)}",
                )
            if gpio not in choices:
                raise Wrong(f"pins.{role}", written(gpio), f"allowed: {_listed(choices)}, on board {self.name}")
            roles[role] = _first(gpio, choices)
        self._follow(roles, chosen)
        taken: dict[Gpio, str] = {}
        for role in sorted(roles, key=lambda role: role in chosen):
            gpio = roles[role][0]
            if gpio in taken:
                raise Wrong(f"pins.{role}", written(gpio), f"is the pin of {taken[gpio]}; allowed: each pin once")
            if role in SWITCHING and str(gpio) in self.at_boot.moves:
                raise Wrong(f"roles.{role}", written(gpio), "moves while the board starts; allowed: one that does not")
            taken[gpio] = role
        return self.model_copy(update={"roles": roles})

    def _follow(self, roles: dict[str, tuple[Gpio, ...]], chosen: dict[str, Gpio]) -> None:
        """Give each role of `follows` the pin after that of the other, whichever of the two was chosen."""
        for role, other in self.follows.items():
            if role in chosen and other not in chosen:
                before = [gpio for gpio in roles[other] if isinstance(gpio, int) and gpio + 1 == roles[role][0]]
                roles[other] = _first(before[0], roles[other]) if before else roles[other]
            first = roles[other][0]
            wanted = first + 1 if isinstance(first, int) else None
            if role not in chosen and wanted in roles[role]:
                roles[role] = _first(wanted, roles[role])
            if roles[role][0] != wanted:
                allowed = f"allowed: {written(wanted)}, the pin after that of {other} ({first})"
                raise Wrong(f"pins.{role}", written(roles[role][0]), allowed)


def _first(gpio: Gpio, choices: tuple[Gpio, ...]) -> tuple[Gpio, ...]:
    return (gpio, *(other for other in choices if other != gpio))


def _listed(choices: tuple[Gpio, ...]) -> str:
    return ", ".join(str(written(gpio)) for gpio in choices)


def board_from(file: Traversable) -> Board:
    """The board in one TOML file. Raises InputError for any other file."""
    name = Path(file.name)
    try:
        text = file.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise InputError(name, "not text in UTF-8", None, "allowed: a TOML file, saved as UTF-8") from None
    return validated(Board, parsed_toml(text, name), name)


@cache
def boards() -> dict[str, Board]:
    """Every board, by name."""
    found = sorted((f for f in files("boards").iterdir() if PurePath(f.name).suffix == ".toml"), key=lambda f: f.name)
    return {board.name: board for board in map(board_from, found)}
