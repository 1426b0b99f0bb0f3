"""The walk to the first weld, led by the page: on the bench of the command's own tests, by a person who sees only the page.

The meters' currents are those of the simulator's circuits, which tests/outside holds against textbook, SciPy and ngspice.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest

import gen.commissioning.board
import gen.link.client
import gen.link.ports
from gen.firmware import FirmwareBundle, render
from gen.job import read_job
from gen.machine.welder import read_welder
from gen.records import CheckRecord, Records
from tests.gen.cli.test_commission import MACHINE
from tests.support.link.commission_bench import CommissionBench, Person
from tests.support.link.hidden_truth import Truth
from tests.support.link.link_shop import SCHEDULE, typed
from tests.support.page.open_page import OpenPage, open_page


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[OpenPage]:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(gen.link.ports, "READ_S", 0.002)
    (tmp_path / "welder.toml").write_text(MACHINE)
    (tmp_path / "job.toml").write_text(SCHEDULE)
    with open_page(tmp_path) as opened:
        yield opened


def firmware(page: OpenPage) -> FirmwareBundle:
    job = read_job(page.folder / "job.toml", page.folder / "welder.toml")
    return render(job.table, job.welder, job.board)


def checks(page: OpenPage) -> list[CheckRecord]:
    with Records.beside(page.folder / "welder.toml") as records:
        return records.checks()


def texts(html: str, tag: str) -> list[str]:
    return [unescape(re.sub(r"<.*?>", "", each)).strip() for each in re.findall(rf"<{tag}\b.*?</{tag}>", html, re.S)]


class Reader:
    """Somebody before the page: tells the person what it shows, and taps what the person answers."""

    def __init__(self, page: OpenPage, person: Person) -> None:
        self.page = page
        self.person = person
        self.title = ""
        self.lines = 0
        self.answered = 0
        self.questions: list[str] = []

    def sees(self, now: str) -> None:
        title = next((each for each in texts(now, "h2") if each.startswith("Step ")), "")
        if title and title != self.title:
            self.title, self.lines = title, 0
            stage = unescape(next(iter(re.findall(r'<p class="under">(.*?)</p>', now)), ""))
            self.person.said.write(f"{stage}\n{title}\n")
        lines = texts(now.partition('class="told"')[2].partition("</ul>")[0], "li")
        for line in lines[self.lines :]:
            self.person.said.write(f"{line}\n")
        self.lines = len(lines)
        number = re.search(r'name="number" value="(\d+)"', now)
        if number is None or int(number[1]) <= self.answered:
            return
        self.answered = int(number[1])
        asks = next(iter(texts(now, "label") or re.findall(r'<p class="asks">(.*?)</p>', now)))
        self.questions.append(asks)
        yes_or_no = 'name="said" value="yes"' in now
        self.person.said.write(f"{asks} [y/N]:" if yes_or_no else asks)
        said = self.person.readline().strip()
        self.tap(self.answered, {"y": "yes", "n": "no"}.get(said, said))

    def tap(self, number: int, said: str) -> None:
        assert self.page.post("/commission/answer", {"number": str(number), "said": said}).status == 204


def walked(
    page: OpenPage, bench: CommissionBench, monkeypatch: pytest.MonkeyPatch, **fields: str
) -> tuple[str, Reader]:
    """Begin, and answer until the walk is over; what is shown then."""
    monkeypatch.setattr(gen.commissioning.board, "time", bench)
    monkeypatch.setattr(gen.link.client, "time", bench)
    reader = Reader(page, Person(bench))
    with page.events("/commission/events") as events:
        assert next(events)[0] == "now"
        assert page.post("/commission/begin", {"port": bench.port, **fields}).status == 204
        for name, content in events:
            if name == "now" and "/commission/begin" in content:
                if reader.title:
                    return unescape(content), reader
            elif name == "now":
                reader.sees(content)
    raise AssertionError("the stream ended")


def test_the_walk_of_the_command_by_tapping(page: OpenPage, monkeypatch: pytest.MonkeyPatch) -> None:
    """It stops where something is wrong, goes on there when that is mended, and its readings go into the welder file."""
    flash: dict[str, bytes] = {}
    with CommissionBench(firmware(page), Truth(insulation_Mohm=2.4), flash) as bench:
        told, _ = walked(page, bench, monkeypatch)
    assert "Stopped at step 2. Isolate, lock off, repair the fault." in told
    assert "FAILED.</strong> 2.4 Mohm, the limit is at least 2.5 Mohm; do not connect it" in told
    with CommissionBench(firmware(page), Truth(), flash) as bench:
        told, reader = walked(page, bench, monkeypatch)
    kept = checks(page)
    count = len({check.step for check in kept} - {"short-circuit-current"})
    assert f"{count} of {count} steps passed." in told
    assert [(check.step, check.outcome) for check in kept[:3]] == [
        ("earth", "passed"),
        ("insulation", "failed"),
        ("insulation", "passed"),
    ]
    assert {check.walk for check in kept} == {1}
    assert reader.questions.count("Is all of this so?") == 8
    seen = json.loads(typed(["commission", "--json"]).out)
    assert {step["outcome"] for step in seen["steps"]} == {"passed"}
    assert "+offset_rise_us = 338  # measured" in told
    stamp = re.findall(r'name="stamp" value="(\w+)"', told)[0]
    assert "Written: welder.toml" in page.post("/commission/calibrate", {"stamp": stamp}).text
    detector = read_welder(page.folder / "welder.toml").detector
    assert (detector.offset_rise_us, detector.offset_fall_us) == (338, 271)
    again = page.post("/commission/calibrate", {"stamp": stamp})
    assert again.status == 422  # the file is another now
    assert "Another program has changed this file" in again.text


def until_asked(events: Iterator[tuple[str, str]], number: int) -> str:
    return next(unescape(now) for name, now in events if name == "now" and f'name="number" value="{number}"' in now)


def test_an_answer_is_of_one_question_and_a_wrong_one_is_asked_for_again(
    page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A second tap on a button answers nothing else; nothing is kept of an answer that is none; ended, it goes on later."""
    monkeypatch.setattr("gen.link.ports.ports", list)  # no board at all
    with page.events("/commission/events") as events:
        page.post("/commission/begin", {"port": ""})
        assert "Is all of this so?" in until_asked(events, 1)
        again = page.post("/commission/begin", {"port": ""})
        assert again.status == 422
        assert "is under way on this page; allowed: end it first" in again.text
        assert "in use by the commissioning" in page.post("/board/connect", {"port": "/dev/ttyACM0"}).text
        for _ in range(3):
            page.post("/commission/answer", {"number": "1", "said": "yes"})
        assert "Earth continuity" in until_asked(events, 2)
        for nonsense in ("1", "3", "", "x", "9" * 40, "²"):
            page.post("/commission/answer", {"number": nonsense, "said": "0.1"})
        page.post("/commission/answer", {"number": "2", "said": "<b>lots</b>"})
        told = until_asked(events, 3)
        assert '"<b>lots</b>" given; allowed: a number from 0 to 1000000' in told
        assert checks(page) == []
        page.post("/commission/answer", {"number": "3", "said": "0.05"})
        until_asked(events, 4)
        assert [(check.step, check.reading) for check in checks(page)] == [("earth", 0.05)]
        page.post("/commission/end")
        assert "Go on with the walk" in next(now for _, now in events if "/commission/begin" in now)
    told = page.get("/commission").text
    assert "<td>1</td>" in told


def test_a_board_that_is_not_there_and_a_machine_that_is_not(page: OpenPage) -> None:
    with page.events("/commission/events") as events:
        page.post("/commission/begin", {"port": "/dev/ttyNONE"})
        assert "no such port" in next(now for _, now in events if "no such port" in now)
    (page.folder / "welder.toml").unlink()
    assert page.get("/commission").status == 422
    assert page.post("/commission/begin", {"port": ""}).status == 422
