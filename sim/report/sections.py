"""The sections of the report. One function makes the HTML of each from the data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from functools import cache
from typing import Any

from jinja2 import Environment
from markupsafe import Markup

from gen.cautions import CAUTIONS
from gen.current import delivered
from gen.machine.cut_off import HEADING
from gen.machine.field import keep_away
from gen.templates import html_templates
from sim.bench.recording import ObservedWeld, StateChange
from sim.faults.text import finding_of, over_run_figure, verdict_word
from sim.report.charts import draw_flux, draw_minute
from sim.report.crossings import draw_half_cycles, shown_half_cycles, view_of
from sim.report.data import FLUX_CHECK, ReportData, flux_of, refusals
from sim.report.heat import BURST, draw_heat, fastest_words, heat_of, rest_words
from sim.report.machine import draw_ohms
from sim.report.margins import draw_margins, limit_words, margins
from sim.report.setup import figures_to_set
from sim.report.svg import number, picture
from sim.report.switching import assumed_words, draw_switching, switching_of
from sim.report.timeline import draw_timeline, grouped, in_ms, segments
from sim.verdict.finding import SEVERITY_WORDS, cut_off_named

_MAY_BE_LEFT_OUT = (("junction", "junction"), ("electrode-heat", "electrode face"))
_MOST_ROWS = 24  # first welds that are listed; as many unusual ones are listed too


@cache
def templates() -> Environment:
    """The templates of the report."""
    environment = html_templates("sim.report")
    environment.filters["number"] = number
    return environment


def _section(name: str, **values: Any) -> Markup:
    return Markup(templates().get_template(f"{name}.html.j2").render(values))


def headline(data: ReportData) -> str:
    """The verdict in one line, gravest finding first."""
    if not data.findings:
        return "Nothing was checked, so nothing is known."
    first = data.findings[0]
    word = data.verdict.word.capitalize()
    if first.severity == "passed":
        count = len(data.findings)
        return f"{word}: {count} check{'s' if count > 1 else ''}, none beyond {'its' if count == 1 else 'a'} limit."
    return f"{word}. {first.says}"


def setup(data: ReportData) -> Markup:
    """The figures to set, with a drawing of the schedule and the verdict; on paper a separate page."""
    return _section(
        "setup",
        figures=figures_to_set(data),
        picture=picture(lambda width, name: draw_timeline(data.table, width, name), "setup"),
        phases=[
            (n, ", ".join(f"{part.phase} {in_ms(part.half_cycles, data.table.frequency_Hz)} ms" for part in group))
            for n, group in enumerate(grouped(segments(data.table)), 1)
        ],
        headline=headline(data),
    )


def verdict(data: ReportData) -> Markup:
    """The verdict and what to change, gravest first."""
    counts = Counter(SEVERITY_WORDS[f.severity] for f in data.findings)
    tally = ", ".join(f"{counts[word]} {word}" for word in ("refused", "caution", "passed") if counts[word])
    return _section(
        "verdict",
        headline=headline(data),
        word=data.verdict.word if data.findings else "unknown",
        tally=tally,
        changes=[(SEVERITY_WORDS[f.severity], f) for f in data.of("weld") if f.severity != "passed"],
        cut_off=[(SEVERITY_WORDS[f.severity], f) for f in data.of("cut-off") if f.severity != "passed"],
        heading=HEADING,
        named=cut_off_named(data.of("cut-off")),
    )


def cautions(data: ReportData) -> Markup:
    """The cautions, and how far off the magnetic field of this machine falls to the reference levels."""
    field = keep_away(data.welder)
    return _section("cautions", paragraphs=CAUTIONS if field is None else (*CAUTIONS, " ".join(field.sentences)))


def all_cautions() -> Markup:
    """The cautions, each as one paragraph."""
    return _section("cautions", paragraphs=CAUTIONS)


def schedule(data: ReportData) -> Markup:
    """The phases over time, and in a table with their firing delays."""
    table, rows = data.table, []
    working = data.welder.machine.in_use.working.handy
    for n, group in enumerate(grouped(segments(table)), 1):
        for part in group:
            flows = delivered(working, part.share).span if part.fired else ""
            rows.append((str(n), part, in_ms(part.half_cycles, table.frequency_Hz), flows))
    return _section(
        "schedule",
        picture=picture(lambda width, name: draw_timeline(table, width, name), "timeline"),
        rows=rows,
        table=table,
        total_ms=in_ms(table.half_cycles, table.frequency_Hz),
        unit=working.unit,
        side="secondary" if data.welder.machine.in_use.working_secondary else "primary",
    )


def half_cycles(data: ReportData) -> Markup:
    """The first and the last half-cycles of the first weld with a gate, enlarged."""
    weld = data.shown_weld
    if weld is None:
        return _section("half_cycles", first=None, last=None, unlatched=0, weld=None)
    view = view_of(data, weld)

    def enlarged(last: bool) -> Markup:
        return picture(
            lambda width, name: draw_half_cycles(view, shown_half_cycles(view, last, width), width, name),
            "last" if last else "first",
        )

    return _section(
        "half_cycles",
        first=enlarged(False),
        last=enlarged(True) if weld.gates > 1 else None,
        unlatched=sum(not c.latched for c in view.conductions),
        weld=weld,
    )


def flux(data: ReportData, marks: Sequence[tuple[float, str]] = ()) -> Markup:
    """The flux path of the same weld. `marks`: times of the run, each with words."""
    weld = data.shown_weld
    if weld is None or not data.conductions_of(weld):
        return _section("flux", picture=None, flux=None, worst=None)
    found = flux_of(data, weld)
    worst = next((f.figure for f in data.findings if f.name == FLUX_CHECK), None)
    zero_s = data.recording.half_cycle_at(data.gates_of(weld)[0][0]).start_s
    shown = picture(lambda width, _: draw_flux(found, zero_s, width, marks), "flux")
    return _section("flux", picture=shown, flux=found, worst=worst)


def switching(data: ReportData) -> Markup:
    """Current and flux at the start, compared with switching on at voltage zero."""
    every, currents = switching_of(data), data.currents
    return _section(
        "switching",
        picture=picture(lambda width, name: draw_switching(every, width, name), "switching"),
        currents=currents,
        ratio=currents.worst.primary_peak_A / currents.working_peak_A,
        what_ifs=(
            ("this schedule, from the worst residue", currents.worst),
            ("one firing missed half-way", currents.missed_worst),
            ("a half-cycle lost before, so that this weld repeats a polarity", currents.odd_worst),
            ("nothing between the electrodes", currents.open_worst),
            ("switched on at voltage zero and left on", currents.zero_worst),
        ),
        assumed=assumed_words(currents.assumed),
    )


def duty(data: ReportData) -> Markup:
    """The minute with the most heat, against the rating plate."""
    minute, refused = data.minute, refusals(data)
    shown = picture(lambda width, name: draw_minute(minute, data.recording.welds, refused, width, name), "minute")
    currents = [c.rms_A for c in data.recording.conductions if c.latched]
    return _section(
        "duty",
        picture=shown,
        minute=minute,
        pace=data.welds_per_minute,
        working_A=data.welder.transformer.working_current_A,
        largest_A=max(currents, default=0.0),
        peak_A=max((c.peak_A for c in data.recording.conductions), default=0.0),
        per_weld=data.table.heating_half_cycles,
        welder=data.welder,
    )


def heat(data: ReportData) -> Markup:
    """Each part's temperature over time at this pace, with its fastest pace and its rest."""
    found, ambient_C = heat_of(data), data.welder.ambient.temperature_C
    parts, said = found.parts, [part.said for part in found.parts]
    fastest = data.run.fastest
    made = f"in the last of this run's {found.made} welds" if found.made > 1 else "in the first weld"
    rows = [
        (made, [number(t.after_run_C) for t in said]),
        ("a minute later", [number(t.minute_later_C) for t in said]),
        ("in continuous work", [number(t.for_ever_C) for t in said]),
        ("limit", [number(t.limit_C) for t in said]),
        ("fastest sustained pace, welds a minute", [fastest_words(part, found) for part in parts]),
        (f"rest after {BURST} welds without a pause", [rest_words(part) for part in parts]),
    ]
    names = {t.name for t in said}
    return _section(
        "heat",
        picture=picture(lambda width, name: draw_heat(found, ambient_C, width, name), "heat"),
        heat=found,
        rows=rows,
        fastest=fastest,
        capped=found.pace < data.welds_per_minute,
        hot=any(part.passes_s is not None for part in parts),
        left_out=[word for name, word in _MAY_BE_LEFT_OUT if name not in names],
    )


