"""The report: one self-contained HTML file, one function a section, with its template in templates/."""

from sim.faults.runs import FaultRuns
from sim.report.data import ReportData
from sim.report.sections import page
from sim.run import Run

__all__ = ["ReportData", "render_report"]


def render_report(run: Run, faults: tuple[FaultRuns, ...] = ()) -> str:
    """The report of a run as HTML without other files, scripts or network. Same run, same text.

    `faults`: the runs of each fault injected into the same job; empty for none.
    """
    return page(ReportData(run, faults))
