"""Asks for suggestions, and finds a figure in one: shared by the tests of the handbook."""

from __future__ import annotations

from gen.handbook.advice import suggest
from gen.handbook.suggestion import Suggestion
from gen.joint import Joint
from gen.ranges import Figure

FINISHES = ("cold_drawn", "hot_drawn")


def amperes(middle: float, share: float = 0.0) -> Figure:
    return Figure(middle * (1 - share), middle * (1 + share), "A", "given")


def sheets(mm: float, current_A: float, frequency_Hz: int = 50, share: float = 0.0) -> Suggestion:
    return suggest(Joint(sheets_mm=(mm, mm)), amperes(current_A, share), frequency_Hz)


def rods(a_mm: float, b_mm: float, current_A: float, frequency_Hz: int = 50, **more: object) -> Suggestion:
    joint = Joint.model_validate({"rods_mm": (a_mm, b_mm)} | more)
    return suggest(joint, amperes(current_A), frequency_Hz)


def named(found: Suggestion, name: str, source: str) -> Figure:
    """The only figure of this name whose source begins so."""
    (figure,) = (f for n, f in found.figures if n == name and f.source.startswith(source))
    return figure
