"""The report: one self-contained HTML file, one function a section, templates beside it."""

from sim.report.data import ReportData
from sim.report.sections import page

__all__ = ["ReportData", "render_report"]


def render_report(data: ReportData) -> str:
    """The report of one run as HTML that needs no other file, no script and no network. Same data, same text."""
    return page(data)
