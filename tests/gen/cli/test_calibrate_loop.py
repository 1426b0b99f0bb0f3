"""`weldbeat calibrate --loop`: welds on shorted electrodes at several firing delays give the loop, and `weld show` the ohms.

The reference is the bench's circuit, which neither command can see: impedance and angle with shorted electrodes, and the
resistance that the work adds. The mains has a fifth harmonic of 3 %, which moves the detector's edges.
"""

from __future__ import annotations

import cmath
import json
import math
import re
import sqlite3
import tomllib
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from gen.boards import boards
from gen.commissioning import may_last_too_long, shorted_job
from gen.firmware import render
from gen.job import read_job
from gen.machine.welder import welder_from
from gen.records import GateRecord, Records, WeldRecord
from sim.bench.circuit import SeriesLoad
from sim.bench.sense import SenseSpec
from sim.bench.world import World, bench_for, simulate
from tests.gen.cli.test_calibrate_from_welds import GUESSED, MACHINE, SHORT_A, WORK_A, WORK_DEG, loads
from tests.support.cli.command_line import typed
from tests.support.machines import compiled, firmware, make_welder

PERCENTS = (85, 70, 55, 45)
SHORTS = tuple(
    {"pulse": "2 cycles", "current_percent": percent, "repeat": 1, "cool": "2 cycles"} for percent in PERCENTS
)
EACH = 4  # half-cycles of an impulse
FILE = GUESSED + "[current_sense]\nturns = 1000\nburden_ohm = 18\n"
SHORT = loads()["shorted"]
SHORT_OHM, SHORT_ANGLE = cmath.polar(complex(SHORT.resistance_ohm, 100 * math.pi * SHORT.inductance_H))
SHORT_DEG = math.degrees(SHORT_ANGLE)
WORK_OHM = loads()["work"].resistance_ohm - SHORT.resistance_ohm


@cache
def fired(which: str) -> tuple[GateRecord, ...]:
    """The impulses by the real application on the bench, with this load, as the board keeps them."""
    table = compiled(MACHINE, *SHORTS)
    bench = bench_for(MACHINE, table, minutes=0.001, seed=5)
    mains = replace(bench.mains, harmonics=((5, 3.0, 90.0),))
    bench = replace(bench, load=loads()[which], sense=SenseSpec(lit_us=20), mains=mains, length_s=1.6)
    world = World(render(table, MACHINE, boards()["pico"]), bench)
    world.run()
    curve: Any = world.board._program.supervisor.curve
    assert curve.count == EACH * len(PERCENTS)
    columns = zip(curve.delays, curve.lengths, curve.halves, curve.currents, curve.peaks, strict=True)
    gates = [(d, length, half, dA / 10, peak / 10) for d, length, half, dA, peak in columns]
    return tuple(GateRecord("pico", 7, 0, n, *gate) for n, gate in enumerate(gates[: curve.count]))


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """7/1 on the work, 7/2 shorted, both with every impulse; then each impulse of 7/2 as a weld of its own, 7/3 to 7/6."""
    (tmp_path / "welder.toml").write_text(FILE)
    monkeypatch.chdir(tmp_path)
    shorted = fired("shorted")
    each = [
        tuple(replace(gate, gate=gate.gate - at) for gate in shorted[at : at + EACH] * 2) for at in range(0, 16, EACH)
    ]
    with Records(tmp_path / "records.sqlite") as records:
        for number, gates in enumerate((fired("work"), shorted, *each), 1):
            ended_at = f"2026-01-01T00:00:0{number}Z"
            records.add_welds([WeldRecord("pico", 7, number, ended_at, "completed", 16, 16, 30, "short", "0" * 16)])
            records.add_curve([replace(gate, count=number, gate=n) for n, gate in enumerate(gates)])
    return tmp_path


