"""Serves the page on one local port of this computer, until Ctrl-C or the page's own button."""

from __future__ import annotations

import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from gen.errors import InputError
from gen.page.app import make_app
from gen.page.desk import Desk
from gen.page.door import HOST, KEY, Door, DoorKeys
from gen.page.folder import Folder
from gen.user_files import written


@dataclass(frozen=True)
class Served:
    """The served page. `address` contains the key of this start."""

    address: str
    port: int


def serve(place: Path, port: int, ready: Callable[[Served], None]) -> None:
    """Serve the folder `place` until ended. `port` 0: any free port. `ready` is called as soon as the server answers.

    Raises InputError where the folder does not exist, or the port is taken.
    """
    if not place.is_dir():
        raise InputError("command line", "FOLDER", written(str(place)), "allowed: a folder that is there")
    listening = _listening(port)
    port = listening.getsockname()[1]
    keys = DoorKeys()
    desk = Desk(Folder(place))
    server = _Server(
        uvicorn.Config(
            Door(make_app(desk), keys, port),
            log_level="critical",
            access_log=False,
            ws="none",
            lifespan="off",
            server_header=False,
            date_header=False,
            timeout_graceful_shutdown=1,
            limit_concurrency=200,
        ),
        lambda: ready(Served(f"http://{HOST}:{port}/?{KEY}={keys.first}", port)),
    )
    desk.when_closed(server.end)
    desk.workers.warm()
    try:
        server.run(sockets=[listening])
    except KeyboardInterrupt:
        return  # Ctrl-C is the way to end the server
    finally:
        desk.close()
        listening.close()


def _listening(port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listening.bind((HOST, port))
    except OSError as error:
        listening.close()
        why = f"{error.strerror}; allowed: a port that no other program has, or none for a free one"
        raise InputError("command line", "--port", port, why) from None
    return listening


class _Server(uvicorn.Server):
    """A server that calls `ready` when it answers, and that can be ended from another thread."""

    def __init__(self, config: uvicorn.Config, ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._ready = ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        self._ready()

    def end(self) -> None:
        self.should_exit = True
