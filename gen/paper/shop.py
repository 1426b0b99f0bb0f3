"""The papers for the shop, each one HTML file for A4 and Letter, with large figures and only its own cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from gen.boards import Board
from gen.cautions import AT_THE_ELECTRODES, ON_THE_LABEL
from gen.errors import InputError
from gen.machine import Welder
from gen.machine.breaker import described
from gen.machine.field import keep_away
from gen.paper.pages import page
from gen.records import RECORDS_FILE, KeptRecord, TrialRecord, WeldRecord

_FITTED = {
    "isolator": "isolator",
    "contactor": "contactor",
    "stop_cuts_gate_supply": "the stop cuts the gate supply",
    "stop_cuts_contactor": "the stop cuts the contactor",
    "over_temperature_contact": "over-temperature contact",
    "mirror_contact": "mirror contact of the contactor",
    "secondary_earthed": "secondary earthed",
}


def label_html(welder: Welder, board: Board) -> str:
    """A label for the machine: its data, its protections, and what to do before touching it."""
    t = welder.transformer
    fitted = [words for key, words in _FITTED.items() if getattr(welder.protection, key)]
    lacking = [words for key, words in _FITTED.items() if not getattr(welder.protection, key)]
    return page(
        "label",
        figures=(
            ("Supply", f"{welder.mains.voltage_V:g} V, {welder.mains.frequency_Hz} Hz"),
            ("Rating", f"{t.rating_kVA:g} kVA at {t.rating_duty_percent:g} % duty"),
            ("Longest weld", str(welder.limits.longest_weld)),
            ("Breaker", described(welder.breaker)[0]),
        ),
        fitted=fitted,
        lacking=lacking,
        board=board,
        cautions=ON_THE_LABEL,
        field=(field.sentences[0], field.sentences[2]) if (field := keep_away(welder)) is not None else (),
    )


@dataclass(frozen=True)
class _Row:
    """The settings of one joint on the wall chart."""

    joint: str
    sizes: str
    cycles: str
    percent: str
    schedule: str
    kept_at: str


def chart_html(kept: Sequence[KeptRecord], sizes: dict[str, str], frequency_Hz: int) -> str:
    """A wall chart of the last setting kept for each joint. `sizes`: of each joint, in words. Raises InputError for none."""
    last = {record.joint: record for record in kept}
    if not last:
        raise InputError(RECORDS_FILE, "no joint was kept", None, "allowed: after the first `weldbeat trial keep`")
    rows = [
        _Row(
            name,
            sizes.get(name, ""),
            f"{record.weld_s * frequency_Hz:.4g}",
            f"{record.percent:g}",
            record.schedule,
            _local(record.kept_at).strftime("%Y-%m-%d"),
        )
        for name, record in sorted(last.items())
    ]
    return page("chart", rows=rows, frequency_Hz=frequency_Hz, cautions=AT_THE_ELECTRODES)


def days(begin: date, end: date) -> tuple[datetime, datetime]:
    """The span of whole days of this computer's clock, both included."""
    return datetime.combine(begin, time.min).astimezone(), datetime.combine(end, time.max).astimezone()


def logbook_html(
    welds: Sequence[WeldRecord], trials: Sequence[TrialRecord], span: tuple[datetime, datetime], frequency_Hz: int
) -> str:
    """Welds and trials of a span, in the order of time, in the local time of this computer."""
    begin, end = span
    made = [(_local(w.ended_at), w) for w in welds if begin <= _local(w.ended_at) <= end]
    tried = [(_local(t.tried_at), t) for t in trials if begin <= _local(t.tried_at) <= end]
    return page(
        "logbook",
        begin=begin,
        end=end,
        welds=sorted(made, key=lambda pair: pair[0]),
        trials=sorted(tried, key=lambda pair: pair[0]),
        frequency_Hz=frequency_Hz,
        zone=begin.strftime("%Z"),
        completed=sum(w.fired == w.planned for _, w in made),
    )


def _local(moment: str) -> datetime:
    """A time of the records on the clock of this computer."""
    return datetime.fromisoformat(moment).astimezone()
