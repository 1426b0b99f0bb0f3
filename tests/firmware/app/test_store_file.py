"""The file of the settings byte by byte, written once more with struct and zlib, and the limits of what it holds."""

from __future__ import annotations

import struct
import zlib
from typing import Any

import pytest

from firmware_templates.app.store import FILES, Store, packed, unpacked
from firmware_templates.app.table_check import digest
from sim.bench.chip import Flash, FlashFault, PowerLost
from tests.support.app.stored import FlashDriver, config_of, made, rows_of, started

BUNDLE, TABLE = made()
CONFIG = config_of(BUNDLE)
ROWS = rows_of(TABLE)
SHORT: Any = (("squeeze", 10, -1, 0), ("weld", 2, 5000, 50), ("hold", 4, -1, 0), ("off", 300, -1, 0))
PHASES = ("squeeze", "pulse", "cool", "upslope", "weld", "downslope", "hold", "off")
Schedule = tuple[str, Any]


def text(value: str) -> bytes:
    return bytes([len(value)]) + value.encode()


def body(bundle: str, selected: str, boot: int, schedules: list[Schedule]) -> bytes:
    data = text(bundle) + text(selected) + struct.pack("<IB", boot, len(schedules))
    for name, rows in schedules:
        data += text(name) + text(digest(name, 50, rows)) + struct.pack("<H", len(rows))
        data += b"".join(struct.pack("<BHHB", PHASES.index(p), n, delay + 1, heat) for p, n, delay, heat in rows)
    return data


def file_of(content: bytes, sequence: int, **wrong: Any) -> bytes:
    """A whole file; `wrong` spoils a figure of the first line and keeps the checksum right."""
    head = f"weldbeat 1 {wrong.get('sequence', sequence)} {wrong.get('length', len(content))}".encode()
    return head + f" {zlib.crc32(content, zlib.crc32(head)):08x}\n".encode() + content


def stored(
    sequence: int = 7, selected: str = "first", boot: int = 41, schedules: Any = None, bundle: str | None = None
) -> bytes:
    given = [("first", ROWS), ("second", SHORT)] if schedules is None else schedules
    return file_of(body(CONFIG.BUNDLE_DIGEST if bundle is None else bundle, selected, boot, given), sequence)


def start(a: bytes | None, b: bytes | None, config: Any = CONFIG, *faults: FlashFault) -> tuple[bool, Store, Flash]:
    files = {name: data for name, data in zip(FILES, (a, b)) if data is not None}
    flash = Flash(files, faults)
    store = Store(FlashDriver(flash), config)  # type: ignore[arg-type]
    return store.start(), store, flash


def test_the_names_of_the_files() -> None:
    """Those that the words of the lockout and of the host's side mean."""
    assert FILES == ("settings.a", "settings.b")


def test_the_very_first_start_writes_both_copies() -> None:
    """The first file first; the burnt-in schedule, selected; start number 1."""
    whole, store, flash = start(None, None)
    first = file_of(body(CONFIG.BUNDLE_DIGEST, "first", 1, [("first", ROWS)]), 1)
    second = file_of(body(CONFIG.BUNDLE_DIGEST, "first", 1, [("first", ROWS)]), 2)
    assert whole
    assert flash.files == {"settings.a": first, "settings.b": second}
    assert (store.boot, store.selected, store.names()) == (1, "first", [("first", TABLE.digest)])
    assert store.rows("first") == ROWS


def test_a_start_takes_the_newer_and_writes_over_the_older() -> None:
    """Whichever file it is; the count goes up by one."""
    for a, b, over in ((7, 8, "settings.a"), (8, 7, "settings.b"), (1, 2, "settings.a")):
        old = {"settings.a": stored(a, boot=a), "settings.b": stored(b, boot=b)}
        whole, store, flash = start(*old.values())
        newer = max(a, b)
        assert whole
        assert store.boot == newer + 1
        assert flash.writes == 1
        assert flash.files == {**old, over: stored(newer + 1, boot=newer + 1)}
        assert (store.selected, store.rows("second")) == ("first", SHORT)