@pytest.mark.parametrize(
    "line", [["--loop", "7/2"], ["--loop", "7/3", "--loop", "7/4", "--loop", "7/6"], ["--loop-last", "4"]]
)
def test_shorted_welds_give_the_loop(shop: Path, line: list[str]) -> None:
    """One weld or several: impedance and angle hold the truth, and are narrow."""
    outcome = typed(["calibrate", *line, "--volts", "230", "--yes"])
    assert outcome.code == 0, outcome.err
    loop = tomllib.loads((shop / "welder.toml").read_text())["shorted_loop"]
    assert loop["impedance_min_ohm"] < SHORT_OHM < loop["impedance_max_ohm"] < 1.15 * loop["impedance_min_ohm"]
    assert loop["angle_min_deg"] < SHORT_DEG < loop["angle_max_deg"] < loop["angle_min_deg"] + 5
    found = re.search(r"shorted, primary: (\S+) to (\S+) A before, (\S+) to (\S+) A now", outcome.out)
    assert found is not None, outcome.out
    assert float(found[3]) < SHORT_A < float(found[4])


def test_the_machine_and_the_work_follow(shop: Path) -> None:
    """With the working current, the load angle is known to a third of the guess; each cycle's work is within 6 % of the truth."""
    before = welder_from(FILE, shop / "welder.toml").machine.in_use.load_angle
    assert typed(["calibrate", "--loop", "7/2", "--working", "7/1", "--volts", "230", "--yes"]).code == 0
    text = (shop / "welder.toml").read_text()
    assert "load_angle" not in text
    after = welder_from(text, shop / "welder.toml").machine.in_use
    assert after.load_angle.low < WORK_DEG < after.load_angle.high
    assert after.load_angle.high - after.load_angle.low < (before.high - before.low) / 2
    assert after.working_primary.low < WORK_A < after.working_primary.high
    (told,) = json.loads(typed(["weld", "show", "7/1", "--volts", "230", "--json"]).out)
    assert [gate for gate, _ in told["work_ohm"]] == list(range(0, 16, 2))
    assert all(abs(ohm / WORK_OHM - 1) < 0.06 for _, ohm in told["work_ohm"]), (told["work_ohm"], WORK_OHM)
    assert "The work in ohms, seen from the primary, " in typed(["weld", "show", "7/1", "--volts", "230"]).out
    (told,) = json.loads(typed(["weld", "show", "7/1", "--json"]).out)
    assert told["work_ohm"] is None


def test_with_taps_the_loop_is_that_of_the_tap_in_use(shop: Path) -> None:
    """It narrows that tap and the others; on another tap the work is not told in ohms."""
    taps = FILE.replace("[transformer]\n", '[transformer]\ntap = "high"\ntaps = {low = 1.8, high = 2.4}\n')
    path = shop / "welder.toml"
    path.write_text(taps)
    assert typed(["calibrate", "--loop", "7/2", "--volts", "230", "--yes"]).code == 0
    text = path.read_text()
    content = tomllib.loads(text)
    assert (content["shorted_loop"]["tap"], content["transformer"]["shorted_tap"]) == ("high", "high")
    assert typed(["weld", "show", "7/1", "--volts", "230"]).code == 0
    path.write_text(text.replace('tap = "high"\ntaps', 'tap = "low"\ntaps'))
    outcome = typed(["weld", "show", "7/1", "--volts", "230"])
    assert outcome.code == 2
    assert "measured on the tap in use" in outcome.err
    low = welder_from(path.read_text(), path).machine
    assert (
        low.short_angle.low < SHORT_DEG < low.short_angle.high < low.short_angle.low + 10
    )  # supply and leakage differ
    before, loop = text.split("[shorted_loop]")
    path.write_text(f"{before}[shorted_loop]{loop.replace('high', 'top')}")
    assert 'shorted_loop.tap: "top" given; allowed: "low", "high", the names in' in typed(["describe"]).err