def findings(data: ReportData) -> Markup:
    """The used share of each limit, and every check with its figure, limit and source."""
    found = margins(data.of("weld"))
    drawn = {id(margin.finding) for margin in found}
    return _section(
        "findings",
        rows=[(SEVERITY_WORDS[f.severity], f, limit_words(f)) for f in data.of("weld")],
        cut_off=[(SEVERITY_WORDS[f.severity], f, limit_words(f)) for f in data.of("cut-off")],
        heading=HEADING,
        picture=picture(lambda width, name: draw_margins(found, width, name), "margins") if found else None,
        unknown=any(margin.unknown for margin in found),
        kept_nil=[f.name for f in data.of("weld") if id(f) not in drawn],
    )


def faults(data: ReportData) -> Markup:
    """The worst run of each fault, and what ended its current; no section if no fault was injected."""
    if not data.faults:
        return Markup("")
    found = [finding_of(row) for row in data.faults]
    return _section(
        "faults",
        rows=[
            (row.fault.name, row.fault.words, row.worst[1].did, over_run_figure(row), verdict_word(row), row.ended_by)
            for row in data.faults
        ],
        findings=[finding for finding in found if finding.severity != "passed"],
    )


def welds(data: ReportData) -> Markup:
    """The welds asked for and made, and the end of each."""
    records = data.recording.welds
    listed = set(range(min(len(records), _MOST_ROWS)))
    odd = [
        n
        for n, weld in enumerate(records)
        if weld.ending != "completed" or not weld.planned == weld.gates == weld.conducted
    ]
    listed |= set(odd[:_MOST_ROWS])
    rows = [(n + 1, records[n], _ending(data, records[n])) for n in sorted(listed)]
    reasons = Counter(f"{r.state}: {r.reason}" if r.reason else r.state for r in refusals(data))
    return _section(
        "welds",
        rows=rows,
        left_out=len(records) - len(rows),
        count=data.run.weld_count,
        reasons=sorted(reasons.items()),
        states=_telling_states(data),
    )