def test_one_copy_is_enough_and_the_other_is_mended() -> None:
    """Missing, empty or damaged; the good one stays as it was."""
    good = stored(7)
    for other in (None, b"", b"?", good[:-1], good + b"x", b"\n", b"weldbeat 1 9\n"):
        for place in (0, 1):
            pair = (good, other) if place == 0 else (other, good)
            whole, store, flash = start(*pair)
            assert whole
            assert flash.files[FILES[place]] == good
            assert flash.files[FILES[1 - place]] == stored(8, boot=42)
            assert store.boot == 42


def test_the_count_of_starts_goes_round() -> None:
    """After 999 999 999 comes 1: it has nine figures on the line."""
    assert start(stored(boot=999_999_998), None)[1].boot == 999_999_999
    assert start(stored(boot=999_999_999), None)[1].boot == 1
    assert start(stored(boot=1), None)[1].boot == 2


def test_sequence_numbers_are_compared_as_numbers() -> None:
    """9 and 10, 99 and 100; the same number twice is the first file's."""
    for a, b in ((9, 10), (99, 100), (10, 9), (1 << 33, 5)):
        _, store, _ = start(stored(a, boot=a % 1000), stored(b, boot=b % 1000))
        assert store.boot == max(a, b) % 1000 + 1
        assert store.sequence == max(a, b) + 1
    assert start(stored(5, boot=50), stored(5, boot=60))[1].boot == 51


RIGHT = body(CONFIG.BUNDLE_DIGEST, "first", 41, [("first", ROWS)])
RIGHT_FILE = file_of(RIGHT, 7)
DAMAGED: dict[str, bytes] = {
    "empty": b"",
    "no line": b"weldbeat",
    "no line's end": RIGHT_FILE[:-1].replace(b"\n", b" "),
    "a line's end first": b"\n" + RIGHT,
    "a line alone": b"weldbeat 1 7 5 00000000\n",
    "words missing": b"weldbeat 1\n" + RIGHT,
    "no number": b"weldbeat 1 x 5 00000000\n" + RIGHT,
    "no UTF-8": b"\xff\xff\n" + RIGHT,
    "length too great": file_of(RIGHT, 7, length=len(RIGHT) + 1),
    "length too small": file_of(RIGHT, 7, length=len(RIGHT) - 1),
    "sequence 0": file_of(RIGHT, 0),
    "sequence below 0": file_of(RIGHT, -1),
    "checksum of the body alone": f"weldbeat 1 7 {len(RIGHT)} {zlib.crc32(RIGHT):08x}\n".encode() + RIGHT,
    "body cut": file_of(RIGHT[:-1], 7),
    "body cut in a text": file_of(RIGHT[:3], 7),
    "body of nothing": file_of(b"", 7),
    "more than the body": file_of(RIGHT + b"\0", 7),
    "a name that is none": file_of(body("x", "First", 1, [("First", ROWS)]), 7),
    "selected is not there": file_of(body("x", "other", 1, [("first", ROWS)]), 7),
    "no schedules": file_of(body("x", "first", 1, []), 7),
    "text that is no UTF-8": file_of(b"\x01\xff" + RIGHT, 7),
    "another version": file_of(RIGHT, 7).replace(b"weldbeat 1", b"weldbeat 2"),
}


@pytest.mark.parametrize("kind", DAMAGED)
def test_what_is_no_settings_file(kind: str) -> None:
    """With a whole second copy it is passed over; alone it is damage: nothing selected, nothing written."""
    data = DAMAGED[kind]
    assert start(data, stored(3))[1].boot == 42
    _, store, flash = start(stored(3), data)
    assert (store.boot, flash.files["settings.a"]) == (42, stored(3))
    whole, store, flash = start(data, None)
    assert not whole
    assert (store.selected, store.schedules, store.rows("first"), store.digest("first")) == ("", [], (), "")
    assert flash.writes == 0
    assert not start(None, data)[0]
    assert not start(data, data)[0]


def test_what_is_left_of_a_file_is_damage_and_no_first_start() -> None:
    """However little: of settings that were pushed their first bytes are those of the burnt-in ones. No file at all is one."""
    first = file_of(body(CONFIG.BUNDLE_DIGEST, "first", 1, [("first", ROWS)]), 1)
    for left in (first, stored(12, "second"), stored(7, "second")):
        for length in [*range(16), *range(16, len(left), 7)]:
            assert not start(left[:length], None)[0]
            assert not start(None, left[:length])[0]
            assert not start(left[:length], left[:length])[0]
    assert start(None, None)[0]


