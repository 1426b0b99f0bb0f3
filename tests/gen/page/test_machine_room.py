"""The machine room: the welder file as a form, in the command line's own words, with all that is not typed left as it was."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest

from gen.begin import demo_files, machine_files, without_asking
from gen.begin.interview import course
from gen.errors import InputError
from gen.job import find_welder
from gen.machine.tables import WelderTables
from gen.page.computed import described
from gen.page.labels import words_and_unit
from gen.page.rooms.machine import _heard
from gen.page.texts import table
from gen.page.welder_form import edited, form_of, place_of
from tests.support.cli.command_line import typed
from tests.support.page.open_page import OpenPage, example, fields_of, open_page


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenPage]:
    with open_page(example(tmp_path_factory.mktemp("machine"))) as opened:
        yield opened


@pytest.fixture
def page(served: OpenPage) -> OpenPage:
    example(served.folder)
    return served


def file(page: OpenPage) -> Path:
    return page.folder / "welder.toml"


def fields(page: OpenPage) -> dict[str, str]:
    return fields_of(page.get("/machine").text)


def test_every_table_of_the_welder_file_has_its_name() -> None:
    """So that a table which the file gains does not leave the page without one."""
    assert [name for name in WelderTables.model_fields if f"table.{name}" not in table()] == []


def test_every_key_stands_as_words_with_its_unit_behind(page: OpenPage) -> None:
    for each in (each for part in form_of(file(page).read_text(), file(page)) for each in part.fields):
        assert each.words
        assert not re.search(r" (V|A|kVA|kg|mm|ms|us|ohm|percent|C|deg|W|K)$", each.words), each.key
    assert words_and_unit("source_inductance_mH") == ("source inductance", "mH")
    assert words_and_unit("commutating_dv_dt_V_per_us") == ("commutating dv dt", "V/µs")
    assert words_and_unit("rating_from") == ("rating from", "")
    assert "230 V, 50 Hz, 0.35 ohm, 0.5 mH" in page.get("/machine").text


def test_an_untouched_form_leaves_the_file_as_it_is(page: OpenPage) -> None:
    before = file(page).read_bytes()
    assert "Saved" in page.post("/machine/save", fields(page)).text
    assert file(page).read_bytes() == before


def test_every_key_of_a_machine_of_ones_own_comes_back(tmp_path: Path) -> None:
    text = machine_files(without_asking({"voltage": 400.0, "rating_kva": 7.5, "fitted": ("isolator",)}))["welder.toml"]
    given = {each.name: each.value for table in form_of(text, tmp_path) for each in table.fields}
    assert edited(text, given, tmp_path) == text
    marked = {each.name for table in form_of(text, tmp_path) for each in table.fields if each.marked}
    assert "mains.frequency_Hz" in marked
    assert not {"mains.voltage_V", "transformer.rating_kVA"} & marked


def test_what_follows_stands_beside(page: OpenPage) -> None:
    answer = unescape(page.post("/machine/turn", fields(page)).text)
    for name, figure in find_welder(file(page)).machine.figures():
        assert f"<td>{name}</td>" in answer
        assert figure.text in answer
    other = unescape(page.post("/machine/turn", fields(page) | {"transformer.shorted_current_A": "33"}).text)
    assert "from shorted_current_A = 33" in other


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("mains.voltage_V", "12"),
        ("mains.voltage_V", "a lot"),
        ("transformer.rating_duty_percent", "3"),
        ("transformer.open_secondary_V", "300"),
        ("transformer.taps", "{low = 1}"),
        ("limits.longest_weld", "3 hours"),
        ("switch.foster", "[[1]]"),
        ("force.source", ""),
        ("board.name", ""),
    ],
)
def test_what_is_refused_stands_under_its_field_in_the_command_lines_words(
    page: OpenPage, key: str, value: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    answer = page.post("/machine/turn", fields(page) | {key: value}).text
    texts = {part.partition('"')[0]: part for part in answer.split('<p class="error" id="f')[1:]}
    under = {name: unescape(part.partition('">')[2].partition("</p>")[0]) for name, part in texts.items()}
    said = [words for words in under.values() if words]
    assert len(said) == 1
    monkeypatch.chdir(tmp_path)
    (tmp_path / "welder.toml").write_text(edited(file(page).read_text(), {key: value}, file(page)))
    assert typed(["describe"]).err == f"weldbeat: {said[0]}\n"


def test_every_field_is_refused_in_the_command_lines_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What no key may be, in each in turn: the message is of that field, and is the one that the command prints."""
    monkeypatch.chdir(tmp_path)
    text, path = demo_files()["welder.toml"], Path("welder.toml")
    form, besides = form_of(text, path), []
    for each in (each for part in form for each in part.fields):
        changed = edited(text, {each.name: "-1e9"}, path)
        with pytest.raises(InputError) as refused:
            described(changed, path)
        path.write_text(changed)
        assert typed(["describe"]).err == f"weldbeat: {refused.value}\n"
        if place_of(refused.value, form) != each.name:
            besides.append(each.name)
    # This file has neither table: one that begins with another key lacks its first key first.
    lacking = [f"current_sense.{key}" for key in ("burden_ohm", "reading_factor", "end_at_expulsion")]
    lacking += [
        f"shorted_loop.{key}" for key in ("impedance_max_ohm", "angle_min_deg", "angle_max_deg", "gates_late_us", "tap")
    ]
    assert besides == lacking


