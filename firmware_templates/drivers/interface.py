"""The one narrow line between the application and a board's hardware.

Every board family's `driver.py` and the simulator's driver offer exactly this; mypy checks both against it. It is
read by tools only and never copied to a board. All figures are integers below 2**30, so that nothing here allocates
under MicroPython, and every member may be called with the heap locked unless it says otherwise.
"""

from typing import Protocol

# Bits of `inputs()`.
PEDAL = 1  # pedal contact closed
STOP_OPEN = 2  # the normally closed stop circuit is open (pressed, or its wire is broken)
FORCE = 4  # force switch closed (air machines)
HOT = 8  # over-temperature contact open
WATCHDOG = 16  # this run of the program began with a bite of the watchdog

# Values of `conduction()`.
NOT_FITTED = 0  # no sense across the switch
BLOCKING = 1  # since the last call the switch was seen to block
CONDUCTING = 2  # since the last call the switch was seen to conduct; both bits when it did both


class Driver(Protocol):
    """What the application may ask of the hardware."""

    def now_ms(self) -> int:
        """Elapsed milliseconds, modulo 2**30."""

    def wait_until(self, wake_ms: int) -> None:
        """Return at `wake_ms` (a time of `now_ms`), or earlier when an input or the serial line changes."""

    def rested_ms(self) -> int:
        """How long the board knows that nothing was welded before this start; 0 where it cannot know."""

    def inputs(self) -> int:
        """Level of the inputs now, as the bits above; an input that is not fitted reads as safe."""

    def crossing_us(self) -> int:
        """Length of the oldest half-cycle measured and not yet asked for, microseconds; 0 when there is none.

        It is the time between two detector edges, so a false edge gives two short ones. A queue of at least four.
        """

    def conduction(self) -> int:
        """What the sense across the switch saw since the last call: NOT_FITTED, or BLOCKING | CONDUCTING."""

    def primary_current_A(self) -> int:
        """RMS primary current, whole amperes, or -1 where no sensor is fitted."""

    def set_half_cycle(self, index: int, delay_us: int, end_us: int, positive: int) -> None:
        """Prepare half-cycle `index` (from 0) of the next weld, whose voltage is positive when `positive` is 1.

        `delay_us` is the firing delay from the true zero crossing, or -1 for a half-cycle that is not fired. The gate
        ends at `end_us` from the same crossing, and the search for the next edge begins there. The driver takes off
        the detector's offset and its own latency; both are burnt in.
        """

    def start(self, count: int, half_us: int, positive: int) -> int:
        """Hand half-cycles 0 to `count` - 1 to the firing hardware, the first on a `positive` (or 0: negative) half-cycle.

        Returns 1, or 0 where the detector stands in the middle of a pulse and the caller should ask again. From here
        Python can end the weld and cannot lengthen it. `half_us` sizes the windows in which edges are believed.
        """

    def done(self) -> int:
        """Half-cycles that the firing hardware reports as ended since `start`."""

    def fired(self, index: int) -> int:
        """1 when half-cycle `index` was given a gate, else 0; known for `index` below `done()`."""

    def off(self) -> int:
        """End firing, empty every queue, lower the gate. 1 when the gate pin was read back low, else 0."""

    def alive(self, contactor: int) -> None:
        """Feed the watchdog and, when `contactor` is 1, give the contactor's pulse train its next edge."""

    def read_byte(self) -> int:
        """Next byte of the serial line, or -1."""

    def write(self, data: bytes) -> None:
        """Send `data`. Never called while armed."""

    def restart(self) -> None:
        """Restart the board."""


class Config(Protocol):
    """The emitted `config.py`, as far as the application reads it. Burnt in: no message can change it."""

    BOARD: str
    SCHEDULE: str
    TABLE_DIGEST: str
    NOMINAL_HALF_US: int
    SHORTEST_HALF_US: int
    LONGEST_HALF_US: int
    DUTY_LIMIT: int  # hundredths of a half-cycle at full current, a minute
    ROWS: "tuple[tuple[str, int, int, int], ...]"
    FORCE_SWITCH: int
    RELEASE_STOPS: int
    CONDUCTION_SENSE: int
    STOP_LINE: bytes