@pytest.mark.parametrize("faults", [("lost", "lost"), ("failed", "failed"), ("torn", "failed")])
def test_a_first_start_that_cannot_be_stored_is_none(faults: tuple[str, str]) -> None:
    """Both writes went wrong. With one of them right it is a start, and the next one mends."""
    assert not start(None, None, CONFIG, *(FlashFault(n, kind, 9) for n, kind in enumerate(faults)))[0]
    for n in (0, 1):
        assert start(None, None, CONFIG, FlashFault(n, faults[0], 9))[0]


def test_a_write_counts_when_it_was_read_back() -> None:
    """Then it is the newer, and the next goes over the other; else the next goes over the same."""
    _, store, flash = start(stored(7), stored(6))
    assert (store.sequence, store.newer) == (8, 1)
    for kind in ("failed", "lost", "torn"):
        flash = Flash(flash.files, (FlashFault(0, kind, 9),))
        store.driver = FlashDriver(flash)  # type: ignore[assignment]
        newer = flash.files["settings.b"]
        assert not store.write()
        assert (store.sequence, store.newer) == (8, 1)
        assert flash.files["settings.b"] == newer
    assert store.write()
    assert (store.sequence, store.newer) == (9, 0)
    assert store.write()
    assert (store.sequence, store.newer) == (10, 1)


def test_another_firmware_keeps_what_its_limits_allow() -> None:
    """Its own schedule last and selected, in the place of one of that name; both copies are written; the count goes on."""
    for bundle, kept in (("0" * 16, ["second", "first"]), ("", ["second", "first"])):
        whole, store, flash = start(stored(7, "second", bundle=bundle), None)
        assert whole
        assert [name for name, _ in store.names()] == kept
        assert (store.selected, store.boot, store.bundle) == ("first", 42, CONFIG.BUNDLE_DIGEST)
        assert flash.writes == 2
        assert flash.files["settings.b"] == stored(8, "first", 42, [("second", SHORT), ("first", ROWS)])
        assert flash.files["settings.a"] == stored(9, "first", 42, [("second", SHORT), ("first", ROWS)])
    names = ("another", "first", "second")
    _, store, _ = start(stored(7, "second", schedules=[(name, SHORT) for name in names], bundle="x"), None)
    assert [name for name, _ in store.names()] == ["another", "second", "first"]
    for half_cycles, heat in ((3, 50), (2, 40)):  # an odd impulse; less heat than a gate at 5000 us gives
        refused = (SHORT[0], ("weld", half_cycles, 5000, heat), *SHORT[2:])
        _, store, _ = start(stored(7, "odd", schedules=[("odd", refused), ("first", SHORT)], bundle="x"), None)
        assert [name for name, _ in store.names()] == ["first"]
        assert store.rows("first") == ROWS


def test_another_firmware_drops_the_oldest_where_there_is_no_room() -> None:
    """Sixteen are there and its own comes on top."""
    sixteen = [(f"s{n}", SHORT) for n in range(16)]
    _, store, _ = start(stored(7, "s0", schedules=sixteen, bundle="x"), None)
    assert [name for name, _ in store.names()] == [*(f"s{n}" for n in range(1, 16)), "first"]
    _, store, _ = start(stored(7, "s0", schedules=sixteen[:15], bundle="x"), None)
    assert [name for name, _ in store.names()] == [*(f"s{n}" for n in range(15)), "first"]


