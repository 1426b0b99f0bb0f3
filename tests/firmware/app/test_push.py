"""A timing table over the serial line: taken only when idle and only within the burnt-in limits, and else nothing changes."""

from __future__ import annotations

import math
from collections.abc import Generator
from dataclasses import replace
from typing import Any
from unittest.mock import patch

import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from firmware_templates.app.table_check import digest, refusal
from gen import words
from gen.boards import boards
from gen.errors import InputError
from gen.firmware import render
from gen.phase_control import rms_fraction
from gen.words import PEDAL, STOP_OPEN
from gen.words import PHASES as NAMES
from sim.bench.chip import Flash, FlashFault
from sim.bench.driver import CALL_INTS, READ
from sim.bench.recording import Recording
from sim.bench.world import simulate
from tests.support.app.bench_runs import quiet_bench
from tests.support.app.stored import PHASES, config_of, made
from tests.support.app.talking import TalkingBoard, coded, push, request
from tests.support.app.wrong_lines import wrong_lines
from tests.support.machines import compiled, make_welder

BUNDLE, TABLE = made()
CONFIG = config_of(BUNDLE)
PUSHED = replace(TABLE, name="pushed")
LINES = push("pushed", PUSHED.digest, coded(PUSHED))


@pytest.fixture
def board() -> TalkingBoard:
    board = TalkingBoard(CONFIG)
    assert board.state == "ready"
    return board


def codes(answers: list[dict[str, Any]]) -> list[int]:
    return [answer["error"]["code"] if "error" in answer else 0 for answer in answers]


def test_a_push_is_stored_read_back_and_told(board: TalkingBoard) -> None:
    """The digest told is the host's own; the mains is locked to again; the table read back is the one sent."""
    answers = [answer for line in LINES for answer in board.send(line)]
    assert codes(answers) == [0] * len(LINES)
    assert answers[-1]["result"] == {"name": "pushed", "digest": PUSHED.digest}
    assert board.state == "waiting for mains"
    board.step(10)
    assert board.state == "ready"
    rows: list[list[int]] = []
    while len(rows) < len(PUSHED.rows):
        result = board.send(request(100 + len(rows), "read", name="pushed", first=len(rows)))[0]["result"]
        assert (result["digest"], result["rows_total"]) == (PUSHED.digest, len(PUSHED.rows))
        rows += result["rows"]
    assert rows == coded(PUSHED)
    again = TalkingBoard(CONFIG, Flash(board.flash.files))
    assert [name for name, _ in again.supervisor.store.names()] == ["first", "pushed"]


def test_what_is_selected_is_what_is_welded(board: TalkingBoard) -> None:
    """Half-cycles handed to the firing hardware before and after; the selection outlives a restart; the other may then go."""
    short = replace(compiled(make_welder(), {"weld": "3 cycles"}), name="short")
    for line in push("short", short.digest, coded(short)):
        board.send(line)
    assert weld(board) == sum(row.half_cycles for row in TABLE.impulse_rows)
    assert codes(board.send(request(50, "remove", name="first"))) == [-32602]
    assert board.send(request(51, "select", name="short"))[0]["result"] == {"selected": "short", "digest": short.digest}
    assert weld(board) == 6
    again = TalkingBoard(CONFIG, Flash(board.flash.files))
    assert weld(again) == 6
    assert board.send(request(52, "remove", name="first"))[0]["result"] == {"names": [["short", short.digest]]}
    told = board.send(request(53, "welds", since=0))[0]["result"]
    assert told["count"] == 2
    assert [weld[:4] for weld in told["welds"]] == [[1, 1, TABLE.fired_half_cycles, 44], [2, 1, 6, 6]]


def weld(board: TalkingBoard) -> int:
    """One whole weld: how many half-cycles were started."""
    board.step(15)
    assert board.state == "ready"
    board.pins = PEDAL
    board.step(100)
    board.pins = 0
    board.step(100)
    return board.count


