"""The templates of all HTML. Values put into them are text and are escaped."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined


@cache
def html_templates(package: str) -> Environment:
    """The templates in the folder `templates` of a package. A missing value is an error, and every value is escaped.

    One environment a package, since a template is compiled once in each: all users of a package add the same filters.
    """
    return Environment(
        loader=PackageLoader(package), undefined=StrictUndefined, autoescape=True, trim_blocks=True, lstrip_blocks=True
    )
