"""The secondary loop against field theory that shares none of its formulas.

Sources: Neumann's integral (any textbook of electromagnetics), integrated by SciPy; R. Dengler, "Self inductance of a
wire loop as a curve integral" (arXiv 1204.1486), integrated by SciPy; SciPy's own Bessel functions; the skin effect of a
thick bar by its textbook limit. Resistivity of copper: IACS handbook value.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import jv

from gen.machine.inductance import MU_0, RESISTIVITY, Conductor, internal_impedance, loop_of, rectangle_inductance_H
from gen.machine.tables import Arms, ElectrodeApart, Electrodes

COPPER = RESISTIVITY["Cu-ETP"]
ARMS = Arms(length_mm=250, throat_mm=100, diameter_mm=20)
ELECTRODES = Electrodes(diameter_mm=12, length_mm=40)
Corners = list[tuple[float, float, float]]


def rectangle(a: float, b: float, inset: float = 0.0, height: float = 0.0) -> Corners:
    return [
        (inset, inset, height), (a - inset, inset, height), (a - inset, b - inset, height), (inset, b - inset, height),
    ]  # fmt: skip


def sides(corners: Corners) -> list[tuple[np.ndarray, np.ndarray]]:
    points = [np.array(corner) for corner in corners]
    return list(zip(points, points[1:] + points[:1], strict=True))


def potential(point: np.ndarray, start: np.ndarray, end: np.ndarray, cut: float) -> float:
    """Integral of 1 / distance along a straight line, seen from `point`; on the line itself, beyond `cut` only."""
    length = float(np.linalg.norm(end - start))
    along = float((point - start) @ (end - start)) / length
    across = math.sqrt(max(0.0, float((point - start) @ (point - start)) - along**2))
    if across > 1e-6:
        return math.asinh((length - along) / across) + math.asinh(along / across)
    return sum(math.log(reach / cut) for reach in (length - along, along) if reach > cut)


def neumann_H(one: Corners, other: Corners, cut: float = 0.0) -> float:
    """Neumann's integral of two loops: the inner integral along a straight line is exact, the outer one SciPy's."""
    total = 0.0
    for (p, q), (s, e) in itertools.product(sides(one), sides(other)):
        length = float(np.linalg.norm(q - p))
        direction = (q - p) / length
        cosine = float(direction @ ((e - s) / np.linalg.norm(e - s)))
        if abs(cosine) > 1e-12:
            kinks = [cut, length - cut] if cut else None

            def seen(
                t: float, p: np.ndarray = p, d: np.ndarray = direction, s: np.ndarray = s, e: np.ndarray = e
            ) -> float:
                return potential(p + t * d, s, e, cut)

            total += cosine * quad(seen, 0, length, limit=200, points=kinks)[0]
    return MU_0 / (4 * math.pi) * total


def ring_of_filaments_H(a: float, b: float, radius: float, count: int = 12) -> float:
    """A tube bent to a mitred rectangle, as `count` filaments that share its current.

    Their own radius is such that a ring of them has the geometric mean distance of a thin tube, which is its radius.
    """
    angles = [2 * math.pi * n / count for n in range(count)]
    loops = [rectangle(a, b, radius * math.cos(t), radius * math.sin(t)) for t in angles]
    pairs = itertools.product(range(count), repeat=2)
    each = (neumann_H(loops[i], loops[j], radius / count / 2 if i == j else 0.0) for i, j in pairs)
    return sum(each) / count**2


def grover_H(a: float, b: float, radius: float) -> float:
    side_a, side_b = [Conductor(a, radius, COPPER)], [Conductor(b, radius, COPPER)]
    return rectangle_inductance_H(side_a, side_b, side_b)


@pytest.mark.parametrize(("a", "b", "radius"), [(0.25, 0.12, 0.002), (0.25, 0.12, 0.01), (0.6, 0.2, 0.0125)])
def test_rectangle_against_neumann(a: float, b: float, radius: float) -> None:
    """A tube in filaments, corners and all. Grover's sides end at the axes' corners: thick arms differ by a few per cent."""
    assert grover_H(a, b, radius) == pytest.approx(ring_of_filaments_H(a, b, radius), rel=0.04)


def test_thin_wire_converges() -> None:
    """Dengler: Neumann's integral of the axis with itself, beyond half the radius. The thinner, the nearer."""
    off = []
    for radius in (0.01, 0.001, 0.0001):
        exact = neumann_H(rectangle(0.3, 0.15), rectangle(0.3, 0.15), cut=radius / 2)
        off.append(abs(grover_H(0.3, 0.15, radius) / exact - 1))
    assert off[0] > off[1] > off[2]
    assert off[2] < 1e-4


def test_a_stepped_side_lies_between_its_radii() -> None:
    """A side of two thicknesses, half and half, has the inductance of their geometric mean."""
    side_a, thick = [Conductor(0.25, 0.01, COPPER)], [Conductor(0.12, 0.01, COPPER)]
    stepped = [Conductor(0.06, 0.004, COPPER), Conductor(0.06, 0.01, COPPER)]
    mean = [Conductor(0.12, math.sqrt(0.004 * 0.01), COPPER)]
    found = rectangle_inductance_H(side_a, thick, stepped)
    assert found == pytest.approx(rectangle_inductance_H(side_a, thick, mean))
    thin = [Conductor(0.12, 0.004, COPPER)]
    assert rectangle_inductance_H(side_a, thick, thick) < found < rectangle_inductance_H(side_a, thick, thin)


