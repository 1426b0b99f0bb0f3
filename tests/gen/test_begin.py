"""The interview about a machine of one's own, answered by a script; what `weldbeat new` does with it is in cli/test_interview.

No source outside: the rules of each answer are those of its key in the welder file.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any

import pytest

from gen.ask import Inquiry, NotTaken, Unsure, reply_of
from gen.begin import INQUIRIES, WRITE, implied, interview, machine_files, without_asking, wrong_with
from gen.boards import boards
from gen.machine.welder import WELDER_FILE, Welder
from gen.wiring.current_part import turns_and_burden


class Script:
    """Answers by the question's key, `write` at the summary; an empty one where none is held. Notes what came."""

    def __init__(self, held: dict[str, str], *first: str) -> None:
        self._held, self._first = dict(held), list(first)
        self.keys: list[str] = []
        self.refused: list[str] = []
        self.told: list[str] = []

    def put(self, inquiry: Inquiry) -> Any:
        self.keys.append(inquiry.key)
        while True:
            text = (
                self._first.pop(0)
                if self._first
                else self._held.get(inquiry.key, WRITE if inquiry.key == WRITE else "")
            )
            try:
                return reply_of(inquiry, text)
            except NotTaken as error:
                self.refused.append(str(error))
                if not self._first:
                    self._held.pop(inquiry.key, None)

    def tell(self, text: str) -> None:
        self.told.append(text)
        assert len(self.told) < 20, "the same is told for ever"


def asked(held: dict[str, str], *first: str, given: dict[str, Any] | None = None) -> tuple[Script, dict[str, Any]]:
    script = Script(held, *first)
    return script, interview(script, given or {}, wrong_with)


def file_of(answers: dict[str, Any]) -> tuple[str, Welder]:
    text = machine_files(answers)[WELDER_FILE]
    return text, Welder.model_validate(tomllib.loads(text))


def test_nothing_known_is_a_machine_of_nothing_but_typical_values() -> None:
    """Enter all the way: the file reads, and no line of it gives a figure without saying that nobody gave it."""
    script, answers = asked({})
    assert set(answers.values()) == {Unsure.UNKNOWN}
    assert answers == without_asking({})
    assert len(script.keys) == len(set(script.keys)) <= 20
    text, welder = file_of(answers)
    for line in text.splitlines():
        if re.match(r"\w+ = ", line) and not line.startswith(("rating_from", "offsets_from")):
            assert re.search(r"# (typical|of the detector drawn)", line), line
    assert not {"working_current_A", "shorted_current_A"} & welder.transformer.model_fields_set
    assert "given" not in " ".join(figure.source for _, figure in welder.machine.figures())
    assert "given" not in " ".join(figure.source for _, figure in welder.machine.in_use.figures() if figure)


FULL = {
    "supply": "240v split phase", "breaker": "UL 30", "breaker_band": "150 to 300", "plate": "no", "core": "2inx3in",
    "wire": "10 awg", "turns": "96", "mass": "45 lb", "tapped": "yes", "tap_volts": "1.6 2.0 2.5", "tap": "2",
    "working_current": "35", "working_tap": "3", "shorted_current": "60 A", "shorted_tap": "3",
    "arm_length": "10in", "throat": "100", "arm_diameter": "3/4 in", "steel_in_throat": "y", "electrode_diameter": "1/2in",
    "electrode_length": "40", "electrode_shape": "groove", "groove": "2.5", "alloy": "CuCr1Zr", "alike": "no",
    "lower_electrode_diameter": "16", "lower_electrode_length": "", "lower_electrode_shape": "flat", "lower_face": "8",
    "switch": "scr pair", "switch_current": "55", "detector": "own square", "offset_rise": "120", "offset_fall": "-90",
    "force": "foot lever", "gate_drive": "one-shot", "fitted": "isolator, contactor,residual current device",
    "residual_current": "5", "board": "pico w", "current_transformer": "yes",
}  # fmt: skip


