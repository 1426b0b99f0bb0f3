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

import jsonschema
import pytest

import gen.cli
from gen.begin import demo_files
from gen.cli.commands import SECTIONS
from gen.cli.trial import _COMMANDS as TRIAL
from tests.support.cli.command_line import typed
from tests.support.cli.json_samples import name_of, samples
from tests.support.cli.scrap import set_out

README = Path(__file__).parents[3] / "README.md"
SCHEMAS = Path(gen.cli.__file__).parent / "schemas"


def schema(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((SCHEMAS / f"{name}.json").read_text())
    return found


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """What every command told, typed once."""
    before = Path.cwd()
    with pytest.MonkeyPatch.context() as patch:
        yield samples(set_out(tmp_path_factory.mktemp("shop"), patch))
    os.chdir(before)


def test_every_answer_keeps_to_its_schema(told: list[tuple[str, Any]]) -> None:
    for line, content in told:
        jsonschema.validate(content, schema(name_of(line)), jsonschema.Draft202012Validator)


def test_a_schema_notices_what_is_not_in_it(told: list[tuple[str, Any]]) -> None:
    """A key more or a key less of any answer that is an object is refused."""
    for line, content in told:
        if isinstance(content, dict) and content:
            checked = schema(name_of(line))
            with pytest.raises(jsonschema.ValidationError):
                jsonschema.validate(content | {"never heard of": 1}, checked)
            for key in checked.get("required", []):
                with pytest.raises(jsonschema.ValidationError):
                    jsonschema.validate({k: v for k, v in content.items() if k != key}, checked)


def test_each_option_has_its_schema() -> None:
    """Whatever command takes --json has a schema, and there is no schema beside."""
    names = {name for commands in SECTIONS.values() for name in commands} - {"trial", "paper"}
    lines = (
        [[name] for name in names]
        + [["trial", name] for name in TRIAL]
        + [["paper", n] for n in ("label", "chart", "logbook")]
    )
    takes = {"-".join(line) for line in lines if "--json" in typed([*line, "--help"]).out}
    assert takes == {path.stem for path in SCHEMAS.glob("*.json")} | (takes & {"joint", "weld"})
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
