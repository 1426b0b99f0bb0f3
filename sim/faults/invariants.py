"""The invariants: what holds under every fault. Each function returns where a run violates its invariant.

They read gates, currents and contacts as simulated. None reads the firmware's counters; only `lockouts` reads its states.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable

from gen import words
from gen.firmware import duty_limit
from gen.machine.welder import FREQUENCY_BAND
from gen.table import heat
from gen.words import GATE_END_DEG
from sim.bench.protection import TRAIN_S
from sim.faults.observed import (
    EDGE_US,
    REACTION_S,
    ObservedRun,
    Violation,
    WeldRequest,
    gate_rows,
    inside,
    request_at,
    spans_of,
)
from sim.verdict.flux import FLUX_LIMIT, FluxPoint, path_of

HUNT_LEAD_DEG = 15  # how early an edge is accepted before the true crossing
LOCK_HALF_CYCLES = 8
MINUTE_S = 60.0
SLOWEST = 1.3  # times the nominal half-cycle: 40 Hz is the slowest mains that is injected
LONGEST_WAIT_S = 3.0  # for the force, for the mains to come back, for a squeeze that begins anew
MOST_DISPLACED = 6
ZERO_FLUX = 2.05  # 2 when switched on at the crossing (textbook); the rest is the mains' tolerance
UNNOTICED_S = 0.045
FASTER = GATE_END_DEG / 180  # a half-cycle shorter by this ratio ends before its gate does
SLOWER = 1.1  # one longer by this ratio misses its hunt window


def fresh_request(observed: ObservedRun) -> list[Violation]:
    """The gate never rises without a fresh weld request. Stop, over-temperature and a restart end a request."""
    requests = observed.requests
    wrong = []
    stopped = observed.stopped
    for on_s, _ in observed.recording.gates:
        request = request_at(requests, on_s)
        if request is None:
            wrong.append(Violation("fresh-request", on_s, "a gate before any request"))
        elif on_s > request.until_s + REACTION_S and not observed.hung(on_s) and not inside(stopped, on_s):
            wrong.append(Violation("fresh-request", on_s, "a gate after what ended the request"))
    return wrong


def table_count(observed: ObservedRun) -> list[Violation]:
    """One request never has more gates than the table."""
    wrong = []
    most = observed.table.fired_half_cycles
    for gates in gate_rows(observed):
        if len(gates) > most:
            wrong.append(Violation("table-count", gates[most], f"{len(gates)} gates, the table has {most}"))
    return wrong


def one_train(observed: ObservedRun) -> list[Violation]:
    """The gates of one request come in one row: none follows a gap longer than the table's longest."""
    rows = observed.table.impulse_rows
    longest = max([row.half_cycles for row in rows if row.firing_delay_us is None], default=0)
    wrong, last_s = [], -math.inf
    for on_s, _ in observed.recording.gates:
        if last_s >= 0 and request_at(observed.requests, on_s) is request_at(observed.requests, last_s):
            gap = observed.recording.half_cycle_at(on_s).index - observed.recording.half_cycle_at(last_s).index
            if gap > longest + 2:
                wrong.append(Violation("one-train", on_s, f"a gate {gap} half-cycles after the one before"))
        last_s = on_s
    return wrong


def after_stop(observed: ObservedRun) -> list[Violation]:
    """No gate after stop: by the firing hardware's own test, else by Python. Where both fail, hardware ends the current."""
    wrong, r, bench = [], observed.recording, observed.bench
    for open_s, closed_s in observed.stopped:
        last_s = open_s + (2e-6 if bench.board.stop_reaches_gate else REACTION_S)
        late = [on_s for on_s, _ in r.gates if last_s < on_s < closed_s]
        if bench.board.stop_reaches_gate:
            wrong += [Violation("after-stop", on_s, "a gate with stop open") for on_s in late]
        elif not observed.hung(open_s):
            wrong += [Violation("after-stop", on_s, "a gate with stop open, Python alive") for on_s in late]
        elif not bench.protection.stop_cuts_gate and not bench.protection.stop_cuts_contactor:
            wrong += [
                Violation("after-stop", on_s, "a gate with stop open, and no hardware that cuts it") for on_s in late
            ]
        else:
            ungated = bench.switch.fault == "shorted" or bench.protection.stuck_on_s is not None
            last_s = open_s + (
                2e-6 if bench.protection.stop_cuts_gate and not ungated else bench.protection.opens_s + 2e-6
            )
            currents = [c.start_s for c in r.conductions if last_s < c.start_s < closed_s]
            wrong += [Violation("after-stop", start_s, "current with stop open") for start_s in currents]
    return wrong


