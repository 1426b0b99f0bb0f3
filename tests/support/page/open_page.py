"""The page as it is served, in a thread of the test, and a client that has come in by the first address."""

from __future__ import annotations

import http.client
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from unittest.mock import patch
from urllib.parse import urlencode

from gen.begin import demo_files
from gen.page import Served, serve
from gen.page.desk import Desk
from gen.page.folder import Folder


@dataclass
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    text: str


@dataclass
class OpenPage:
    """One open page. `cookie`: what the first address gave; `desk`: what stands behind it."""

    address: str
    port: int
    folder: Path
    desk: Desk
    cookie: str = ""
    sent: list[str] = field(default_factory=list)

    def ask(
        self,
        method: str,
        path: str,
        fields: dict[str, str] | bytes | None = None,
        own: bool = True,
        **headers: str,
    ) -> Answer:
        """One request; `own`: with what a browser sends from the page itself."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        body = urlencode(fields).encode() if isinstance(fields, dict) else fields
        every = {"Content-Type": "application/x-www-form-urlencoded"} if body is not None else {}
        if own:
            every |= {"Cookie": self.cookie, "Sec-Fetch-Site": "same-origin"}
            every |= {"Origin": f"http://127.0.0.1:{self.port}"} if method not in ("GET", "HEAD") else {}
        every |= {key.replace("_", "-"): value for key, value in headers.items()}
        connection.putrequest(method, path, skip_host="Host" in every)
        for key, value in every.items():
            connection.putheader(key, value)
        if body is not None:
            connection.putheader("Content-Length", str(len(body)))
        connection.endheaders(body)
        answer = connection.getresponse()
        text = answer.read().decode(errors="replace")
        connection.close()
        return Answer(answer.status, {key.lower(): value for key, value in answer.getheaders()}, text)

    def raw(self, path: str) -> bytes:
        """The bytes of an answer."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        connection.request("GET", path, headers={"Cookie": self.cookie})
        answer = connection.getresponse()
        content = answer.read()
        connection.close()
        return content

    @contextmanager
    def events(self, path: str) -> Iterator[Iterator[tuple[str, str]]]:
        """The events of a stream as they come, each its name and what it carries."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        connection.request("GET", path, headers={"Cookie": self.cookie})
        answer = connection.getresponse()
        assert answer.getheader("content-type", "").startswith("text/event-stream")
        try:
            yield _events(answer)
        finally:
            connection.close()
            answer.close()

    def get(self, path: str) -> Answer:
        return self.ask("GET", path)

    def post(self, path: str, fields: dict[str, str] | bytes | None = None) -> Answer:
        return self.ask("POST", path, {} if fields is None else fields, HX_Request="true")


def _events(answer: http.client.HTTPResponse) -> Iterator[tuple[str, str]]:
    """Read as HTML's section 9.2 says: fields by the line, an event at each empty one."""
    name, data = "", list[str]()
    for raw in answer:
        key, _, value = raw.decode().rstrip("\n").partition(":")
        if key == "event":
            name = value.removeprefix(" ")
        elif key == "data":
            data.append(value.removeprefix(" "))
        elif not key and data:
            yield name, "\n".join(data)
            name, data = "", []


@contextmanager
def open_page(folder: Path) -> Iterator[OpenPage]:
    """Serve `folder` until the block ends."""
    opened = threading.Event()
    served: list[Served] = []
    desks: list[Desk] = []

    def desk(given: Folder) -> Desk:
        desks.append(Desk(given))
        return desks[-1]

    def ready(told: Served) -> None:
        served.append(told)
        opened.set()

    thread = threading.Thread(target=serve, args=(folder, 0, ready), daemon=True)
    with patch("gen.page.server.Desk", desk):
        thread.start()
        assert opened.wait(30)
    page = OpenPage(served[0].address, served[0].port, folder, desks[0])
    first = page.ask("GET", served[0].address.partition(str(served[0].port))[2], own=False)
    page.cookie = first.headers["set-cookie"].partition(";")[0]
    try:
        yield page
    finally:
        page.ask("POST", "/close", {})
        thread.join(20)
        assert not thread.is_alive()


def example(folder: Path) -> Path:
    """The worked example's files in a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in demo_files().items():
        (folder / name).write_text(text)
    return folder


class _Fields(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: dict[str, str] = {}
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {key: value or "" for key, value in attrs}
        if tag == "input" and "name" in given:
            if given.get("type") != "checkbox" or "checked" in given:
                self.found[given["name"]] = given.get("value", "")
        elif tag == "select":
            self._select = given["name"]
            self.found[self._select] = ""
        elif tag == "option" and "selected" in given:
            self.found[self._select] = given.get("value", "\0")

    def handle_data(self, data: str) -> None:
        if self._select and self.found.get(self._select) == "\0":
            self.found[self._select] = data


def fields_of(html: str) -> dict[str, str]:
    """What a browser would send of the forms in a page, untouched."""
    reader = _Fields()
    reader.feed(re.sub(r"<(svg|script)\b.*?</\1>", "", html, flags=re.DOTALL))
    return reader.found
