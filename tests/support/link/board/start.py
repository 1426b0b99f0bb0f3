# mypy: ignore-errors
"""Starts the emitted firmware under a MicroPython for Unix as a board would: boot.py, main.py, and the REPL after them.

Run with -i in the folder that stands for the board's flash. The folder of this file stands before it on the path, with a
`driver` and a `machine` of its own.
"""

import os
import sys

sys.path[:] = [os.getenv("BOARD_HARDWARE"), os.getcwd(), ".frozen"]
for _name in ("boot.py", "main.py"):
    try:
        os.stat(_name)
    except OSError:
        continue
    with open(_name) as _file:
        exec(_file.read())