def after_release(observed: ObservedRun) -> list[Violation]:
    """Where the hand holds the force, no gate while the pedal is open: by the firing hardware's own test, else by Python."""
    bench, r = observed.bench, observed.recording
    if observed.welder.force.source == "air":
        return []
    by_hardware = bench.board.release_reaches_gate
    closed = spans_of([(c.time_s, c.value) for c in r.pedal])
    wrong = []
    for on_s, _ in r.gates:
        at = bisect_right(closed, on_s, key=lambda span: span[0])
        opened_s = closed[at - 1][1] if at else 0.0
        if on_s > opened_s + (2e-6 if by_hardware else REACTION_S):
            wrong.append(Violation("after-release", on_s, f"a gate {1000 * (on_s - opened_s):.0f} ms after letting go"))
    return wrong


def let_go(observed: ObservedRun) -> list[Violation]:
    """Whatever switch and gate do: no current before a request, nor long after the pedal was let go or the table has ended.

    As long as the program may take to see it, the pulse train to end, and the contactor to open. Asked only where a contactor
    is fitted whose contacts have not welded.
    """
    bench, r = observed.bench, observed.recording
    fitted = bench.protection
    if not fitted.contactor or fitted.welded_s < math.inf:
        return []
    drops_s = REACTION_S + TRAIN_S + fitted.opens_s
    half_s = 0.5 / observed.table.frequency_Hz
    table_s = observed.table.time_of("squeeze", "hold") * half_s
    table_s += sum(row.half_cycles for row in observed.table.impulse_rows) * half_s * SLOWEST + LONGEST_WAIT_S
    by_hand = observed.welder.force.source != "air"
    wrong = []
    for c in r.conductions:
        request = request_at(observed.requests, c.start_s)
        if request is None:
            wrong.append(Violation("let-go", c.start_s, "current before any request"))
            continue
        latest_s = request.from_s + table_s + drops_s
        if by_hand:
            latest_s = min(latest_s, request.pedal_opened_s + drops_s)
        if c.start_s > latest_s:
            wrong.append(
                Violation("let-go", c.start_s, f"current {c.start_s - latest_s:.2f} s after it must have ended")
            )
    return wrong


def mains_loss(observed: ObservedRun) -> list[Violation]:
    """The gate is off within the hunt window after a mains loss. After the return it fires only on a new request.

    Before its first gate a weld goes on through a loss shorter than `UNNOTICED_S`: the board does not notice it, and it does
    no harm. False edges may replace those of the mains until the program has noticed them.
    """
    wrong = []
    for lost_s, back_s in observed.losses:
        half_s = observed.recording.half_cycle_at(lost_s - 1e-9).length_s
        for on_s, off_s in observed.recording.gates:
            if observed.shaken(on_s):
                continue
            if lost_s + 1.25 * half_s < on_s < back_s:
                wrong.append(Violation("mains-loss", on_s, "a gate without mains"))
            elif on_s >= back_s > lost_s + half_s * 1.5:
                request = request_at(observed.requests, on_s)
                begun = request is not None and any(request.from_s < t < lost_s for t, _ in observed.recording.gates)
                noticed = begun or back_s - lost_s > UNNOTICED_S
                if request is None or (noticed and request.from_s < back_s):
                    wrong.append(Violation("mains-loss", on_s, "a gate on the return of the mains"))
            if off_s > lost_s + 1.25 * half_s and on_s < lost_s:
                wrong.append(Violation("mains-loss", off_s, "a gate held on without mains"))
    return wrong


