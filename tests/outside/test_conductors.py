"""The table of conductors against the two standards it is drawn from, and against the rule of the wire gauge.

Outside: IEC 60364-5-52 (copper, PVC, method B1, two loaded conductors, 30 degC) and NEC table 310.16 (copper, 75 degC) with
240.4(D), both from memory; ASTM B258 for the gauge's diameter.
"""

from __future__ import annotations

import math

import pytest

from gen.boards import boards
from gen.wiring.power_parts import CONDUCTORS, WireSize
from gen.wiring.upgrade import upgrade
from tests.support.machines import known_welder
from tests.support.wiring.upgrade_machines import MACHINES, chosen

IEC_A = {1.5: 17.5, 2.5: 24, 4: 32, 6: 41, 10: 57, 16: 76, 25: 101, 35: 125, 50: 151, 70: 192, 95: 232}
NEC_A = {
    "14": 15, "12": 20, "10": 30, "8": 50, "6": 65, "4": 85, "3": 100, "2": 115, "1": 130, "1/0": 150, "2/0": 175, "3/0": 200,
    "4/0": 230,
}  # fmt: skip


def gauge_mm2(awg: str) -> float:
    """Section of a solid wire: 0.127 mm times 92 to the power of (36 - n) / 39; 1/0 is n = 0, 2/0 n = -1 and so on."""
    number = 1 - int(awg.partition("/")[0]) if "/" in awg else int(awg)
    return math.pi / 4 * (0.127 * 92 ** ((36 - number) / 39)) ** 2


@pytest.mark.parametrize("row", CONDUCTORS, ids=lambda row: row.gauge)
def test_each_column_is_enough_by_itself(row: WireSize) -> None:
    """The current is what the lesser of the two standards allows, and the gauge has no less copper than the section."""
    assert row.most_A == pytest.approx(min(IEC_A[row.mm2], NEC_A[row.awg]))
    assert gauge_mm2(row.awg) >= row.mm2


def test_rows_rise_and_none_is_needlessly_thick() -> None:
    """Ascending in all columns, and the next thinner gauge has less copper than the section or carries less."""
    assert list(CONDUCTORS) == sorted(CONDUCTORS, key=lambda row: row.most_A)
    gauges = list(NEC_A)
    for row in CONDUCTORS[1:]:
        thinner = gauges[gauges.index(row.awg) - 1]
        assert gauge_mm2(thinner) < row.mm2 or NEC_A[thinner] < row.most_A


def test_small_wires_too() -> None:
    """Every gauge of a wire list has no less copper than the section beside it."""
    for tables in MACHINES.values():
        welder = known_welder(**tables)
        for wire in upgrade(welder, boards()["pico"].with_pins(welder.board.pins), chosen(welder)).wires:
            section, slash, gauge = wire.kind.gauge.partition(" mm2 / ")
            if slash:
                assert gauge_mm2(gauge.removesuffix(" AWG")) >= float(section), wire
