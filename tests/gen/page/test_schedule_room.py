"""The schedule room as a browser uses it: what is turned is redrawn and judged, saving keeps what is not the form's."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from html import escape
from pathlib import Path

import pytest

from gen.cli.show import table_text
from gen.job import read_job
from gen.page.folder import Changed, Folder
from gen.page.schedule_form import edited, form_of, with_phase, without_phase
from sim.report.timeline import ScheduleMark, draw_timeline
from sim.run import paced, run
from sim.verdict.electrics import inrush
from tests.support.page.open_page import OpenPage, example, fields_of, open_page

AT = "/schedule/boot-scraper"


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenPage]:
    with open_page(example(tmp_path_factory.mktemp("machine"))) as opened:
        yield opened


@pytest.fixture
def page(served: OpenPage) -> OpenPage:
    example(served.folder)
    for other in served.folder.glob("*.toml"):
        if other.stem not in ("welder", "boot-scraper"):
            other.unlink()
    return served


def fields(page: OpenPage) -> dict[str, str]:
    return fields_of(page.get(AT).text)


def file(page: OpenPage) -> Path:
    return page.folder / "boot-scraper.toml"


def test_an_untouched_form_leaves_the_file_as_it_is(page: OpenPage) -> None:
    before = file(page).read_bytes()
    assert "Saved" in page.post(f"{AT}/save", fields(page)).text
    assert file(page).read_bytes() == before


def test_what_is_turned_is_drawn_as_the_report_draws_the_file_that_it_would_be(page: OpenPage, tmp_path: Path) -> None:
    answer = page.post(f"{AT}/turn", fields(page) | {"2.weld": "30", "2.current_percent": "70"})
    example(tmp_path)
    other = tmp_path / "boot-scraper.toml"
    other.write_text(
        other.read_text().replace('"45 cycles"', '"30 cycles"').replace("current_percent = 85", "current_percent = 70")
    )
    job = read_job(other, tmp_path / "welder.toml")
    place = inrush(paced(job, 4)).half_cycle  # what is beyond its limit is marked besides
    assert place is not None
    assert draw_timeline(job.table, 800, "timeline-this-wide", [ScheduleMark(place, "inrush")]) in answer.text
    assert '"45 cycles"' in file(page).read_text()  # nothing is written yet


def test_current_is_in_the_unit_of_the_table_and_the_report(page: OpenPage) -> None:
    """Thousands of amperes as kA, as `weldbeat show` and the report print them, with the same figures."""
    job = read_job(file(page), page.folder / "welder.toml")
    answer = page.post(f"{AT}/turn", fields(page)).text
    assert "Delivers, kA secondary" in answer
    said = table_text(job)
    assert "delivers, kA" in said
    span = r"\d+\.\d+ to \d+\.\d+"
    shown = set(re.findall(f"<td>({span})</td>", answer))
    # The steps of a slope are one row of the page; the others are the table's own.
    assert shown & set(re.findall(span, said))


def test_the_verdict_is_that_of_the_command_line(page: OpenPage) -> None:
    wanted = run(read_job(file(page), page.folder / "welder.toml"), 4, seed=0).verdict
    answer = page.post(f"{AT}/verdict", fields(page))
    assert wanted.word.capitalize() in answer.text
    for finding in wanted.findings:
        if finding.severity != "passed":
            assert escape(finding.advice) in answer.text


def test_a_pace_beyond_duty_is_refused_on_the_page_too(page: OpenPage) -> None:
    answer = page.post(f"{AT}/turn", fields(page) | {"pace": "20", "2.weld": "100", "2.current_percent": "100"})
    assert "refused: duty" in answer.text
    assert "Refused" in page.post(f"{AT}/verdict", fields(page) | {"pace": "20", "2.weld": "100"}).text


def test_what_is_beyond_its_limit_is_marked_where_it_happens(page: OpenPage) -> None:
    """On the picture at once, and once the firmware has run with what only the run knows; on no other schedule's picture."""
    low = fields(page) | {"1.current_percent": "35"}
    turned, verdict = page.post(f"{AT}/turn", low).text, page.post(f"{AT}/verdict", low).text
    named = r'<div id="(picture-[^"]+)"'
    assert re.findall(named, turned) == re.findall(named, verdict)
    for answer in (turned, verdict):
        assert ">low-current" in picture_of(answer)
    other = page.post(f"{AT}/turn", low | {"1.current_percent": "45"}).text
    assert re.findall(named, other) != re.findall(named, turned)
    assert ">low-current" not in picture_of(other)


