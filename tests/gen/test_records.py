"""`records.sqlite`: nothing lost, nothing halved, and files that are not ours left as they are. No source outside but SQLite."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
import textwrap
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from gen.errors import InputError
from gen.records import GateRecord, KeptRecord, Records, TrialRecord, WeldRecord
from gen.records.tables import VERSION, VERSIONS
from gen.words import CORRECTED, CORRECTION_NAMES, NOT_TIMED


def weld(count: int, ending: str = "completed", boot: int = 7) -> WeldRecord:
    return WeldRecord("pico", boot, count, f"2026-01-01T00:00:{count:02}Z", ending, 20, 20, 30, "job", "0" * 16)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "records.sqlite"


def test_welds_are_kept_once_and_as_they_were(path: Path) -> None:
    """A second watch hears the same welds again: those that are there stay; keyed by board, boot and count."""
    with Records(path) as records:
        assert records.add_welds([weld(1), weld(2)]) == 2
    with Records(path) as records:
        assert records.add_welds([weld(2, "fault"), weld(3), weld(1, boot=8)]) == 2
        assert records.welds() == [weld(1), weld(1, boot=8), weld(2), weld(3)]


def test_a_wiped_board_counts_from_one_again(path: Path) -> None:
    """The same board, boot and count at another time is another weld; at nearly the same time it is the same one."""
    again = [replace(weld(n), ended_at=f"2026-03-01T08:00:{n:02}Z") for n in (1, 2)]
    with Records(path) as records:
        assert records.add_welds([weld(1), weld(2)]) == 2
        assert records.add_welds([replace(weld(1), ended_at="2026-01-01T00:01:00Z")]) == 0
        assert records.add_welds(again) == 2
        assert records.add_welds([*again, weld(1)]) == 0
        assert records.welds() == [weld(1), weld(2), *again]


def test_texts_of_pushed_schedules(path: Path) -> None:
    with Records(path) as records:
        records.add_pushed("a" * 16, "job", "title = 'Türgitter'\n", "2026-01-01T00:00:00Z")
        assert records.pushed_text("a" * 16) == "title = 'Türgitter'\n"
        assert records.pushed_text("b" * 16) is None


def test_the_file_says_what_it_is(path: Path) -> None:
    """Application and version stand in SQLite's header (bytes 68 and 60, sqlite.org/fileformat), for other programs to see."""
    with Records(path):
        pass
    header = path.read_bytes()[:100]
    assert header[68:72] == b"WBea"
    assert int.from_bytes(header[60:64], "big") == VERSION


def text(path: Path) -> None:
    path.write_text("my notes on welding, which are longer than a header of a hundred bytes " * 3)


def damaged(path: Path) -> None:
    path.write_bytes(b"SQLite format 3\0" + bytes(2000))


def other_tables(path: Path) -> None:
    sql(path, "CREATE TABLE recipes (name)")


def other_program(path: Path) -> None:
    sql(path, "PRAGMA application_id = 7")


def newer(path: Path) -> None:
    sql(path, f"PRAGMA application_id = {int.from_bytes(b'WBea', 'big')}; PRAGMA user_version = {VERSION + 1}")


@pytest.mark.parametrize(
    ("prepare", "words"),
    [
        (text, "not a records file, or damaged"),
        (damaged, "not a records file, or damaged"),
        (other_tables, "a database of another program"),
        (other_program, "a database of another program"),
        (newer, "written by a newer Weldbeat"),
        (Path.mkdir, "cannot be written"),
    ],
)
def test_other_files_are_left_alone(path: Path, prepare: Callable[[Path], None], words: str) -> None:
    """One message, and not a byte of theirs changed."""
    prepare(path)
    before = path.read_bytes() if path.is_file() else b""
    with pytest.raises(InputError) as told, Records(path):
        pass
    assert str(told.value).startswith(f"records.sqlite: {words}")
    assert "; allowed: " in str(told.value)
    assert (path.read_bytes() if path.is_file() else b"") == before


def sql(path: Path, script: str) -> None:
    with sqlite3.connect(path) as db:
        db.executescript(script)
    db.close()


