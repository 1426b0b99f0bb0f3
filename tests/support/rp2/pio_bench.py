"""One PIO state machine in an independent emulator, with step signals at its pins and a DMA channel at each FIFO.

The emulator is the package rp2040-pio-emulator; what it emulates is chapter 3 (PIO) of the RP2040 data sheet. It numbers the
pins of IN from GPIO 0 whatever the IN base, so the pins are rotated here: bit 0 is the first IN pin (the stop circuit), bit 1 the
second (the pedal, closed unless told otherwise), bit 2 the detector, bit 3 the gate. Time is in clocks of the state machine,
four to a microsecond.
"""

from bisect import bisect_right
from collections import deque
from collections.abc import Callable, Generator, Iterable
from functools import cache
from typing import Any

import adafruit_pioasm
import pioemu.emulation
import pioemu.primitive_operations
from pioemu import ShiftRegister, State, emulate
from pioemu.decoding.instruction_decoder import InstructionDecoder as NewInstructionDecoder
from pioemu.instruction_decoder import InstructionDecoder

from gen.pio import PioProgram
from tests.support.rp2.pio_text import pio_text

CLOCKS_PER_US = 4
STOP, PEDAL, DETECTOR, GATE = 1, 2, 4, 8  # pin masks
FIFO_DEPTH = 4
NEVER = 1 << 62


def replace(state: State, /, **changes: Any) -> State:
    """As dataclasses.replace, which is half of what the emulation costs, for a class that only holds its fields."""
    made = object.__new__(State)
    object.__setattr__(made, "__dict__", state.__dict__ | changes)  # the class is frozen
    return made


class _Decoded(NewInstructionDecoder):
    """Decodes each word once: what is made of it depends on nothing else."""

    decode = cache(NewInstructionDecoder.decode)


class _Emulated(InstructionDecoder):
    """Makes the callables of each instruction once: they hold no state. `_Decoded` keeps the instructions, each one object."""

    def __init__(self, *settings: Any) -> None:
        super().__init__(*settings)
        self._made: dict[int, Any] = {}

    def create_emulation(self, instruction: Any) -> Any:
        if id(instruction) not in self._made:
            self._made[id(instruction)] = super().create_emulation(instruction)
        return self._made[id(instruction)]

    decode = cache(InstructionDecoder.decode)


def _as_it_is(_: Any, input_source: Callable[[State], int]) -> Callable[[State], int]:
    """An input source that takes a state needs no adapting. The emulator reads its signature to find that out."""
    return input_source


# What is put in the place of the emulator's own, for speed alone: module, name, replacement.
QUICKER: tuple[tuple[Any, str, Any], ...] = (
    (pioemu.emulation, "replace", replace),
    (pioemu.primitive_operations, "replace", replace),
    (pioemu.emulation, "NewInstructionDecoder", cache(_Decoded)),
    (pioemu.emulation, "InstructionDecoder", cache(_Emulated)),
    (pioemu.emulation, "_normalize_input_source", _as_it_is),
)
AS_DELIVERED = tuple((module, name, getattr(module, name)) for module, name, _ in QUICKER)
for _module, _name, _quicker in QUICKER:
    setattr(_module, _name, _quicker)


class Steps:
    """A digital input: low before the first of the sorted `times_us`, and toggled at each of them."""

    def __init__(self, times_us: Iterable[float], start_level: int = 0) -> None:
        self.clocks = [round(time * CLOCKS_PER_US) for time in times_us]
        assert self.clocks == sorted(self.clocks)
        self.start_level = start_level

    def level(self, clock: int) -> int:
        return (self.start_level + bisect_right(self.clocks, clock)) & 1

    def rises(self, from_us: float, to_us: float) -> bool:
        """Whether it went up after `from_us`, up to `to_us`."""
        began, ended = (bisect_right(self.clocks, round(time * CLOCKS_PER_US)) for time in (from_us, to_us))
        return ended - began > 1 or (ended > began and (self.start_level + ended) & 1 == 1)

    def next_change(self, clock: int) -> int:
        place = bisect_right(self.clocks, clock)
        return self.clocks[place] if place < len(self.clocks) else NEVER


def assemble(program: PioProgram) -> list[int]:
    """The program's words, from the independent assembler adafruit-circuitpython-pioasm."""
    return list(adafruit_pioasm.Program(pio_text(program)).assembled)