def picture_of(answer: str) -> str:
    return answer.partition('id="picture-')[2].partition("figcaption")[0]


def test_no_verdict_stands_beside_what_is_no_schedule(page: OpenPage) -> None:
    answer = page.post(f"{AT}/turn", fields(page) | {"2.current_percent": "120"}).text
    assert "No verdict: the form holds no valid schedule" in answer.partition('<section id="verdict"')[2]


@pytest.mark.parametrize(
    ("typed", "slot", "words"),
    [
        ({"2.weld": "abc"}, "f2-weld", "phase 3: weld: &#34;abc cycles&#34; given; allowed: a number above 0"),
        ({"2.weld": ""}, "f2-weld", "phase 3: weld"),
        ({"2.weld": "7", "2.weld.unit": "half-cycles"}, "f2-weld", "an even number of half-cycles"),
        ({"2.current_percent": "120"}, "f2-current_percent", "120 given; allowed: a number from 1 to 100"),
        ({"2.current_percent": "nan"}, "f2-current_percent", "allowed: a number from 1 to 100"),
        ({"2.upslope_from_percent": "90"}, "f2-upslope_from_percent", "less than current_percent (85)"),
        ({"1.repeat": "2.5"}, "f1-repeat", "a whole number from 1 to 20"),
        ({"1.cool": ""}, "f1-repeat", "without cool this would be one long pulse"),
        ({"pace": "1000"}, "fpace", "1000 given; allowed: a number from 0.1 to 120"),
    ],
)
def test_what_is_refused_stands_under_its_field_in_the_command_lines_words(
    page: OpenPage, typed: dict[str, str], slot: str, words: str
) -> None:
    answer = page.post(f"{AT}/turn", fields(page) | typed).text
    below = answer.partition(f'id="{slot}-error"')[2].partition("</p>")[0]
    assert words in below


def test_a_wrong_schedule_is_not_saved(page: OpenPage) -> None:
    before = file(page).read_bytes()
    answer = page.post(f"{AT}/save", fields(page) | {"2.current_percent": "120"})
    assert answer.status == 422
    assert "allowed: a number from 1 to 100" in answer.text
    assert file(page).read_bytes() == before


def test_saving_keeps_comments_and_layout(page: OpenPage) -> None:
    before = file(page).read_text()
    page.post(f"{AT}/save", fields(page) | {"1.pulse": "3", "2.weld": "0.6", "2.weld.unit": "s", "2.upslope": ""})
    after = file(page).read_text()
    wanted = before.replace('"2 cycles"  # beds', '"3 cycles"  # beds').replace('"45 cycles"', '"0.6 s"')
    assert after == wanted.replace('upslope = "5 cycles"\n', "")


def test_a_change_by_an_editor_is_shown_and_not_overwritten(page: OpenPage) -> None:
    opened = fields(page)
    text = file(page).read_text().replace('"25 cycles"', '"33 cycles"')
    file(page).write_text(text)
    assert "Another program has changed this file" in page.post(f"{AT}/turn", opened).text
    answer = page.post(f"{AT}/save", opened | {"2.weld": "20"})
    assert "was changed by another program" in answer.text
    assert "-hold = &#34;33 cycles&#34;" in answer.text
    assert "+weld = &#34;20 cycles&#34;" in answer.text
    assert file(page).read_text() == text


