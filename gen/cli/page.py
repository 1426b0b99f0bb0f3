"""The command that opens the page: `open`."""

from __future__ import annotations

import webbrowser
from pathlib import Path

import click

from gen.cli.options import USER_PATH, number
from gen.cli.said import say


@click.command("open")
@click.argument("folder", type=USER_PATH, default=Path("."))
@click.option(
    "--port",
    type=number(0, 65535),
    metavar="NUMBER",
    default=0,
    help="The port of this computer to answer on; otherwise one that is free.",
)
@click.option("--no-browser", is_flag=True, help="Open no browser; print the address.")
def open_command(folder: Path, port: int, no_browser: bool) -> None:
    """The whole job as a page in the browser, for the machine in FOLDER (otherwise the current one).

    It answers this computer alone, under an address with a key that is new at each start, and needs no network.
    Ctrl-C ends it, or the page's own button.
    """
    from gen.page import Served, serve

    def ready(served: Served) -> None:
        say(f"Open: {served.address}")
        say("Only this computer can; whoever has the address can send to the board. Ctrl-C ends it.")
        if not no_browser:
            webbrowser.open(served.address)

    serve(folder, port, ready)
