"""The currents of a weld from the emitted application over the line into the records."""

from __future__ import annotations

from pathlib import Path

import pytest

import gen.link.client
import gen.link.watching
from gen.link.client import Link
from gen.link.errors import BoardRefused
from gen.link.watching import Watch
from gen.measured import correction_text
from gen.records import Records
from gen.words import CORRECTED, CORRECTION_NAMES, UNKNOWN_METHOD, WELDS_KEPT
from tests.support.link.stepped_board import SteppedBoard
from tests.support.machines import firmware, make_welder

LENGTHS_US = [7_000 + 10 * n for n in range(40)]


@pytest.fixture
def board(monkeypatch: pytest.MonkeyPatch) -> SteppedBoard:
    welder = make_welder(board={"conduction_sense": True})
    made = SteppedBoard(firmware(welder, {"weld": "20 cycles"})[0])
    monkeypatch.setattr(gen.link.client, "time", made)
    monkeypatch.setattr(gen.link.watching, "time", made)
    made.lengths_us = LENGTHS_US
    made.run(1000)
    return made


def weld(board: SteppedBoard) -> None:
    board.pedal = 1
    board.run(2000)
    board.pedal = 0
    board.run(5000)


def test_a_watched_weld_is_kept_with_its_currents(board: SteppedBoard, tmp_path: Path) -> None:
    """Forty gates in three answers; a second look keeps nothing twice; those of an earlier weld are not a later one's."""
    with Link("board", opened=board) as link, Records(tmp_path / "records.sqlite") as records:
        watch = Watch(link, records)
        assert watch.begin() == ()
        weld(board)
        look = watch.look()
        assert look is not None
        assert [gate.length_us for gate in look.curve] == LENGTHS_US
        assert {gate.half_us for gate in look.curve} == {10_000}
        assert records.curve(look.welds[0]) == list(look.curve)
        again = watch.look()
        assert again is not None
        assert again.curve == ()
        board.lengths_us = LENGTHS_US[:4]
        weld(board)
        later = watch.look()
        assert later is not None
        assert [gate.length_us for gate in later.curve] == LENGTHS_US[:4]
        assert [len(records.curve(record)) for record in records.welds()] == [40, 4]


def test_what_a_weld_was_fired_for_is_kept(board: SteppedBoard, tmp_path: Path) -> None:
    """And what it means to the next; nothing where the board corrects nothing."""
    with Link("board", opened=board) as link, Records(tmp_path / "records.sqlite") as records:
        watch = Watch(link, records)
        weld(board)
        weld(board)
        welds = board.supervisor.last_welds
        welds.ring[len(welds.ring) // WELDS_KEPT + 5] = 1042  # of the second
        welds.set_correction(CORRECTED)
        look = watch.look()
        assert look is not None
        kept = records.welds()
        assert [(w.fired_for_percent, w.correction) for w in kept] == [
            (None, None),
            (104.2, CORRECTION_NAMES[CORRECTED]),
        ]
        told = "fired for 104.2 % of the planned current; correction taken for the next weld"
        assert [correction_text(w) for w in kept] == ["", told]


def test_an_older_firmware_tells_no_currents(
    board: SteppedBoard, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It does not know the question; its welds are kept all the same."""

    def refused(self: Link) -> None:
        raise BoardRefused("board", UNKNOWN_METHOD, "unknown method", "")

    with Link("board", opened=board) as link, Records(tmp_path / "records.sqlite") as records:
        watch = Watch(link, records)
        weld(board)
        monkeypatch.setattr(Link, "curve", refused)
        look = watch.look()
        assert look is not None
        assert (len(look.welds), look.curve) == (1, ())
