"""Measures as a bench writes them. Sources: the inch is 25.4 mm and the pound 0.45359237 kg by treaty (1959)."""

from __future__ import annotations

import math

import pytest

from gen.ask import NotTaken, value_of
from gen.errors import meant
from gen.joint import Joint
from gen.machine.tables import Protection, Transformer
from gen.quantities import NoQuantity, measure, parts


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("1/4in", "mm", 6.35),
        ("1 1/4 in", "mm", 31.75),
        ('1-1/4"', "mm", 31.75),
        ("5", "mm", 5),
        ("0.2 cm", "mm", 2),
        ("8 swg", "mm", 4.064),  # 0.160 in, British tables, from memory
        ("18SWG", "mm", 1.2192),
        ("10 awg", "mm", 2.5882),  # 0.1019 in, ASTM B258, from memory
        ("50 kg", "N", 490.3325),
        ("50kgf", "N", 490.3325),
        ("400lb", "N", 1779.289),
        ("45 lb", "kg", 20.41166),
        ("120V", "V", 120),
        ("2.5 kVA", "kVA", 2.5),
        ("2500 VA", "kVA", 2.5),
        ("1.6 kA", "A", 1600),
        ("50%", "percent", 50),
        ("-1.5e2", "us", -150),
    ],
)
def test_a_measure_is_read(text: str, unit: str, value: float) -> None:
    """Each in the unit of its key."""
    assert measure(text, unit) == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("2,4", "V", "a decimal comma; write a point: 2.4"),
        ("5 stone", "kg", "units taken here: kg, g, lb"),
        ("16 ga", "mm", "a gauge has several meanings"),
        ("31 swg", "mm", "swg goes from 0 to 30"),
        ("1/0", "A", "over 0"),
        ("many", "A", ""),
        ("1 5", "A", ""),
    ],
)
def test_what_is_no_measure_says_why(text: str, unit: str, words: str) -> None:
    """And nothing where nobody can tell."""
    with pytest.raises(NoQuantity) as error:
        measure(text, unit)
    assert words in str(error.value)


def test_awg_is_a_geometric_row() -> None:
    """ASTM B258: 39 steps from 0.46 in (0000) to 0.005 in (36) less three; from 0 to 36 is 36/39 of the logarithm."""
    assert measure("36 awg", "mm") == pytest.approx(0.127)
    assert math.log(measure("0 awg", "mm") / measure("36 awg", "mm")) == pytest.approx(36 / 39 * math.log(92), rel=1e-4)


def test_lists_names_and_flags() -> None:
    """`5x8`, spaces for underscores, yes for true."""
    assert parts("5x8") == parts("5, 8") == parts("5 on 8") == parts("5 X 8") == ["5", "8"]
    assert parts("1/4in,8 mm") == ["1/4in", "8 mm"]
    assert value_of(Joint, "finish")("Cold drawn") == "cold_drawn"
    assert value_of(Joint, "force_N")("50 kg") == pytest.approx(490.3325)
    assert value_of(Protection, "isolator")("yes") is True
    with pytest.raises(NotTaken, match=r"write a point: 2\.4"):
        value_of(Transformer, "open_secondary_V")("2,4 V")


def test_what_was_meant() -> None:
    """A near name and no far one; dashes and endings do not make things alike."""
    assert meant("simulat", ["simulate", "sweep"]) == "did you mean simulate?"
    assert meant("--repor", ["--report", "--seed"]) == "did you mean --report?"
    assert meant("jib.toml", ["job.toml", "welder.toml"]) == "did you mean job.toml?"
    assert meant("other.toml", ["welder.toml"]) == ""
    assert meant("--force", ["--pace"]) == ""
