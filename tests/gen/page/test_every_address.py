"""Whatever is sent to any address of the page: no server error, no traceback, and nothing written outside its folder."""

from __future__ import annotations

from collections.abc import Iterator
from urllib.parse import quote

import html5lib
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gen.page.app import make_app
from gen.page.desk import Desk
from gen.page.folder import Folder
from tests.support.page.open_page import OpenPage, example, fields_of, open_page

# What ends the page, what opens a port, which the board's tests do with real ones, and streams, which do not end.
LEFT_ALONE = (
    "/close",
    "/board/connect",
    "/board/flash",
    "/board/events",
    "/commission/events",
    "/sheets/all.zip",
    "/{anything:path}",
)
FORMS = (("/schedule/boot-scraper", "/turn"), ("/machine", "/turn"), ("/schedule/boot-scraper", "/phases"))
# Every character that UTF-8 can write; named so, because going through the codec takes seconds.
WORDS = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)
QUICK = st.one_of(WORDS, st.sampled_from(["", "1e999", "nan", "-1", "9" * 40, "\0", "<b>", "../x", "{}", "[[1]]"]))


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenPage]:
    folder = example(tmp_path_factory.mktemp("shop") / "machine")
    (folder / "rungs.toml").write_text("rods_mm = [5, 8]\n")
    with open_page(folder) as opened:
        yield opened


@pytest.fixture(scope="module")
def forms(page: OpenPage) -> dict[str, dict[str, str]]:
    """The fields of the forms as they are served, by the page."""
    return {place: fields_of(page.get(place).text) for place, _ in FORMS}


def addresses(page: OpenPage) -> list[tuple[str, str]]:
    app = make_app(Desk(Folder(page.folder)))
    routes = [(route.path, method) for route in app.routes for method in sorted(route.methods)]  # type: ignore[attr-defined]
    return [(path, method) for path, method in routes if path not in LEFT_ALONE and method != "HEAD"]


def test_every_address_is_asked(page: OpenPage) -> None:
    assert len(addresses(page)) > 40


@settings(
    max_examples=150, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_no_address_fails_whatever_comes(page: OpenPage, data: st.DataObject) -> None:
    path, method = data.draw(st.sampled_from(addresses(page)))
    name = data.draw(st.one_of(WORDS, st.sampled_from(["nothing", "..", "%00", "welder"])))
    named = path.replace("{name}", quote(name, safe=""))
    fields = data.draw(st.dictionaries(WORDS, QUICK, max_size=6))
    answer = page.get(named) if method == "GET" else page.post(named, fields)
    assert answer.status < 500, answer.text
    assert "Traceback" not in answer.text


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_no_form_fails_whatever_is_typed(page: OpenPage, forms: dict[str, dict[str, str]], data: st.DataObject) -> None:
    """The forms as they are served, one or two of their fields changed."""
    place, turn = data.draw(st.sampled_from(FORMS))
    fields = dict(forms[place])
    keys = sorted(key for key in fields if key not in ("stamp", "base", "tab"))
    for key in data.draw(st.lists(st.sampled_from(keys), min_size=1, max_size=2)):
        fields[key] = data.draw(QUICK)
    answer = page.post(f"{place}{turn}", fields)
    assert answer.status in (200, 204, 422), answer.text
    assert "Traceback" not in answer.text


@pytest.mark.parametrize("body", [b"\xff\xfe", b"a=%ff", b"&" * 5000, b"a=1&" * 3000, b"\0"])
def test_a_body_that_is_no_form_is_one_sentence(page: OpenPage, body: bytes) -> None:
    answer = page.post("/schedule/boot-scraper/turn", body)
    assert answer.status in (200, 422)
    assert "Traceback" not in answer.text


@pytest.mark.parametrize(
    "path",
    ["/machine", "/joint", "/joint/rungs", "/schedule", "/schedule/boot-scraper", "/board", "/commission", "/trials",
     "/trials/rungs", "/sheets", "/nothing"],
)  # fmt: skip
def test_every_page_is_html_to_the_letter(page: OpenPage, path: str) -> None:
    """By html5lib, which follows the standard's own parsing algorithm and here accepts none of the errors that it repairs."""
    html5lib.HTMLParser(strict=True).parse(page.get(path).text)


def test_every_part_of_a_page_is_too(page: OpenPage) -> None:
    schedule, machine = (fields_of(page.get(path).text) for path in ("/schedule/boot-scraper", "/machine"))
    parts = [
        page.post("/schedule/boot-scraper/turn", schedule | {"beside": "saved"}),
        page.post("/schedule/boot-scraper/turn", schedule | {"2.weld": "x"}),
        page.post("/schedule/boot-scraper/phases", schedule | {"do": "weld 2"}),
        page.post("/schedule/boot-scraper/save", schedule | {"stamp": "0"}),
        page.post("/schedule/boot-scraper/verdict", schedule),
        page.post("/machine/turn", machine),
        page.get("/board/live"),
        page.get("/board/ports"),
        page.get("/trials/rungs/next"),
    ]
    for answer in parts:
        assert answer.text
        html5lib.HTMLParser(strict=True).parseFragment(answer.text, container="div")


def test_nothing_was_written_beside_the_folder(page: OpenPage) -> None:
    assert [path.name for path in page.folder.parent.iterdir()] == ["machine"]