def test_the_last_64_welds_are_reported_six_at_a_time() -> None:
    """Oldest first; those before the last 64 are gone; ages count up."""
    short = replace(compiled(make_welder(), {"weld": "1 cycles"}), name="first")
    board = TalkingBoard(config_of(render(short, make_welder(), boards()["pico"])))
    for _ in range(70):
        weld(board)
    board.step(100)
    numbers, ages, number = [], [], 0
    while True:
        told = board.send(request(len(numbers) + 1, "welds", since=number))[0]["result"]
        assert told["count"] == 70
        assert len(told["welds"]) <= 6
        if not told["welds"]:
            break
        numbers += [line[0] for line in told["welds"]]
        ages += [line[5] for line in told["welds"]]
        number = numbers[-1]
    assert numbers == list(range(7, 71))
    assert ages == sorted(ages, reverse=True)
    assert 1 <= ages[-1] <= 4


# -- limits --------------------------------------------------------------------------------------------------------------

SQUEEZE, HOLD, OFF = ["squeeze", 20, -1, 0], ["hold", 10, -1, 0], ["off", 50, -1, 0]
W1, W = ["weld", 1, 4833, 64], ["weld", 19, 4156, 82]
COOL = ["cool", 4, -1, 0]
REFUSED: dict[str, tuple[list[list[Any]], str]] = {
    "too early": ([SQUEEZE, W1, ["weld", 19, 3777, 64], HOLD, OFF], "weld fired at 3777 us: 3778 to 8611 here"),
    "too late": ([SQUEEZE, W1, ["weld", 19, 8612, 64], HOLD, OFF], "weld fired at 8612 us: 3778 to 8611 here"),
    "first half-cycle": (
        [SQUEEZE, ["weld", 20, 4832, 64], HOLD, OFF],
        "first half-cycle fired at 4832 us: at least 4833 here",
    ),
    "first of the second impulse": (
        [SQUEEZE, W1, W, COOL, ["weld", 2, 4156, 82], HOLD, OFF],
        "first half-cycle fired at 4156 us",
    ),
    "odd impulse": ([SQUEEZE, W1, ["weld", 20, 4156, 82], HOLD, OFF], "impulse of 21 half-cycles: an even number"),
    "odd impulse before cool": ([SQUEEZE, W1, COOL, W1, W, HOLD, OFF], "impulse of 1 half-cycles: an even number"),
    "odd cool": ([SQUEEZE, W1, W, ["cool", 5, -1, 0], W1, W, HOLD, OFF], "cool of 5 half-cycles: an even number"),
    "short cool": ([SQUEEZE, W1, W, ["cool", 2, -1, 0], W1, W, HOLD, OFF], "cool of 2 half-cycles: at least 4 here"),
    "long weld": ([SQUEEZE, W1, ["weld", 301, 4156, 82], HOLD, OFF], "302 half-cycles under current: at most 300 here"),
    "long time": ([["squeeze", 6001, -1, 0], W1, W, HOLD, OFF], "squeeze of 6001 half-cycles: 1 to 6000 here"),
    "no time": ([SQUEEZE, W1, W, ["hold", 0, -1, 0], OFF], "hold of 0 half-cycles: 1 to 6000 here"),
    "long span": ([SQUEEZE, W1, W, ["cool", 1470, -1, 0], W1, W, HOLD, OFF], "1510 half-cycles from the first fired"),
    "no heat": ([SQUEEZE, W1, ["weld", 19, 4156, 0], HOLD, OFF], "weld with heat 0: 1 to 100"),
    "more than full heat": ([SQUEEZE, W1, ["weld", 19, 4156, 101], HOLD, OFF], "weld with heat 101: 1 to 100"),
    "less heat than its delay gives": (
        [SQUEEZE, ["weld", 4, 4833, 50], HOLD, OFF],
        "weld fired at 4833 us with heat 50: at least 51 here",
    ),
    "a weld past the duty guard": (
        [["squeeze", 1, -1, 0], ["weld", 2, 4833, 1], ["weld", 298, 3778, 1], ["hold", 1, -1, 0], ["off", 1, -1, 0]],
        "weld fired at 4833 us with heat 1: at least 51 here",
    ),
    "one polarity fired early, the other late": (
        [SQUEEZE, *[["weld", 1, 8611, 1], ["weld", 1, 3778, 100]] * 126, HOLD, OFF],
        "one polarity ahead by 111 % of a half-cycle's volt-seconds: at most 55 % here",
    ),
    "not fired": ([SQUEEZE, W1, ["weld", 19, -1, 0], HOLD, OFF], "weld fired at -1 us"),
    "gate in squeeze": ([["squeeze", 20, 5000, 64], W1, W, HOLD, OFF], "squeeze with a gate or heat"),
    "gate in hold": ([SQUEEZE, W1, W, ["hold", 10, 5000, 0], OFF], "hold with a gate or heat"),
    "no squeeze": ([W1, W, HOLD, OFF], "order of phases: squeeze first, hold and off last"),
    "no off": ([SQUEEZE, W1, W, HOLD], "order of phases: squeeze first, hold and off last"),
    "no hold": ([SQUEEZE, W1, W, OFF], "order of phases: squeeze first, hold and off last"),
    "nothing fired": ([SQUEEZE, COOL, HOLD, OFF], "order of phases"),
    "cool first": ([SQUEEZE, COOL, W1, W, HOLD, OFF], "order of phases: between squeeze and hold"),
    "cool twice": ([SQUEEZE, W1, W, COOL, COOL, W1, W, HOLD, OFF], "order of phases: between squeeze and hold"),
    "cool last": ([SQUEEZE, W1, W, COOL, HOLD, OFF], "order of phases: cool just before hold"),
    "hold within": ([SQUEEZE, W1, W, HOLD, W1, W, HOLD, OFF], "order of phases: between squeeze and hold"),
}


