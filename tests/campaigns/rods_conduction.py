"""The conduction in crossed rods at length: `python -m tests.campaigns.rods_conduction [part]`, minutes to an hour.

`fit` prints the factors of gen/handbook/rods.py from two grids; `grids` how they move when cells are halved; `elements` the same
by finite elements (scikit-fem); `unlike` pairs of unlike rods; `setdown` 30 % in the place of 15 %; `joined` other temperatures.
Every part calibrates on the row of 5 mm rods or, for the fit, on each diameter's own.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable

from gen.handbook.rods import setting
from tests.support.outside.rods_by_elements import RodByElements
from tests.support.outside.rods_conduction import FLAT, GROOVE, CrossedRods, Electrode, calibrated, secant

ELECTRODES = {"flat": FLAT, "groove": GROOVE}
# How far the factors' inverses move on from 6 cells to a radius, as a share of their step from 4 to 6: by 8, 10 and 12 cells.
ONWARD = {"flat": 2.0, "groove": 0.8}
LONGEST = 26  # times the table's time


def factor(mm: float, share: float, patch: float, electrode: Electrode, cells: int, setdown: float = 15) -> float:
    """Time over the table's at a share of the table's current."""
    s = setting("cold_drawn", setdown, mm)
    rods = CrossedRods(mm / 1e3, mm / 1e3, patch, electrode, cells)
    return rods.joined_s(share * s.current_A, LONGEST * s.weld_s) / s.weld_s


def patch_of(mm: float, electrode: Electrode, cells: int, setdown: float = 15) -> float:
    s = setting("cold_drawn", setdown, mm)
    return calibrated(mm / 1e3, s.current_A, s.weld_s, electrode, cells)


def fit() -> None:
    for mm in (1.5875, 3.0, 5.0, 8.0, 12.7):
        for name, electrode in ELECTRODES.items():
            patches = {cells: patch_of(mm, electrode, cells) for cells in (4, 6)}
            row = []
            for share in (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.1):
                coarse, fine = (1 / factor(mm, share, patches[cells], electrode, cells) for cells in (4, 6))
                rate = fine + ONWARD[name] * (fine - coarse)
                row.append(f"{share}: {1 / rate:.3g}" if coarse > 0 and rate > 1 / 60 else f"{share}: inf")
            print(f"{mm} mm, {name}, patch {patches[6]:.4f}:", ", ".join(row), flush=True)


def grids() -> None:
    for name, electrode in ELECTRODES.items():
        for cells in (4, 6, 8, 12):
            patch = patch_of(5, electrode, cells)
            found = {
                (mm, share): factor(mm, share, patch, electrode, cells) for mm, share in ((8, 1), (5, 0.7), (5, 0.6))
            }
            print(f"{name}, {cells} cells, patch {patch:.4f}:", {k: f"{v:.3f}" for k, v in found.items()}, flush=True)


def elements() -> None:
    for name, electrode in ELECTRODES.items():
        for count in (2, 3):

            def by_elements(mm: float, share: float, patch: float, n: int = count, e: Electrode = electrode) -> float:
                s = setting("cold_drawn", 15, mm)
                return RodByElements(mm / 1e3, patch, e, n).joined_s(share * s.current_A, LONGEST * s.weld_s) / s.weld_s

            on_five: Callable[[float], float] = lambda patch, f=by_elements: math.log(f(5, 1, patch))  # noqa: E731
            patch = secant(on_five, 0.31, 0.315)
            found = {(mm, share): by_elements(mm, share, patch) for mm, share in ((8, 1), (5, 0.8), (5, 0.7), (5, 0.6))}
            print(
                f"{name}, {count} elements, patch {patch:.4f}:", {k: f"{v:.3f}" for k, v in found.items()}, flush=True
            )


def unlike() -> None:
    for thin, thick in ((5, 6.25), (5, 8), (5, 12)):
        s = setting("cold_drawn", 15, math.sqrt(thin * thick))
        for name, electrode in ELECTRODES.items():
            rods = CrossedRods(thin / 1e3, thick / 1e3, patch_of(5, electrode, 6), electrode, 6)
            times = {share: rods.joined_s(share * s.current_A, LONGEST * s.weld_s) for share in (1, 0.7, 0.55)}
            print(f"{thin} on {thick} mm, {name}, share of {s.current_A:.0f} A: seconds", times, flush=True)


def setdown() -> None:
    for mm, electrode in ((8, FLAT), (5, GROOVE)):
        patch = patch_of(mm, electrode, 6, 30)
        print(
            f"{mm} mm, 30 %, patch {patch:.4f}:",
            [factor(mm, q, patch, electrode, 6, 30) for q in (0.9, 0.8, 0.7, 0.6, 0.5)],
        )


def joined() -> None:
    s = setting("cold_drawn", 15, 5)
    for at_C in (1000.0, 1200.0, 1400.0):
        patch = calibrated(0.005, s.current_A, s.weld_s, GROOVE, 6, at_C)
        rods = CrossedRods(0.005, 0.005, patch, GROOVE, 6)
        times = [rods.joined_s(q * s.current_A, LONGEST * s.weld_s, at_C) / s.weld_s for q in (0.8, 0.7, 0.6)]
        print(f"joined at {at_C:.0f} degC, patch {patch:.4f}:", times, flush=True)


PARTS = {part.__name__: part for part in (grids, elements, unlike, setdown, joined, fit)}


def main(*names: str) -> None:
    """Print the parts named, or all."""
    for name in names or PARTS:
        print(name)
        PARTS[name]()


if __name__ == "__main__":
    main(*sys.argv[1:])
