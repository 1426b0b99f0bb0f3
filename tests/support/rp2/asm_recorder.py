"""A recording stand-in for MicroPython's `rp2` assembler: runs an emitted `@rp2.asm_pio` function and gives its words.

It knows the vocabulary from MicroPython's rp2 documentation and the bit layout from the RP2040 data sheet, chapter 3.4.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from types import ModuleType, SimpleNamespace
from typing import Any

_CONDITIONS = ["always", "not_x", "x_dec", "not_y", "y_dec", "x_not_y", "pin", "not_osre"]
_PLACES = {
    "out": ["pins", "x", "y", "null", "pindirs", "pc", "isr", "exec"],
    "in_": ["pins", "x", "y", "null", "", "", "isr", "osr"],
    "mov_to": ["pins", "x", "y", "", "exec", "pc", "isr", "osr"],
    "mov_from": ["pins", "x", "y", "null", "", "status", "isr", "osr"],
    "set": ["pins", "x", "y", "", "pindirs"],
    "wait": ["gpio", "pin", "irq"],
}


@dataclass
class Recorded:
    """An assembled program: its words, where it wraps, and the decorator's settings."""

    settings: dict[str, Any]
    rows: list[tuple[str, tuple[Any, ...]]] = field(default_factory=list)
    delays: list[int] = field(default_factory=list)
    labels: dict[str, int] = field(default_factory=dict)
    wrap_target: int = 0
    wrap: int = 0

    @property
    def words(self) -> list[int]:
        return [self._encode(op, args) | delay << 8 for (op, args), delay in zip(self.rows, self.delays, strict=True)]

    def _encode(self, op: str, args: tuple[Any, ...]) -> int:
        if op == "jmp":
            condition, label = ("always", *args)[-2:]
            return _CONDITIONS.index(condition) << 5 | self.labels[label]
        if op == "wait":
            return 0x2000 | args[0] << 7 | _PLACES["wait"].index(args[1]) << 5 | args[2]
        if op == "in_":
            return 0x4000 | _PLACES["in_"].index(args[0]) << 5 | args[1] % 32
        if op == "out":
            return 0x6000 | _PLACES["out"].index(args[0]) << 5 | args[1] % 32
        if op in ("push", "pull"):
            return 0x8000 | (op == "pull") << 7 | ("noblock" not in args) << 5
        if op == "mov":
            inverted = isinstance(args[1], tuple)
            source = args[1][1] if inverted else args[1]
            return 0xA000 | _PLACES["mov_to"].index(args[0]) << 5 | inverted << 3 | _PLACES["mov_from"].index(source)
        if op == "set":
            return 0xE000 | _PLACES["set"].index(args[0]) << 5 | args[1]
        raise AssertionError(f"unknown instruction {op}")


class _Last:
    """What an instruction returns: `[n]` on it sets its delay."""

    def __init__(self, program: Recorded) -> None:
        self.program = program

    def __getitem__(self, delay: int) -> None:
        self.program.delays[-1] = delay


def asm_pio(**settings: Any) -> Callable[[Callable[[], None]], Recorded]:
    """The decorator: runs the function with the vocabulary in its globals, as MicroPython does."""

    def assemble(function: Callable[[], None]) -> Recorded:
        program = Recorded(settings)

        def instruction(op: str) -> Callable[..., _Last]:
            def record(*args: Any) -> _Last:
                program.rows.append((op, args))
                program.delays.append(0)
                return _Last(program)

            return record

        words = {name: name for names in (_CONDITIONS, *_PLACES.values()) for name in names}
        words |= {"noblock": "noblock", "block": "block"}
        scope: dict[str, Any] = {
            **words,
            **{op: instruction(op) for op in ("jmp", "wait", "in_", "out", "push", "pull", "mov", "set")},
            "invert": lambda source: ("invert", source),
            "label": lambda name: program.labels.__setitem__(name, len(program.rows)),
            "wrap_target": lambda: setattr(program, "wrap_target", len(program.rows)),
            "wrap": lambda: setattr(program, "wrap", len(program.rows) - 1),
        }
        namespace = function.__globals__
        kept = dict(namespace)
        namespace.update(scope)
        function()
        namespace.clear()
        namespace.update(kept)
        return program

    return assemble


PIO = SimpleNamespace(SHIFT_LEFT=0, SHIFT_RIGHT=1, OUT_LOW=2, JOIN_RX=2)


def run_source(source: str) -> dict[str, Recorded]:
    """Run an emitted file against this stand-in; its programs by function name."""
    rp2 = ModuleType("rp2")
    rp2.asm_pio = asm_pio  # type: ignore[attr-defined]
    rp2.PIO = PIO  # type: ignore[attr-defined]
    import builtins

    def importer(name: str, *rest: Any) -> Any:
        return rp2 if name == "rp2" else builtins.__import__(name, *rest)

    namespace: dict[str, Any] = {"__builtins__": {**vars(builtins), "__import__": importer}}
    exec(compile(source, "pio_programs.py", "exec"), namespace)
    return {name: value for name, value in namespace.items() if isinstance(value, Recorded)}
