"""Weldbeat for programs: each command's JSON by its schema, completion by click's own means, and Python as README shows it.

Outside: JSON Schema 2020-12 by jsonschema, bash for completion.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import click
import jsonschema
import pytest

from gen.begin import demo_files
from gen.cli.commands import weldbeat
from tests.support.cli.json_samples import SCHEMAS, keeps_to_schema, name_of, samples, schema
from tests.support.cli.scrap import set_out

README = Path(__file__).parents[3] / "README.md"


def every_line(command: click.Command, words: tuple[str, ...] = ()) -> list[tuple[tuple[str, ...], click.Command]]:
    """(Words, command) of every command that is no group of others."""
    if not isinstance(command, click.Group):
        return [(words, command)]
    context = click.Context(command)
    found = [(name, command.get_command(context, name)) for name in command.list_commands(context)]
    return [line for name, sub in found if sub is not None for line in every_line(sub, (*words, name))]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """What every command told, typed once."""
    before = Path.cwd()
    with pytest.MonkeyPatch.context() as patch:
        yield samples(set_out(tmp_path_factory.mktemp("shop"), patch))
    os.chdir(before)


def test_every_answer_keeps_to_its_schema(told: list[tuple[str, Any]]) -> None:
    for line, content in told:
        keeps_to_schema(line, content)


def test_a_schema_notices_what_is_not_in_it(told: list[tuple[str, Any]]) -> None:
    """A key more or a key less of any answer that is an object is refused."""
    for line, content in told:
        if isinstance(content, dict) and content:
            checked = schema(name_of(line))
            keeps = jsonschema.Draft202012Validator(checked).is_valid
            assert not keeps(content | {"never heard of": 1}), line
            shapes = [checked, *checked.get("anyOf", [])]
            for key in {key for shape in shapes for key in shape.get("required", [])} & content.keys():
                assert not keeps({k: v for k, v in content.items() if k != key}), (line, key)


def test_each_option_has_its_schema() -> None:
    """Every command takes --json but `open`, which does not end; each has its schema, and there is no schema beside."""
    lines = every_line(weldbeat)
    takes = {"-".join(words) for words, command in lines if "as_json" in {param.name for param in command.params}}
    assert {"-".join(words) for words, _ in lines} - takes == {"open"}
    assert takes == {path.stem for path in SCHEMAS.glob("*.json")}
    for path in SCHEMAS.glob("*.json"):
        jsonschema.Draft202012Validator.check_schema(json.loads(path.read_text()))


def test_python_as_readme_shows_it(here: Path) -> None:
    """The block runs as it stands in a folder with both files, and prints the verdict."""
    for name, text in demo_files().items():
        Path(name).write_text(text)
    (found,) = re.findall(r"```python\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)
    assert found.count("\n") <= 10
    Path("first-weld.toml").write_text(Path("boot-scraper.toml").read_text())
    ran = subprocess.run([sys.executable, "-c", found], capture_output=True, text=True, check=False, timeout=300)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout.startswith("passed with cautions\n")


@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not there")
def test_completion_as_readme_shows_it(here: Path) -> None:
    """README's line, typed into bash, completes a command and an option by click's own means."""
    (line,) = re.findall(
        r'`(eval "\$\(_WELDBEAT_COMPLETE=bash_source weldbeat\)")`', README.read_text(encoding="utf-8")
    )
    weldbeat = Path(sys.executable).parent / "weldbeat"
    script = f"""
export PATH={weldbeat.parent}:$PATH
{line}
for words in "weldbeat simu" "weldbeat simulate --bu"; do
  COMP_WORDS=($words) COMP_CWORD=$(( $(echo $words | wc -w) - 1 )) COMPREPLY=()
  _weldbeat_completion weldbeat
  echo "${{COMPREPLY[@]}}"
done
"""
    ran = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=False, timeout=120)
    assert ran.stdout.split() == ["simulate", "--burst"], ran
