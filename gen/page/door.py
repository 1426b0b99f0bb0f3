"""Access control: only this computer's browser, from the page's own address, with the key of this start.

A web page elsewhere can make a browser send requests here. It cannot read the key, its name is in Host or Origin, and the
browser does not attach the cookie to its requests. Each of the three alone keeps it out.
"""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qs

from gen.page.texts import text

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

HOST = "127.0.0.1"
KEY = "key"  # parameter of the first address
LARGEST_BODY = 2_000_000  # bytes: twice the largest file that is read
_SAFE = ("GET", "HEAD")
_OWN = ("same-origin", "none")  # allowed Sec-Fetch-Site; none: typed, or opened by another program

# Nothing inline, nothing from elsewhere, no frame around it.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = (
    ("content-security-policy", POLICY),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "same-origin"),  # without a referrer the page's own forms would send the Origin "null"
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cache-control", "no-store"),
)


class TooLarge(Exception):
    """The body of a request is larger than any form of the page. Raised while the body is read."""


@dataclass(frozen=True)
class DoorKeys:
    """The key in the first address, and the key in the cookie from then on. Both are new at each start."""

    first: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    session: str = field(default_factory=lambda: secrets.token_urlsafe(32))


class Door:
    """Guards every route of `inside`, which is served on `port`."""

    def __init__(self, inside: App, keys: DoorKeys, port: int) -> None:
        self._inside = inside
        self._keys = keys
        self._hosts = {f"{name}:{port}" for name in (HOST, "localhost")}
        self._cookie = f"weldbeat-{port}"  # browsers share cookies between ports

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._inside(scope, receive, send)
        elif scope["type"] == "http":
            await self._request(scope, receive, send)
        # The page has no websockets. A connection that is not answered is refused.

    async def _request(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = _single(scope["headers"])
        why = self._refused(scope["method"], headers)
        if why:
            await _answer(send, 403, text(why))
            return
        given = parse_qs(scope["query_string"].decode("latin-1")).get(KEY, [""])[0]
        if scope["method"] == "GET" and _same(given, self._keys.first):
            cookie = f"{self._cookie}={self._keys.session}; Path=/; HttpOnly; SameSite=Strict"
            await _answer(send, 303, "", ("location", "/"), ("set-cookie", cookie))
            return
        if not _same(_cookies(headers.get("cookie", "")).get(self._cookie, ""), self._keys.session):
            await _answer(send, 403, text("door.no_key"))
            return
        taken = 0

        async def bounded() -> MutableMapping[str, Any]:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > LARGEST_BODY:
                raise TooLarge
            return message

        async def dressed(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                own = {name for name, _ in message["headers"]}
                more = [(k.encode(), v.encode()) for k, v in HEADERS if k.encode() not in own]
                message = {**message, "headers": [*message["headers"], *more]}
            await send(message)

        await self._inside(scope, bounded, dressed)

    def _refused(self, method: str, headers: dict[str, str]) -> str:
        """The key of the text that gives the reason why a request is refused; "" where it is allowed."""
        if headers.get("host") not in self._hosts:
            return "door.host"
        origin = headers.get("origin")
        if origin is not None and origin != f"http://{headers['host']}":
            return "door.origin"
        if headers.get("sec-fetch-site", "none") not in _OWN:
            return "door.origin"
        if method not in _SAFE and origin is None:
            return "door.origin"
        return ""


def _single(headers: list[tuple[bytes, bytes]]) -> dict[str, str]:
    """Headers by name. Values of a repeated header are joined, so that the result equals neither."""
    found: dict[str, str] = {}
    for name, value in headers:
        key = name.decode("latin-1").lower()
        found[key] = f"{found[key]}, {value.decode('latin-1')}" if key in found else value.decode("latin-1")
    return found


def _cookies(header: str) -> dict[str, str]:
    parts = (part.strip().partition("=") for part in header.split(";"))
    return {name: value for name, _, value in parts}


def _same(given: str, wanted: str) -> bool:
    return secrets.compare_digest(given.encode(), wanted.encode())


async def _answer(send: Send, status: int, words: str, *headers: tuple[str, str]) -> None:
    body = words.encode()
    every = (("content-type", "text/plain; charset=utf-8"), ("content-length", str(len(body))), *HEADERS, *headers)
    await send(
        {"type": "http.response.start", "status": status, "headers": [(k.encode(), v.encode()) for k, v in every]}
    )
    await send({"type": "http.response.body", "body": body})
