"""Text for a terminal: what comes from a file, a board or the records is shown and never obeyed.

Escapes: ECMA-48; directions: Unicode Standard Annex 9.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import gen.cli
from gen.cli.said import visible
from tests.support.cli.command_line import SCHEDULE, WELDER, typed

HOSTILE = "\x1b[2J\x9b31m\x07\r\u202e\u2066\u200b"
_PRINT = {
    *(f"click.{name}" for name in ("echo", "secho", "echo_via_pager", "prompt", "confirm")),
    *("print", "sys.stdout.write", "sys.stderr.write"),
}


def _prints(file: Path) -> list[str]:
    """Each place in the file that prints by itself, but for a prompt whose question is made visible."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    clean = {
        id(node.func)
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and node.args and ast.unparse(node.args[0]).startswith("visible(")
    }
    return [
        f"{file.name}:{node.lineno}"
        for node in ast.walk(tree)
        if isinstance(node, (ast.Attribute, ast.Name)) and id(node) not in clean and ast.unparse(node) in _PRINT
    ]


def test_all_text_goes_through_one_place() -> None:
    """No module of the command line prints but by `say`."""
    folder = Path(gen.cli.__file__).parent
    files = [file for file in folder.rglob("*.py") if file.name != "said.py"]
    assert len(files) > 10
    assert [place for file in files for place in _prints(file)] == []
    assert len(_prints(folder / "said.py")) == 1  # the line that is written over carries its own escape


def test_what_is_shown() -> None:
    """Letters of every script and line ends stay; what prints nothing is shown as its code."""
    assert visible("Türgitter, 溶接\n5 µs\xa0±2 Ω") == "Türgitter, 溶接\n5 µs\xa0±2 Ω"
    assert visible(HOSTILE) == r"\x1b[2J\x9b31m\x07\r\u202e\u2066\u200b"


def test_a_title_and_a_tap_cannot_turn_the_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A title with a direction mark and a tap with an escape are refused, and shown by their codes."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "welder.toml").write_text(WELDER)
    (tmp_path / "job.toml").write_text(f'title = "rods \u202e 001"\n{SCHEDULE}', encoding="utf-8")
    refused = [typed(["table", "job.toml"])]
    taps = 'taps = {"a\\u001b[31m" = 2.0, "b\\u202e" = 3.0}\ntap = "b\\u202e"\n[switch]'
    (tmp_path / "welder.toml").write_text(WELDER.replace("[switch]", taps))
    refused.append(typed(["describe"]))
    for outcome, key in zip(refused, ("title", "transformer.tap"), strict=True):
        assert (outcome.code, outcome.out) == (2, "")
        assert f": {key}" in outcome.err
        assert not set(outcome.err) & set(HOSTILE) - set("[2J31m")
        assert r"\u202e" in outcome.err or r"\u001b" in outcome.err