def window(observed: ObservedRun) -> list[Violation]:
    """Every gate is within its own half-cycle, from its delay less the hunt's lead to the true crossing.

    Two exceptions, which the firing hardware cannot know of. Under false edges a row may be displaced for the few
    half-cycles that the program needs to notice them. Where the mains has become faster since the weld began, a gate may
    pass the crossing by as much as the detector is late. The last gate of the row may pass it by more.
    """
    wrong, r = [], observed.recording
    delays = [row.firing_delay_us for row in observed.table.impulse_rows if row.firing_delay_us is not None]
    least_deg = min(delays) * 2 * observed.table.frequency_Hz * 180e-6 - HUNT_LEAD_DEG
    gates = r.gates
    first_half_s, displaced = 0.0, 0
    for n, (on_s, off_s) in enumerate(gates):
        half = r.half_cycle_at(on_s)
        if n == 0 or on_s - gates[n - 1][0] > 0.2:
            first_half_s, displaced = r.half_cycles[max(half.index - 3, 0)].length_s, 0
        # The delay was set for the frequency that the weld began with.
        at_deg = (on_s - half.start_s) / min(half.length_s, first_half_s) * 180
        over_us = (off_s - half.start_s - half.length_s) * 1e6
        what = ""
        if at_deg < least_deg - EDGE_US * 1e-6 / half.length_s * 180:
            what = f"a gate at {at_deg:.0f} degrees, allowed from {least_deg:.0f}"
        elif over_us > (EDGE_US + observed.offset_us if half.length_s < 0.98 * first_half_s else 0):
            followed = n + 1 < len(gates) and gates[n + 1][0] - off_s < 2.5 * first_half_s
            if half.length_s > first_half_s * 0.98 or followed:
                what = f"a gate {over_us:.0f} us past the crossing"
        if what:
            displaced += 1
            if not observed.shaken(on_s) or displaced > MOST_DISPLACED:
                wrong.append(Violation("window", on_s, what))
    return wrong


def flux(observed: ObservedRun) -> list[Violation]:
    """Firing never takes the flux past its limit. Asked where switch, driver and supply voltage have no fault.

    Under false edges one half-cycle may be fired as early as at the crossing; the machine's `inrush` allows for that.
    """
    return [
        Violation("flux", point.time_s, f"{abs(point.flux):.2f} of the steady peak")
        for point in _worst_flux(observed)
        if abs(point.flux) > (ZERO_FLUX if observed.shaken(point.time_s) else FLUX_LIMIT)
    ]


def worst_flux(observed: ObservedRun) -> float:
    """The greatest flux of any request, in units of the steady peak."""
    return max((abs(point.flux) for point in _worst_flux(observed)), default=0.0)


def _worst_flux(observed: ObservedRun) -> list[FluxPoint]:
    """The greatest flux of each request, which begins without residue."""
    if not observed.recording.conductions:
        return []
    longest_s = max(c.current.half.length_s for c in observed.recording.conductions)
    unit = (
        observed.bench.mains.voltage_V * math.sqrt(2) * longest_s / math.pi
    )  # of the slowest half-cycle under current
    found = []
    for request in observed.requests:
        ends = [a.from_s for a in observed.requests if a.from_s > request.from_s]
        to_s = min([*ends, _jumps_s(observed, request)], default=math.inf)
        path = path_of(observed.recording.conductions, unit, observed.welder.flux_decay_s, request.from_s, to_s)
        found.append(max(path, key=lambda p: abs(p.flux)))
    return found


def _jumps_s(observed: ObservedRun, request: WeldRequest) -> float:
    """When the mains left a weld's hunt window from one half-cycle to the next, which ends the row. Infinity for never.

    On a faster mains the gate under way passes the crossing, as `window` allows. On a slower one it is too early in a
    half-cycle whose length cannot be known yet.
    """
    first_s = next((on_s for on_s, _ in observed.recording.gates if on_s >= request.from_s), math.inf)
    if first_s == math.inf:
        return first_s
    halves = observed.recording.half_cycles
    at = observed.recording.half_cycle_at(first_s).index
    begun_s = halves[max(at - 2, 0)].length_s
    for half in halves[at:]:
        if half.length_s < FASTER * begun_s:
            return half.start_s + half.length_s
        if half.length_s > SLOWER * begun_s:
            return half.start_s
    return math.inf


def polarity(observed: ObservedRun) -> list[Violation]:
    """Every row of gates begins on the polarity opposite to the last gate's.

    Two half-cycles of one polarity in a row would add their flux to the residue. Asked where the board can know: with a
    detector that has polarity, without a restart between the rows, and outside false edges.
    """
    if observed.bench.detector.kind == "pulse":
        return []
    wrong, r = [], observed.recording
    last_s = -math.inf
    for gates in gate_rows(observed):
        if not gates:
            continue
        first_s = gates[0]
        known = last_s >= 0 and not any(last_s < start_s <= first_s for start_s in r.starts)
        same = r.half_cycle_at(first_s).positive == r.half_cycle_at(last_s).positive
        if known and same and not observed.shaken(last_s) and not observed.shaken(first_s):
            wrong.append(Violation("polarity", first_s, "a weld begins on the polarity that the last one ended on"))
        last_s = gates[-1]
    return wrong