def test_every_answer_reaches_the_file() -> None:
    """Each question is asked once, and what it brought stands in the welder file, in the file's units."""
    script, answers = asked(FULL)
    assert script.refused == []
    skipped = {"voltage", "frequency", "voltage_to_earth", "breaker_marking", "rating_kva", "rating_duty"}
    skipped |= {"open_secondary", "face", "lower_groove", "force_switch"}
    assert set(script.keys) == {inquiry.key for inquiry in INQUIRIES} - skipped | {"write"}
    _, w = file_of(answers)
    assert (w.mains.voltage_V, w.mains.frequency_Hz, w.mains.voltage_to_earth_V) == (240, 60, 120)
    assert w.breaker is not None
    assert (w.breaker.standard, w.breaker.rating_A) == ("UL 489", 30)
    assert (w.breaker.instantaneous_from_A, w.breaker.instantaneous_to_A) == (150, 300)
    t = w.transformer
    assert (t.taps, t.tap, t.working_tap, t.shorted_tap) == ({"1": 1.6, "2": 2.0, "3": 2.5}, "2", "3", "3")
    assert (t.rating_from, t.rating_duty_percent, t.mass_kg) == ("core_and_wire", 100, pytest.approx(20.41, abs=0.01))
    assert w.machine.taps[1].working_primary.low < 35
    assert w.arms is not None
    assert (w.arms.length_mm, w.arms.diameter_mm, w.arms.steel_in_throat) == (254, 19.05, True)
    assert w.electrodes is not None
    upper, lower = w.electrodes.pair
    assert (upper.diameter_mm, upper.groove_radius_mm, upper.alloy) == (12.7, 2.5, "CuCr1Zr")
    assert (lower.diameter_mm, lower.length_mm, lower.face_diameter_mm, lower.alloy) == (16, 40, 8, "CuCr1Zr")
    assert (w.switch.kind, w.switch.rated_current_A) == ("scr_pair", 55)
    assert (w.detector.kind, w.detector.offset_rise_us, w.detector.offset_fall_us) == ("square", 120, -90)
    assert w.detector.offsets_from == "measured"
    assert (w.force.source, w.protection.gate_drive, w.board.name) == ("foot_lever", "one_shot", "pico_w")
    assert w.protection.residual_current_mA == 5
    assert w.current_sense is not None
    turns, burden = turns_and_burden(w, boards()["pico_w"])
    assert (w.current_sense.turns, w.current_sense.burden_ohm, w.current_sense.reading_factor) == (turns, burden, 1)
    assert w.protection.contactor
    assert not w.protection.stop_cuts_contactor


def test_a_force_switch_is_asked_for_with_air_alone() -> None:
    """By hand and foot nobody needs it; the answer stands in the file."""
    script, answers = asked({"force": "air", "force_switch": "yes"})
    assert "force_switch" in script.keys
    assert file_of(answers)[1].force.force_switch
    assert "force_switch" not in asked({"force": "hand"})[0].keys


def test_a_machine_without_a_plate_is_calculated_from_below() -> None:
    """10 awg is 5.26 mm2: at 2 A/mm2 and 240 V that is 2.5 kVA for ever, and the file says how it was found."""
    _, answers = asked({"supply": "240 V split phase", "plate": "no", "wire": "10 awg"})
    text, welder = file_of(answers)
    assert welder.transformer.rating_kVA == pytest.approx(2.5)
    assert "# Calculated: primary's wire, 2 to 3.5 A/mm2: 2.53 to 4.42 kVA." in text


