"""The papers' templates, with which each paper is one HTML file for A4 and Letter."""

from __future__ import annotations

from functools import cache
from typing import Any

from jinja2 import Environment

from gen.templates import html_templates


@cache
def _templates() -> Environment:
    return html_templates("gen.paper")


def page(name: str, **values: Any) -> str:
    """The paper of that name as HTML."""
    return _templates().get_template(f"{name}.html.j2").render(values) + "\n"
