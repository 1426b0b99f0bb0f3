"""The interface between the application and a board's hardware.

Every board family's `driver.py` and the simulator's driver implement exactly this, and mypy checks them against it. This file
is read by tools only and never copied to a board. All figures are integers below 2**30, so that nothing allocates under
MicroPython. Every member may be called with the heap locked unless it says otherwise.

`driver.py` also offers a function `maintenance() -> int`: 1 when this start was asked for with `restart(1)`, and is for
copying files. main.py asks before anything else, and then makes no Driver.
"""

from collections.abc import Sequence
from typing import Protocol

# Rows of a timing table: phase, half-cycles, firing delay in us at nominal frequency or -1 for no gate, heat a half-cycle.
Rows = Sequence[tuple[str, int, int, int]]


class Driver(Protocol):
    """The hardware's functions for the application."""

    def now_ms(self) -> int:
        """Elapsed milliseconds, modulo 2**30."""

    def wait_until(self, wake_ms: int) -> None:
        """Return at `wake_ms` (a time of `now_ms`), or earlier when an input or the serial line changes."""

    def rested_ms(self) -> int:
        """Known time without a weld before this start, ms; 0 where the board cannot know."""

    def inputs(self) -> int:
        """The inputs now, a sum of PEDAL and the bits after it in app/words.py. An input that is not fitted reads as safe.

        MEMORY_BAD reports the test of the memory from which the firing hardware takes its half-cycles, made before its use.
        CONTACTOR_OPEN is reported only where a mirror contact is fitted. A stop circuit that opened since the last call is
        reported as open, even if closed again. So is a pedal that was reported closed.
        """

    def crossing_us(self) -> int:
        """Length of the oldest half-cycle measured and not yet read, microseconds; 0 for none.

        It is the time between two detector edges, so a false edge gives two short ones. The queue holds at least four.
        """

    def conduction(self) -> int:
        """States of the sense across the switch since the last call: NOT_FITTED, or BLOCKING and CONDUCTING."""

    def conduction_us(self, gate: int) -> int:
        """Length of the current of gate number `gate` (from 0, since `start`), from the gate's edge to the current's end, us.

        It is timed by hardware. 0: the switch blocked in spite of its gate. RUNS_ON_US: the current had not ended shortly
        before the earliest next gate. -1: not known yet, without a sense, and for gates beyond CURVE_KEPT.
        """

    def current_ring(self) -> Sequence[int]:
        """The ring of samples of the primary current: CURRENT_RING places, sample n (from 0) at n modulo CURRENT_RING.

        Samples are counts of 12 bits, one every SAMPLE_US. Without a sensor the ring is empty, and the next three members
        are never called.
        """

    def sample(self) -> None:
        """Restart sampling, with sample 0 in less than a millisecond. It continues by itself for half an hour at least."""

    def sampled(self) -> int:
        """Number of samples taken since `sample`."""

    def gate_sample(self, gate: int) -> int:
        """Number of samples taken when gate number `gate` (from 0, since `start`) began, or one or two more.

        -1: not known yet, or not one of the newest GATES_STAMPED gates. It may be known a little before the gate begins.
        Call it after `sampled`.
        """

    def set_half_cycle(self, index: int, delay_us: int, end_us: int, positive: int) -> None:
        """Prepare half-cycle `index` (from 0) of the next weld, whose voltage is positive when `positive` is 1.

        `delay_us` is the firing delay from the true zero crossing, or -1 for a half-cycle that is not fired. The gate
        ends at `end_us` from the same crossing, and the search for the next edge begins there. The driver subtracts
        the detector's offset and its own latency; both are constants of the firmware.
        """

    def start(self, count: int, half_us: int, positive: int) -> int:
        """Hand half-cycles 0 to `count` - 1 to the firing hardware, the first on a `positive` (or 0: negative) half-cycle.

        Returns 1, or 0 where the detector is in the middle of a pulse and the caller should retry. From here on
        Python can end the weld, but cannot lengthen it. The hardware reads the stop circuit before every gate, and also the
        pedal if RELEASE_STOPS is set: an open one ends the weld. `half_us` sets the windows in which edges are accepted.
        """

    def done(self) -> int:
        """Number of half-cycles that the firing hardware has reported as ended since `start`."""

    def fired(self, index: int) -> int:
        """1 if half-cycle `index` had a gate, else 0. Known for `index` below `done()`."""

    def off(self) -> int:
        """End firing, empty every queue, lower the gate. Returns 1 if the gate pin was read back low, else 0."""

    def alive(self, contactor: int) -> None:
        """Feed the watchdog and, when `contactor` is 1, give the contactor's pulse train its next edge.

        The coil is without current CONTACTOR_HELD_MS after the last edge at the latest. The contacts open some time later.
        """

    def read_byte(self) -> int:
        """Next byte of the serial line, or -1."""

    def write(self, data: bytes) -> None:
        """Send `data`. Never called while armed."""

    def read_file(self, name: str) -> bytes | None:
        """Content stored under `name`: None if nothing was stored, b"" if unreadable. Never called while armed."""

    def write_file(self, name: str, data: bytes) -> int:
        """Store `data` permanently, in place of the old content. Returns 1, or 0 on failure. Never called while armed.

        The program stops meanwhile, for up to half a second for each 4 KiB, and edges of the mains are lost.
        """

    def restart(self, maintain: int) -> None:
        """Restart the board. With `maintain` 1 it starts without application and watchdog, so that files can be copied.

        0 is for a restart after an error: the next start has WATCHDOG among its `inputs`, as after a watchdog reset.
        """


