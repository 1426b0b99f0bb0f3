"""A PIO program as `.pio` text, for an assembler that is not ours."""

from __future__ import annotations

from gen.pio import PioProgram

# What the two assemblers call the same thing, where the names differ.
_PIOASM_WORDS = {
    "not_x": "!x",
    "x_dec": "x--",
    "not_y": "!y",
    "y_dec": "y--",
    "invert(null)": "~null",
    "invert(x)": "~x",
}


def pio_text(program: PioProgram) -> str:
    """Return the program as `.pio` text for an independent assembler."""
    lines = [
        f".program {program.name}",
        ".in 32 left",
        ".out 32 right",
    ]  # the number of pins of SET is not the text's to say
    if program.fifo_join == "rx":
        lines.append(".fifo rx")
    for instruction in program.instructions:
        if instruction.label == program.wrap_target:
            lines.append(".wrap_target")
        if instruction.label:
            lines.append(f"{instruction.label}:")
        args = [_PIOASM_WORDS.get(str(arg), str(arg)) for arg in instruction.args]
        # The text assembler has no comma after the polarity and source of a wait.
        joined = (" " if instruction.op == "wait" else ", ").join(args)
        delay = f" [{instruction.delay}]" if instruction.delay else ""
        lines.append(f"    {instruction.op.rstrip('_')} {joined}{delay}")
    lines.append(".wrap")
    return "\n".join(lines) + "\n"