@pytest.mark.parametrize("radius_mm", [1, 6, 12.5, 40, 80])
@pytest.mark.parametrize("frequency_Hz", [50, 60])
def test_round_bar_against_scipys_bessel_functions(radius_mm: float, frequency_Hz: int) -> None:
    """Internal impedance of a round bar, the textbook's solution, from another implementation of J0 and J1."""
    bar = Conductor(1.0, radius_mm * 1e-3, COPPER)
    k = (1 - 1j) * math.sqrt(math.pi * frequency_Hz * MU_0 / COPPER)
    z = k * COPPER / (2 * math.pi * bar.radius_m) * jv(0, k * bar.radius_m) / jv(1, k * bar.radius_m)
    assert internal_impedance(bar, frequency_Hz) == pytest.approx(complex(z), rel=1e-6)


def test_round_bar_at_its_limits() -> None:
    """Thin: the resistance of its area and mu0 / 8 pi of inductance a metre. Thick: as if one skin depth carried all."""
    thin = internal_impedance(Conductor(1.0, 0.0005, COPPER), 50)
    assert thin.real == pytest.approx(COPPER / (math.pi * 0.0005**2), rel=1e-4)
    assert thin.imag == pytest.approx(2 * math.pi * 50 * MU_0 / (8 * math.pi), rel=1e-4)
    skin = math.sqrt(COPPER / (math.pi * 50 * MU_0))
    assert skin == pytest.approx(9.35e-3, rel=0.01)  # copper at 50 Hz, handbook value
    thick = internal_impedance(Conductor(1.0, 0.08, COPPER), 50)
    assert thick.real == pytest.approx(COPPER / (2 * math.pi * 0.08 * skin), rel=0.08)


def test_arms_of_a_bench_machine() -> None:
    """250 mm arms of 20 mm, 100 mm apart: a third of a microhenry, 0.1 milliohm."""
    loop = loop_of(ARMS, None, 50)
    external = ring_of_filaments_H(0.25, 0.12, 0.01)
    internal = (0.25 * 2 + 0.12) * MU_0 / (8 * math.pi)
    assert loop.reactance_ohm == pytest.approx(2 * math.pi * 50 * (external + internal), rel=0.04)
    direct = COPPER * (0.25 * 2 + 0.12) / (math.pi * 0.01**2)
    assert direct <= loop.resistance_ohm <= 1.1 * direct  # crowding in 20 mm at 50 Hz: a few per cent


def test_what_enlarges_the_loop() -> None:
    """Longer arms, a wider gap, thinner, longer or offset electrodes: each raises both (common practice, no source)."""
    base = loop_of(ARMS, ELECTRODES, 50)
    for arms, electrodes in (
        (ARMS.model_copy(update={"length_mm": 300}), ELECTRODES),
        (ARMS.model_copy(update={"throat_mm": 120}), ELECTRODES),
        (ARMS, ELECTRODES.model_copy(update={"diameter_mm": 10})),
        (ARMS, ELECTRODES.model_copy(update={"length_mm": 50})),
        (ARMS, ELECTRODES.model_copy(update={"offset_mm": 20})),
    ):
        other = loop_of(arms, electrodes, 50)
        assert other.resistance_ohm > base.resistance_ohm
        assert other.reactance_ohm > base.reactance_ohm
    assert loop_of(ARMS, ELECTRODES, 60).reactance_ohm > 1.19 * base.reactance_ohm
    alloy = loop_of(ARMS, ELECTRODES.model_copy(update={"alloy": "CuCr1Zr"}), 50)
    ratio = RESISTIVITY["CuCr1Zr"] / COPPER
    assert alloy.shank_resistance_ohm / base.shank_resistance_ohm == pytest.approx(ratio, rel=0.02)


def test_rosa_rectangle_of_two_metres_by_one() -> None:
    """E. B. Rosa, "The self and mutual inductances of linear conductors", Bulletin of the Bureau of Standards 4 (1908).

    His example, from memory: a rectangle of 200 by 100 cm of wire of 0.1 cm radius, low frequency, 8017.1 cm (8.017
    microhenries); the wire's inside, mu0 / 8 pi a metre, included.
    """
    long, short = Conductor(2.0, 0.001, COPPER), Conductor(1.0, 0.001, COPPER)
    inside_H = MU_0 / (8 * math.pi) * 6.0
    assert rectangle_inductance_H([long], [short], [short]) + inside_H == pytest.approx(8.0171e-6, rel=2e-4)


def test_unlike_electrodes_lie_between_two_like_pairs() -> None:
    """Upper and lower each count with their own length, thickness and alloy: half of what a change of both would do.

    To first order, by the formula's sum over stretches; no source beyond it.
    """
    base = loop_of(ARMS, ELECTRODES, 50)
    for key, value in (("diameter_mm", 10), ("length_mm", 44), ("alloy", "CuCr1Zr")):
        both = loop_of(ARMS, ELECTRODES.model_copy(update={key: value}), 50)
        for side in ("upper", "lower"):
            one = loop_of(ARMS, ELECTRODES.model_copy(update={side: ElectrodeApart(**{key: value})}), 50)
            for impedance in ("resistance_ohm", "reactance_ohm", "shank_resistance_ohm"):
                half = (getattr(base, impedance) + getattr(both, impedance)) / 2
                assert getattr(one, impedance) == pytest.approx(half, rel=1e-3)
