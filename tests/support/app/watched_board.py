"""A board and its surroundings in whole milliseconds, which watches all that the application asks of it.

What must hold is judged here, from what the driver was asked and what its pins, its clock and its mains did, never from the
application's counters. The figures of what must hold are those of the design, written down again.
"""

from __future__ import annotations

import json
import random
from binascii import crc32
from collections import Counter, deque
from dataclasses import dataclass
from typing import Any

from gen import words
from gen.words import CONDUCTING, CONTACTOR_OPEN, FORCE, HOT, PEDAL, STOP_OPEN, WATCHDOG
from sim.bench.chip import Flash, FlashFault, PowerLost
from sim.bench.host import Firmware
from tests.support.app.whole_numbers import whole

MASK = (1 << 30) - 1
METER_QUEUE = 8
LATEST_MS = 20  # a step comes up to this much late
STEADY_MS = 20  # a contact must have stood still for so long
ARMED_WAKE_MS, IDLE_WAKE_MS = 5, 17
SHORTED_MS = 60  # a switch that conducts for so long without a gate is shorted
STALL_MS = 60  # without a half-cycle for this long the weld is ended
WRITE_MS = 90  # the program stands still, and the meter's queue fills up
TRIES = 3
NEEDED = 8  # crossings that agree
BLIND_HALF_CYCLES = 4  # fired at most without conduction seen
MINUTE_MS = 60_000
NEVER_WELDED_MS = 1 << 28
CLOSES_MS, OPENS_MS = 40, 100  # the contactor: from the first pulse until it is closed, from the last until it is open
UNPROVEN_MS = 150  # in the squeeze, of a contactor that does not close or a switch that does not block


@dataclass(frozen=True)
class Shape:
    """What a weld of one table comes to: half-cycles from the first fired to the last, those fired, and their heat."""

    count: int
    planned: int
    cost: int


def shape_of(rows: Any) -> Shape:
    """Of rows as config.py has them: (phase, half-cycles, delay or -1, heat a half-cycle)."""
    fired = [n for n, row in enumerate(rows) if row[2] >= 0]
    within = rows[fired[0] : fired[-1] + 1]
    gated = [row for row in within if row[2] >= 0]
    return Shape(sum(row[1] for row in within), sum(row[1] for row in gated), sum(row[1] * row[3] for row in gated))


