"""Reports read as trees, by an HTML parser that we did not write."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from xml.etree.ElementTree import Element

import html5lib

from sim.report.data import ReportData
from sim.report.sections import page as render_report

Shape = Callable[[], ReportData]


def parsed(data: ReportData) -> Element:
    """The page of `data` as a tree."""
    return tree_of(render_report(data))


def tree_of(page: str) -> Element:
    """A page as a tree; html5lib in its strict mode, which raises on the first error of form."""
    tree: Element = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)
    for element in tree.iter():
        element.tag = element.tag.rpartition("}")[2]
    return tree


@cache
def text_of(shape: Shape) -> str:
    """The page of one of the runs, made once."""
    return render_report(shape())


@cache
def page_of(shape: Shape) -> Element:
    """The page of one of the runs, as a tree, parsed once."""
    return tree_of(text_of(shape))


def words(element: Element) -> str:
    """All text below an element, each run of white space as one space."""
    return " ".join("".join(element.itertext()).split())


def section(tree: Element, name: str) -> Element:
    found = tree.find(f".//section[@id='{name}']")
    assert found is not None
    return found


def rows(element: Element, table: int = 0) -> list[list[str]]:
    """The cells of the body of a table."""
    return [
        [words(cell) for cell in row.findall("td")] for row in element.findall(".//table")[table].findall("./tbody/tr")
    ]
