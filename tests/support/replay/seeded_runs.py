"""Seeded schedules, machines and benches for the replay: every seed is one short run in which something particular happens.

Even seeds run at 50 Hz and odd ones at 60. Of every three seeds, the first meets trouble from the machine (OTHERS), the
second is ended or let go early (EARLY), the third meets a false or missing detector edge (EDGES). What happens goes round with
the seed, so that 51 seeds in a row meet everything once; how and when is drawn.
"""

from __future__ import annotations

import json
import random
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from gen.boards import boards
from gen.firmware import FirmwareBundle, render, with_crc
from gen.machine.welder import Welder
from gen.schedule import Schedule
from gen.table import TimingTable
from gen.timing import compile_schedule
from sim.bench.board import BoardSpec
from sim.bench.pedal import Press
from sim.bench.world import SETTLE_S, Bench, bench_for
from tests.support.machines import make_welder

FORCE_WAIT_S = 2.2  # longer than the application waits for the force switch

OTHERS = (
    "nothing",
    "serial lines",
    "force comes late",
    "force never comes",
    "force goes under current",
    "hot in weld",
    "hot in ready",
    "watchdog restart",
    "dropout in weld",
    "sag in weld",
    "dropout in ready",
    "dropout in squeeze",
    "gate open",
    "shorted",
    "pedal down at power-up",
    "out of band",
    "no rest known",
)
EARLY = (
    "let go in squeeze, foot_lever",
    "let go in weld, foot_lever",
    "let go in weld, hand",
    "let go in squeeze, air",
    "let go in weld, air",
    "stop button in squeeze",
    "stop button in weld",
    "stop button in hold",
    "stop button in off",
    "stop button in ready",
    "stop button at power-up",
    "stop button while waiting",
    "stop line in squeeze",
    "stop line in weld",
    "stop line in hold",
    "stop line in off",
    "stop line in ready",
)
EDGES = (
    "missing in weld",
    "false in weld",
    "missing at the first half-cycle",
    "false in ready",
    "missing in ready",
    "noise in ready",
    "noise while waiting",
    "false and missing",
)


@dataclass(frozen=True)
class Run:
    """One run, ready to be simulated; `features` are those of pulse, slope and percent that its schedule has."""

    happens: str
    features: frozenset[str]
    welder: Welder
    table: TimingTable
    bundle: FirmwareBundle
    bench: Bench


