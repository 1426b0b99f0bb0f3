"""The schedule file: what it may hold, in which order, and what stands in for what it leaves out."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from gen.errors import InputError
from gen.schedule import SLOPE_END_PERCENT, Pulse, Schedule, Weld, read_schedule
from gen.units import parse_duration

PHASES = {
    "squeeze": 'squeeze = "1 s"',
    "pulse": 'pulse = "2 cycles"',
    "weld": 'weld = "2 cycles"',
    "cool": 'cool = "2 cycles"',
    "hold": 'hold = "1 s"',
    "off": 'off = "1 s"',
}


def read(folder: Path, *phases: str, name: str = "job.toml", head: str = "frequency_Hz = 50") -> Schedule:
    """The schedule of a file with these phases, each given by its lines."""
    path = folder / name
    path.write_text(f"{head}\n" + "".join(f"[[phase]]\n{phase}\n" for phase in phases))
    return read_schedule(path)


def test_a_whole_schedule(tmp_path: Path) -> None:
    """Every key arrives with its value, in the order of the file, under the name of the file."""
    schedule = read(
        tmp_path,
        PHASES["squeeze"],
        'pulse = "2 cycles"\ncurrent_percent = 60\nrepeat = 3\ncool = "4 cycles"',
        'weld = "20 cycles"\ncurrent_percent = 80\nupslope = "3 cycles"\nupslope_from_percent = 45\ndownslope = "2 cycles"',
        PHASES["hold"],
        PHASES["off"],
        name="boot-scraper_2.toml",
        head='frequency_Hz = 60\ntitle = "Boot scraper"',
    )
    assert (schedule.name, schedule.frequency_Hz, schedule.title) == ("boot-scraper_2", 60, "Boot scraper")
    assert [type(phase).__name__ for phase in schedule.phases] == ["Squeeze", "Pulse", "Weld", "Hold", "Off"]
    pulse, weld = schedule.phases[1:3]
    assert isinstance(pulse, Pulse)
    assert isinstance(weld, Weld)
    assert (pulse.repeat, pulse.current_percent, pulse.cool) == (3, 60, parse_duration("4 cycles"))
    assert (weld.upslope_from_percent, weld.downslope_to_percent) == (45, SLOPE_END_PERCENT)


def test_what_is_left_out(tmp_path: Path) -> None:
    """Full current, once, without slopes: nothing happens that the file does not say."""
    pulse, weld = read(tmp_path, *(PHASES[k] for k in ("squeeze", "pulse", "weld", "hold", "off"))).phases[1:3]
    assert isinstance(pulse, Pulse)
    assert isinstance(weld, Weld)
    assert (pulse.current_percent, pulse.repeat, pulse.cool) == (100, 1, None)
    assert (weld.current_percent, weld.upslope, weld.downslope) == (100, None, None)


def in_order(kinds: tuple[str, ...]) -> bool:
    """The order by its definition: squeeze, then current with cool only between, then hold, then off."""
    letters = "".join(
        {"squeeze": "s", "pulse": "c", "weld": "c", "cool": "o", "hold": "h", "off": "f"}[k] for k in kinds
    )
    middle = letters[1:-2]
    if letters[:1] != "s" or letters[-2:] != "hf" or len(letters) < 4 or not set(middle) <= {"c", "o"}:
        return False
    return middle[0] == middle[-1] == "c" and "oo" not in middle


EVERY_ORDER = [
    *(kinds for length in (1, 2, 3) for kinds in itertools.product(PHASES, repeat=length)),
    *(
        ("squeeze", *middle, "hold", "off")
        for length in (1, 2, 3)
        for middle in itertools.product(PHASES, repeat=length)
    ),
]


def test_every_order_of_a_few_phases(tmp_path: Path) -> None:
    """Of up to three phases, and of up to three between squeeze and hold: those in order are read, no other."""
    allowed = []
    for kinds in EVERY_ORDER:
        if in_order(kinds):
            allowed.append(len(read(tmp_path, *(PHASES[kind] for kind in kinds)).phases))
        else:
            with pytest.raises(InputError, match=r"^job.toml: phase.*; .*allowed"):
                read(tmp_path, *(PHASES[kind] for kind in kinds))
    # pulse or weld; two of them; three of them, or two with a cool between
    assert [allowed.count(length) for length in (4, 5, 6)] == [2, 4, 8 + 4]


@pytest.mark.parametrize("name", ["a", "7", "door-5mm_2", "x" * 32])
def test_names_that_the_board_can_keep(tmp_path: Path, name: str) -> None:
    """The file's name is the schedule's name, on the board and in records."""
    middle = [PHASES[k] for k in ("squeeze", "weld", "hold", "off")]
    assert read(tmp_path, *middle, name=f"{name}.toml").name == name


@pytest.mark.parametrize("name", ["A", "-a", "_a", "a b", "é", "x" * 33, "a.b", "a'b"])
def test_names_that_it_cannot(tmp_path: Path, name: str) -> None:
    """No name that could mean a path, an option or something else to another program."""
    with pytest.raises(InputError, match="file name"):
        read(tmp_path, *(PHASES[k] for k in ("squeeze", "weld", "hold", "off")), name=f"{name}.toml")


def test_a_schedule_cannot_be_changed(tmp_path: Path) -> None:
    """Later stages read it and nobody edits it."""
    schedule = read(tmp_path, *(PHASES[k] for k in ("squeeze", "weld", "hold", "off")))
    with pytest.raises(ValueError, match="frozen"):
        schedule.frequency_Hz = 60  # type: ignore[misc]
