"""The templates of everything that is HTML: what is put into one is text, and marks up nothing."""

from __future__ import annotations

from jinja2 import Environment, PackageLoader, StrictUndefined


def html_templates(package: str) -> Environment:
    """The templates in the folder `templates` of a package. What is missing is an error, and everything is escaped."""
    return Environment(
        loader=PackageLoader(package), undefined=StrictUndefined, autoescape=True, trim_blocks=True, lstrip_blocks=True
    )