def seeded_run(seed: int) -> Run:
    """The run of `seed`. Same seed, same run."""
    kinds = (OTHERS, EARLY, EDGES)[seed % 3]
    return run_of(kinds[seed // 3 % len(kinds)], seed)


def run_of(happens: str, seed: int, **times: str) -> Run:
    """A run in which `happens` happens; `times` replace those of the schedule, such as off="6 s"."""
    chance = random.Random(seed)
    frequency_Hz = (50, 60)[seed % 2]
    welder = _welder(chance, seed, frequency_Hz, happens)
    phases, features = _phases(chance)
    phases = [{name: times[name]} if (name := next(iter(phase))) in times else phase for phase in phases]
    schedule = Schedule.model_validate({"name": f"seed-{seed}", "frequency_Hz": frequency_Hz, "phases": tuple(phases)})
    table = compile_schedule(schedule, welder, boards()["pico"], Path(f"seed-{seed}.toml"))
    bench = _bench(chance, seed, happens, welder, table)
    return Run(happens, features, welder, table, render(table, welder, boards()["pico"]), bench)


def _welder(chance: random.Random, seed: int, frequency_Hz: int, happens: str) -> Welder:
    square = seed // 2 % 2 == 0
    offset = chance.randrange(-200, 600)
    source = happens.rpartition(", ")[2]
    if source not in ("hand", "foot_lever", "air"):
        source = "air" if happens.startswith("force") else chance.choice(("hand", "foot_lever", "air"))
    return make_welder(
        mains={"voltage_V": chance.choice((110, 230, 400)), "frequency_Hz": frequency_Hz},
        transformer={"rating_kVA": 20, "working_current_A": chance.randrange(15, 60)},
        switch={"kind": chance.choice(("scr_pair", "triac", "random_phase_relay"))},
        detector={
            "kind": "square" if square else "pulse",
            "offset_rise_us": offset,
            "offset_fall_us": offset + (chance.randrange(-100, 100) if square else 0),
        },
        force={
            "source": source,
            "force_switch": source == "air" and (happens.startswith("force") or chance.random() < 0.3),
            "builds_up_ms": 100,
        },
        board={"conduction_sense": happens in ("gate open", "shorted") or chance.random() < 0.4},
    )


def _phases(chance: random.Random) -> tuple[list[dict[str, Any]], frozenset[str]]:
    """A schedule with at least two of pulse, slope and percent."""
    wanted = frozenset(chance.sample(("pulse", "slope", "percent"), chance.choice((2, 2, 3))))
    percent = chance.randrange(55, 98) if "percent" in wanted else 100
    weld_cycles = chance.randrange(4, 9)
    weld: dict[str, Any] = {"weld": f"{weld_cycles} cycles", "current_percent": percent}
    if "slope" in wanted:
        for slope in chance.choice((("upslope",), ("downslope",), ("upslope", "downslope"))):
            weld[slope] = f"{chance.randrange(1, 3)} cycles"
    middle = [weld]
    if "pulse" in wanted:
        pulse = {
            "pulse": f"{chance.randrange(1, 4)} cycles",
            "current_percent": percent,
            "repeat": chance.randrange(1, 4),
            "cool": f"{chance.randrange(2, 5)} cycles",
        }
        middle.insert(0, pulse)
    times = {
        "squeeze": chance.randrange(150, 300),
        "hold": chance.randrange(80, 160),
        "off": chance.randrange(150, 400),
    }
    squeeze, hold, off = ({name: f"{ms} ms"} for name, ms in times.items())
    return [squeeze, *middle, hold, off], wanted


@dataclass(frozen=True)
class _Times:
    """When things are expected in the first of two welds, in seconds of the run."""

    press: float
    squeeze: float
    weld: float
    hold: float
    off: float
    again: float  # the second press

    @classmethod
    def of(cls, table: TimingTable, press: float, waits_s: float) -> _Times:
        half_s = 0.5 / table.frequency_Hz
        weld = press + 0.045 + table.time_of("squeeze") * half_s
        hold = weld + sum(row.half_cycles for row in table.impulse_rows) * half_s + waits_s
        off = hold + 0.03 + table.time_of("hold") * half_s
        return cls(press, press + 0.09, weld, hold, off, off + table.time_of("off") * half_s + 0.25)


def _bench(chance: random.Random, seed: int, happens: str, welder: Welder, table: TimingTable) -> Bench:
    bench = bench_for(welder, table, seed=seed)
    t = _Times.of(table, SETTLE_S + chance.uniform(0, 0.1), FORCE_WAIT_S if "never" in happens else 0)
    at = _moment(chance, happens, t)
    presses = [Press(t.press, t.hold - t.press + chance.uniform(0.05, 0.15)), Press(t.again, t.hold - t.press + 0.1)]
    if "let go" in happens:
        presses[0] = Press(t.press, at - t.press)
    if "pedal down" in happens:
        presses.insert(0, Press(0, 0.4))
    changes: dict[str, Any] = {"length_s": t.again + (t.off - t.press) + 0.6}
    mains, detector, switch = bench.mains, bench.detector, bench.switch
    if welder.force.force_switch:
        changes["forces"] = _forces(happens, t, at)
    if "stop button" in happens:
        changes["stops"] = ((at, 0.15),)
    elif happens in ("watchdog restart", "gate open"):
        changes["stops"] = ((t.again - 0.15, 0.08),)  # the way out of these lockouts
    if "hot" in happens:
        changes["hots"] = ((at, 0.12),)
    if "dropout" in happens:
        mains = replace(mains, sags=((at, 0.5 if "squeeze" in happens else 0.25, 0),))
    if "sag" in happens:
        mains = replace(mains, sags=((at, 0.2, chance.uniform(0.4, 0.8)),))
    if happens == "out of band":
        mains = replace(mains, frequency_Hz=0.9 * mains.frequency_Hz, drift_Hz_per_s=0.006 * mains.frequency_Hz)
        changes["length_s"] = 9
    if happens in ("gate open", "shorted"):
        switch = replace(switch, fault=happens.replace(" ", "_"))
    if happens == "watchdog restart":
        changes["board"] = BoardSpec(bitten=True)
    if "no rest known" in happens:
        changes["board"] = BoardSpec(rested_ms=0)
    if "missing" in happens:
        detector = replace(detector, missing=frozenset({round(at * 2 * mains.frequency_Hz)}))
    if "false" in happens:
        number = chance.randrange(1, 6)
        detector = replace(detector, false_s=tuple(sorted(at + chance.uniform(-0.02, 0.02) for _ in range(number))))
    if "noise" in happens:
        detector = replace(detector, false_s=tuple(at + n * 0.0035 for n in range(50)))
    pedal = replace(bench.pedal, presses=tuple(presses), bounce_ms=chance.uniform(0, 12))
    serial = _serial(chance, happens, at, changes["length_s"])
    return replace(bench, mains=mains, detector=detector, switch=switch, pedal=pedal, serial=serial, **changes)


def _moment(chance: random.Random, happens: str, t: _Times) -> float:
    """When it happens; in the weld unless it says otherwise."""
    moments = {
        "squeeze": t.squeeze,
        "first half-cycle": t.weld + 0.01,
        "hold": t.hold + 0.06,
        "off": t.off + 0.06,
        "ready": t.press - 0.25,
        "power-up": 0.0,
        "waiting": 0.03,
        "later": 0.5,
    }
    in_weld = chance.uniform(t.weld + 0.03, t.hold - 0.04)
    return next((time for name, time in moments.items() if happens.partition(",")[0].endswith(name)), in_weld)


def _forces(happens: str, t: _Times, at: float) -> tuple[tuple[float, int], ...]:
    if "late" in happens:
        return ((t.weld + 0.2, 1),)
    if "never" in happens:
        return ((t.again - 0.1, 1),)
    if "under current" in happens:
        return ((t.press, 1), (at, 0), (t.off, 1))
    return ((t.press + 0.05, 1),)


def request(method: str, number: int = 1, params: dict[str, Any] | None = None) -> bytes:
    """A line of the serial link."""
    more = "" if params is None else f', "params": {json.dumps(params)}'
    return with_crc(f'{{"jsonrpc": "2.0", "id": {number}, "method": "{method}"{more}}}').encode() + b"\n"


STOP_LINE = request("stop", 0)


def _serial(chance: random.Random, happens: str, at: float, length_s: float) -> tuple[tuple[float, bytes], ...]:
    lines = []
    if happens == "serial lines" or chance.random() < 0.3:
        for _ in range(12):
            line = request(chance.choice(("hello", "status", "status", "weld", "")), chance.randrange(-3, 1 << 31))
            lines.append((chance.uniform(0.01, length_s), _spoiled(chance, line) if chance.random() < 0.5 else line))
    if "stop line" in happens:
        lines.append((at, STOP_LINE))
    return tuple(sorted(lines))


def _spoiled(chance: random.Random, line: bytes) -> bytes:
    """One byte changed, the end cut off, the beginning lost, or far too long."""
    n = chance.randrange(len(line))
    return chance.choice(
        (
            line[:n] + bytes([chance.randrange(256)]) + line[n + 1 :],
            line[:n],
            line[n:],
            line[:-1] * 4 + b"\n",
            bytes(chance.randrange(256) for _ in range(30)) + b"\n",
            with_crc(chance.choice(("[1, 2]", "17", '"stop"', "null", "", "{", "nonsense"))).encode() + b"\n",
        )
    )
