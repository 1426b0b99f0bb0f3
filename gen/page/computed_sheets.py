"""The sheets as whole HTML pages, computed beside the page: each is what its command writes."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from pathlib import Path

from gen.commissioning import last_walk, record_html, sheet_html, steps
from gen.errors import InputError
from gen.job import board_of, find_welder, read_job
from gen.records import RECORDS_FILE, KeptRecord
from gen.trials import known_of, recorded
from gen.user_files import Wrong
from gen.wiring import chosen_for
from gen.wiring.sheet import wiring_sheet
from sim import parts
from sim.faults.runs import SHORT_MOMENTS, FaultTarget, inject_all
from sim.report import render_report
from sim.report.joint_page import page_of, render_joint
from sim.run import run

_PACE = 4.0
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest that a ZIP holds, so that the same files make the same ZIP


def report(schedule: Path, welder: Path) -> str:
    """The report of a schedule, as `weldbeat simulate --report` writes it. Raises InputError."""
    found = run(read_job(schedule, welder), _PACE, seed=0)
    return render_report(found, tuple(inject_all(FaultTarget(found.job), 0, len(SHORT_MOMENTS))))


def wiring(path: Path) -> str:
    """The wiring sheet of the machine. Raises InputError."""
    welder = find_welder(path)
    board = board_of(welder)
    choice, _ = chosen_for(welder, board, _PACE, path, parts)
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
    known, welder = known_of(joint, welder_path, None)
    return render_joint(page_of(known, welder.mains.frequency_Hz))


def last_kept(welder: Path) -> tuple[KeptRecord, ...]:
    """The setting kept last of each joint, by name."""
    _, kept = recorded(welder)
    return tuple(found for _, found in sorted({record.joint: record for record in kept}.items()))


def zipped(files: Mapping[str, str]) -> bytes:
    """A ZIP of texts by name."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(zipfile.ZipInfo(name, _EPOCH), content, zipfile.ZIP_DEFLATED)
    return packed.getvalue()
