"""Single keys from the terminal, while something else goes on."""

from __future__ import annotations

import sys
from types import TracebackType
from typing import Self

if sys.platform == "win32":
    import msvcrt

    class Keys:
        """Use it in a `with`; `pressed` gives what was typed since it was last asked."""

        def __enter__(self) -> Self:
            return self

        def __exit__(
            self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
        ) -> None:
            return None

        def pressed(self) -> str:
            """Keys typed; "" for none."""
            found = ""
            while sys.stdin.isatty() and msvcrt.kbhit():
                found += msvcrt.getwch()
            return found

else:
    import os
    import select
    import termios
    import tty

    class Keys:
        """Use it in a `with`; `pressed` gives what was typed since it was last asked."""

        def __enter__(self) -> Self:
            self._saved = None
            if sys.stdin.isatty():
                self._saved = termios.tcgetattr(sys.stdin)
                tty.setcbreak(sys.stdin)
            return self

        def __exit__(
            self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
        ) -> None:
            if self._saved is not None:
                termios.tcsetattr(sys.stdin, termios.TCSADRAIN, self._saved)

        def pressed(self) -> str:
            """Keys typed; "" for none, and where there is no terminal to type at."""
            if self._saved is None or not select.select([sys.stdin], [], [], 0)[0]:
                return ""
            return os.read(sys.stdin.fileno(), 64).decode(errors="replace")
