"""Another code on the same welds: finite elements (scikit-fem) against the finite volumes of sim/joint.

Current crowds at the rims of what touches, so that both near the answer in proportion to their cells, from either side: the
elements are taken at no size, from two meshes. The grid of the sheets is as it is used; of rods there is a finer one as well.
"""

from __future__ import annotations

import numpy as np
import pytest

from sim.joint.field import current, even, heated, no_contact
from sim.joint.metals import LOW_CARBON_STEEL, METALS, Array
from sim.joint.rods import RodCross, RodMesh, rod_mesh
from sim.joint.sheets import SheetMesh, SheetStack, sheet_mesh

COPPER = METALS["CuCr1Zr"]


def _at_no_size(coarse: int, fine: int, values: tuple[Array, Array]) -> Array:
    """From two meshes, where the error goes by one over the elements."""
    first, second = values
    return second + (second - first) * (1 / fine) / (1 / coarse - 1 / fine)


def _welded(made: SheetMesh | RodMesh, current_A: float, steps_s: Array) -> tuple[Array, float]:
    mesh, none, volts = made.mesh, no_contact(made.mesh), None
    warmth, ohm = even(made.metal, mesh.cells, 20.0), 0.0
    for step_s in steps_s:
        field = current(mesh, made.metal.resistivity_ohm_m(warmth.at_C), none, volts)
        volts, ohm = field.volts, field.ohm
        warmth = heated(mesh, made.metal, warmth, field.cell_ohm * current_A**2, step_s, none).warmth
    return warmth.at_C, ohm


def test_two_sheets() -> None:
    """10 kA through two 1 mm sheets of steel for 0.25 s: middle of the joint, under the electrode, and resistance."""
    stack = SheetStack((1e-3, 1e-3), LOW_CARBON_STEEL, COPPER, 0.006, 0.008, slope=0.0, body_m=0.006)
    steps = np.full(10, 0.025)
    from tests.support.outside.joint_by_elements import SheetsByElements  # scikit-fem takes long to read

    by_elements = [np.array(SheetsByElements(stack, each).welded(10e3, steps)) for each in (5, 8)]
    joint, tip, ohm = _at_no_size(5, 8, (by_elements[0], by_elements[1]))
    made = sheet_mesh(stack)
    at_C, found_ohm = _welded(made, 10e3, steps)
    row = int(np.flatnonzero(made.sheet == 1)[0])
    under = int(np.flatnonzero(made.sheet == 1)[-1])
    assert at_C[made.number[row - 1 : row + 1, 0]].mean() == pytest.approx(joint, rel=0.02)
    assert at_C[made.number[under : under + 2, 0]].mean() == pytest.approx(tip, rel=0.03)
    assert found_ohm == pytest.approx(ohm, rel=0.03)


def test_two_crossed_rods() -> None:
    """3.3 kA through two 5 mm rods sunk by 15 %, for 0.3 s: mean temperature of the patch."""
    cross = RodCross((5e-3, 5e-3), LOW_CARBON_STEEL, COPPER, (0.15, 0.15), (5e-3, 5e-3))
    steps = np.full(3, 0.1)
    from tests.support.outside.joint_by_elements import RodByElements  # scikit-fem takes long to read

    by_elements = [np.array(RodByElements(cross, 0.15 * 5e-3, each, fins=2).welded(3300, steps)) for each in (3, 5)]
    patch_C, _ = _at_no_size(3, 5, (by_elements[0], by_elements[1]))
    for cells, within in ((14, 0.02), (6, 0.04)):  # a fine grid, and the one that is used
        made = rod_mesh(cross, 0.15 * 5e-3, cells)
        at_C, _ = _welded(made, 3300 / 4, steps)
        near, far = (at_C[part[made.patch]] for part in (made.mesh.left, made.mesh.right))
        found_C = float(np.average((near + far) / 2, weights=made.mesh.face_m2[made.patch]))
        assert found_C == pytest.approx(patch_C, rel=within)