def test_a_push_for_the_loop_is_judged_on_shorted_electrodes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A breaker of 6 A bears the 22 A of the work for so long, not the 44 A of the short: nothing is sent."""
    monkeypatch.chdir(tmp_path)
    readings = "working_current_A = 22\nshorted_current_A = 44\n"
    breaker = '[breaker]\ncharacteristic = "B"\nrating_A = 6\n'
    Path("welder.toml").write_text(breaker + FILE.replace("[transformer]\n", f"[transformer]\n{readings}"))
    impulse = '[[phase]]\npulse = "4 cycles"\ncurrent_percent = {}\nrepeat = 1\ncool = "2 cycles"\n'
    phases = "".join(impulse.format(percent) for percent in PERCENTS)
    Path("short.toml").write_text(
        f'frequency_Hz = 50\n[[phase]]\nsqueeze = "0.4 s"\n{phases}[[phase]]\nhold = "5 cycles"\n[[phase]]\noff = "2 s"\n'
    )
    line = ["push", "short.toml", "/dev/nowhere", "--pace", "1"]
    assert "/dev/nowhere" in typed(line).err  # the verdict lets it, and then no board is there
    outcome = typed([*line, "--shorted"])
    assert outcome.code == 1
    assert "Nothing was sent." in outcome.out
    job = read_job(Path("short.toml"))
    judged = shorted_job(job)
    tap = judged.welder.machine.in_use
    assert (judged.table, judged.schedule) == (job.table, job.schedule)
    assert tap.working_primary == job.welder.machine.in_use.short_primary
    assert tap.load_angle == job.welder.machine.short_angle


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (["--loop", "7/9", "--volts", "230"], "was not timed"),
        (["--loop", "7/2"], "--volts; missing; allowed: the mains before these welds, read at the outlet"),
        (
            ["--loop", "7/5", "--volts", "230"],
            "--loop: 7/5 given; fired at 1; allowed: welds with shorted electrodes at 3 firing delays or more",
        ),
        (["--loop", "7/1", "--loop", "7/2", "--volts", "230"], "--loop: 7/1, 7/2 given; they do not agree"),
        (["--loop", "seven"], "such as 7/12"),
        (["--loop", "7/2", "--loop-last", "2"], "--loop-last: 2 given; allowed: --loop or --loop-last, one of them"),
        (["--loop-last", "0"], "allowed: a whole number from 1 to 20"),
        (["--loop-last", "9", "--volts", "230"], "records.sqlite: 6 welds were timed; allowed: "),
        (["--volts", "230"], "--volts: 230 given; allowed: with --loop or --loop-last"),
        (["--loop", "7/2", "--volts", "24"], "allowed: a number from 90 to 480"),
    ],
)
def test_welds_that_tell_no_loop_are_refused(shop: Path, line: list[str], words: str) -> None:
    """One message, exit code 2, nothing written."""
    outcome = typed(["calibrate", *line, "--yes"])
    assert outcome.code == 2
    assert words in outcome.err
    assert len(outcome.err.splitlines()) == 1
    assert (shop / "welder.toml").read_text() == FILE


@pytest.mark.parametrize("reading", ["working_current_A = 22", "shorted_current_A = 26"])
def test_a_weld_that_is_not_shorted_is_refused(shop: Path, reading: str) -> None:
    """Where the file knows a current: the impedance is more than that leaves."""
    text = FILE.replace("[transformer]\n", f"[transformer]\n{reading}\n")
    (shop / "welder.toml").write_text(text)
    outcome = typed(["calibrate", "--loop", "7/1", "--volts", "230", "--yes"])
    assert outcome.code == 2
    assert (
        "--loop: 7/1 given; the electrodes were not shorted, or not on the tap in use: 10.5 ohm; allowed: "
        in outcome.err
    )
    assert (shop / "welder.toml").read_text() == text
    assert typed(["calibrate", "--loop", "7/2", "--volts", "230", "--yes"]).code == 0


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [("current_A", None, "--loop: 7/2 given; allowed: a weld of which the current and its end were measured"),
     ("length_us", -1, "--loop: 7/2 given; allowed: a weld of which the current and its end were measured"),
     ("current_A", -1.0, "records.sqlite: "), ("half_us", -3, "records.sqlite: ")],
)  # fmt: skip
def test_a_lacking_or_damaged_curve_is_refused(shop: Path, column: str, value: object, words: str) -> None:
    """Without a current or its end, or with what was never written: one message, exit code 2, nothing written."""
    with sqlite3.connect(shop / "records.sqlite") as db:
        db.execute(f"UPDATE currents SET {column} = ? WHERE count = 2", (value,))
    outcome = typed(["calibrate", "--loop", "7/2", "--volts", "230", "--yes"])
    assert outcome.code == 2
    assert words in outcome.err
    assert (shop / "welder.toml").read_text() == FILE


LOOP = "[shorted_loop]\nimpedance_min_ohm = 8.3\nimpedance_max_ohm = 9\nangle_min_deg = 57\nangle_max_deg = 59\n"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (FILE, "--volts: 230 given; allowed: with [shorted_loop] in the welder file"),
        (
            FILE + LOOP.replace("8.3", "9.3"),
            "shorted_loop.impedance_max_ohm: 9 given; allowed: impedance_min_ohm (9.3) or more",
        ),
        (FILE + LOOP + 'tap = "2"\n', 'shorted_loop.tap: "2" given; there are no taps'),
        (FILE + LOOP.replace("57", "0.5"), "shorted_loop.angle_min_deg"),
    ],
)
def test_a_loop_that_cannot_be_is_refused(shop: Path, text: str, words: str) -> None:
    """In the welder file or missing there."""
    (shop / "welder.toml").write_text(text)
    outcome = typed(["weld", "show", "7/1", "--volts", "230"])
    assert outcome.code == 2
    assert words in outcome.err


def test_a_loop_that_contradicts_the_supply_is_refused(shop: Path) -> None:
    """The supply alone has more resistance than the angle leaves."""
    supply = FILE.replace("frequency_Hz = 50\n", "frequency_Hz = 50\nsource_resistance_ohm = 6\n", 1)
    shorted = supply.replace("[transformer]\n", "[transformer]\nshorted_current_A = 26\n")
    (shop / "welder.toml").write_text(shorted + LOOP.replace("57", "85").replace("59", "87"))
    outcome = typed(["describe"])
    assert outcome.code == 2
    assert "shorted_loop.angle_min_deg: 85 given; allowed: about " in outcome.err
    allowed = re.search(r"about (\d+) to (\d+),", outcome.err)
    assert allowed is not None
    (shop / "welder.toml").write_text(shorted + LOOP.replace("57", allowed[1]).replace("59", allowed[2]))
    assert typed(["describe"]).code == 0


@pytest.mark.parametrize("known", [True, False])
def test_load_angles_of_work_may_end_a_shorted_weld(known: bool) -> None:
    """The emitted firmware on the bench: told beforehand where it does, and without these keys all of it is fired."""
    angles = {"load_angle_min_deg": 38, "load_angle_max_deg": 48} if known else {}
    machine: dict[str, Any] = {"current_sense": {"turns": 1000, "burden_ohm": 22}, "board": {"conduction_sense": True}}
    welder = make_welder(transformer={"rating_kVA": 15, "working_current_A": 30, **angles}, **machine)
    bundle, table = firmware(
        welder, *({"pulse": "4 cycles", "current_percent": p, "cool": "4 cycles"} for p in (85, 70))
    )
    bench = bench_for(welder, table, minutes=0.001)
    bench = replace(bench, load=SeriesLoad.from_working_point(230, 40, 62, 50))
    (weld,) = simulate(bundle, table, bench).welds
    assert (weld.ending == "completed") is not known
    assert may_last_too_long(welder) is known
