# mypy: ignore-errors
"""Run by a real MicroPython in the folder of a firmware, not by pytest: a push a line, answered as the board answers it.

A line is a list of rows as push_rows carries them. Rows, limits and digest go the board's own way; only the store is left out.
"""

import json
import sys

import config
from app.line import Refused
from app.requests import Requests, _row
from app.table_check import digest


class Store:
    """As much of the store as a push asks: there is room, and what is put is whole."""

    selected = ""
    boot = 1
    schedules = ()

    def find(self, name):
        return -1

    def put(self, name, rows):
        return True


def pushed(requests, rows):
    """ "" where it was stored, else the words of the refusal."""
    try:
        told = digest("pushed", config.FREQUENCY_HZ, [_row(row) for row in rows])
        requests.answer("push_begin", {"name": "pushed", "digest": told, "rows_total": len(rows)}, 2)
        for at in range(0, len(rows), 8):
            requests.answer("push_rows", {"from": at, "rows": rows[at : at + 8]}, 2)
        requests.answer("push_commit", {}, 2)
    except Refused as refused:
        return refused.message
    return ""


made = Requests(config, Store(), None, None, None, None)
while True:
    line = sys.stdin.readline()
    if not line:
        break
    print(json.dumps([pushed(made, rows) for rows in json.loads(line)]))