class WatchedBoard:
    """The driver, the loop and the mains in one. `shapes`: what each table that may be selected comes to."""

    def __init__(self, firmware: Firmware, shapes: dict[str, Shape], selected: str, clock_ms: int, seed: int) -> None:
        self.firmware = firmware
        self.config = firmware.config
        self.shapes = shapes
        self.selected = {selected}  # one, or two where the power went while the choice was stored
        self.chance = random.Random(seed)
        self.latest_ms = LATEST_MS
        self.base_ms = clock_ms
        self.time_ms = 0
        # Surroundings.
        self.pedal = self.stop = self.hot = False
        self.force = True
        self.conducts = True
        self.shorted = self.stuck_gate = self.watchdog = False
        self.shorted_since_ms = 0
        self.welded_shut = self.coil_broken = False  # of the contactor
        self.pulses_from_ms = self.pulsed_ms = -NEVER_WELDED_MS
        self.half_us: int | None = 10_000  # None: no mains
        self.crossing_us_at = 10_000
        self.sign = 1
        self.edge_us = 0
        self.extra_us: deque[int] = deque()
        self.flash = Flash({})
        # Firing hardware.
        self.running = False
        self.fired_ms = -NEVER_WELDED_MS
        self.last_sign: int | None = None
        self.reluctant = self.misses = 0  # starts still to be told "ask again", and still to miss their edge
        self.welded: list[tuple[int, int]] = []  # of each weld that fired: time, and heat in all
        self.passed: Counter[str] = Counter()  # how often each state, and each reason of a lockout, was come to
        self.completed = 0
        self.id = 0
        self.knows_rest = True
        self.restarts = -1  # the first start is none
        self.boot()

    def boot(self) -> None:
        """Power comes, or comes back: the application starts anew on the same flash and pins."""
        self.running = False
        self.words: dict[int, tuple[int, int, int]] = {}
        self.done_n = self.count = 0
        self.gates: list[int] = []
        self.meter: deque[tuple[int, bool]] = deque()  # length, and whether it is from before a write
        self.handed: list[int] = []
        self.received: deque[int] = deque()
        self.sent: list[dict[str, Any]] = []
        self.seen = 0
        self.pedal_seen: bool | None = None
        self.pedal_since_ms = self.time_ms
        self.press_ms = -1
        self.press_starts = self.press_fired = 0
        self.open_seen = False
        self.stop_cycle = 0  # 1: stop was seen open since the start, 2: and closed after it
        self.condemned = ""  # why no weld may ever begin in this run
        self.last_sign = None
        self.told_done = 0
        self.progress_ms = 0
        self.conducted = False
        self.missed_ms = -1
        self.place = ""
        self.restarts += 1
        self.supervisor = self.firmware.supervisor.Supervisor(self, self.config)

    # -- time ----------------------------------------------------------------------------------------------------------

    def now_ms(self) -> int:
        return (self.time_ms + self.base_ms) & MASK

    def run(self, ms: int) -> None:
        """Let time pass, step by step, each a little late."""
        end = self.time_ms + ms
        while self.time_ms < end:
            self.step()
            late_ms = self.chance.randrange(self.latest_ms + 1)
            self._pass(max(self.time_ms, self.began_ms + self.wait_ms + late_ms))

    def at(self, ms: int) -> str:
        """Let time pass without a step until `ms` from now, then step once; the state after it."""
        self._pass(self.time_ms + ms)
        self.step()
        return self.state

    @property
    def state(self) -> str:
        return str(words.STATE_NAMES[self.supervisor.state])

    @property
    def reason(self) -> str:
        return str(words.REASON_NAMES[self.supervisor.reason])

    def step(self) -> None:
        self.fed = 0
        self.began_ms, now_ms = self.time_ms, self.now_ms()
        try:
            wake_ms = self.supervisor.step(now_ms)
        except PowerLost:
            self.watchdog = False
            self.boot()
            self.step()
            return
        whole(wake_ms)
        self.wait_ms = (wake_ms - now_ms) & MASK
        assert self.wait_ms == (ARMED_WAKE_MS if self.supervisor.armed() else IDLE_WAKE_MS)
        self._judge()
        if self.supervisor.maintain:
            self.off()
            self.watchdog = False
            self.boot()
            self.step()

    def _judge(self) -> None:
        """After each step."""
        it = self.supervisor
        assert self.fed == 1, "the watchdog is fed once a step"
        locked_out = it.state == words.LOCKED_OUT
        place = f"{self.state}: {self.reason}" if locked_out else self.state
        if place != self.place:
            self.place = place
            self.passed[place] += 1
        # A board that was locked out keeps its reason while it stores.
        assert it.state == words.STORING or locked_out == (it.reason != words.NO_REASON), "a lockout has a reason"
        assert not locked_out or words.WAY_OUT[it.reason], "a lockout has a way out"
        if self.running:
            assert not self.stop, "fires with the stop open"
            assert not self.hot, "fires with the over-temperature contact open"
            assert self.pedal or not self.config.RELEASE_STOPS, "fires with the pedal let go"
            assert self.force or not self.config.FORCE_SWITCH, "fires without force"
            assert self.done_n < self.count, "does not end a weld that is done"
            assert self.time_ms - self.progress_ms <= STALL_MS, "does not end a weld that stands still"
            if self.config.CONDUCTION_SENSE and not self.conducted:
                assert self.done_n < BLIND_HALF_CYCLES, "goes on without conduction"

    def _pass(self, until_ms: int) -> None:
        """Mains and firing hardware until a time; an edge in the very millisecond comes before the step."""
        while True:
            events = [(self.crossing_us_at, self._crossing)]
            if self.extra_us:
                events.append((self.extra_us[0], self._extra))
            if self.running and self.ends_us:
                events.append((self.ends_us, self._end))
            at_us, happens = min(events, key=lambda event: event[0])
            if at_us > 1000 * until_ms:
                break
            happens(at_us)
        self.time_ms = until_ms

    def _extra(self, at_us: int) -> None:
        self.extra_us.popleft()
        self._edge(at_us)

    def _crossing(self, at_us: int) -> None:
        self.sign ^= 1
        self.crossing_us_at = at_us + (self.half_us or 10_000)
        if self.half_us is not None:
            self._edge(at_us)
        if not self.running or self.dead:
            return
        if self.half_us is None:
            self.dead = self.begun
        elif self.stop or self.done_n == self.count:
            self.dead = True
        elif self.begun:
            self._gate(at_us)
        elif self.misses:
            self.misses -= 1
            self.dead = True
        elif not self.led_in:
            self.led_in = True  # nothing is fired from the first edge, which may be noise
        elif self.sign == self.first_positive:
            self.begun = True
            self._gate(at_us)

    def _end(self, at_us: int) -> None:
        """The end of a half-cycle's gate, where the firing hardware reports it."""
        self.ends_us = 0
        self.done_n += 1
        self.completed += self.done_n == self.count

    def _edge(self, at_us: int) -> None:
        if len(self.meter) < METER_QUEUE:
            self.meter.append((min(at_us - self.edge_us, MASK), False))
        self.edge_us = at_us

    def _gate(self, at_us: int) -> None:
        """The half-cycle that begins now."""
        delay_us, end_us, positive = self.words[self.done_n]
        self.ends_us = at_us + end_us
        assert positive == self.sign, "the word is of the other polarity"
        self.gates.append(int(delay_us >= 0))
        if delay_us >= 0:
            if self.press_fired == 0 and self.last_sign is not None:
                assert self.sign != self.last_sign, "begins on the polarity that the last weld ended on"
            if self.press_fired == 0:
                self.welded.append((self.time_ms, self.cost))
            self.press_fired += 1
            self.last_sign = self.sign
            self.fired_ms = self.time_ms
            self.conducted = self.conducted or self.conducts
            self.seen |= 3 if self.conducts else 1

    # -- the serial line -----------------------------------------------------------------------------------------------

    def send(self, method: str, **params: Any) -> int:
        """Queue a request; its id."""
        self.id += 1
        text = json.dumps({"jsonrpc": "2.0", "id": self.id, "method": method, "params": params}).encode()
        self.received.extend(text + f" {crc32(text):08x}\n".encode())
        return self.id

    def answer(self, number: int) -> dict[str, Any] | None:
        return next((sent for sent in self.sent if sent["id"] == number), None)

    # -- the driver interface ------------------------------------------------------------------------------------------

    def rested_ms(self) -> int:
        return min(self.time_ms - self.fired_ms, NEVER_WELDED_MS) if self.knows_rest else 0

    def inputs(self) -> int:
        if self.pedal != self.pedal_seen:
            self.pedal_seen, self.pedal_since_ms = self.pedal, self.time_ms
        elif not self.pedal and not self.running and self.time_ms - self.pedal_since_ms >= STEADY_MS:
            self.open_seen = True
        if self.stop:
            self.stop_cycle = 1
        elif self.stop_cycle == 1:
            self.stop_cycle = 2
        mirror = self.config.MIRROR_CONTACT and not self.closed
        bits = (
            (PEDAL, self.pedal), (STOP_OPEN, self.stop), (FORCE, self.force), (HOT, self.hot), (CONTACTOR_OPEN, mirror),
        )  # fmt: skip
        return sum(bit for bit, level in (*bits, (WATCHDOG, self.watchdog)) if level)

    @property
    def closed(self) -> bool:
        """Whether the contactor's contacts are closed."""
        if self.welded_shut:
            return True
        return self.pulses_from_ms + CLOSES_MS <= self.time_ms < self.pulsed_ms + OPENS_MS

    def crossing_us(self) -> int:
        if not self.meter:
            return 0
        length, stale = self.meter.popleft()
        self.handed = [] if stale else [*self.handed[1 - 2 * NEEDED :], length]
        return length

    def conduction_us(self, gate: int) -> int:
        return -1

    def conduction(self) -> int:
        if not self.config.CONDUCTION_SENSE:
            return 0
        if self.shorted or not self.closed:
            self.conducted = True
            return CONDUCTING
        seen, self.seen = self.seen | 1, 0
        return seen

    def current_ring(self) -> tuple[int, ...]:
        return ()

    def set_half_cycle(self, index: int, delay_us: int, end_us: int, positive: int) -> None:
        whole(index, delay_us, end_us, positive)
        assert not self.running, "a word is changed in a weld"
        assert index >= 0
        assert positive in (0, 1)
        assert delay_us == -1 or 0 < delay_us < end_us
        self.words[index] = delay_us, end_us, positive

    def start(self, count: int, half_us: int, positive: int) -> int:
        whole(count, half_us, positive)
        assert not self.running, "starts twice"
        # With air a weld goes on when the pedal is let go, and so does one whose first start missed its edge.
        goes_on = self.missed_ms == self.time_ms and not self.config.RELEASE_STOPS
        if not goes_on:
            self._judge_pedal()
        self._judge_start(count, half_us, positive)
        if self.reluctant:
            self.reluctant -= 1
            return 0
        if self.press_ms != self.pedal_since_ms and not goes_on:
            self._judge_new_weld(count)
        self.press_starts += 1
        assert self.press_starts <= TRIES, "tries once too often"
        assert self.press_fired == 0, "goes on with a weld that has fired"
        self.running, self.led_in, self.begun, self.dead, self.ends_us = True, False, False, False, 0
        self.count, self.first_positive = count, positive
        self.done_n, self.gates, self.told_done, self.progress_ms = 0, [], 0, self.time_ms
        self.conducted = False
        return 1

    def _judge_pedal(self) -> None:
        assert self.pedal_seen, "starts without a pedal"
        assert self.time_ms - self.pedal_since_ms >= STEADY_MS, "starts while the pedal bounces"

    def _judge_start(self, count: int, half_us: int, positive: int) -> None:
        """What must hold each time."""
        assert not self.condemned, f"starts after {self.condemned}"
        assert not self.stop, "starts with the stop open"
        assert not self.hot, "starts with the over-temperature contact open"
        assert self.force or not self.config.FORCE_SWITCH, "starts without force"
        assert self.closed or not self.config.MIRROR_CONTACT, "starts before the contactor has closed"
        shorted = self.shorted and self.time_ms - self.shorted_since_ms > SHORTED_MS + LATEST_MS + ARMED_WAKE_MS
        assert not shorted or not self.config.CONDUCTION_SENSE, "starts over a switch that never blocks"
        assert not self.watchdog or self.stop_cycle == 2, "starts after the watchdog bit"
        lengths = self.handed[-NEEDED:]
        pairs = [a + b for a, b in zip(lengths, lengths[1:])]
        assert len(lengths) == NEEDED, f"starts after {len(lengths)} crossings"
        assert min(pairs) >= 2 * self.config.SHORTEST_HALF_US, "starts outside the band"
        assert max(pairs) <= 2 * self.config.LONGEST_HALF_US, "starts outside the band"
        assert max(pairs) <= 1.045 * min(pairs), "starts on crossings that do not agree"
        assert abs(half_us - sum(pairs) / len(pairs) / 2) <= 0.02 * half_us
        shape = self._shape(count)
        assert sum(self.words[n][0] >= 0 for n in range(count)) == shape.planned, "more or fewer gates than the table"
        for n in range(count):
            delay_us, end_us, sign = self.words[n]
            assert sign == positive ^ (n & 1)
            assert abs(end_us - half_us * 11 / 12) <= 200
            if delay_us >= 0:
                first = n == 0 or self.words[n - 1][0] < 0
                least = self.config.FIRST_DELAY_US if first else self.config.EARLIEST_DELAY_US
                assert least - 2 <= delay_us * self.config.NOMINAL_HALF_US / half_us * 1.02

    def _judge_new_weld(self, count: int) -> None:
        """What must hold for the first start after a press."""
        assert self.open_seen, "the pedal was not seen open since the last weld"
        self.open_seen = False
        self.press_ms, self.press_starts, self.press_fired = self.pedal_since_ms, 0, 0
        cost = self.cost = self._shape(count).cost
        spent = sum(cost for time_ms, cost in self.welded if time_ms > self.time_ms - MINUTE_MS)
        assert spent + cost <= self.config.DUTY_LIMIT, "more heat than a minute may have"

    def _shape(self, count: int) -> Shape:
        shapes = [self.shapes[name] for name in self.selected if self.shapes[name].count == count]
        assert shapes, f"{count} half-cycles are not those of {self.selected}"
        return shapes[0]

    def done(self) -> int:
        if self.running and self.done_n != self.told_done:
            self.told_done, self.progress_ms = self.done_n, self.time_ms
        return self.done_n

    def fired(self, index: int) -> int:
        assert 0 <= index < self.done_n
        return self.gates[index]

    def off(self) -> int:
        if self.running and self.ends_us and self.gates[-1]:
            self.done_n += 1  # cut short
        if self.running and self.press_fired == 0:
            self.missed_ms = self.time_ms
        self.running = False
        if self.stuck_gate:
            self.condemned = "a gate that stays high"
        return 0 if self.stuck_gate else 1

    def alive(self, contactor: int) -> None:
        self.fed += 1
        may = (words.SQUEEZE, words.WELD, words.HOLD)
        wanted = self.supervisor.state in may
        if self.supervisor.state == words.HOLD and self.config.RELEASE_STOPS:
            wanted = bool(self.pedal)
        assert contactor == wanted, "the contactor's pulses"
        assert not contactor or not (self.stop or self.hot or self.condemned)
        if contactor and not self.coil_broken:
            if self.time_ms - self.pulsed_ms > OPENS_MS:
                self.pulses_from_ms = self.time_ms
            self.pulsed_ms = self.time_ms

    def read_byte(self) -> int:
        return self.received.popleft() if self.received else -1

    def write(self, data: bytes) -> None:
        self._idle()
        assert data.endswith(b"\n")
        assert int(data[-9:-1], 16) == crc32(data[:-10])
        self.sent.append(json.loads(data[:-10]))

    def read_file(self, name: str) -> bytes | None:
        self._idle()
        return self.flash.read(name)

    def write_file(self, name: str, data: bytes) -> int:
        self._idle()
        self._pass(self.time_ms + WRITE_MS)
        self.meter = deque((length, True) for length, _ in self.meter)
        self.handed = []
        return self.flash.write(name, data)

    def _idle(self) -> None:
        assert not self.running
        assert not self.supervisor.armed(), "allocates, or writes to flash, while armed"

    def next_write(self, fault: str, place: int) -> None:
        """What happens to the next write to flash."""
        self.flash = Flash(self.flash.files, (FlashFault(0, fault, place),))