def lock(observed: ObservedRun) -> list[Violation]:
    """No weld before eight true crossings inside the band, since the start of the board and since any loss of mains."""
    wrong, r = [], observed.recording
    low, high = (edge * observed.table.frequency_Hz for edge in FREQUENCY_BAND)
    off_by = 0.02 + abs(observed.bench.board.clock_rate - 1)
    starts = [0.0, *r.starts]
    last_request: WeldRequest | None = None
    for on_s, _ in r.gates:
        request = request_at(observed.requests, on_s)
        if request is None or request is last_request:
            continue
        last_request = request
        half = r.half_cycle_at(on_s)
        before = r.half_cycles[max(half.index - LOCK_HALF_CYCLES, 0) : half.index]
        begun_s = starts[bisect_right(starts, on_s) - 1]
        if before[0].start_s < begun_s or any(h.amplitude_V == 0 for h in before):
            wrong.append(Violation("lock", on_s, "a gate before eight crossings were seen"))
        mean_Hz = 0.5 * len(before) / (before[-1].start_s + before[-1].length_s - before[0].start_s)
        # The lock is older than the first gate: a drifting frequency may have left the band since.
        moving = max(h.length_s for h in before) / min(h.length_s for h in before) > 1.02
        if not moving and not low * (1 - off_by) <= mean_Hz <= high * (1 + off_by):
            wrong.append(Violation("lock", on_s, f"a weld at {mean_Hz:.1f} Hz"))
    return wrong


def duty(observed: ObservedRun) -> list[Violation]:
    """No minute has more heat than the rating allows. The minute after a start without a proven rest has none."""
    heats = [
        heat(row) for row in observed.table.rows if row.firing_delay_us is not None for _ in range(row.half_cycles)
    ]
    limit, wrong, bench = duty_limit(observed.welder), [], observed.bench
    unrested = [0.0] if bench.board.rested_ms < MINUTE_S * 1000 else []
    unrested += observed.recording.starts if bench.board.rested_after_reset_ms < MINUTE_S * 1000 else ()
    spent: list[tuple[float, int]] = []
    for gates in gate_rows(observed):
        spent += zip(gates, heats, strict=False)
    used, oldest = 0, 0
    for at_s, cost in spent:
        used += cost
        while spent[oldest][0] <= at_s - MINUTE_S:
            used -= spent[oldest][1]
            oldest += 1
        if used > limit and not observed.leaps:
            return [Violation("duty", at_s, f"{used} of {limit} hundredths in a minute")]
        if any(start_s <= at_s < start_s + MINUTE_S for start_s in unrested) and not observed.leaps:
            wrong.append(Violation("duty", at_s, "a gate within a minute of a start that knows of no rest"))
    return wrong


def lockouts(observed: ObservedRun) -> list[Violation]:
    """Every lockout has a reason, and the reason a way out."""
    ways = dict(zip(words.REASON_NAMES, words.WAY_OUT, strict=True))
    return [
        Violation("lockouts", change.time_s, f"locked out without a way out: {change.reason}")
        for change in observed.recording.states
        if change.state == "locked out" and not ways.get(change.reason)
    ]


INVARIANTS: tuple[Callable[[ObservedRun], list[Violation]], ...] = (
    fresh_request,
    table_count,
    one_train,
    after_stop,
    after_release,
    let_go,
    mains_loss,
    window,
    flux,
    polarity,
    lock,
    duty,
    lockouts,
)


def over_run(observed: ObservedRun) -> list[float]:
    """The start of each unwanted half-cycle of current.

    Current is wanted after a fresh request, for the table's number of half-cycles. Stop, the over-temperature contact and,
    where the hand holds the force, the released pedal end that.
    """
    unwanted = []
    release = observed.welder.force.source != "air"
    made: dict[float, int] = {}
    shut = [*observed.stopped, *((t, t + length) for t, length in observed.bench.hots)]
    for c in observed.recording.conductions:
        request = request_at(observed.requests, c.start_s)
        count = 0
        if request is not None:
            count = made[request.from_s] = made.get(request.from_s, 0) + 1
        if (
            request is None
            or count > observed.table.fired_half_cycles
            or c.start_s > request.until_s
            or (release and c.start_s > request.pedal_opened_s)
            or inside(shut, c.start_s)
        ):
            unwanted.append(c.start_s)
    return unwanted
