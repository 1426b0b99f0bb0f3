"""What the page says, from one table a language: texts/en.toml. Messages about files and boards come from `gen` as they are."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

LANGUAGE = "en"


@cache
def table(language: str = LANGUAGE) -> dict[str, str]:
    """Every text by its key, such as `schedule.undo`."""
    content = tomllib.loads(files("gen.page.texts").joinpath(f"{language}.toml").read_text(encoding="utf-8"))
    return {f"{room}.{key}": words for room, texts in content.items() for key, words in texts.items()}


def text(key: str, /, **values: Any) -> str:
    """The text of a key with its `{values}` in place. Raises KeyError for one that the table has not."""
    return table()[key].format(**values)
