"""A recording as a Value Change Dump (VCD), for any wave viewer. One tick is a microsecond. The file has no date."""

from __future__ import annotations

import io
from collections.abc import Iterable

from vcd import VCDWriter

from sim.bench.recording import Recording

SCOPE = "weldbeat"

_Changes = Iterable[tuple[float, int | str]]


def vcd_text(recording: Recording) -> str:
    """The run as VCD text. Same recording, same text.

    Signals, in the scope `weldbeat`: `mains_positive` (z in a dropout), `detector`, `gate`, `conduction` (1 under any
    current), `latched` (1 under a current that latched), and the strings `state` and `reason` of the application. Of two
    changes of one signal within a microsecond the later counts.
    """
    out = io.StringIO()
    with VCDWriter(out, timescale="1 us", date="", version="weldbeat") as writer:
        variables = []
        last: dict[tuple[int, int], int | str] = {}
        for n, (name, kind, first, changes) in enumerate(_signals(recording)):
            variables.append(writer.register_var(SCOPE, name, kind, size=1, init=first))
            for time_s, value in changes:
                last[round(time_s * 1e6), n] = value
        for (time_us, n), value in sorted(last.items(), key=lambda item: item[0]):
            writer.change(variables[n], time_us, value)
        writer.close(round(recording.length_s * 1e6))
    return out.getvalue()


def _signals(recording: Recording) -> list[tuple[str, str, int | str, _Changes]]:
    """Name, kind, value before the first change, and changes of each signal, in the order of time."""
    spans = [(c.start_s, c.end_s) for c in recording.conductions]
    latched = [(c.start_s, c.end_s) for c in recording.conductions if c.latched]
    mains = [(half.start_s, int(half.positive) if half.amplitude_V else "z") for half in recording.half_cycles]
    shown = [change for change in mains if change[0] <= recording.length_s]
    return [
        ("mains_positive", "wire", "x", shown),
        ("detector", "wire", 0, [(change.time_s, change.value) for change in recording.detector]),
        ("gate", "wire", 0, _levels(recording.gates)),
        ("conduction", "wire", 0, _levels(spans)),
        ("latched", "wire", 0, _levels(latched)),
        ("state", "string", "", [(change.time_s, change.state) for change in recording.states]),
        ("reason", "string", "", [(change.time_s, change.reason) for change in recording.states]),
    ]


def _levels(spans: Iterable[tuple[float, float]]) -> _Changes:
    for on_s, off_s in spans:
        yield on_s, 1
        yield off_s, 0
