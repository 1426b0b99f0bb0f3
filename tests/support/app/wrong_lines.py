"""Lines that are no proper request to a board, each with the error it must get (the codes are in gen/link/messages.py)."""

from __future__ import annotations

from tests.support.app.talking import checked, request


def wrong_lines() -> dict[str, tuple[bytes, int]]:
    good = request(900, "push_begin", name="x", digest="0" * 16, rows_total=5)
    rows = [[0, 20, -1, 0]]
    long = '{"jsonrpc": "2.0", "id": 900, "method": "remove", "params": {"name": "' + "x" * 400 + '"}}'
    return {
        "a bit flipped": (good[:30] + bytes([good[30] ^ 4]) + good[31:], -32700),
        "cut": (good[:60] + b"\n", -32700),
        "oversized": (checked(long), -32700),
        "unknown method": (request(900, "fire"), -32601),
        "unknown parameter": (request(900, "select", name="first", now=1), -32602),
        "a parameter missing": (request(900, "select"), -32602),
        "no such schedule": (request(900, "select", name="other"), -32003),
        "a list for a name": (request(900, "select", name=[]), -32003),
        "remove what is not there": (request(900, "remove", name="other"), -32003),
        "remove the selected": (request(900, "remove", name="first"), -32602),
        "a name with a quote": (request(900, "push_begin", name='a"b', digest="0" * 16, rows_total=5), -32602),
        "a name too long": (request(900, "push_begin", name="a" * 33, digest="0" * 16, rows_total=5), -32602),
        "a digest too short": (request(900, "push_begin", name="a", digest="0" * 15, rows_total=5), -32602),
        "rows that are no number": (request(900, "push_begin", name="a", digest="0" * 16, rows_total="5"), -32602),
        "rows true": (request(900, "push_begin", name="a", digest="0" * 16, rows_total=True), -32602),
        "rows without a push": (request(900, "push_rows", first=0, rows=rows), -32602),
        "commit without a push": (request(900, "push_commit"), -32602),
        "from beyond": (request(900, "read", name="first", first=99), -32602),
        "since below": (request(900, "welds", since=-1), -32602),
        "an old id": (request(1, "select", name="first"), -32001),
        "deep": (checked('{"jsonrpc": "2.0", "id": 900, "method": "select", "params": ' + "[" * 150 + "]" * 150 + "}"), -32602),
        "a batch": (checked("[" + good.decode()[:-10] + "]"), -32700),
    }  # fmt: skip
