"""The `weldbeat` command: the way in, and Ctrl-C from its first line to its last. The commands stand in gen.cli.commands.

What Python does before this is Python's own: it starts up and finds this file.
"""

import sys

from gen.cli.ctrl_c import end

TYPE_CHECKING = False  # as typing has it, which takes longer to load than all the rest of this file
if TYPE_CHECKING:
    from typing import NoReturn


def main() -> "NoReturn":
    """Entry point; the exit codes are those of `gen.cli.commands.run`.

    While modules are loaded, and when all is done, nothing is half made: there Ctrl-C ends the process at once. Raised as an
    exception it can come within a callback of the import system, which prints a traceback and goes on. While Python takes
    itself apart Ctrl-C is ignored: the work is done and told, and its exit code stands.
    """
    try:
        import atexit
        import os
        import signal

        by_exception = signal.getsignal(signal.SIGINT)
        heard = by_exception is signal.default_int_handler  # otherwise whoever started it wants Ctrl-C ignored
        if heard:
            signal.signal(signal.SIGINT, end)
            atexit.register(signal.signal, signal.SIGINT, signal.SIG_IGN)  # as the first, so that it runs as the last
        # Threads of the linear algebra wait for each other on a busy machine, and our matrices are small.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        from gen.cli.commands import run

        if heard:
            signal.signal(signal.SIGINT, by_exception)
        try:
            code = run()
        finally:
            if heard:
                signal.signal(signal.SIGINT, end)
    except KeyboardInterrupt:
        end()
    sys.exit(code)
