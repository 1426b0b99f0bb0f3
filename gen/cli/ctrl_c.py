"""How a process ends at Ctrl-C: in one line, at once. It imports nothing that takes time."""

import os

TYPE_CHECKING = False  # as typing has it, which takes longer to load than all the rest of this file
if TYPE_CHECKING:
    from types import FrameType
    from typing import NoReturn

BY_CTRL_C = 130  # 128 and the number of the signal: common practice of shells (POSIX leaves it at "greater than 128")


def end(number: int = 0, frame: "FrameType | None" = None) -> "NoReturn":
    """Say that Ctrl-C was heard, on a line of its own, and end without asking anybody."""
    try:
        os.write(2, b"\nweldbeat: stopped\n" if os.isatty(2) else b"weldbeat: stopped\n")
    finally:
        os._exit(BY_CTRL_C)