def pushed(board: TalkingBoard, rows: list[list[Any]], first: int = 1) -> list[dict[str, Any]]:
    """Push rows with phases by name, under the digest that they come to."""
    told = digest("pushed", 50, [tuple(row) for row in rows])  # type: ignore[misc]
    coded_rows = [[NAMES.index(row[0]), *row[1:]] for row in rows]
    return [answer for line in push("pushed", told, coded_rows, first) for answer in board.send(line)]


@pytest.mark.parametrize("limit", REFUSED)
def test_a_table_over_a_limit_is_refused_with_its_figure(limit: str, board: TalkingBoard) -> None:
    """Each limit alone; the message names it; nothing was written. A table within the limits is taken after it."""
    rows, message = REFUSED[limit]
    kept = board.kept()
    answers = pushed(board, rows)
    assert codes(answers)[-1] == -32002
    assert message in answers[-1]["error"]["message"]
    assert board.kept() == kept
    assert codes(pushed(board, [SQUEEZE, W1, W, COOL, W1, W, HOLD, OFF], first=100))[-1] == 0


def test_at_the_limits_a_table_is_taken(board: TalkingBoard) -> None:
    """Earliest, latest, longest, shortest: all at once."""
    rows = [
        ["squeeze", 6000, -1, 0],
        W1,
        ["weld", 149, 3778, 100],
        COOL,
        ["pulse", 150, 8611, 1],
        ["hold", 1, -1, 0],
        OFF,
    ]
    assert codes(pushed(board, rows))[-1] == 0


def test_duty_rows_and_span_have_limits_too() -> None:
    """The heat of one weld against the minute's duty; more rows than the table holds, already when they are announced."""
    small = config_of(made(transformer={"rating_kVA": 0.6, "rating_duty_percent": 30})[0])
    board = TalkingBoard(small)
    answers = pushed(board, [SQUEEZE, ["weld", 1, 4833, 100], ["weld", 99, 4156, 100], HOLD, OFF])
    assert "in a minute here" in answers[-1]["error"]["message"]
    begin = request(30, "push_begin", name="x", digest="0" * 16, rows_total=CONFIG.MAX_ROWS + 1)
    assert board.send(begin)[0]["error"] == {"code": -32002, "message": "257 rows: at most 256 here"}