class Config(Protocol):
    """The members of the emitted `config.py` that the application reads. No message can change them."""

    BOARD: str
    VERSION: str
    BUNDLE_DIGEST: str
    SCHEDULE: str
    FREQUENCY_HZ: int
    NOMINAL_HALF_US: int
    SHORTEST_HALF_US: int
    LONGEST_HALF_US: int
    DUTY_LIMIT: int  # hundredths of a half-cycle at full conduction, a minute
    ROWS: "tuple[tuple[str, int, int, int], ...]"
    EARLIEST_DELAY_US: int
    LATEST_DELAY_US: int
    FIRST_DELAY_US: int
    HEAT_STEPS: "tuple[tuple[int, int], ...]"  # firing delay, rising, and the least heat of a row fired there or before
    VOLT_SECONDS_STEP_US: int
    VOLT_SECONDS: "tuple[tuple[int, ...], ...]"  # from EARLIEST_DELAY_US on, each at a load angle
    FLUX_HALVES_HALF_CYCLES: int
    LONGEST_WELD_HALF_CYCLES: int
    LEAST_COOL_HALF_CYCLES: int
    LEAST_SQUEEZE_HALF_CYCLES: int
    LONGEST_TIME_HALF_CYCLES: int
    MAX_ROWS: int
    MAX_HALF_CYCLES: int
    FORCE_SWITCH: int
    RELEASE_STOPS: int
    CONDUCTION_SENSE: int
    LOPSIDED_US: int
    LONGEST_US: "tuple[int, ...]"  # by delay, as VOLT_SECONDS
    CURRENT_SENSE: int
    CURRENT_GAIN: int
    BIAS_LEAST: int
    BIAS_MOST: int
    STRAY_DA: int
    LEAST_DA: "tuple[int, ...]"  # likewise by delay
    MOST_DA: "tuple[int, ...]"
    EXPULSION_ENDS: int
    CORRECT_PERMILLE: int  # of the planned current; 0: no weld corrects the next
    PLANNED_DA: int  # at full conduction
    PLANNED_SHARES: "tuple[int, ...]"  # likewise by delay, of 2**14
    CONTACTOR_CLOSES_MS: int  # from the pulse train's first edge until it has closed and stopped bouncing
    CONTACTOR_OPENS_MS: int  # from the last edge until it is open
    MIRROR_CONTACT: int
    STOP_LINE: bytes
