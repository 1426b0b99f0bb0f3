"""The resources of every room: the folder, the worker processes, the board and the walk."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from gen.page.board_keeper import BoardKeeper
from gen.page.folder import Folder
from gen.page.walk_keeper import WalkKeeper
from gen.page.workers import Workers


@dataclass
class Desk:
    """One open page. It lives as long as the server."""

    folder: Folder
    workers: Workers = field(default_factory=Workers)
    board: BoardKeeper = field(init=False)
    walk: WalkKeeper = field(init=False)
    _end: Callable[[], None] = field(default=lambda: None)

    def __post_init__(self) -> None:
        self.board = BoardKeeper(self.folder.welder)
        self.walk = WalkKeeper(self.folder.welder, self.workers)

    def when_closed(self, end: Callable[[], None]) -> None:
        """Set the function that ends the server when the page is closed."""
        self._end = end

    def end(self) -> None:
        """Close the page: computations are cancelled, and the server ends after its response."""
        self.workers.close()
        self.board.live.end()
        self.walk.live.end()
        self._end()

    def close(self) -> None:
        """Close workers, board and walk."""
        self.walk.close()
        self.board.disconnect()
        self.workers.close()