def test_sixteen_schedules_and_16384_bytes() -> None:
    """To the schedule and to the byte of the whole body; a replaced one counts once."""
    store = started(FlashDriver(Flash({})), CONFIG)
    for n in range(15):
        assert store.put(f"s{n}", SHORT)
    assert not store.full()
    before = list(store.schedules)
    assert not store.put("s15", SHORT)
    assert store.schedules == before
    assert store.put("s3", ROWS)
    store = started(FlashDriver(Flash({})), CONFIG)
    # Each row is six bytes; a name of another length fills up to the very byte.
    for letters in range(1, 30):
        left = 16384 - len(store._body()) - (1 + letters) - 17 - 2
        if left % 6 == 0:
            break
    rows = SHORT[:1] * (left // 6)
    assert not store.put("a" * letters + "b", rows)
    assert store.put("a" * letters, rows)
    assert len(store._body()) == 16384


def test_a_change_can_be_undone_until_it_is_stored() -> None:
    """Back to just what was before it; one change deep."""
    store = started(FlashDriver(Flash({})), CONFIG)
    assert store.put("second", SHORT)
    kept = (store.selected, list(store.schedules))
    for change in (
        lambda: store.put("second", ROWS),
        lambda: store.put("third", ROWS),
        lambda: store.select("second"),
        lambda: store.remove("second"),
    ):
        change()
        assert (store.selected, store.schedules) != kept
        store.undo()
        assert (store.selected, store.schedules) == kept


def test_schedules_are_found_by_name() -> None:
    """The place, or -1; what is asked for need be no text."""
    _, store, _ = start(stored(), None)
    assert [store.find(name) for name in ("first", "second", "third", "", None, [])] == [0, 1, -1, -1, -1, -1]
    assert store.find("".join(["sec", "ond"])) == 1
    assert store.digest("second") == digest("second", 50, SHORT)
    assert (store.digest("third"), store.rows("third")) == ("", ())
    assert store.digest("first") == TABLE.digest
    assert store.put("another", SHORT)
    store.remove("first")
    assert [name for name, _ in store.names()] == ["second", "another"]
    assert store.put("second", ROWS)
    assert store.names() == [("another", digest("another", 50, SHORT)), ("second", digest("second", 50, ROWS))]


@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize(
    "figures", [(0, -1, 0), (1, 0, 1), (255, 254, 255), (256, 255, 100), (32_767, 32_767, 255), (4_660, 22_135, 7)]
)
def test_rows_lie_in_six_bytes(phase: str, figures: tuple[int, int, int]) -> None:
    """Little-endian, the delay one up; and come back as they were."""
    half_cycles, delay_us, heat = figures
    rows = ((phase, *figures), SHORT[1])
    data = packed(rows)
    assert data[:6] == struct.pack("<BHHB", PHASES.index(phase), half_cycles, delay_us + 1, heat)
    assert len(data) == 12
    assert unpacked(data) == rows


def test_a_lockout_is_the_last_byte_and_is_not_there_without_one() -> None:
    """So that a board of before reads as one without; damaged, too long or unknown it is no whole copy or no lockout."""
    plain = body(CONFIG.BUNDLE_DIGEST, "first", 41, [("first", ROWS)])
    _, store, flash = start(file_of(plain + b"\x07", 3), None)
    assert (store.lockout, store.selected, store.boot) == (7, "first", 42)
    assert flash.files["settings.b"].endswith(b"\x07")
    assert start(file_of(plain, 3), None)[1].lockout == 0
    for more in (b"\x07\x07", b"\x00", b"\x08", b"\xff"):
        assert not start(file_of(plain + more, 3), None)[0]


def test_a_lockout_survives_a_cut_at_any_byte() -> None:
    """Of the first copy: the old settings or the new; of the second: the new. Whole in every case."""
    _, begun, flash = start(None, None)
    length = len(begun.packed(begun.sequence + 1)) + 1
    files = dict(flash.files)
    for copy in (0, 1):
        for cut in range(length + 1):
            flash = Flash(dict(files), (FlashFault(1 + copy, "cut", cut),))
            store = Store(FlashDriver(flash), CONFIG)  # type: ignore[arg-type]
            assert store.start()
            store.hold(7)
            try:
                while store.store_on() == 0:
                    pass
            except PowerLost:
                pass
            again = Store(FlashDriver(Flash(dict(flash.files))), CONFIG)  # type: ignore[arg-type]
            assert again.start(), (copy, cut)
            assert again.lockout in ((0, 7) if copy == 0 else (7,)), (copy, cut)
            assert again.lockout == 7 or cut < length


def test_a_new_firmware_keeps_the_lockout() -> None:
    """Flashing mends no switch."""
    plain = body("0" * 16, "first", 41, [("first", ROWS)])
    assert start(file_of(plain + b"\x07", 3), None)[1].lockout == 7
