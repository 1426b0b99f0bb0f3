"""A replay that cannot fail proves nothing: a change in the application or in the recording must be reported, at its call."""

from __future__ import annotations

from array import array
from dataclasses import replace
from pathlib import Path

import pytest

from gen.firmware import FirmwareBundle, with_crc
from gen.words import STOP_OPEN
from sim.bench.driver import CALL_INTS, DONE, INPUTS, NOW
from sim.replay import playback
from sim.replay.playback import INTERPRETERS, UNIX64, WASM32, Interpreter, ReplayError, call_text, replay
from tests.support.app.weakened import begins, constant
from tests.support.replay.directed_runs import record
from tests.support.replay.seeded_runs import Run, run_of

SUPERVISOR = "app/supervisor.py"
IN_WELD = "Supervisor._weld"  # once a step, under the heap lock
pytestmark = [pytest.mark.skipif(not it.available(), reason=f"{it.needs} is not installed") for it in INTERPRETERS]
both = pytest.mark.parametrize("interpreter", INTERPRETERS, ids=lambda interpreter: interpreter.name)


@pytest.fixture(scope="module")
def run() -> Run:
    return run_of("nothing", 400)


@both
@pytest.mark.parametrize("line", ["half = inputs / 2", "seen = (inputs, now_ms)"], ids=["float", "tuple"])
def test_an_allocation_while_armed_ends_the_replay(run: Run, line: str, interpreter: Interpreter) -> None:
    """Protects the heap lock: a float or a tuple in the weld is reported at the first step that makes one, with its line."""
    recording, _ = record(run)
    difference = replay(begins(IN_WELD, line)(run.bundle), recording, interpreter).difference
    assert difference is not None
    assert first(recording.calls, DONE) == difference.number
    assert "heap is locked" in difference.got
    assert "supervisor.py" in difference.got


def test_a_great_product_allocates_on_32_bits_alone(run: Run) -> None:
    """Protects the 31 bits of the board's small integers: the 64-bit build cannot find this, and the 32-bit build does."""
    recording, _ = record(run)
    planted = begins(IN_WELD, "far = (now_ms | 65536) * 16384")(run.bundle)  # 2**30 and more
    assert replay(planted, recording, UNIX64).difference is None
    difference = replay(planted, recording, WASM32).difference
    assert difference is not None
    assert "heap is locked" in difference.got
    kept = begins(IN_WELD, "far = 65535 * (inputs | 16383)")(run.bundle)  # below 2**30
    assert replay(kept, recording, WASM32).difference is None


@both
def test_a_changed_decision_is_reported_at_its_first_call(run: Run, interpreter: Interpreter) -> None:
    """The difference named is the first one: where the recording of the changed application parts from the other."""
    planted = constant("ARMED_WAKE_MS", 6)(run.bundle)
    recording, changed = record(run)[0], record(replace(run, bundle=planted))[0]
    difference = replay(planted, recording, interpreter).difference
    assert difference is not None
    places = range(0, len(recording.calls), CALL_INTS)
    apart = next(n for n in places if recording.calls[n : n + CALL_INTS] != changed.calls[n : n + CALL_INTS])
    assert difference.number == apart // CALL_INTS
    assert difference.expected == call_text(*recording.calls[apart : apart + CALL_INTS])
    assert difference.got == call_text(*changed.calls[apart : apart + CALL_INTS])
    clock = [recording.calls[n + 5] for n in range(0, apart, CALL_INTS) if recording.calls[n] == NOW]
    assert difference.time_s == pytest.approx((clock[-1] - clock[0]) / 1000)
    assert str(difference) == (
        f"call {difference.number} at {difference.time_s:.3f} s: expected {difference.expected}, got {difference.got}"
    )