def _telling_states(data: ReportData) -> list[StateChange]:
    """State changes up to the end of the first weld, and later ones with a reason."""
    first_end_s = data.recording.welds[0].ended_s if data.recording.welds else data.recording.length_s
    return [c for c in data.recording.states if c.time_s <= first_end_s or c.reason != "none"][:_MOST_ROWS]


def _ending(data: ReportData, weld: ObservedWeld) -> str:
    after = data.state_at(weld.ended_s)
    reason = f", {after.state}: {after.reason}" if after and after.reason != "none" else ""
    return weld.ending + reason


def machine(data: ReportData) -> Markup:
    """The machine computed from its owner's readings, with the range and the source of each figure."""
    m = data.welder.machine
    return _section(
        "machine",
        picture=picture(lambda width, _: draw_ohms(m.impedances(), width), "ohms"),
        figures=list(m.figures()),
        taps=m.taps,
        named=any(tap.name for tap in m.taps),
        turns=m.in_use.turns_ratio is not None,
    )


def built(data: ReportData) -> Markup:
    """The files built, the times rounded and the values assumed."""
    return _section(
        "built",
        data=data,
        files=[(path, len(content.encode())) for path, content in sorted(data.bundle.files.items())],
        assumed=data.welder.assumed(),
    )


SECTIONS = (
    *(
        setup,
        verdict,
        cautions,
        schedule,
        half_cycles,
        flux,
        switching,
        duty,
        heat,
        findings,
        faults,
        welds,
        machine,
        built,
    ),
)


def page(data: ReportData) -> str:
    """All sections as one HTML file."""
    return str(_section("page", title=data.title, data=data, sections=[section(data) for section in SECTIONS])) + "\n"
