"""The sheets as whole HTML pages, computed in a worker process. Each is identical to its command's output."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from datetime import date
from pathlib import Path

from gen.commissioning import last_walk, record_html, sheet_html, steps
from gen.errors import InputError
from gen.job import board_of, find_welder, read_job
from gen.machine.electrodes import changed_pair
from gen.page.computed_trials import by_window
from gen.paper import chart_html, days, electrodes_html, label_html, logbook_html
from gen.records import RECORDS_FILE, Records
from gen.trials import compare, known_of, recorded
from gen.units import PACE
from gen.user_files import Wrong
from gen.wiring import chosen_for
from gen.wiring.sheet import wiring_sheet
from sim import parts
from sim.faults.runs import SHORT_MOMENTS, FaultTarget, inject_all
from sim.report import render_report
from sim.report.joint_page import page_of, render_joint
from sim.run import run

_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest that a ZIP holds, so that the same files make the same ZIP


def report(schedule: Path, welder: Path) -> str:
    """The report of a schedule, as `weldbeat simulate --report` writes it. Raises InputError."""
    found = run(read_job(schedule, welder), PACE, seed=0)
    return render_report(found, tuple(inject_all(FaultTarget(found.job), 0, len(SHORT_MOMENTS))))


def wiring(path: Path) -> str:
    """The wiring sheet of the machine. Raises InputError."""
    welder = find_welder(path)
    board = board_of(welder)
    choice, _ = chosen_for(welder, board, PACE, path, parts)
    try:
        return wiring_sheet(welder, board, choice).html
    except Wrong as wrong:
        raise InputError(path, wrong.key, wrong.given, str(wrong)) from None


def commissioning(path: Path) -> str:
    """The sheet of steps from unpowered to the first weld. Raises InputError."""
    welder = find_welder(path)
    board = board_of(welder)
    return sheet_html(welder, board, steps(welder, board))


def commissioned(path: Path) -> str:
    """The record of the last walk. Raises InputError where there was none."""
    welder = find_welder(path)
    board = board_of(welder)
    return record_html(welder, board, steps(welder, board), last_walk(path.parent / RECORDS_FILE))


def joint_page(joint: Path, welder_path: Path) -> str:
    """The page of a joint. Raises InputError."""
    known, welder = known_of(joint, welder_path, None, by_window)
    return render_joint(page_of(known, welder.mains.frequency_Hz))


def label(path: Path) -> str:
    """The machine's label. Raises InputError."""
    welder = find_welder(path)
    return label_html(welder, board_of(welder))


def electrodes(path: Path) -> str:
    """The drawings of the electrodes. Raises InputError where the welder file has none."""
    return electrodes_html(changed_pair(find_welder(path), {}, path), path)


def chart(path: Path) -> str:
    """The wall chart of the settings kept. Raises InputError where there are none."""
    welder = find_welder(path)
    trials, kept = recorded(path)
    sizes = {row.joint: row.sizes for row in compare(trials, kept)}
    return chart_html(kept, sizes, welder.mains.frequency_Hz)


def logbook(path: Path, begin: date, end: date) -> str:
    """Welds and trials of a span of days. Raises InputError."""
    welder = find_welder(path)
    with Records.beside(path) as records:
        return logbook_html(records.welds(), records.trials(), days(begin, end), welder.mains.frequency_Hz)


def zipped(files: Mapping[str, str]) -> bytes:
    """A ZIP of texts by name."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(zipfile.ZipInfo(name, _EPOCH), content, zipfile.ZIP_DEFLATED)
    return packed.getvalue()