@pytest.mark.parametrize(
    ("low_deg", "high_deg", "frequency_Hz"), [(40, 65, 50), (40, 65, 60), (20, 75, 50), (60, 60, 60)]
)
def test_no_heat_far_below_that_of_its_delay_is_taken(low_deg: float, high_deg: float, frequency_Hz: int) -> None:
    """At every delay the least heat taken is within a tenth and one hundredth of that in Hart's closed form (section 5.3).

    So what is told to heat less than it does cannot weld far past the duty guard; what the compiler tells is always taken.
    """
    angles = {"load_angle_min_deg": low_deg, "load_angle_max_deg": high_deg}
    welder = make_welder(mains={"frequency_Hz": frequency_Hz}, transformer=angles)
    config = config_of(render(compiled(welder, {"weld": "6 cycles"}), welder, boards()["pico"]))
    for delay_us in range(config.FIRST_DELAY_US, config.LATEST_DELAY_US + 1, 53):
        true = (
            100 * max(rms_fraction(delay_us * frequency_Hz * 180e-6 * 2, angle) for angle in (low_deg, high_deg)) ** 2
        )
        rows: list[Any] = [("squeeze", 20, -1, 0), ("weld", 2, delay_us, 0), ("hold", 1, -1, 0), ("off", 1, -1, 0)]

        def taken(heat: int, rows: list[Any] = rows) -> bool:
            return refusal([rows[0], (*rows[1][:3], heat), *rows[2:]], config) == ""

        least = next(heat for heat in range(1, 101) if taken(heat))
        assert true / 1.1 - 1 <= least <= math.ceil(true - 1e-6)


def test_whatever_the_compiler_makes_is_within_the_limits() -> None:
    """The board refuses nothing that was compiled for the same machine: schedules of all features, at both frequencies."""
    for frequency_Hz in (50, 60):
        for detector in ({}, {"kind": "pulse", "offset_rise_us": 900, "offset_fall_us": 900}):
            for first in (60, 87, 120):
                welder = make_welder(
                    mains={"frequency_Hz": frequency_Hz}, detector=detector, limits={"first_delay_deg": first}
                )
                for percent in (45, 70, 100):
                    table = compiled(
                        welder, *PHASES, {"cool": "2 cycles"}, {"weld": "9 cycles", "current_percent": percent}
                    )
                    config = config_of(render(table, welder, boards()["pico"]))
                    assert refusal(config.ROWS, config) == ""


SLOPED = st.fixed_dictionaries(
    {"weld": st.just("40 cycles"), "current_percent": st.integers(61, 100)},
    optional={
        "upslope": st.integers(1, 20).map("{} cycles".format),
        "downslope": st.integers(1, 20).map("{} cycles".format),
    },
)
PULSES = st.fixed_dictionaries(
    {"pulse": st.integers(1, 5).map("{} cycles".format), "current_percent": st.integers(40, 100)},
    optional={"cool": st.just("3 cycles")},
)


@given(st.lists(st.one_of(SLOPED, PULSES), min_size=1, max_size=5), st.sampled_from([(40, 65), (10, 30), (70, 80)]))
@settings(max_examples=12, deadline=None)
def test_no_slope_of_the_compiler_is_one_sided_to_the_board(
    phases: list[dict[str, Any]], angles: tuple[float, float]
) -> None:
    """Slopes that step each half-cycle, several in one impulse too, keep the polarities as even as the board asks."""
    transformer = {"load_angle_min_deg": angles[0], "load_angle_max_deg": angles[1]}
    welder = make_welder(limits={"longest_weld": "10 s"}, transformer=transformer)
    phases = [*phases, {"weld": "2 cycles"}]
    try:
        table = compiled(welder, *phases)
    except InputError:
        reject()  # a board's rows are too few, or a current too small
    config = config_of(render(table, welder, boards()["pico"]))
    assert "polarity" not in refusal(config.ROWS, config)


# -- what is not a request -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("wrong", wrong_lines())
def test_a_wrong_line_changes_nothing(wrong: str, board: TalkingBoard) -> None:
    """One error each, with its code; then a whole push is taken as ever."""
    line, code = wrong_lines()[wrong]
    board.send(request(5, "hello"))
    kept = board.kept()
    assert codes(board.send(line)) == [code]
    assert board.kept() == kept
    assert board.state == "ready"
    answers = [answer for line in push("pushed", PUSHED.digest, coded(PUSHED), 1000) for answer in board.send(line)]
    assert set(codes(answers)) == {0}