def test_of_two_tabs_the_second_to_save_is_told(page: OpenPage) -> None:
    one, other = fields(page), fields(page)
    assert "Saved" in page.post(f"{AT}/save", one | {"2.weld": "20"}).text
    assert "was changed by another program" in page.post(f"{AT}/save", other | {"2.weld": "30"}).text
    assert '"20 cycles"' in file(page).read_text()


def test_a_saved_tab_can_save_again(page: OpenPage) -> None:
    one = fields(page)
    first = page.post(f"{AT}/save", one | {"2.weld": "20"})
    again = page.post(f"{AT}/save", one | fields_of(first.text) | {"2.weld": "22"})
    assert "Saved" in again.text
    assert '"22 cycles"' in file(page).read_text()


def test_a_copy_is_a_new_file_and_goes_over_none(page: OpenPage) -> None:
    answer = page.post(f"{AT}/copy", fields(page) | {"2.weld": "20", "copy": "shorter"})
    assert answer.headers["hx-redirect"] == "/schedule/shorter"
    assert '"20 cycles"' in (page.folder / "shorter.toml").read_text()
    assert '"45 cycles"' in file(page).read_text()
    again = page.post(f"{AT}/copy", fields(page) | {"copy": "shorter"})
    assert "shorter.toml: is there already" in again.text


def test_two_schedules_stand_beside_each_other(page: OpenPage) -> None:
    page.post(f"{AT}/copy", fields(page) | {"2.weld": "20", "copy": "shorter"})
    answer = page.post(f"{AT}/turn", fields(page) | {"beside": "shorter"}).text
    assert answer.count('class="picture wide"') == 4
    assert "980 ms of current" in answer
    assert "480 ms of current" in answer


def test_phases_come_and_go_before_anything_is_saved(page: OpenPage) -> None:
    before = file(page).read_text()
    grown = page.post(f"{AT}/phases", fields(page) | {"do": "cool 2"}).text
    grown = page.post(f"{AT}/phases", fields_of(grown) | {"do": "weld 3"}).text
    assert fields_of(grown)["4.weld"] == "10"
    assert file(page).read_text() == before
    assert "Saved" in page.post(f"{AT}/save", fields_of(grown) | {"4.current_percent": "50"}).text
    welds = [
        phase for phase in read_job(file(page), page.folder / "welder.toml").schedule.phases if hasattr(phase, "weld")
    ]
    assert [weld.current_percent for weld in welds] == [85, 50]
    shrunk = page.post(f"{AT}/phases", fields(page) | {"do": "drop 1"}).text
    assert "1.weld" in fields_of(shrunk)
    for nonsense in ("drop 0", "drop 99", "weld -1", "weld", "hold 1", "", "drop x"):
        assert page.post(f"{AT}/phases", fields(page) | {"do": nonsense}).status == 200


def test_the_last_of_a_storm_of_turns_is_answered(page: OpenPage) -> None:
    """Fifty in a second: each of one form gives up the one before, and the last is drawn."""
    opened = fields(page)
    answers: dict[int, int] = {}

    def turn(percent: int) -> None:
        answers[percent] = page.post(f"{AT}/turn", opened | {"2.current_percent": str(percent)}).status

    threads = [threading.Thread(target=turn, args=(45 + n,)) for n in range(50)]
    for thread in threads:
        thread.start()
        time.sleep(0.02)
    for thread in threads:
        thread.join()
    assert answers[94] == 200
    assert 204 in answers.values()
    assert set(answers.values()) <= {200, 204}


def test_a_verdict_that_is_asked_anew_is_given_up(page: OpenPage) -> None:
    opened = fields(page)
    answers: list[int] = []
    first = threading.Thread(target=lambda: answers.append(page.post(f"{AT}/verdict", opened).status))
    first.start()
    time.sleep(0.2)
    assert page.post(f"{AT}/verdict", opened | {"2.weld": "20"}).status == 200
    first.join()
    assert answers == [204]


