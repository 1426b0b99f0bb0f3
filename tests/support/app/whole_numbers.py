"""Whole numbers that watch their own size, for what runs while armed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any


def whole(*figures: int) -> None:
    """Integers, and such that MicroPython need not allocate."""
    for figure in figures:
        assert type(figure) is int, f"{figure!r} is no integer"
        assert -(1 << 30) <= figure < 1 << 30, f"{figure} is no small integer"


class Small(int):
    """An integer whose sums and products are watched: below 2**30 in size, where a 32-bit MicroPython need not allocate."""

    def __new__(cls, value: int) -> Small:
        assert isinstance(value, int), f"{value!r} is no integer"
        assert -(1 << 30) <= value < 1 << 30, f"{value} is no small integer"
        return super().__new__(cls, value)


def _watched(name: str) -> Callable[..., Any]:
    plain = getattr(int, name)

    def operation(self: int, *others: Any) -> Any:
        result = plain(self, *others)
        return result if result is NotImplemented else Small(result)

    return operation


for _name in ("add", "sub", "mul", "floordiv", "mod", "and", "or", "xor", "lshift", "rshift", "truediv", "pow"):
    for _side in ("", "r"):
        setattr(Small, f"__{_side}{_name}__", _watched(f"__{_side}{_name}__"))
Small.__neg__ = _watched("__neg__")  # type: ignore[method-assign]