def test_a_program_killed_in_the_middle_leaves_whole_welds(path: Path) -> None:
    """Killed while it writes: what was reported as kept is there, and the file opens again."""
    program = textwrap.dedent("""
        import sys
        from pathlib import Path
        from gen.records import Records, WeldRecord
        with Records(Path(sys.argv[1])) as records:
            for n in range(1, 10000):
                both = [WeldRecord("pico", b, n, "2026-01-01T00:00:00Z", "completed", 1, 1, 1, None, None) for b in (1, 2)]
                records.add_welds(both)
                print(n, flush=True)
    """)
    for _ in range(2):
        with subprocess.Popen([sys.executable, "-c", program, str(path)], stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout
            last = 0
            for line in process.stdout:
                last = int(line)
                if last == 5:
                    process.kill()
        with Records(path) as records:
            counts = [sorted(weld.count for weld in records.welds() if weld.boot == boot) for boot in (1, 2)]
        assert counts[0] == counts[1]
        assert counts[0] == list(range(1, len(counts[0]) + 1))
        assert len(counts[0]) >= last


def test_two_programs_at_once(path: Path) -> None:
    """The second waits for the first, and both sets of welds are there."""
    with Records(path) as one, Records(path) as two:
        assert one.add_welds([weld(1)]) == 1
        assert two.add_welds([weld(1), weld(2)]) == 1
        assert one.welds() == two.welds() == [weld(1), weld(2)]


def test_a_lock_that_is_not_let_go(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gen.records.store._WAIT_S", 0.05)
    with Records(path):
        pass
    holder = sqlite3.connect(path, isolation_level=None)
    holder.execute("BEGIN EXCLUSIVE")
    with pytest.raises(InputError, match="another program is writing to it"), Records(path):
        pass
    holder.close()


def test_a_full_disk_loses_nothing(path: Path) -> None:
    """SQLite's own limit on pages stands for the disk: the change that does not fit is not half there."""
    with Records(path) as records:
        records.add_welds([weld(1)])
        records._db.execute("PRAGMA max_page_count = 1")
        with pytest.raises(InputError, match="full"):
            records.add_welds(weld(n % 60, boot=n) for n in range(2000))
        assert records.welds() == [weld(1)]
    shutil.copy(path, path.with_name("copy.sqlite"))
    with Records(path.with_name("copy.sqlite")) as records:
        assert records.welds() == [weld(1)]


def trial(joint: str = "rungs", number: int = 0, outcome: str = "no bond") -> TrialRecord:
    measured = (None, 0.25, None, 12.5, None)
    return TrialRecord(
        joint, number, "2026-01-01T00:00:00Z", "rods_mm = [5, 8]\n", "job", "# Tür\r\n", "0" * 16, 0.1 + 0.2, 87.5,
        measured[0], outcome, "late", *measured[1:], 1, "slipped, held", "pico", 7, 3,
    )  # fmt: skip


def test_trials_are_kept_as_they_were(path: Path) -> None:
    """Every column to the last bit; numbers run on in each joint; what is taken out takes no other with it."""
    with Records(path) as records:
        assert [records.add_trial(trial()), records.add_trial(trial("frame")), records.add_trial(trial())] == [1, 1, 2]
        assert records.trials("rungs") == [trial(number=1), trial(number=2)]
        records.remove_trial("rungs", 1)
    with Records(path) as records:
        assert records.trials() == [trial("frame", 1), trial(number=2)]


def test_trials_are_added_all_or_none(path: Path) -> None:
    """The third has a number that is taken: the first two are not there either."""
    with Records(path) as records:
        assert records.add_trials([trial(), trial(number=5), trial()]) == [1, 5, 6]
        before = records.trials()
        with pytest.raises(InputError):
            records.add_trials([trial(), trial("frame"), trial(number=5, outcome="tore parent")])
        assert records.trials() == before
        assert records.add_trials([trial("frame")]) == [1]


def test_what_was_kept(path: Path) -> None:
    kept = [
        KeptRecord("rungs", f"2026-01-01T00:00:00.00000{n}Z", "job", "", "0" * 16, 0.3, 100, 0.2, 0.5, n)
        for n in (1, 2)
    ]
    with Records(path) as records:
        for each in kept:
            records.add_kept(each)
        assert records.kept("rungs") == records.kept() == kept
        assert records.kept("frame") == []


def test_an_older_file_gets_what_it_lacks(path: Path) -> None:
    """Version 1 knew welds and pushed schedules: they are there afterwards, and trials may be added."""
    first = weld(1)
    columns = (
        "board",
        "boot",
        "count",
        "ended_at",
        "ending",
        "planned",
        "fired",
        "duty_used_half_cycles",
        "schedule",
        "digest",
    )
    sql(path, f"PRAGMA application_id = {int.from_bytes(b'WBea', 'big')}; PRAGMA user_version = 1; {VERSIONS[0]}")
    with sqlite3.connect(path) as db:
        places = ", ".join("?" * (len(columns) + 1))
        values = [1, *(getattr(first, column) for column in columns)]
        db.execute(f"INSERT INTO welds (life, {', '.join(columns)}) VALUES ({places})", values)
        db.execute(
            "INSERT INTO pushed VALUES (?, ?, ?, ?)", ("a" * 16, "job", "# as it was\r\n", "2026-01-01T00:00:00Z")
        )
    db.close()
    with Records(path) as records:
        assert records.welds() == [first]
        assert records.pushed_text("a" * 16) == "# as it was\r\n"
        assert records.trials() == []
        assert records.add_trial(trial()) == 1
    assert int.from_bytes(path.read_bytes()[60:64], "big") == VERSION


def test_killed_before_the_end_of_a_change(path: Path) -> None:
    """Killed (SIGKILL) with half of an import written to the file: what was there before is there, and nothing else.

    A cache of one page makes SQLite write to the file before the change is whole, so that there is something to undo.
    """
    with Records(path) as records:
        records.add_trials([trial(), trial("frame")])
        before = records.trials()
    size = path.stat().st_size
    program = textwrap.dedent("""
        import sys
        from dataclasses import replace
        from pathlib import Path
        from gen.records import Records
        with Records(Path(sys.argv[1])) as records:
            records._db.execute("PRAGMA cache_size = 1")
            (first, *_) = records.trials()
            def many():
                for n in range(400):
                    yield replace(first, number=0, joint=f"joint {n}", text="#" * 2000)
                print("half", flush=True)
                sys.stdin.read()
            records.add_trials(many())
    """)
    with subprocess.Popen(
        [sys.executable, "-c", program, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout
        assert process.stdout.readline() == "half\n"
        assert path.stat().st_size > size
        process.kill()
    with Records(path) as records:
        assert records.trials() == before
        assert records.add_trial(trial()) == 2


def gate(count: int, number: int, length_us: int = 7000, boot: int = 7) -> GateRecord:
    return GateRecord("pico", boot, count, number, 4000, length_us, 10000, None, None)


def test_gates_are_kept_with_their_weld(path: Path) -> None:
    """Heard twice, kept once and as first heard; of a weld that is not kept, nothing."""
    first, second = [gate(1, n) for n in range(3)], [gate(2, n, 16383) for n in range(2)]
    with Records(path) as records:
        records.add_welds([weld(1), weld(2)])
        assert records.add_curve(first) == 3
        assert records.add_curve([gate(1, 2, 1), gate(1, 3)]) == 1
        assert records.add_curve(second) == 2
        assert records.add_curve([gate(9, 0)]) == 0
        assert records.curve(weld(1)) == [*first, gate(1, 3)]
        assert records.curve(weld(2)) == second
        assert records.curve(weld(3)) == []


def test_gates_of_a_wiped_board_belong_to_its_new_life(path: Path) -> None:
    again = replace(weld(1), ended_at="2026-03-01T08:00:01Z")
    with Records(path) as records:
        records.add_welds([weld(1)])
        records.add_curve([gate(1, 0, 7000)])
        records.add_welds([again])
        records.add_curve([gate(1, 0, 6000)])
        assert [g.length_us for g in records.curve(weld(1))] == [7000]
        assert [g.length_us for g in records.curve(again)] == [6000]


def test_gates_kept_before_peaks_were_still_open(path: Path) -> None:
    """A file of version 3, made by that version's own statements: its gates have no peak, and new ones may have one."""
    made = "".join(VERSIONS[:3])
    sql(path, f"PRAGMA application_id = {int.from_bytes(b'WBea', 'big')}; PRAGMA user_version = 3; {made}")
    values = "'pico', 1, 7, 1, '2026-01-01T00:00:01Z', 'completed', 20, 20, 30, 'job', '0000000000000000'"
    sql(path, f"INSERT INTO welds VALUES ({values})")
    sql(path, "INSERT INTO currents VALUES ('pico', 1, 7, 1, 0, 4000, 7000, 10000, NULL)")
    with Records(path) as records:
        assert records.curve(weld(1)) == [gate(1, 0, 7000)]
        later = replace(gate(1, 1), length_us=NOT_TIMED, current_A=12.5, peak_A=-20.0)
        assert records.add_curve([later]) == 1
        assert records.curve(weld(1)) == [gate(1, 0, 7000), later]
    assert path.with_name("records-version-3.sqlite").is_file()


def test_welds_kept_before_corrections_were_still_open(path: Path) -> None:
    """A file of version 4, made by that version's own statements: its welds know of none, and new ones may."""
    made = "".join(VERSIONS[:4])
    sql(path, f"PRAGMA application_id = {int.from_bytes(b'WBea', 'big')}; PRAGMA user_version = 4; {made}")
    values = "'pico', 1, 7, 1, '2026-01-01T00:00:01Z', 'completed', 20, 20, 30, 'job', '0000000000000000'"
    sql(path, f"INSERT INTO welds VALUES ({values})")
    later = replace(weld(2), fired_for_percent=104.2, correction=CORRECTION_NAMES[CORRECTED])
    with Records(path) as records:
        assert records.welds() == [weld(1)]
        assert records.add_welds([later]) == 1
        assert records.welds() == [weld(1), later]
        records.add_welds([replace(weld(3), correction="else")])
        with pytest.raises(InputError, match="correction"):
            records.welds()
    assert path.with_name("records-version-4.sqlite").is_file()


def test_a_file_without_gates_still_opens(path: Path) -> None:
    """A file of version 2, made by that version's own statements: all in it stays, and gates can be kept from then on."""
    made = "".join(VERSIONS[:2])
    sql(path, f"PRAGMA application_id = {int.from_bytes(b'WBea', 'big')}; PRAGMA user_version = 2; {made}")
    values = "'pico', 1, 7, 1, '2026-01-01T00:00:01Z', 'completed', 20, 20, 30, 'job', '0000000000000000'"
    sql(path, f"INSERT INTO welds VALUES ({values})")
    with Records(path) as records:
        assert records.welds() == [weld(1)]
        assert records.curve(weld(1)) == []
        assert records.add_curve([gate(1, 0)]) == 1
    assert path.with_name("records-version-2.sqlite").is_file()
