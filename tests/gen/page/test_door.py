"""The page is closed to everyone but this computer's own browser with the key: DNS rebinding, cross-site posts, other paths.

What browsers send and when is of the Fetch standard (Origin; Sec-Fetch-Site of Fetch Metadata) and RFC 6265bis (SameSite).
"""

from __future__ import annotations

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.page.open_page import OpenPage, example, fields_of, open_page

HIDDEN = "hidden-outside"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenPage]:
    place = tmp_path_factory.mktemp("shop")
    (place / "outside.toml").write_text(f"[[phase]]\n# {HIDDEN}\nsqueeze = 1\n")
    folder = example(place / "machine")
    (folder / "way-out.toml").symlink_to(place / "outside.toml")
    with open_page(folder) as opened:
        yield opened


def test_the_first_address_gives_a_strict_cookie_and_then_the_key_is_gone(page: OpenPage) -> None:
    first = page.ask("GET", page.address.partition(str(page.port))[2], own=False)
    assert first.status == 303
    assert first.headers["location"] == "/"
    assert "HttpOnly" in first.headers["set-cookie"]
    assert "SameSite=Strict" in first.headers["set-cookie"]
    assert page.address.rpartition("=")[2] not in first.headers["set-cookie"]


def test_keys_are_new_at_each_start(page: OpenPage, tmp_path: Path) -> None:
    with open_page(example(tmp_path)) as other:
        assert other.address.rpartition("=")[2] != page.address.rpartition("=")[2]
        value = page.cookie.partition("=")[2]
        assert other.ask("GET", "/schedule", own=False, Cookie=f"weldbeat-{other.port}={value}").status == 403


@pytest.mark.parametrize("cookie", ["", "weldbeat-{port}=", "weldbeat-{port}=wrong", "other={value}"])
def test_without_the_cookie_nothing_is_shown(page: OpenPage, cookie: str) -> None:
    given = cookie.format(port=page.port, value=page.cookie.partition("=")[2])
    for path in ("/", "/schedule", "/schedule/boot-scraper", "/static/page.css", "/nowhere"):
        answer = page.ask("GET", path, own=False, Cookie=given)
        assert answer.status == 403
        assert "boot-scraper" not in answer.text


def test_a_wrong_key_opens_nothing(page: OpenPage) -> None:
    answer = page.ask("GET", "/?key=wrong", own=False)
    assert answer.status == 403
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize(
    "host", ["attacker.example", "attacker.example:{port}", "127.0.0.1", "127.0.0.1:1", "[::1]:{port}"]
)
def test_a_name_that_was_turned_to_this_computer_is_refused(page: OpenPage, host: str) -> None:
    """DNS rebinding: the attacker's name resolves to 127.0.0.1, and the browser sends that name as Host."""
    given = host.format(port=page.port)
    assert page.ask("GET", "/schedule", Host=given).status == 403
    assert page.ask("GET", page.address.partition(str(page.port))[2], own=False, Host=given).status == 403
    assert page.ask("POST", "/close", {}, Host=given).status == 403


def test_two_hosts_in_one_request_are_refused(page: OpenPage) -> None:
    with socket.create_connection(("127.0.0.1", page.port), timeout=10) as raw:
        lines = (
            "GET /schedule HTTP/1.1",
            f"Host: 127.0.0.1:{page.port}",
            "Host: attacker.example",
            f"Cookie: {page.cookie}",
        )
        raw.sendall("\r\n".join((*lines, "Connection: close", "", "")).encode())
        answer = b"".join(iter(lambda: raw.recv(65536), b""))
    assert b"boot-scraper" not in answer
    assert answer.split()[1] in (b"400", b"403")


@pytest.mark.parametrize(
    "origin", ["http://attacker.example", "null", "https://127.0.0.1:{port}", "http://127.0.0.1:1"]
)
@pytest.mark.parametrize("path", ["/close", "/schedule/boot-scraper/save"])
def test_a_form_on_another_page_is_not_heard(page: OpenPage, origin: str, path: str) -> None:
    """Even with the cookie, which a browser would not send along."""
    before = (page.folder / "boot-scraper.toml").read_text()
    assert page.ask("POST", path, {}, Origin=origin.format(port=page.port)).status == 403
    assert page.ask("POST", path, {}, own=False, Cookie=page.cookie).status == 403  # no Origin at all
    assert page.ask("POST", path, {}, Sec_Fetch_Site="cross-site").status == 403
    assert page.ask("POST", path, {}, Sec_Fetch_Site="same-site").status == 403  # another port of this computer
    assert (page.folder / "boot-scraper.toml").read_text() == before