def test_another_form_is_not_given_up_for_this_one(page: OpenPage) -> None:
    one, other = fields(page), fields(page)
    assert one["tab"] != other["tab"]
    answers: list[int] = []
    first = threading.Thread(target=lambda: answers.append(page.post(f"{AT}/verdict", one).status))
    first.start()
    time.sleep(0.1)
    assert page.post(f"{AT}/verdict", other).status == 200
    first.join()
    assert answers == [200]


def test_a_file_that_is_no_schedule_can_be_looked_at(page: OpenPage) -> None:
    (page.folder / "odd.toml").write_text('phase = "none"\n')
    (page.folder / "half.toml").write_text("frequency_Hz = 50\n[[phase]]\nsqueeze = 3\n[[phase]]\nlift = 1\n")
    for name in ("odd", "half"):
        assert page.get(f"/schedule/{name}").status == 200
        answer = page.post(f"/schedule/{name}/turn", fields_of(page.get(f"/schedule/{name}").text))
        assert f"{name}.toml: " in answer.text
    assert "odd.toml: " in page.get("/schedule").text


def test_a_read_only_folder_is_looked_at_and_a_save_says_so(page: OpenPage, monkeypatch: pytest.MonkeyPatch) -> None:
    opened = fields(page)

    def denied(path: Path, *_: object) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    before = file(page).read_text()
    monkeypatch.setattr("gen.writing._write_new", denied)
    answer = page.post(f"{AT}/save", opened | {"2.weld": "20"})
    monkeypatch.undo()
    assert "boot-scraper.toml: cannot be written" in answer.text
    assert file(page).read_text() == before


KILLED = """
import os, sys, threading, time
from pathlib import Path
from gen.page.folder import Folder
folder = Folder(Path(sys.argv[1]))
path = folder.place / "boot-scraper.toml"
texts = [path.read_text(), path.read_text() + "# " + "x" * 200_000 + "\\n"]
for _ in sys.stdin:  # to each line a process that saves, forked out of this one, which has imported
    if child := os.fork():
        print(child, flush=True)
        os.waitpid(child, 0)
        print("killed", flush=True)
        continue
    stamp = folder.held(path).stamp
    for n in range(100_000):
        stamp = folder.save(path, texts[(n + 1) % 2], stamp).stamp
"""


def test_a_server_killed_in_the_middle_of_a_save_leaves_the_old_or_the_new(tmp_path: Path) -> None:
    path = example(tmp_path) / "boot-scraper.toml"
    old = path.read_text()
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as saving:
        assert saving.stdin is not None
        assert saving.stdout is not None
        for n in range(4):
            path.write_text(old)
            print(file=saving.stdin, flush=True)
            child = int(saving.stdout.readline())
            time.sleep(0.03 + 0.017 * n)
            os.kill(child, signal.SIGKILL)
            assert saving.stdout.readline() == "killed\n"
            assert path.read_text() in (old, old + "# " + "x" * 200_000 + "\n")


def test_saving_needs_the_text_that_was_opened(tmp_path: Path) -> None:
    folder = Folder(example(tmp_path))
    path = folder.schedule("boot-scraper")
    stamp = folder.held(path).stamp
    path.write_text(path.read_text() + "# by an editor\n")
    with pytest.raises(Changed):
        folder.save(path, "anything", stamp)
    assert path.read_text().endswith("# by an editor\n")


def test_a_form_gives_back_what_it_was_made_of() -> None:
    text = '# top\nfrequency_Hz = 60\n[[phase]]\nweld = "10 cycles" # a\ncurrent_percent = 85.5\n'
    form = form_of(text, "x.toml")
    given = {each.name: each.value for phase in form for each in phase.fields}
    given |= {f"{each.name}.unit": each.unit for phase in form for each in phase.fields if each.unit}
    assert edited(text, given, "x.toml") == text
    grown = with_phase(text, "cool", 0)
    assert without_phase(grown, 1).split() == text.split()
