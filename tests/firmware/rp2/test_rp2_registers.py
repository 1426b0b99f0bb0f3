"""What driver.py writes to the RP2040, register for register and bit for bit, without a weld being run.

Sources: RP2040 data sheet, chapters 2.5 (DMA), 3 (PIO) and 4.7 (watchdog); the word's layout is our own (programs.toml).
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.support.rp2.fake_board import PINS, WDT_RESET, Board, Restarted
from tests.support.rp2.pio_bench import Steps

HALF_US = 10_000
OFFSETS = {"OFFSET_RISE_US": 130, "OFFSET_FALL_US": -70}
LATENCY_US = 5
# Chapter 4.7.3: WATCHDOG_BASE 0x40058000, SCRATCH0 at 0x0c, SCRATCH1 behind it.
SCRATCH0, SCRATCH1 = 0x4005800C, 0x40058010


def board(**settings: Any) -> Board:
    return Board(detector=Steps([4_000 + n * HALF_US for n in range(40)]), **settings)


def word(blank_us: int, gate_us: int, positive: int) -> int:
    """A word of the layout in programs.toml: blank, gate less one, and which edge comes next."""
    return blank_us + ((gate_us - 1) << 14 if gate_us else 0) + (0 if positive else 1 << 28)


@pytest.mark.parametrize("positive", [0, 1])
@pytest.mark.parametrize(
    ("delay_us", "end_us", "blank_us", "gate_us"),
    [
        (4_000, 9_166, 4_000, 5_166),
        (-1, 9_166, 9_166, 0),
        (300, 9_166, 300, 8_866),
        (9_164, 9_166, 9_164, 2),
        (9_165, 9_166, 9_165, 2),
        (9_166, 9_166, 9_166, 2),
        (500, 16_883, 500, 16_383),
        (500, 16_884, 500, 16_384),
        (500, 16_885, 500, 16_384),
        (500, 30_000, 500, 16_384),
    ],
)
def test_each_word(delay_us: int, end_us: int, blank_us: int, gate_us: int, positive: int) -> None:
    """Offset of the half-cycle's own edge and latency off the blank; the gate at least two microseconds and within its field."""
    driver = board(config=OFFSETS).load()
    for index in (0, 1, 99):
        driver.set_half_cycle(index, delay_us, end_us, positive)
        offset = 130 if positive else -70
        assert driver._words[index + 2] == word(blank_us - offset - LATENCY_US, gate_us, positive)
        assert isinstance(driver._words[index + 2], int)


@pytest.mark.parametrize(
    ("delay_us", "blank"),
    [(134, 1), (135, 1), (136, 1), (137, 2), (0, 1), (16_517, 16_382), (16_518, 16_383), (16_519, 16_383)],
)
def test_the_blank_keeps_within_its_field(delay_us: int, blank: int) -> None:
    """Never 0, which would be an empty queue; never into the gate's bits."""
    driver = board(config=OFFSETS).load()
    driver.set_half_cycle(0, delay_us, 20_000, 1)
    assert driver._words[2] & 0x3FFF == blank