class PioBench:
    """A state machine that runs `opcodes`. `fast` skips rounds of counted loops, which changes only the time it takes."""

    def __init__(
        self,
        opcodes: list[int],
        wrap_target: int,
        detector: Steps,
        stop: Steps | None = None,
        pedal: Steps | None = None,
        *,
        fast: bool = True,
    ) -> None:
        self.opcodes = opcodes
        self.wrap_target = wrap_target
        self.detector = detector
        self.stop = stop or Steps([])
        self.pedal = pedal or Steps([])
        self.fast = fast
        self.state = State(pin_directions=GATE)
        self.feed: deque[int] = deque()  # words that the DMA channel still has
        self.drain: Callable[[int], None] | None = (
            None  # takes what the state machine pushes; None leaves it in the FIFO
        )
        self.gate_edges: list[tuple[float, int]] = []  # (us, level)
        self.pushed: list[tuple[float, int]] = []  # (us, value)

    @property
    def now_us(self) -> float:
        return self.state.clock / CLOCKS_PER_US

    @property
    def gate(self) -> int:
        return int(bool(self.state.pin_values & GATE))

    def pins(self, state: State) -> int:
        contacts = self.stop.level(state.clock) * STOP | self.pedal.level(state.clock) * PEDAL
        return contacts | self.detector.level(state.clock) * DETECTOR

    def execute(self, opcode: int) -> None:
        """What writing an instruction to the SMx_INSTR register does: it runs at once and the program counter stays."""
        before = self.state
        step = self._emulate([opcode], 0, replace(before, program_counter=0), lambda *_: False)
        after = next(step)[1]
        self._note(before, after)
        self.state = replace(after, program_counter=before.program_counter, clock=before.clock)
        self._transfer()

    def restart(self) -> None:
        """MicroPython's StateMachine.restart: clears ISR and shift counters, jumps to the first instruction, keeps the rest."""
        osr = ShiftRegister(self.state.output_shift_register.contents, 32)
        self.state = replace(
            self.state, program_counter=0, input_shift_register=ShiftRegister(0, 0), output_shift_register=osr
        )

    def discard(self, value: int) -> None:
        """A reader of the FIFO for those who look at `pushed`."""

    def idle(self, until_us: float) -> None:
        """Let time pass while the state machine is disabled."""
        self.state = replace(self.state, clock=max(self.state.clock, round(until_us * CLOCKS_PER_US)))

    def run(self, until_us: float) -> None:
        """Run the program until `until_us`; the last instruction may end a few clocks later."""
        until = round(until_us * CLOCKS_PER_US)
        self._transfer()
        while self.state.clock < until:
            landed: dict[int, State] = {}
            steps = self._emulate(self.opcodes, self.wrap_target, self.state, lambda _, state: state.clock >= until)
            for before, after in steps:
                self.state = after
                self._note(before, after)
                self._transfer()
                if self.fast and after.program_counter <= before.program_counter:
                    skipped = self._skip(landed.get(after.program_counter), after, until)
                    landed[after.program_counter] = after
                    if skipped is not None:
                        self.state = skipped
                        break

    def _emulate(
        self, opcodes: list[int], wrap_target: int, state: State, stop_when: Callable[[int, State], bool]
    ) -> Generator[tuple[State, State], None, None]:
        def input_source(state: State) -> int:
            return self.pins(state)

        return emulate(
            opcodes, stop_when=stop_when, initial_state=state, input_source=input_source, wrap_target=wrap_target,
            shift_isr_right=False, shift_osr_right=True, set_base=3, set_count=1, jmp_pin=2,
        )  # fmt: skip

    def _skip(self, previous: State | None, now: State, until: int) -> State | None:
        """The state after as many whole rounds of a loop as are sure to repeat the last one, or None.

        A round repeats when the last one changed nothing but the clock and one counter going down, no input changes before it
        ends, and the counter stays above zero: what the instructions do depends on nothing else.
        """
        if previous is None:
            return None
        counted = (previous.x_register - now.x_register, previous.y_register - now.y_register)
        if counted not in ((0, 0), (1, 0), (0, 1)):
            return None
        if (
            replace(now, clock=previous.clock, x_register=previous.x_register, y_register=previous.y_register)
            != previous
        ):
            return None
        length = now.clock - previous.clock
        inputs = (self.detector, self.stop, self.pedal)
        change = min(until, *(pin.next_change(previous.clock) for pin in inputs))
        rounds = (change - now.clock) // length
        if counted[0]:
            rounds = min(rounds, now.x_register - 1)
        if counted[1]:
            rounds = min(rounds, now.y_register - 1)
        if rounds < 1:
            return None
        return replace(
            now,
            clock=now.clock + rounds * length,
            x_register=now.x_register - rounds * counted[0],
            y_register=now.y_register - rounds * counted[1],
        )

    def _note(self, before: State, after: State) -> None:
        if (before.pin_values ^ after.pin_values) & GATE:
            self.gate_edges.append((after.clock / CLOCKS_PER_US, int(bool(after.pin_values & GATE))))
        if len(after.receive_fifo) > len(before.receive_fifo):
            self.pushed.append((after.clock / CLOCKS_PER_US, after.receive_fifo[-1]))

    def _transfer(self) -> None:
        """The two DMA channels, which are much faster than the state machine."""
        while self.feed and len(self.state.transmit_fifo) < FIFO_DEPTH:
            self.state.transmit_fifo.append(self.feed.popleft())
        while self.drain and self.state.receive_fifo:
            self.drain(self.state.receive_fifo.popleft())
