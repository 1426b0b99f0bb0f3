"""The one narrow line between the application and a board's hardware.

Every board family's `driver.py` and the simulator's driver offer exactly this; mypy checks both against it. It is
read by tools only and never copied to a board. All figures are integers below 2**30, so that nothing here allocates
under MicroPython, and every member may be called with the heap locked unless it says otherwise.

`driver.py` also offers a function `maintenance() -> int`: 1 when this start was asked for with `restart(1)`, and is for
copying files. main.py asks before anything else, and then makes no Driver.
"""

from collections.abc import Sequence
from typing import Protocol

# Of a timing table: phase, half-cycles, firing delay in us at nominal frequency or -1 for no gate, heat a half-cycle.
Rows = Sequence[tuple[str, int, int, int]]


class Driver(Protocol):
    """What the application may ask of the hardware."""

    def now_ms(self) -> int:
        """Elapsed milliseconds, modulo 2**30."""

    def wait_until(self, wake_ms: int) -> None:
        """Return at `wake_ms` (a time of `now_ms`), or earlier when an input or the serial line changes."""

    def rested_ms(self) -> int:
        """How long the board knows that nothing was welded before this start; 0 where it cannot know."""

    def inputs(self) -> int:
        """The inputs now, a sum of PEDAL and the bits after it in app/words.py; what is not fitted reads as safe.

        MEMORY_BAD tells of the memory from which the firing hardware takes its half-cycles, tested before it is used.
        CONTACTOR_OPEN is told only where a mirror contact is fitted. A stop circuit that opened since the last call is told as
        open, though it may have closed again; so is a pedal that was told closed.
        """

    def crossing_us(self) -> int:
        """Length of the oldest half-cycle measured and not yet asked for, microseconds; 0 when there is none.

        It is the time between two detector edges, so a false edge gives two short ones. A queue of at least four.
        """

    def conduction(self) -> int:
        """What the sense across the switch saw since the last call: NOT_FITTED, or BLOCKING and CONDUCTING, of app/words.py."""

    def conduction_us(self, gate: int) -> int:
        """How long current flowed after gate number `gate` (from 0, since `start`): from the gate's edge to the current's end.

        Timed by hardware. 0 where the switch blocked under its gate, RUNS_ON_US where the current had not ended shortly
        before the next gate could come. -1 where it is not known yet and without a sense; of gates beyond
        CURVE_KEPT it stays so.
        """

    def current_ring(self) -> Sequence[int]:
        """Where the samples of the primary current stand: CURRENT_RING places, sample n (from 0) at n modulo CURRENT_RING.

        Counts of 12 bits, one every SAMPLE_US. Without a sensor it is empty, and the next three are never asked.
        """

    def sample(self) -> None:
        """Begin sampling anew, with sample 0 in less than a millisecond. It goes on by itself for half an hour at least."""

    def sampled(self) -> int:
        """How many samples were taken since `sample`."""

    def gate_sample(self, gate: int) -> int:
        """How many samples had been taken as gate number `gate` (from 0, since `start`) began, or one or two more.

        -1 where it is not known yet, or is not one of the newest GATES_STAMPED; it may be known a little before the gate comes.
        Asked for after `sampled`.
        """

    def set_half_cycle(self, index: int, delay_us: int, end_us: int, positive: int) -> None:
        """Prepare half-cycle `index` (from 0) of the next weld, whose voltage is positive when `positive` is 1.

        `delay_us` is the firing delay from the true zero crossing, or -1 for a half-cycle that is not fired. The gate
        ends at `end_us` from the same crossing, and the search for the next edge begins there. The driver takes off
        the detector's offset and its own latency; both are burnt in.
        """

    def start(self, count: int, half_us: int, positive: int) -> int:
        """Hand half-cycles 0 to `count` - 1 to the firing hardware, the first on a `positive` (or 0: negative) half-cycle.

        Returns 1, or 0 where the detector stands in the middle of a pulse and the caller should ask again. From here
        Python can end the weld and cannot lengthen it. The hardware looks at the stop circuit before every gate, and at the
        pedal where RELEASE_STOPS says so: open ends the weld there. `half_us` sizes the windows in which edges are believed.
        """

    def done(self) -> int:
        """Half-cycles that the firing hardware reports as ended since `start`."""

    def fired(self, index: int) -> int:
        """1 when half-cycle `index` was given a gate, else 0; known for `index` below `done()`."""

    def off(self) -> int:
        """End firing, empty every queue, lower the gate. 1 when the gate pin was read back low, else 0."""

    def alive(self, contactor: int) -> None:
        """Feed the watchdog and, when `contactor` is 1, give the contactor's pulse train its next edge.

        The coil drops CONTACTOR_HELD_MS after the last edge at the latest; the contacts open some time after that.
        """

    def read_byte(self) -> int:
        """Next byte of the serial line, or -1."""

    def write(self, data: bytes) -> None:
        """Send `data`. Never called while armed."""

    def read_file(self, name: str) -> bytes | None:
        """What is stored under `name`: None where nothing ever was, b"" where it cannot be read. Never called while armed."""

    def write_file(self, name: str, data: bytes) -> int:
        """Store `data` in the place of what was there, for good. 1, or 0 where that failed. Never called while armed.

        The program stands still meanwhile, for up to half a second for each 4 KiB, and edges of the mains are lost.
        """

    def restart(self, maintain: int) -> None:
        """Restart the board; with `maintain` 1 into a state without application and watchdog, where files can be copied.

        With 0 it comes of an error: the next start has WATCHDOG among its `inputs`, as after a bite.
        """


class Config(Protocol):
    """The emitted `config.py`, as far as the application reads it. Burnt in: no message can change it."""

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