@pytest.mark.parametrize(
    ("rows", "why"),
    [
        ([[8, 20, -1, 0]], "each must be"),
        ([[0, 20, -2, 0]], "each must be"),
        ([[0, 20, -1]], "each must be"),
        ([[0, 20, -1, 256]], "each must be"),
        ([[0, 20.0, -1, 0]], "each must be"),
        ([[0, 1 << 40, -1, 0]], "each must be"),
        ([{"0": 1}], "each must be"),
        ([], "1 to 8"),
        ([[0, 20, -1, 0]] * 9, "1 to 8"),
        ("rows", "1 to 8"),
        ([[0, 20, -1, 0]] * 6, "5 were announced"),
    ],
)
def test_rows_that_are_none_are_refused(rows: Any, why: str, board: TalkingBoard) -> None:
    """And not one of them is taken: the push goes on from where it was."""
    board.send(request(1, "push_begin", name="x", digest="0" * 16, rows_total=5))
    answer = board.send(request(2, "push_rows", first=0, rows=rows))[0]
    assert answer["error"]["code"] == -32602
    assert why in answer["error"]["message"]
    assert board.send(request(3, "push_rows", first=0, rows=[[0, 20, -1, 0]]))[0]["result"] == {"rows": 1}


@pytest.mark.parametrize("kind", ["lost", "doubled", "swapped"])
@pytest.mark.parametrize("n", range(len(LINES) - 1))
def test_lines_lost_repeated_or_out_of_order_end_in_no_other_table(n: int, kind: str, board: TalkingBoard) -> None:
    """A line of a push that is doubled is met once; one that is lost or comes late ends the push with nothing changed."""
    kept = board.kept()
    lines = list(LINES)
    this, following = lines[n : n + 2]
    lines[n : n + 2] = {"lost": [following], "doubled": [this, this, following], "swapped": [following, this]}[kind]
    for line in lines:
        board.send(line)
    if kind == "doubled":
        assert board.supervisor.store.names() == [("first", TABLE.digest), ("pushed", PUSHED.digest)]
    else:
        assert board.kept() == kept


def test_a_session_played_again_changes_nothing(board: TalkingBoard) -> None:
    """Every line of a push, select and remove once more: out of order, all of them."""
    lines = [*LINES, request(60, "select", name="pushed"), request(61, "remove", name="first")]
    for line in lines:
        board.send(line)
    kept = board.kept()
    assert set(codes([answer for line in lines for answer in board.send(line)])) == {-32001}
    assert board.kept() == kept


def test_a_digest_that_the_rows_do_not_come_to_is_refused(board: TalkingBoard) -> None:
    """Of another name, another frequency, or a row changed on the way."""
    kept = board.kept()
    rows = coded(PUSHED)
    for base, told in ((1, TABLE.digest), (50, replace(PUSHED, frequency_Hz=60).digest), (100, "0" * 16)):
        answers = [answer for line in push("pushed", told, rows, base) for answer in board.send(line)]
        assert answers[-1]["error"] == {"code": -32602, "message": "digest: these rows do not come to it"}
    assert board.kept() == kept


# -- when ----------------------------------------------------------------------------------------------------------------


def armed_run(*serial: tuple[float, bytes], unheard: bool = False) -> Recording:
    """A weld on the bench, ended in its off time; `unheard` bytes do not end a wait of the board."""
    bench = quiet_bench(make_welder(), TABLE, 1.95, (0.6, 1.2), serial=serial)
    if not unheard:
        return simulate(BUNDLE, TABLE, bench)

    def deliver(env: Any, board: Any, arrivals: Any) -> Generator[Any, None, None]:
        for time_s, data in arrivals:
            yield env.timeout(max(0.0, time_s - env.now))
            board.line.arrive(data)

    with patch("sim.bench.world._deliver", deliver):
        return simulate(BUNDLE, TABLE, bench)


def but_reading(recording: Recording) -> list[tuple[int, ...]]:
    """Every driver call but those that read the line."""
    calls = recording.calls
    return [tuple(calls[n : n + CALL_INTS]) for n in range(0, len(calls), CALL_INTS) if calls[n] != READ]


