"""Requests and responses of the rooms. Each address of a room is a plain function, run in a thread of its own."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from html import unescape
from importlib.resources import files
from typing import Any
from urllib.parse import parse_qsl

from jinja2 import Environment
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from gen.errors import InputError
from gen.page.desk import Desk
from gen.page.door import TooLarge
from gen.page.texts import text
from gen.page.workers import Superseded
from gen.ranges import shown as shown_number
from gen.templates import html_templates
from gen.user_files import written

ROOMS = ("machine", "joint", "schedule", "board", "commission", "trials", "sheets")  # in working order
_MOST_FIELDS = 2000
NOT_NOW = 204  # status of a superseded request: the browser shows nothing


@dataclass(frozen=True)
class AskedOnPage:
    """One request. `path`: the parameters in its address. `fields`: those of the form, or of the query."""

    desk: Desk
    path: Mapping[str, str]
    fields: Mapping[str, str] = field(default_factory=dict)
    partial: bool = False  # True: only a part of the page is requested

    def given(self, name: str) -> str:
        """A field's text, stripped of white space; "" where the field is missing."""
        return self.fields.get(name, "").strip()


Room = Callable[[AskedOnPage], Response]


@cache
def templates() -> Environment:
    """The templates of the page."""
    environment = html_templates("gen.page")
    environment.globals["t"] = text
    environment.globals["rooms"] = ROOMS
    environment.filters["shown"] = shown_number
    return environment


def part(template: str, /, **values: Any) -> Markup:
    """A rendered template as part of a page."""
    return Markup(templates().get_template(f"{template}.html.j2").render(values))


def shown(template: str, /, **values: Any) -> Response:
    """A rendered template as the response."""
    return HTMLResponse(part(template, **values))


def page(asked: AskedOnPage, room: str, content: Markup, status: int = 200) -> Response:
    """A whole page, with the list of rooms at its head."""
    return HTMLResponse(
        part("page", room=room, content=content, folder=asked.desk.folder.place.name), status_code=status
    )


def go(asked: AskedOnPage, address: str) -> Response:
    """Redirect the browser to another address."""
    if asked.partial:
        return Response(status_code=200, headers={"HX-Redirect": address})
    return RedirectResponse(address, status_code=303)


def problem(asked: AskedOnPage, words: str, room: str = "", status: int = 422) -> Response:
    """The response to an error, in one sentence."""
    alert = part("problem", words=words)
    return HTMLResponse(alert, status_code=status) if asked.partial else page(asked, room, alert, status)


def route(desk: Desk, address: str, room: Room, *methods: str) -> Route:
    """A route answered by `room`. Errors that the user can correct are returned as a sentence."""
    name = address.split("/")[1]
    where = name if name in ROOMS else ""

    async def answer(request: Request) -> Response:
        asked = AskedOnPage(desk, request.path_params, partial="hx-request" in request.headers)
        try:
            query = request.url.query.encode() if request.method in ("GET", "HEAD") else await request.body()
            asked = AskedOnPage(desk, asked.path, _fields(query), asked.partial)
            return await run_in_threadpool(room, asked)
        except InputError as error:
            return problem(asked, str(error), where)
        except TooLarge:
            return problem(asked, text("door.too_large"), where, 413)
        except Superseded:
            return Response(status_code=NOT_NOW)
        except OSError as error:
            return problem(asked, f"{error.filename or 'file'}: {error.strerror or error}", where)

    return Route(address, answer, methods=list(methods or ("GET",)))


def _fields(body: bytes) -> dict[str, str]:
    """A form's fields. Raises InputError for a body that no form of the page sends."""
    try:
        pairs = parse_qsl(body.decode("utf-8"), keep_blank_values=True, errors="strict", max_num_fields=_MOST_FIELDS)
    except ValueError:
        raise InputError(text("files.form"), "not readable", None, text("files.form_allowed")) from None
    return dict(pairs)


@cache
def static(name: str) -> bytes | None:
    """A static file of the page by name. None where it does not exist."""
    folder = files("gen.page").joinpath("static")
    known = {each.name: each for each in folder.iterdir() if each.is_file()}
    return known[name].read_bytes() if name in known else None


def word(value: object) -> str:
    """A value in the form of a message."""
    return str(written(value))


def sheet(html: str) -> Response:
    """A self-contained page. Its policy allows its own style sheet and its drawings' styles by digest, and nothing else."""
    return HTMLResponse(html, headers={"content-security-policy": _own_policy(html)})


def drawing(svg: str) -> Response:
    """A self-contained SVG picture, under the same policy."""
    return Response(svg, media_type="image/svg+xml", headers={"content-security-policy": _own_policy(svg)})


def _own_policy(content: str) -> str:
    sheets = re.findall(r"<style>(.*?)</style>", content, re.DOTALL)
    drawn = {unescape(style) for style in re.findall(r'\sstyle="([^"]*)"', content)}
    of_drawings = f"'unsafe-hashes' {_digests(drawn)}" if drawn else "'none'"
    return (
        f"default-src 'none'; style-src-elem {_digests(sheets)}; style-src-attr {of_drawings}; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )


def _digests(texts: Iterable[str]) -> str:
    """The digests of texts, in the form of a policy."""
    found = (base64.b64encode(hashlib.sha256(each.encode()).digest()).decode() for each in texts)
    return " ".join(sorted(f"'sha256-{digest}'" for digest in found))
