"""The entry point of the `weldbeat` command, and its answer to Ctrl-C. The commands are in gen.cli.commands."""

import sys

from gen.cli.ctrl_c import end

TYPE_CHECKING = False  # as typing has it, which takes longer to load than all the rest of this file
if TYPE_CHECKING:
    from typing import NoReturn


def main() -> "NoReturn":
    """Entry point; the exit codes are those of `gen.cli.commands.run`.

    While modules are imported, and after the work, Ctrl-C ends the process at once: nothing is half written then. As an
    exception it could be raised in a callback of the import system, which prints a traceback and goes on. While Python
    shuts down Ctrl-C is ignored: the work is done and reported, and the exit code stands.
    """
    try:
        import atexit
        import os
        import signal

        by_exception = signal.getsignal(signal.SIGINT)
        heeded = by_exception is signal.default_int_handler  # otherwise the parent process wants Ctrl-C ignored
        if heeded:
            signal.signal(signal.SIGINT, end)
            atexit.register(signal.signal, signal.SIGINT, signal.SIG_IGN)  # registered first, so that it runs last
        # Threads of the linear algebra wait for each other on a busy computer, and our matrices are small.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        from gen.cli.commands import run

        if heeded:
            signal.signal(signal.SIGINT, by_exception)
        try:
            code = run()
        finally:
            if heeded:
                signal.signal(signal.SIGINT, end)
    except KeyboardInterrupt:
        end()
    sys.exit(code)
