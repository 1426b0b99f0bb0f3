"""What every room of the page works with: the folder, the processes that compute, and the board."""

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
        """What ends the server when the page is told to close."""
        self._end = end

    def end(self) -> None:
        """Close the page: what is computed is given up, and the server ends after the answer."""
        self.workers.close()
        self.board.live.end()
        self.walk.live.end()
        self._end()

    def close(self) -> None:
        """Let go of everything."""
        self.walk.close()
        self.board.disconnect()
        self.workers.close()