def test_saving_keeps_comments_and_gives_a_key_in_its_place(page: OpenPage) -> None:
    before = file(page).read_text()
    answer = page.post("/machine/save", fields(page) | {"breaker.other_load_A": "3", "transformer.mass_kg": "15.5"})
    assert "Saved" in answer.text
    wanted = before.replace("# other_load_A = 0  # typical", "other_load_A = 3").replace(
        "mass_kg = 14", "mass_kg = 15.5"
    )
    assert file(page).read_text() == wanted


def test_a_typical_value_that_is_typed_anew_is_typical_no_longer(tmp_path: Path) -> None:
    text = machine_files(without_asking({}))["welder.toml"]
    changed = edited(text, {"mains.voltage_V": "240"}, tmp_path)
    assert "voltage_V = 240\n" in changed
    assert re.search(r"^voltage_V = 230\b.*# typical", text, re.MULTILINE)


def test_a_machine_that_cannot_be_is_not_saved(page: OpenPage) -> None:
    before = file(page).read_bytes()
    assert page.post("/machine/save", fields(page) | {"mains.voltage_V": "12"}).status == 422
    assert file(page).read_bytes() == before


def test_a_change_by_an_editor_is_not_overwritten(page: OpenPage) -> None:
    opened = fields(page)
    file(page).write_text(file(page).read_text() + "# by an editor\n")
    assert "Another program has changed this file" in page.post("/machine/turn", opened).text
    assert "was changed by another program" in page.post("/machine/save", opened | {"mains.voltage_V": "235"}).text
    assert file(page).read_text().endswith("# by an editor\n")


def test_a_folder_without_a_welder_file_offers_to_make_one(tmp_path: Path) -> None:
    with open_page(tmp_path) as page:
        assert page.get("/").headers["location"] == "/machine"
        first = page.get("/machine").text
        assert "holds no welder file yet" in first
        assert 'name="rating_kva"' not in first
        plate = page.post("/machine/ask", fields_of(first) | {"plate": "yes"}).text
        wrong = page.post("/machine/ask", fields_of(plate) | {"rating_kva": "a lot"}).text
        assert "allowed: a number from 0.05 to 500" in unescape(wrong)
        refused = page.ask("POST", "/machine/new", fields_of(plate) | {"rating_kva": "a lot"})
        assert refused.status == 422
        assert not list(tmp_path.iterdir())
        told = fields_of(plate) | {"supply": "400 V", "rating_kva": "7.5", "fitted.isolator": "on"}
        assert page.ask("POST", "/machine/new", told).status == 303
        welder = find_welder(tmp_path / "welder.toml")
        assert (welder.mains.voltage_V, welder.transformer.rating_kVA, welder.protection.isolator) == (400, 7.5, True)
        assert (tmp_path / "first-weld.toml").exists()
        assert page.ask("POST", "/machine/new", told | {"supply": "230 V"}).status == 422
        assert find_welder(tmp_path / "welder.toml").mains.voltage_V == 400


def test_the_questions_are_those_of_the_command_line() -> None:
    """The page asks by the interview's own course, so that one answer brings the same questions here and there."""
    put, answers = _heard({"supply": "230 V", "tapped": "yes", "tap_volts": "1.8 2.4"})
    assert [each.inquiry.key for each in put] == [inquiry.key for inquiry in course(answers)]
    assert not [each.wrong for each in put if each.wrong and each.inquiry.meanwhile]
