"""The commands by section. A command imports the heavy modules that it needs, so that help is printed at once."""

from __future__ import annotations

import importlib
import io
import signal
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import click

from gen.ask import Stopped
from gen.cli.ctrl_c import BY_CTRL_C, end
from gen.cli.said import say, say_wrong
from gen.errors import InputError, meant

# By section and command: its module, and its line in the list.
Sections = Mapping[str, Mapping[str, tuple[str, str]]]


class Listed(click.Group):
    """Commands by section, in working order. The command NAME is NAME_command in its module of gen.cli."""

    def __init__(self, *args: Any, sections: Sections, **settings: Any) -> None:
        super().__init__(*args, **settings)
        self.sections = sections

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt as error:  # click's main would print an empty line first
            raise click.Abort from error

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if not name.startswith("-") and self.get_command(ctx, name) is None:
            near = meant(name, self.list_commands(ctx))
            ctx.fail(f"No such command {name!r}" + (f"; {near}" if near else ""))
        found = super().resolve_command(ctx, args)
        if found[1] is not None:
            _refuse_twice(found[1], ctx, found[2])
        return found

    def _modules(self) -> dict[str, str]:
        return {name: module for commands in self.sections.values() for name, (module, _) in commands.items()}

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self._modules())

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        module = self._modules().get(cmd_name)
        if module is None:
            return None
        with _ended_by_ctrl_c():
            command: click.Command = getattr(importlib.import_module(f"gen.cli.{module}"), f"{cmd_name}_command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        for section, commands in self.sections.items():
            with formatter.section(section):
                formatter.write_dl([(name, words) for name, (_, words) in commands.items()])


@contextmanager
def _ended_by_ctrl_c() -> Iterator[None]:
    """Within it Ctrl-C ends the process at once, as in `gen.cli.main` during imports."""
    before = signal.getsignal(signal.SIGINT)
    if before is not signal.default_int_handler:
        yield
        return
    signal.signal(signal.SIGINT, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _refuse_twice(command: click.Command, ctx: click.Context, words: list[str]) -> None:
    """Raise InputError for an option of one value given twice; click would silently take the last."""
    # Parsed as for completion: the command's own parsing reports all other errors.
    trial = click.Context(command, ctx, resilient_parsing=True, **command.context_settings)
    _, _, order = command.make_parser(trial).parse_args(list(words))
    for param in order:
        if isinstance(param, click.Option) and not param.multiple and not param.is_flag and order.count(param) > 1:
            raise InputError("command line", max(param.opts, key=len), None, "given more than once; allowed: once")


_NOT_FOLLOWED = ("demo", "new", "next", "open")  # they print the next step themselves, or do not end
# In working order.
SECTIONS = {
    "Begin": {
        "demo": ("begin", "A worked example in a folder: schedule, firmware, run, report."),
        "new": ("begin", "Start a machine of your own: asks a few questions, writes its files."),
        "next": ("next", "The tasks still to do for this machine, in working order."),
        "boards": ("plan", "The timer boards and what each can do."),
        "open": ("page", "The whole job as a page in the browser, on this computer only."),
    },
    "Plan and wire": {
        "describe": ("describe", "The machine's derived values, and a comparison of electrodes."),
        "suggest": ("suggest", "A first schedule for a joint, from the handbook tables."),
        "joint": ("joint", "Compute heat, setdown and nugget of a joint."),
        "table": ("plan", "The timing table of a schedule, in mains half-cycles."),
        "choose": ("wiring", "The switch, fuse and other parts that suit, with calculations."),
        "wiring": ("wiring", "The wiring sheet of the upgrade: drawings, wire list, parts list."),
    },
    "Prove and make": {
        "simulate": ("prove", "Run the firmware on a simulated welder and judge the run."),
        "sweep": ("sweep", "Judge the schedule on many machines that the welder file allows."),
        "faults": ("faults", "Inject each fault, and say what protects against it."),
        "build": ("prove", "Write the firmware for the board, unless the verdict refuses."),
    },
    "Flash and commission": {
        "ports": ("link", "The serial ports, and what answers on each."),
        "flash": ("link", "Put a built firmware onto a board."),
        "commission": ("commission", "Walk the steps from unpowered to the first weld, or print them."),
        "calibrate": ("commission", "Put measured values into the welder file, after showing them."),
    },
    "Run": {
        "push": ("link", "Send a schedule to a board, unless the verdict refuses."),
        "pull": ("link", "Fetch a schedule from a board as a file."),
        "schedules": ("link", "The schedules on a board; select or remove one."),
        "clear": ("link", "End a lockout that outlasts a power cut, after the repair."),
        "watch": ("link", "Show mains, state and welds of a board now; keeps the welds."),
        "weld": ("weld", "Watched welds, half-cycle by half-cycle."),
        "trial": ("trial", "Trials on scrap: record each, ask for the next, keep what holds."),
        "paper": ("paper", "A label, a wall chart, a logbook: to print for the shop."),
        "rescue": ("rescue", "Copy the readable part of damaged records into a new file."),
    },
}


@click.group(
    cls=Listed, sections=SECTIONS, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.version_option(package_name="weldbeat")
def weldbeat() -> None:
    """Weldbeat turns a hand-timed resistance welder into a repeatable one.

    It runs the same firmware that will be flashed on a simulated welder, says whether that is safe, and writes it for a
    cheap timer board. Mains and thousands of amperes: no software replaces an isolator, an emergency stop or a licensed
    electrician.
    """


def run() -> int:
    """Run the command typed. Every error message is one line.

    Exit codes: 0 done; 1 the answer is no (refused, not known, or a failed step); 2 bad input; 130 Ctrl-C.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a title may have letters that the terminal lacks
            stream.reconfigure(errors="backslashreplace")
    try:
        result = weldbeat.main(prog_name="weldbeat", standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        say(error.format_message())
        return 0
    except InputError as error:
        return _failed(str(error), error)
    except click.ClickException as error:
        return _failed(_usage(error), error)
    except (click.Abort, Stopped, KeyboardInterrupt) as error:
        return _failed("stopped", error)
    except OSError as error:
        allowed = "allowed: a place with room that you may read and write"
        return _failed(f"{error.filename or 'output'}: {error.strerror or error}; {allowed}", error)
    _say_next()
    return result if isinstance(result, int) else 0


def _say_next() -> None:
    """Print the next step, as the last line of a command at a terminal."""
    words = [word for word in sys.argv[1:] if not word.startswith("-")]
    silent = {"-h", "--help", "--version", "--json"} & set(sys.argv)
    if silent or not words or words[0] in _NOT_FOLLOWED or not sys.stdout.isatty():
        return
    from gen.cli.next import next_line

    if line := next_line():
        say(f"\n{line}")


def _failed(message: str, error: BaseException) -> int:
    """Print the error on one line, and return the exit code."""
    one_line = "".join(c if c.isprintable() else ascii(c)[1:-1] for c in message)
    by_ctrl_c = _caused_by_ctrl_c(error)
    if by_ctrl_c and sys.stderr.isatty():
        say_wrong("")  # the cursor is behind ^C
    say_wrong(f"weldbeat: {one_line}")
    return BY_CTRL_C if by_ctrl_c else 2


def _caused_by_ctrl_c(error: BaseException | None) -> bool:
    if error is None or isinstance(error, KeyboardInterrupt):
        return error is not None
    return _caused_by_ctrl_c(error.__cause__ or error.__context__)


def _usage(error: click.ClickException) -> str:
    """The error in the command line, in the form of every other message."""
    context = error.ctx if isinstance(error, click.UsageError) else None
    see = f"allowed: what `{context.command_path if context else 'weldbeat'} --help` lists"
    if isinstance(error, click.NoSuchOption):
        names = [name for param in context.command.params for name in param.opts] if context else []
        near = meant(error.option_name, [*names, "--help"])
        return f"command line: {error.option_name}; unknown option; {near}{' ' if near else ''}{see}"
    if isinstance(error, click.BadParameter) and error.param is not None:
        param = error.param
        name = param.human_readable_name if isinstance(param, click.Argument) else max(param.opts, key=len)
        missing = isinstance(error, click.MissingParameter)
        return f"command line: {name}; missing; {see}" if missing else f"command line: {name}: {error.message}"
    text = error.format_message().rstrip(".")
    return f"command line: {text[:1].lower()}{text[1:]}{'' if text.endswith('?') else ';'} {see}"