def test_back_goes_back_and_the_summary_changes_one() -> None:
    """An answer taken back is asked again; one changed in the summary brings its own questions, and no others."""
    script, answers = asked({}, "back", "120 V", "C20", "back", "UL 20", "back", "back", "230 V")
    assert script.told == ["This is the first question."]
    assert script.keys[:7] == ["supply", "supply", "breaker", "plate", "breaker", "breaker_band", "breaker"]
    assert answers["supply"] == "230 V"
    order = [inquiry.key for inquiry in INQUIRIES if inquiry.key in without_asking({})]
    number = str(order.index("plate") + 2)
    script, answers = asked({}, *[""] * len(order), number, "yes", "3 kVA", "", "1")
    assert script.keys[len(order) :] == ["write", "plate", "rating_kva", "rating_duty", "write"]
    assert answers["rating_kva"] == 3
    script, answers = asked({}, *[""] * len(order), number, "back", "1")
    assert script.keys[len(order) :] == ["write", "plate", "write"]


def test_answers_that_contradict_are_reported_at_once() -> None:
    """A shorted current below the working one: said before the next question, and asked again."""
    script, answers = asked({"open_secondary": "2.4", "working_current": "30"}, *[""] * 6, "30", "20", "45")
    assert [text.partition(";")[0] for text in script.told] == ["welder.toml: transformer.shorted_current_A: 20 given"]
    assert answers["shorted_current"] == 45


@pytest.mark.parametrize(
    ("key", "text", "words"),
    [
        ("supply", "7up", "a number from 1 to 6, or 120 V, 240 V split phase"),
        ("breaker", "C", "the letter and amperes printed on it, such as C20"),
        ("breaker", "C900", "the letter and amperes printed on it"),
        ("breaker_band", "120", "two numbers from 1 to 5000, such as 120 to 240 A"),
        ("voltage", "2,4", "a decimal comma; write a point: 2.4"),
        ("mass", "2 stone", "units taken here: kg, g, lb"),
        ("wire", "14 ga", "a gauge has several meanings; write swg, awg, mm or in"),
        ("tap_volts", "2.4 1.8", "the lowest first"),
        ("fitted", "isolator, gas lamp", "none, or of a number from 1 to 8, or isolator"),
        ("plate", "maybe", "a number from 1 to 2, or yes, no"),
        ("board", "abacus", "pico"),
    ],
)
def test_what_will_not_do_says_what_will(key: str, text: str, words: str) -> None:
    """Each refusal names what was given and what is allowed."""
    inquiry = next(each for each in INQUIRIES if each.key == key)
    with pytest.raises(NotTaken) as error:
        reply_of(inquiry, text)
    assert words in str(error.value)
    assert "given; allowed: " in str(error.value)


def test_what_is_given_settles_what_it_belongs_to() -> None:
    """A rating has a plate, a core has none, a groove is no flat face."""
    assert implied({"rating_kva": 3})["plate"] is True
    assert implied({"core": (50, 70)})["plate"] is False
    assert implied({"groove": 2.5})["electrode_shape"] == "groove"
    assert implied({"lower_face": 8})["alike"] is False
    script, answers = asked({}, given={"rating_kva": 3.0, "supply": "120 V"})
    assert not {"rating_kva", "supply", "plate"} & set(script.keys)
    assert answers["rating_kva"] == 3


@pytest.mark.parametrize("supply", ["120 V", "208 V", "240 V split phase", "230 V", "400 V"])
@pytest.mark.parametrize("detector", ["square", "pulse"])
def test_offsets_are_those_of_the_detector_that_is_chosen(supply: str, detector: str) -> None:
    """Within the band of `weldbeat choose` for the same machine, and said to be of the parts."""
    from gen.boards import boards
    from gen.wiring.signal_parts import detector as detector_of

    _, welder = file_of(without_asking({"supply": supply, "detector": detector}))
    values, chosen = detector_of(welder, boards()["pico"])
    assert values.offset_rise_us.low < welder.detector.offset_rise_us < values.offset_rise_us.high
    assert values.offset_fall_us.low < welder.detector.offset_fall_us < values.offset_fall_us.high
    assert welder.detector.offsets_from == "parts"
    assert not any("outside the band" in note for note in chosen.notes)
