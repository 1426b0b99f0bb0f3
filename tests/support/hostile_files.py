"""Files that a slip, a cable or an enemy makes of good ones: values, keys, lines and bytes that were never meant."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from gen.boards import board_from
from gen.errors import InputError
from tests.support.cli.command_line import contents, typed
from tests.support.hostile_numbers import FIGURES, GOOD, LONGEST_MESSAGE, NO_NUMBER

BOARD = Path(__file__).parents[2] / "boards" / "pico.toml"
_VALUES = (
    *FIGURES, *("1", "2", "0.5", "30", "100", '"2 cycles"', '"0.1 s"') * 4,
    '""', r'"\u0000"', r'"\ud800"', '"\u202e"', '"\u2028"', f'"{"x" * 900}"', f'"{"x" * 2000}"', "true", "[]", "{}",
    "[[[[]]]]", "{a = {b = {c = 1}}}", "1979-05-27", "07:32:00", "1979-05-27T07:32:00Z", '"0.4 s"', '"1e9 s"', '"-1 s"', '"0 s"',
    '"999999999 s"', '"999999999 cycles"', '"0.000000001 half-cycles"', '"\u0663 s"', '[1, "a", {}]', "'''\nx\n'''", "1_000",
    "0b1", "0o17", "+5", ".5", "5.", "1 2", "=", "", "[" * 300, "{a = " * 200, '"square"', '"air"', '"pico"', "nan", "[nan, inf]",
)  # fmt: skip
_KEYS = (
    '""', r'"\u001b[2J"', "a.b.c.d", f'"{"k" * 900}"', "k" * 990, ".".join("k" * 490), "__class__", '"[key]"', "''", "x y",
    "a..b",
    "frequency_Hz", "weld", "pulse", "squeeze", "title", "taps", "name", "voltage_V", "\u00e4", '"\u202e"',
)  # fmt: skip
_HEADERS = (
    "[x]",
    "[[x]]",
    "[mains]",
    "[[mains]]",
    "[[phase]]",
    "[phase]",
    "[mains.voltage_V]",
    "[[",
    "[]",
    '[""]',
    "[a.b.c]",
)
_BYTES = (
    b"\0",
    b"\xff",
    b"\xef\xbb\xbf",
    b"\r",
    b"\n",
    b"\x1b[2J",
    b'"',
    b"\xed\xa0\x80",
    b"\xf4\x90\x80\x80",
    b"\xc0\xaf",
    b"#",
)

Change = Callable[[list[str], random.Random], None]


@dataclass(frozen=True)
class Hostile:
    """One file: its name, what was done to it, and its bytes."""

    file: str
    what: str
    content: bytes


def _value(lines: list[str], chance: random.Random) -> None:
    at = chance.choice([n for n, line in enumerate(lines) if "=" in line] or [0])
    lines[at] = f"{lines[at].partition('=')[0]}= {chance.choice(_VALUES)}"


def _key(lines: list[str], chance: random.Random) -> None:
    at = chance.randrange(len(lines))
    lines[at] = f"{chance.choice(_KEYS)} ={lines[at].partition('=')[2] or ' 1'}"


def _new_key(lines: list[str], chance: random.Random) -> None:
    lines.insert(chance.randrange(len(lines) + 1), f"{chance.choice(_KEYS)} = {chance.choice(_VALUES)}")


def _header(lines: list[str], chance: random.Random) -> None:
    lines.insert(chance.randrange(len(lines) + 1), chance.choice(_HEADERS))


def _drop(lines: list[str], chance: random.Random) -> None:
    if len(lines) > 1:
        del lines[chance.randrange(len(lines))]


def _twice(lines: list[str], chance: random.Random) -> None:
    lines.insert(chance.randrange(len(lines) + 1), chance.choice(lines))


def _swap(lines: list[str], chance: random.Random) -> None:
    one, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[one], lines[other] = lines[other], lines[one]


def _foreign(lines: list[str], chance: random.Random) -> None:
    lines.insert(chance.randrange(len(lines) + 1), chance.choice(chance.choice(list(GOOD.values())).splitlines()))


def _often(lines: list[str], chance: random.Random) -> None:
    lines += lines[chance.randrange(len(lines)) :] * chance.choice((1, 2, 20, 200, 5000))
    del lines[80_000:]  # some megabytes are enough to be too many


_CHANGES: tuple[Change, ...] = (_value,) * 8 + (_key, _new_key, _header, _drop, _twice, _swap, _foreign, _often)


def hostile(number: int, seed: int) -> Iterator[Hostile]:
    """So many files, always the same for one seed: a good one with one to three changes, a fifth of them damaged."""
    good = {**GOOD, "board.toml": BOARD.read_text(encoding="utf-8")}
    for n in range(number):
        chance = random.Random(f"{seed} {n}")
        file = chance.choice(list(good))
        lines = good[file].splitlines()
        changes = [chance.choice(_CHANGES) for _ in range(chance.choice((1, 1, 1, 2, 3)))]
        for change in changes:
            change(lines, chance)
        content = "\n".join([*lines, ""]).encode(errors="surrogatepass")
        damaged = chance.random() < 0.2
        yield Hostile(
            file,
            f"{seed} {n}: {', '.join(change.__name__[1:] for change in changes)}{', bytes' if damaged else ''}",
            _damaged(content, chance) if damaged else content,
        )


def _damaged(content: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(content) + 1)
    kind = chance.randrange(6)
    if kind == 0:
        return content[:at]
    if kind == 1:
        return content[:at] + chance.choice(_BYTES) + content[at:]
    if kind == 2:
        return content[:at] + chance.randbytes(chance.randint(1, 40)) + content[at:]
    if kind == 3 and at < len(content):
        return content[:at] + bytes([content[at] ^ (1 << chance.randrange(8))]) + content[at + 1 :]
    if kind == 4:
        return content.decode(errors="replace").encode(chance.choice(("utf-16", "utf-32", "utf-8-sig")))
    return content.replace(b"\n", chance.choice((b"\r\n", b"\r", b"\n\n", b"")))


# Of each file the commands that read it and write nothing.
COMMANDS = {
    "welder.toml": (["table", "job.toml"], ["describe"]),
    "job.toml": (["table", "job.toml"],),
    "sheets.toml": (["suggest", "--joint", "sheets.toml"],),
    "rods.toml": (["suggest", "--joint", "rods.toml"],),
    "inches.toml": (["suggest", "--joint", "inches.toml"],),
}


def judged(case: Hostile, folder: Path) -> tuple[str, str | None]:
    """Whether the file was taken or refused, and what is wrong with how that was said, or None.

    Right is: figures that are all numbers, or one line of bearable length that says what is allowed, and exit code 2.
    """
    for name, text in GOOD.items():
        (folder / name).write_text(text)
    (folder / case.file).write_bytes(case.content)
    before = contents(folder)
    if case.file == "board.toml":
        return _judged_board(folder / case.file)
    for line in COMMANDS[case.file]:
        try:
            outcome = typed(line)
        except Exception as error:
            return "broken", f"{' '.join(line)}: {type(error).__name__}: {error}"[:300]
        if contents(folder) != before:
            return "broken", "something was written"
        if outcome.code == 2:
            plain = outcome.err[:-1].isprintable() and outcome.err.endswith("\n")
            return "refused", None if plain and _is_clear(outcome.err) else outcome.err[:300]
        if outcome.code not in (0, 1) or outcome.err or NO_NUMBER.search(outcome.out):
            return "broken", f"{' '.join(line)}: exit code {outcome.code}, {outcome.err[:100]}"
    return "taken", None


def _is_clear(message: str) -> bool:
    return "allowed: " in message and len(message) <= LONGEST_MESSAGE


def _judged_board(file: Path) -> tuple[str, str | None]:
    try:
        board_from(file)
    except InputError as error:
        return "refused", None if _is_clear(str(error)) else str(error)[:300]
    except Exception as error:
        return "broken", f"{type(error).__name__}: {error}"[:300]
    return "taken", None
