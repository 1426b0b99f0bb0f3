"""The PIO programs of the RP2 boards, generated from one list of instructions.

`firmware_templates/drivers/rp2/programs.toml` has each instruction once. The `@rp2.asm_pio` functions generated from it are
assembled on the board; tests/firmware/rp2 compares their words with those of an independent assembler.
Source: RP2040 data sheet, chapter 3 (PIO); MicroPython's rp2 documentation (asm_pio).
"""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

MEMORY = 32  # instructions of one PIO block


@dataclass(frozen=True)
class Instruction:
    """One PIO instruction as MicroPython's assembler spells it; `delay` in clocks after it; `label` and `why` may be empty."""

    op: str
    args: tuple[str | int, ...]
    label: str = ""
    delay: int = 0
    why: str = ""


@dataclass(frozen=True)
class PioProgram:
    """A program for one PIO block. It runs from the first instruction and wraps from the last to label `wrap_target`.

    `set_pins` is the number of pins that SET drives (low at the start); `fifo_join` is "none" or "rx". The ISR shifts left,
    the OSR right.
    """

    name: str
    title: str
    wrap_target: str
    set_pins: int
    fifo_join: str
    instructions: tuple[Instruction, ...]


@cache
def load_program(name: str, tested: int = 2) -> PioProgram:
    """Return the program called `name` in programs.toml.

    `tested`: the number of pins from the IN base that must be low for a gate: 1 for the stop circuit, 2 with the pedal.

    Raises KeyError for an unknown name, ValueError for a program that is too long or jumps to a label it does not have.
    """
    listing = files("firmware_templates").joinpath("drivers/rp2/programs.toml").read_text(encoding="utf-8")
    table = tomllib.loads(listing)
    head = table["programs"][name]
    instructions = tuple(
        Instruction(
            row["op"],
            tuple(tested if arg == "tested" else arg for arg in row["args"]),
            row.get("label", ""),
            row.get("delay", 0),
            row.get("why", ""),
        )
        for part in head["parts"]
        for row in table["parts"][part]
    )
    if len(instructions) > MEMORY:
        raise ValueError(f"{name}: {len(instructions)} instructions, a PIO block holds {MEMORY}")
    labels = {instruction.label for instruction in instructions}
    targets = {str(instruction.args[-1]) for instruction in instructions if instruction.op == "jmp"} | {
        head["wrap_target"]
    }
    if not targets <= labels:
        raise ValueError(f"{name}: no such label: {', '.join(sorted(targets - labels))}")
    return PioProgram(name, head["title"], head["wrap_target"], head["set_pins"], head["fifo_join"], instructions)


def asm_pio_source(program: PioProgram, function: str) -> str:
    """Return the source of an `@rp2.asm_pio` function called `function`, comments included."""
    settings = ["in_shiftdir=rp2.PIO.SHIFT_LEFT", "out_shiftdir=rp2.PIO.SHIFT_RIGHT"]
    if program.set_pins:
        settings.append("set_init=rp2.PIO.OUT_LOW")
    if program.fifo_join == "rx":
        settings.append("fifo_join=rp2.PIO.JOIN_RX")
    lines = [f"@rp2.asm_pio({', '.join(settings)})", f"def {function}() -> None:", f'    """{program.title}."""']
    for instruction in program.instructions:
        if instruction.label == program.wrap_target:
            lines.append("    wrap_target()")
        if instruction.label:
            lines.append(f'    label("{instruction.label}")')
        args = [str(arg) for arg in instruction.args]
        if instruction.op == "jmp":
            args[-1] = f'"{args[-1]}"'
        delay = f"[{instruction.delay}]" if instruction.delay else ""
        why = f"  # {instruction.why}" if instruction.why else ""
        lines.append(f"    {instruction.op}({', '.join(args)}){delay}{why}")
    lines.append("    wrap()")
    return "\n".join(lines) + "\n"


@cache
def pio_module(square_detector: bool, release_stops: bool) -> str:
    """Return the board's `pio_programs.py`: `firing` and `meter` for a square or a pulse detector, and `conduction`.

    `release_stops`: the pedal is tested before every gate, as the stop circuit is.
    """
    tested = 2 if release_stops else 1
    kind = "square" if square_detector else "pulse"
    head = '''"""PIO programs of this board. 4 MHz: a loop of four clocks is a microsecond.

The functions are assembled when this file is imported; their bodies are PIO instructions, not Python.
"""

import rp2

try:
    from typing import TYPE_CHECKING
except ImportError:  # MicroPython has no typing module
    TYPE_CHECKING = False
if TYPE_CHECKING:
    from rp2.asm_pio import *
'''
    functions = [
        asm_pio_source(load_program(f"{function}_{kind}", tested), function) for function in ("firing", "meter")
    ]
    functions.append(asm_pio_source(load_program("conduction"), "conduction"))
    return "\n\n".join([head, *functions])
