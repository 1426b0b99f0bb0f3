"""A run with faults as text: its events in the order of time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sim.faults.runs import FaultRuns, Outcome
from sim.verdict.finding import Finding

_ROW_S = 0.030  # gates or currents no further apart than this are one row


def recording_text(outcome: Outcome) -> str:
    """One run with a fault, an event a line: contacts, states, resets, rows of gates and of currents, violations."""
    r, case = outcome.recording, outcome.case
    lines: list[tuple[float, str]] = [(case.at_s, f"fault begins: {' and '.join(case.faults)}")]
    lines += [(c.time_s, f"state {c.state}" + (f": {c.reason}" if c.reason != "none" else "")) for c in r.states]
    lines += [(c.time_s, f"stop circuit {'opens' if c.value else 'closes'}") for c in r.stops]
    lines += [(time_s, "over-temperature contact opens") for time_s, _ in case.bench.hots]
    lines += [(time_s, "the program starts again") for time_s in r.starts]
    if case.bench.protection.isolated_s < case.bench.length_s:
        lines.append((case.bench.protection.isolated_s, "the isolator is opened"))
    lines += _bounces([(c.time_s, c.value) for c in r.pedal])
    lines += _rows("gate", r.gates)
    lines += _rows("current", [(c.start_s, c.end_s) for c in r.conductions])
    lines += [(v.time_s, f"VIOLATION of {v.invariant}: {v.what}") for v in outcome.violations]
    events = "\n".join(f"{time_s:10.4f} s  {text}" for time_s, text in sorted(lines, key=lambda line: line[0]))
    return f"{events}\n{case.bench.length_s:10.4f} s  end of the run; {over_run_words(outcome)}"


def over_run_words(outcome: Outcome) -> str:
    """The over-run in words."""
    if outcome.lasts:
        return f"over-run {outcome.unwanted} half-cycles, and the current does not end"
    return f"over-run {outcome.unwanted} half-cycles"


def _bounces(changes: list[tuple[float, int]]) -> Iterator[tuple[float, str]]:
    """Changes of the pedal. Those closer together than a row's gap are one event."""
    for begin, end, count in _grouped([(t, t) for t, _ in changes]):
        last = [value for t, value in changes if t <= end][-1]
        text = f"pedal {'closes' if last else 'opens'}"
        yield begin, text if count == 1 else f"{text}, after {count} changes, at {end:.4f} s"


def _rows(what: str, spans: Iterable[tuple[float, float]]) -> Iterator[tuple[float, str]]:
    for begin, end, count in _grouped(spans):
        yield begin, f"{count} {what}{'s' if count > 1 else ''}, to {end:.4f} s"


def _grouped(spans: Iterable[tuple[float, float]]) -> Iterator[tuple[float, float, int]]:
    """(begin, end, count) of each row."""
    rows: list[tuple[float, float, int]] = []
    for begin, end in spans:
        if rows and begin - rows[-1][1] < _ROW_S:
            rows[-1] = (rows[-1][0], end, rows[-1][2] + 1)
        else:
            rows.append((begin, end, 1))
    return iter(rows)


_ADVICE = (
    "Nothing that the welder file names ends the current. Fit an isolator, and a contactor and gate supply that stop and "
    "over-temperature contacts break; name them in [protection]."
)


def finding_of(row: FaultRuns) -> Finding:
    """The finding of a fault: `refuse` if nothing ends the current, `caution` if only a person does or the board misses it."""
    number, worst = row.worst
    by_hand = row.safe and any(o.by_hand for _, o in row.outcomes)
    if not row.safe:
        severity, advice = "refuse", _ADVICE
        if worst.violations:
            advice = f"{worst.violations[0].what}; see weldbeat faults --seed {worst.recording.seed} --replay {number}. {_ADVICE}"
    elif by_hand:
        severity, advice = "caution", f"No software ends this: {row.ended_by}. Keep it within reach, and use it."
    elif row.unseen:
        severity, advice = "caution", row.unseen
    else:
        severity, advice = "passed", ""
    return Finding(
        row.fault.name,
        severity,  # type: ignore[arg-type]
        worst.unwanted,
        0,
        "half-cycles of over-run",
        "no single fault leaves the transformer on",
        advice,
        worst.case.at_s,
    )


def verdict_word(row: FaultRuns) -> str:
    """The column `safe`."""
    severity = finding_of(row).severity
    seen = "unseen" if row.unseen else "by hand"
    return {"refuse": "NO", "caution": seen, "passed": "yes"}[severity]


def over_run_figure(row: FaultRuns) -> str:
    """The worst over-run in half-cycles, or that it does not end."""
    worst = row.worst[1]
    return "no end" if worst.lasts else str(worst.unwanted)