def test_a_push_while_armed_changes_no_event() -> None:
    """From squeeze to off time a push is sent over and over; every call, gate, current and state is as without it."""
    lines = [*LINES, request(90, "select", name="pushed"), request(91, "maintain")]
    times = [0.7 + 0.008 * n for n in range(150)]
    serial = tuple((time, lines[n % len(lines)]) for n, time in enumerate(times))
    silent, spoken = armed_run(unheard=True), armed_run(*serial, unheard=True)
    assert [change.state for change in silent.states][-1] == "off"
    for field in ("half_cycles", "detector", "gates", "conductions", "states", "welds", "files"):
        assert getattr(spoken, field) == getattr(silent, field), field
    assert but_reading(spoken) == but_reading(silent)
    assert len(spoken.received) > 10_000
    assert spoken.sent == ()
    # Where bytes wake the board they do so whatever they say.
    noise = tuple((time, b"x" * len(data)) for time, data in serial)
    heard, noisy = armed_run(*serial), armed_run(*noise)
    assert but_reading(heard) == but_reading(noisy)
    assert (heard.gates, heard.states, heard.sent) == (noisy.gates, noisy.states, ())


def test_after_the_off_time_the_board_says_that_it_was_armed(board: TalkingBoard) -> None:
    """Once, whatever came; and the settings are those from before."""
    kept = board.kept()
    board.pins = PEDAL
    board.step(10)
    assert board.state == "squeeze"
    board.received.extend(b"".join(LINES))
    board.step(100)
    assert board.sent == []
    board.pins = 0
    board.step(100)
    assert board.state == "ready"
    assert codes(board.send(b"")) == [-32000]
    assert board.kept() == kept


def test_the_pedal_is_ignored_while_storing(board: TalkingBoard) -> None:
    """Pressed just before or while the table is written and held: no weld until it was let go and pressed again."""
    for line in LINES[:-1]:
        board.send(line)
    board.received.extend(LINES[-1])
    seen = []
    while len(seen) < 60:
        if board.state == "storing":
            board.pins = PEDAL
        board.step()
        seen.append(board.state)
    assert "storing" in seen
    assert seen[-1] == "ready"
    assert board.starts == 0
    board.pins = 0
    assert weld(board) > 0
    assert board.starts == 1


def test_a_push_to_a_board_locked_out_leaves_it_so(board: TalkingBoard) -> None:
    """On the desk the stop is open; the table is stored all the same, and the lockout stands until it is closed."""
    board.pins = STOP_OPEN
    board.step(2)
    answers = [answer for line in LINES for answer in board.send(line)]
    assert set(codes(answers)) == {0}
    assert (board.state, board.supervisor.reason) == ("locked out", words.STOP_CIRCUIT_OPEN)
    board.pins = 0
    board.step(40)
    assert board.state == "ready"


@pytest.mark.parametrize("kind", ["failed", "lost", "torn"])
def test_storage_that_fails_is_reported_and_changes_nothing(kind: str) -> None:
    """The answer is an error, the old table stays selected and stored, and the next push goes through."""
    board = TalkingBoard(CONFIG, Flash({}, (FlashFault(2, kind, 40),)))
    selected = board.supervisor.store.names()
    answers = [answer for line in LINES for answer in board.send(line)]
    assert answers[-1]["error"]["code"] == -32004
    assert board.supervisor.store.names() == selected
    assert TalkingBoard(CONFIG, Flash(board.flash.files)).supervisor.store.names() == selected
    answers = [answer for line in push("pushed", PUSHED.digest, coded(PUSHED), 50) for answer in board.send(line)]
    assert set(codes(answers)) == {0}


def test_maintenance_is_for_an_idle_board(board: TalkingBoard) -> None:
    """Answered, and then nothing begins any more, not even with the pedal down."""
    assert board.send(request(1, "maintain"))[0]["result"] == {"restarting": True}
    assert board.supervisor.maintain == 1
    board.pins = PEDAL
    board.step(20)
    assert board.starts == 0
    assert board.state == "ready"