def test_another_page_cannot_read_or_frame_it(page: OpenPage) -> None:
    answer = page.get("/schedule")
    policy = answer.headers["content-security-policy"]
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert page.ask("GET", "/schedule", Origin="http://attacker.example").status == 403
    assert page.ask("GET", "/static/page.js", Sec_Fetch_Site="cross-site").status == 403


def test_it_answers_on_loopback_alone(page: OpenPage) -> None:
    others = {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)} - {"127.0.0.1"}
    for address in others:
        with socket.socket() as attempt:
            attempt.settimeout(2)
            assert attempt.connect_ex((address, page.port)) != 0


@pytest.mark.parametrize(
    "path",
    [
        "/schedule/..%2Foutside",
        "/schedule/../../outside",
        "/schedule/%2e%2e/outside",
        "/schedule/way-out",
        "/schedule/welder",
        "/schedule/%00",
        "/schedule/boot-scraper.toml",
        "/static/../templates/page.html.j2",
        "/static/..%2F..%2Fdoor.py",
        "/static/%2Fetc%2Fpasswd",
        "/..%2Foutside.toml",
        "//outside.toml",
    ],
)
def test_no_path_leaves_the_folder(page: OpenPage, path: str) -> None:
    for answer in (page.get(path), page.post(path), page.post(f"{path}/turn"), page.post(f"{path}/save")):
        assert answer.status in (303, 404, 405, 422), path
        assert HIDDEN not in answer.text
        assert "root:" not in answer.text
        assert "{%" not in answer.text


def test_no_copy_goes_out_of_the_folder(page: OpenPage) -> None:
    fields = fields_of(page.get("/schedule/boot-scraper").text)
    for name in ("../out", "/tmp/out", "a/b", "..", "", "welder", "UP", "x" * 60, "a\0b", "way-out"):
        answer = page.post("/schedule/boot-scraper/copy", fields | {"copy": name})
        assert answer.status == 422, name
    assert {path.name for path in page.folder.parent.iterdir()} == {"outside.toml", "machine"}
    assert len(list(page.folder.iterdir())) == 3


def test_names_from_files_are_text(page: OpenPage) -> None:
    evil = '<script>alert(1)</script><img src=x onerror="alert(2)">'
    text = (page.folder / "boot-scraper.toml").read_text()
    named = page.folder / "evil.toml"
    named.write_text(text.replace('title = "Boot scraper: 5 mm rungs across 8 mm rails"', f"title = '{evil}'"))
    odd = page.folder / "a'\"><b onclick=x>.toml"
    odd.write_text(text)
    try:
        assert evil not in page.get("/schedule").text
        assert "&lt;script&gt;" in page.get("/schedule").text
        opened = page.get("/schedule/evil").text
        assert "alert(1)" in opened
        assert "<script>alert" not in opened
        fields = fields_of(opened)
        wrong = page.post("/schedule/evil/turn", fields | {"2.weld": evil})
        assert "<script>alert" not in wrong.text
        assert "<b onclick" not in page.get("/schedule").text
    finally:
        named.unlink()
        odd.unlink()


def test_a_body_larger_than_any_form_is_not_taken(page: OpenPage) -> None:
    assert page.post("/schedule/boot-scraper/turn", b"a=" + b"x" * 3_000_000).status == 413


def test_another_program_that_has_the_port_is_reported(tmp_path: Path) -> None:
    from gen.errors import InputError
    from gen.page import serve

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(InputError, match=r"--port.*in use.*allowed"):
            serve(example(tmp_path), taken.getsockname()[1], lambda served: None)


def test_a_folder_that_is_none_is_reported(tmp_path: Path) -> None:
    from gen.errors import InputError
    from gen.page import serve

    with pytest.raises(InputError, match="FOLDER"):
        serve(tmp_path / "nowhere", 0, lambda served: None)