@pytest.mark.parametrize("half_us", [7_936, 8_333, 9_523, 10_000, 10_639, 14_894, 14_895])
@pytest.mark.parametrize("level", [0, 1])
@pytest.mark.parametrize("positive", [0, 1])
def test_header_and_lead_in(half_us: int, level: int, positive: int) -> None:
    """The first window a tenth more than a half-cycle, later ones a fifth; the lead-in's words unfired, to 165 degrees."""
    made = board(config=OFFSETS)
    driver = made.load()
    for index in range(4):
        driver.set_half_cycle(index, 2_000, 5_000, positive ^ (index & 1))
    made.run(1_000 if level == 0 else 5_000)
    made.calls.clear()
    assert driver.start(4, half_us, positive) == 1
    # The next edge leads to the other level.
    edge = 1 - level
    passed = [edge ^ (n & 1) for n in range(2 if edge == positive else 1)]
    header = min(half_us * 11 // 10, 0x3FFF) + (half_us // 5 << 14) + (edge << 28)
    assert ("sm0.put", header) in made.calls
    execs = [call[1] for call in made.calls if call[0] == "sm0.exec"]
    assert execs == [0x8080, 0x604E, 0x60CE]  # pull noblock, out y 14, out isr 14: chapter 3.4
    begins = made.calls.index(("sm0.restart",))
    order = [call[0] for call in made.calls[begins:]]
    assert order == ["sm0.restart", "sm0.put", *["sm0.exec"] * 3, "report.config", "feed.config", "sm0.active"]
    assert made.calls[-1] == ("sm0.active", 1)
    words = list(driver._feed.settings["read"][: len(passed) + 4])
    end = half_us * 11 // 12
    assert words[: len(passed)] == [word(end - (130 if sign else -70) - LATENCY_US, 0, sign) for sign in passed]
    assert driver._feed.settings["count"] == driver._report.settings["count"] == len(passed) + 4
    assert words[len(passed) :] == [driver._words[n + 2] for n in range(4)]


@pytest.mark.parametrize(("count", "most", "started"), [(3, 4, 3), (4, 4, 4), (5, 4, 4), (400, 4, 4), (1, 1500, 1)])
def test_no_more_words_than_there_are(count: int, most: int, started: int) -> None:
    """The DMA does not know where the array ends."""
    made = board(config={"MAX_HALF_CYCLES": most})
    driver = made.load()
    for index in range(min(count, most)):
        driver.set_half_cycle(index, 2_000, 9_166, 1 ^ (index & 1))
    assert len(driver._words) == most + 2
    assert len(driver._results) == most + 2
    driver.start(count, HALF_US, 0)
    assert driver._feed.settings["count"] == started + driver._lead_in


def test_pins_and_machines() -> None:
    """Which pin is what, with its pull; both state machines at 4 MHz; the gate before everything, the contactor low."""
    made = board()
    made.load()
    pins = {call[1]: call[2:] for call in made.calls if call[0] == "pin"}
    assert pins == {
        PINS["GATE"]: ("out", None, 0),
        PINS["CONTACTOR"]: ("out", None, 0),
        PINS["STOP"]: ("in", "up", None),
        PINS["DETECTOR"]: ("in", "down", None),
        PINS["PEDAL"]: ("in", "up", None),
        PINS["FORCE"]: ("in", "up", None),
        PINS["OVER_TEMPERATURE"]: ("in", "up", None),
        PINS["CONDUCTION"]: ("in", "up", None),
        PINS["MIRROR"]: ("in", "up", None),
    }
    machines = [call[1:] for call in made.calls if call[0] == "sm"]
    assert machines == [
        (0, 4_000_000, {"in_base": PINS["STOP"], "set_base": PINS["GATE"], "jmp_pin": PINS["DETECTOR"]}),
        (4, 4_000_000, {"in_base": PINS["DETECTOR"], "jmp_pin": PINS["DETECTOR"]}),
        (5, 4_000_000, {"in_base": PINS["GATE"], "jmp_pin": PINS["CONDUCTION"]}),
    ]
    assert ("sm4.active", 1) in made.calls
    assert not any(call == ("sm0.active", 1) for call in made.calls)


@pytest.mark.parametrize("name", ["FORCE", "OVER_TEMPERATURE", "CONDUCTION", "CONTACTOR"])
def test_what_is_not_fitted_is_not_touched(name: str) -> None:
    """Its pin stays as it is, and the driver lives without it."""
    made = board(config={f"PIN_{name}": None})
    driver = made.load()
    driver.alive(1)
    driver.inputs()
    driver.conduction()
    assert PINS[name] not in {call[1] for call in made.calls if call[0] in ("pin", "pin.value")}


def test_each_input_has_its_bit() -> None:
    """One contact at a time; the stop is open when its pin is high, the others closed when low."""
    for name, level, bit in (("PEDAL", 0, 1), ("FORCE", 0, 4), ("OVER_TEMPERATURE", 1, 8), ("MIRROR", 0, 32)):
        made = board()
        made.levels |= {PINS["PEDAL"]: 1, PINS["FORCE"]: 1, PINS["OVER_TEMPERATURE"]: 0, PINS["MIRROR"]: 1}
        driver = made.load()
        assert driver.inputs() == 0
        made.levels[PINS[name]] = level
        assert driver.inputs() == bit
    made = board(stop=Steps([1_000]))
    made.levels |= {PINS["PEDAL"]: 1, PINS["FORCE"]: 1, PINS["MIRROR"]: 1}
    driver = made.load()
    assert driver.inputs() == 0
    made.run(1_001)
    assert driver.inputs() == 2


@pytest.mark.parametrize("call_us", [0.0, 3.0])
@pytest.mark.parametrize("opens_us", [1_000, 1_003, 1_006, 1_009, 1_012, 1_015, 1_018, 4_321])
def test_a_contact_that_opened_between_two_looks_is_reported_once(opens_us: int, call_us: float) -> None:
    """For a millisecond, at any moment of a look or between two: by one look at least, and it ends the wait; then it is over."""
    for name, bit, told in (("stop", 2, 2), ("pedal", 1, 0)):
        made = board(call_us=call_us, **{name: Steps([opens_us, opens_us + 1_000])})
        driver = made.load()
        driver.inputs()
        made.run(999)
        looks = [driver.inputs() & bit]
        driver.wait_until(60)
        assert made.now_us < opens_us + 1_100 + 20 * call_us
        made.run(opens_us + 1_050)
        looks += [driver.inputs() & bit, driver.inputs() & bit]
        assert told in looks, name
        assert looks[-1] != told, name


def test_the_scratch_registers_hold_a_word_and_its_complement() -> None:
    """In the watchdog's first two; anything else in either of them means nothing."""
    failed = board()
    with pytest.raises(Restarted):
        failed.load().restart(0)
    assert not any(failed.scratch.values())  # an error is no meant restart: the next start takes it for a bite
    for maintain, bitten in ((1, 16),):
        made = board()
        with pytest.raises(Restarted):
            made.load().restart(maintain)
        low, high = made.scratch[SCRATCH0], made.scratch[SCRATCH1]
        assert set(made.scratch) == {SCRATCH0, SCRATCH1}
        assert low ^ high == 2**30 - 1
        again = board(scratch=dict(made.scratch), reset_cause=WDT_RESET)
        assert again.module()["maintenance"]() == maintain
        spoiled = (
            {SCRATCH0: low + 4, SCRATCH1: high},
            {SCRATCH0: low - 4, SCRATCH1: high},
            {SCRATCH0: low, SCRATCH1: high + 4},
            {SCRATCH0: low, SCRATCH1: high - 4},
            {SCRATCH0: low ^ 1, SCRATCH1: high},
            {SCRATCH0: low, SCRATCH1: high ^ 1},
            {SCRATCH0: low},
            {SCRATCH1: high},
        )
        for scratch in spoiled:
            other = board(scratch=dict(scratch), reset_cause=WDT_RESET)
            assert other.module()["maintenance"]() == 0
            driver = other.load()
            assert driver.inputs() & 16
            assert other.scratch == {SCRATCH0: 0, SCRATCH1: 0}
        plain = board(scratch=dict(made.scratch), reset_cause=WDT_RESET)
        assert plain.load().inputs() & 16 == bitten


def test_a_bite_is_one_bit_of_its_own() -> None:
    """Beside whatever the contacts say."""
    made = board(reset_cause=WDT_RESET)
    made.levels |= {PINS["PEDAL"]: 1, PINS["FORCE"]: 1, PINS["MIRROR"]: 1}
    assert made.load().inputs() == 16


def test_before_the_first_start_nothing_is_done() -> None:
    """And off() is as safe then as ever."""
    driver = board().load()
    assert driver.done() == 0
    assert driver.off() == 1
    assert driver.done() == 0


def test_a_gate_that_stays_high_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    """The pin is read back, and 0 is the answer while it is high."""
    driver = board().load()
    level = Board.level
    monkeypatch.setattr(Board, "level", lambda self, number: 1 if number == PINS["GATE"] else level(self, number))
    assert driver.off() == 0
    monkeypatch.undo()
    assert driver.off() == 1


@pytest.mark.parametrize("positive", [0, 1])
@pytest.mark.parametrize("ended", [0, 1, 2, 3])
def test_the_half_cycle_cut_short_is_reported_in_its_place(ended: int, positive: int) -> None:
    """Wherever the weld is cut, behind one or two half-cycles let pass; those before it as they were."""
    made = board()
    driver = made.load()
    for index in range(5):
        driver.set_half_cycle(index, -1 if index == 1 and ended > 1 else 2_000, 9_166, positive ^ (index & 1))
    driver.start(5, HALF_US, positive)
    passed = driver._lead_in
    made.run(4_000 + (passed + ended) * HALF_US + 5_000)
    assert driver.off() == 1
    assert driver.done() == ended + 1
    assert [driver.fired(n) for n in range(ended + 1)] == [int(not (n == 1 and ended > 1)) for n in range(ended + 1)]


def test_only_an_absent_file_is_reported_as_absent(monkeypatch: pytest.MonkeyPatch) -> None:
    """Any other error is a file that cannot be read: settings that are damaged, not settings that never were."""
    driver = board().load()
    for number, read in ((1, b""), (2, None), (5, b""), (19, b"")):

        def stat(self: Board, name: str, number: int = number) -> Any:
            raise OSError(number, name)

        monkeypatch.setattr(Board, "_stat", stat)
        assert board().load().read_file("x") == read
    monkeypatch.undo()
    assert driver.read_file("x") is None


def test_a_restart_waits_for_the_last_answer() -> None:
    """A tenth of a second, and then it resets."""
    made = board()
    driver = made.load()
    begin = made.now_us
    with pytest.raises(Restarted):
        driver.restart(0)
    assert made.now_us - begin == 100_000


def test_the_meter_adds_what_it_does_not_count() -> None:
    """Two microseconds of each half-cycle; nothing where nothing waits."""
    driver = board().load()
    machine = driver._meter
    assert driver.crossing_us() == 0
    machine.bench.state.receive_fifo.append(9_998)
    assert driver.crossing_us() == 10_000


@pytest.mark.parametrize("size", [0, 1, 4_095, 4_096, 4_097, 8_192, 9_000])
def test_a_file_is_written_by_sectors_of_4096(size: int) -> None:
    """The watchdog is fed after each, where it runs: one erase may take a fifth of its time."""
    for running in (False, True):
        made = board()
        driver = made.load()
        if running:
            driver.alive(0)
        made.calls.clear()
        data = bytes(n % 251 for n in range(size))
        assert driver.write_file("x", data) == 1
        assert made.files["x"] == data
        sizes = [call[1] for call in made.calls if call[0] == "write"]
        assert sizes == [4_096] * (size // 4_096) + [size % 4_096] * (size % 4_096 > 0)
        assert made.calls.count(("wdt.feed",)) == (len(sizes) if running else 0)
        assert made.calls[-1] == ("sync",)


@pytest.mark.parametrize(("size", "read"), [(0, 0), (1, 1), (32_768, 32_768), (32_769, 32_768)])
def test_no_file_is_read_beyond_32_KiB(size: int, read: int) -> None:
    """Nothing so long is ever written here, and so much memory need not be there."""
    made = board(files={"x": b"a" * size})
    assert made.load().read_file("x") == b"a" * read


def test_waiting_ends_at_its_time_and_not_before() -> None:
    """In steps of a millisecond; a change of any input ends it, and so does a byte that waits."""
    made = board(levels={PINS["PEDAL"]: 1})
    driver = made.load()
    driver.wait_until(7)
    assert made.now_us == 7_000
    driver.wait_until(7)
    driver.wait_until(6)
    assert made.now_us == 7_000
    made.stop = Steps([9_500])
    driver.wait_until(50)
    assert made.now_us == 10_000
    driver.inputs()
    driver.wait_until(20)
    assert made.now_us == 20_000
    made.stop = Steps([9_500, 25_500])
    driver.wait_until(50)
    assert made.now_us == 26_000  # closed again
    made.now_us = 20_000
    made.received.extend(b"abc")
    driver.wait_until(50)
    assert made.now_us == 20_000
    assert [driver.read_byte() for _ in range(4)] == [97, 98, 99, -1]


def test_sense_and_sensor_that_are_there_or_not() -> None:
    """0 not fitted, 1 blocking, 2 conducting; no ring without a current transformer; no rest that the board could prove."""
    made = board()
    driver = made.load()
    assert [driver.conduction(), driver.current_ring(), driver.rested_ms()] == [1, (), 0]
    made.levels[PINS["CONDUCTION"]] = 1
    assert driver.conduction() == 2
    assert board(config={"PIN_CONDUCTION": None}).load().conduction() == 0
