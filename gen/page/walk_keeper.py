"""The commissioning walk on the page: one thread walks the steps, and waits for each answer from the browser."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

from gen.ask import NotTaken, Stopped
from gen.boards import Board
from gen.cautions import CAUTIONS
from gen.commissioning import Judged, Shot, Step, Walked, instead_of_reading, walking
from gen.errors import InputError
from gen.job import board_of, find_welder
from gen.page.computed import shot_refused_by
from gen.page.live import LiveValue
from gen.page.texts import text
from gen.page.workers import Superseded, Workers
from gen.records import RECORDS_FILE

T = TypeVar("T")
_ENDING_S = 3.0
_YES = "yes"


@dataclass(frozen=True)
class Question:
    """The question that the walk waits on. `number` identifies it on this page. `yes_or_no`: no reading is wanted."""

    number: int
    words: str
    yes_or_no: bool
    typical: str = ""
    instead: tuple[str, ...] = ()  # words allowed in place of a reading
    signed: bool = False
    wrong: str = ""  # why the previous answer was refused


@dataclass(frozen=True)
class WalkSeen:
    """The state of a walk. `step` is None before the first step. `entered`: a new stage began, with its required states."""

    walking: bool = False
    ending: bool = False
    problem: str = ""
    place: int = 0
    count: int = 0
    step: Step | None = None
    entered: bool = False
    cautions: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()
    question: Question | None = None
    came: Judged | None = None
    came_of: str = ""  # the title of the step of the outcome `came`
    walked: Walked | None = None


class WalkKeeper:
    """Runs at most one walk, from `begin` until it is complete, fails, or is ended."""

    def __init__(self, welder: Path, workers: Workers) -> None:
        self._welder = welder
        self._workers = workers
        self._changed = threading.Condition()
        self._asked = 0
        self._answer: tuple[int, str] | None = None
        self._ending = False
        self._thread: threading.Thread | None = None
        self.live = LiveValue(WalkSeen())

    @property
    def seen(self) -> WalkSeen:
        return self.live.value

    def begin(self, port: str, anew: bool) -> None:
        """Continue the last walk, or begin one `anew`. `port` "": the only board found, or none. Raises InputError."""
        welder = find_welder(self._welder)
        board = board_of(welder)
        with self._changed:
            if self.seen.walking:
                raise InputError(text("walk.walk"), text("walk.under_way"), None, text("walk.end_first"))
            self._ending, self._answer = False, None
            self.live.set(WalkSeen(walking=True))

        def walk() -> None:
            try:
                kept = self._welder.parent / RECORDS_FILE
                with walking(welder, board, kept, _PageGuide(self, board), port or None, anew) as found:
                    walked = found.go()
                self.show(walked=walked)
            except Stopped:
                pass  # earlier readings stay
            except InputError as error:
                self.show(problem=str(error))
            finally:
                self.show(walking=False, ending=False, question=None)

        self._thread = threading.Thread(target=walk, daemon=True)
        self._thread.start()

    def answer(self, number: int, said: str) -> None:
        """Answer the question of that number. A newer question is not answered by it."""
        with self._changed:
            asked = self.seen.question
            if asked is not None and asked.number == number:
                self._answer = (number, said)
                self._changed.notify_all()

    def end(self) -> None:
        """End the walk at its next question. Earlier readings stay."""
        with self._changed:
            if self.seen.walking:
                self._ending = True
                self.show(ending=True)
                self._changed.notify_all()

    def close(self) -> None:
        """End the walk, and wait a little while it restores the board."""
        self.end()
        if self._thread is not None:
            self._thread.join(_ENDING_S)
        self.live.end()

    # -- for the guide -------------------------------------------------------------------------------------------

    def show(self, **changed: Any) -> None:
        """Change the state shown. Raises nothing."""
        self.live.set(replace(self.seen, **changed))

    def heed_ending(self) -> None:
        """Raise Stopped where the walk is to end."""
        if self._ending:
            raise Stopped

    def ask(self, made: Callable[[int], Question]) -> str:
        """Show a question, and wait for its answer. Raises Stopped."""
        with self._changed:
            self.heed_ending()
            self._asked += 1
            self.show(question=made(self._asked))
            self._changed.wait_for(lambda: self._ending or self._answer is not None)
            self.heed_ending()
            said, self._answer = self._answer[1] if self._answer else "", None
            self.show(question=None)
            return said

    def refused(self, shot: Shot, board: Board) -> str:
        """Why a shot is refused, as a sentence; "" where the verdict allows it. Raises Stopped where the page is closed."""
        try:
            return self._workers.slow.run("walk", shot_refused_by, shot, board)
        except Superseded:
            raise Stopped from None


class _PageGuide:
    """The page's side of a walk: a gen.commissioning.Guide."""

    def __init__(self, keeper: WalkKeeper, board: Board) -> None:
        self._keeper = keeper
        self._board = board

    def begin(self, place: int, count: int, step: Step, enters: bool) -> bool:
        cautions = tuple(CAUTIONS[number] for number in step.stage.cautions)
        self._keeper.show(place=place, count=count, step=step, entered=enters, cautions=cautions, lines=())
        if not enters:
            return True
        is_so = self.yes(text("walk.is_so"))
        self._keeper.show(entered=False)
        return is_so

    def say(self, text: str) -> None:
        self._keeper.heed_ending()
        self._keeper.show(lines=(*self._keeper.seen.lines, text))

    def yes(self, question: str) -> bool:
        return self._keeper.ask(lambda number: Question(number, question, yes_or_no=True)) == _YES

    def answer(self, question: str, read: Callable[[Any], T], typical: Any = None) -> T:
        step, wrong = self._keeper.seen.step, ""
        words = instead_of_reading(step) if step is not None else ()

        def made(number: int) -> Question:
            return Question(
                number,
                question,
                yes_or_no=False,
                typical="" if typical is None else str(typical),
                instead=tuple(word for word in words if _taken(read, word)),
                signed=_taken(read, "-1"),
                wrong=wrong,
            )

        while True:
            said = self._keeper.ask(made).strip()
            try:
                return read(typical if typical is not None and not said else said)
            except NotTaken as error:
                wrong = str(error)

    def lets_by(self, shot: Shot) -> bool:
        self.say(text("walk.judging"))
        refused = self._keeper.refused(shot, self._board)
        if refused:
            self.say(refused)
        return not refused

    def came_of(self, judged: Judged) -> None:
        step = self._keeper.seen.step
        self._keeper.show(came=judged, came_of="" if step is None else step.title)


def _taken(read: Callable[[Any], object], said: str) -> bool:
    """Whether `read` accepts this answer."""
    try:
        read(said)
    except NotTaken:
        return False
    return True