@both
def test_a_changed_answer_is_reported_where_it_is_acted_upon(run: Run, interpreter: Interpreter) -> None:
    """A stop that opens in the replay alone: the next call of that step is off(), where the recording asked for done()."""
    recording, _ = record(run)
    calls = array("i", recording.calls)
    done = first(calls, DONE)
    read = max(n for n in range(done) if calls[n * CALL_INTS] == INPUTS)
    calls[read * CALL_INTS + 5] |= STOP_OPEN
    difference = replay(run.bundle, replace(recording, calls=calls), interpreter).difference
    assert difference is not None
    assert difference.number == done
    assert difference.expected.startswith("done()")
    assert difference.got.startswith("off()")


@both
def test_a_recording_with_a_call_more_or_less_differs(run: Run, interpreter: Interpreter) -> None:
    """Neither end may be passed over: a call that the recording lacks, and a recording that stops inside a step."""
    recording, _ = record(run)
    n = first(recording.calls, DONE)
    less = array("i", recording.calls)
    del less[n * CALL_INTS : (n + 1) * CALL_INTS]
    difference = replay(run.bundle, replace(recording, calls=less), interpreter).difference
    assert difference is not None
    assert (difference.number, difference.got.partition("(")[0]) == (n, "done")
    cut = replace(recording, calls=recording.calls[: n * CALL_INTS])
    difference = replay(run.bundle, cut, interpreter).difference
    assert difference is not None
    assert (difference.number, difference.expected) == (n, "no further call")


@both
def test_the_hosts_do_differ_over_malformed_json(run: Run, interpreter: Interpreter) -> None:
    """A true difference, known and harmless: MicroPython's JSON reader forgives a comma too many where the checksum is right.

    The board then answers where the simulated one complains. Damage in the line is what the checksum is for.
    """
    line = with_crc('{"jsonrpc": "2.0", "id": 1, "method": "hello",}') + "\n"
    spoken = replace(run, bench=replace(run.bench, serial=((0.3, line.encode()),)))
    recording, _ = record(spoken)
    assert b"line damaged" in recording.sent[0]
    difference = replay(run.bundle, recording, interpreter).difference
    assert difference is not None
    assert difference.expected.startswith("write(")
    assert difference.got.startswith("write(")


class Miswritten(FirmwareBundle):
    """Loses its last line on the way to the disk."""

    def write(self, folder: Path) -> None:
        super().write(folder)
        path = folder / SUPERVISOR
        path.write_text("".join(path.read_text(encoding="utf-8").splitlines(keepends=True)[:-1]), encoding="utf-8")


def test_what_was_written_is_what_is_run(run: Run) -> None:
    """The folder is read back and its digest compared, before anything is concluded from it."""
    recording, _ = record(run)
    with pytest.raises(ReplayError, match="digest"):
        replay(Miswritten(run.bundle.files), recording, UNIX64)


def test_an_interpreter_too_old_is_refused_by_main(run: Run) -> None:
    """main.py's own check stands: nothing in the bundle is relaxed for the 32-bit build, which is shown a newer version."""
    recording, _ = record(run)
    difference = replay(run.bundle, recording, replace(WASM32, presents="")).difference
    assert difference is not None
    assert difference.number == 0
    assert "or newer is needed" in difference.got


@both
def test_a_program_that_hangs_is_ended(
    interpreter: Interpreter, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a limit a hung application would hang the replay."""
    (tmp_path / "hangs.py").write_text("while True:\n    pass\n", encoding="utf-8")
    monkeypatch.setattr(playback, "TIMEOUT_S", 0.1)
    try:
        printed = interpreter.run(tmp_path, ["hangs.py"])
    except ReplayError as error:
        printed = str(error)
    assert "no end after 0.1 s" in printed or "interrupt" in printed
    (tmp_path / "ends.py").write_text("print(6 * 7)\n", encoding="utf-8")
    monkeypatch.undo()
    assert interpreter.run(tmp_path, ["ends.py"]) == "42\n"


def first(calls: array[int], code: int) -> int:
    """Number of the first call with this code."""
    return next(n for n in range(len(calls) // CALL_INTS) if calls[n * CALL_INTS] == code)
