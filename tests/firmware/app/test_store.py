"""The settings survive any loss of power: cut after every byte, lost or torn writes, on a model of files and on real littlefs.

After every restart the board holds the old settings or the new, whole; and where both copies are damaged it holds none and
locks out. littlefs is the file system of the board; its Python package is the source of the second half.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any
from unittest.mock import patch

import pytest

from firmware_templates.app import store as store_module
from firmware_templates.app.store import FILES, MOST_BYTES, Store
from firmware_templates.app.table_check import digest
from gen.words import MOST_SCHEDULES
from sim.bench.board import BoardSpec
from sim.bench.chip import Flash, FlashFault, PowerLost
from sim.bench.world import simulate
from tests.support.app.bench_runs import quiet_bench, states
from tests.support.app.little_flash import BLOCK, BLOCKS, ENDLESS, Chip, LittleDriver, WatchedChip
from tests.support.app.stored import SHORT_ROWS, FlashDriver, Settings, config_of, made, rows_of, settings, started
from tests.support.machines import make_welder

BUNDLE, TABLE = made()
CONFIG = config_of(BUNDLE)
ROWS = rows_of(TABLE)

Change = Callable[[Store], object]
CHANGES: dict[str, Change] = {
    "start": lambda store: store.select(store.selected),
    "add": lambda store: store.put("third", ROWS),
    "replace": lambda store: store.put("second", SHORT_ROWS),
    "select": lambda store: store.select("second"),
    "remove": lambda store: store.remove("second"),
}
# littlefs keeps a file of up to 512 bytes inside its directory, and gives a longer one blocks of its own.
LONG_ROWS = SHORT_ROWS[:1] + SHORT_ROWS[1:2] * 150 + SHORT_ROWS[2:]


@cache
def before() -> tuple[tuple[str, bytes], ...]:
    """The files of a board with two schedules, after some starts."""
    flash = Flash({})
    store = started(FlashDriver(flash), CONFIG)
    assert store.put("second", ROWS)
    assert store.write()
    assert store.write()
    for _ in range(2):
        started(FlashDriver(flash), CONFIG)
    return tuple(flash.files.items())


def both_written(store: Store, change: Change) -> bool:
    """A change as the supervisor makes it. True when the board answers that it is stored."""
    change(store)
    if not store.write():
        store.undo()
        return False
    store.write()
    return True


def meant(files: dict[str, bytes], change: Change) -> tuple[Settings, Settings]:
    """Settings before a change, and after it where nothing goes wrong."""
    old = settings(started(FlashDriver(Flash(files)), CONFIG))
    store = started(FlashDriver(Flash(files)), CONFIG)
    assert both_written(store, change)
    return old, settings(store)


def tried(
    files: dict[str, bytes], change: Change, fault: FlashFault, ends: tuple[Settings, Settings]
) -> tuple[Settings, bool, int]:
    """Start, change, restart. Settings found in the end; whether it was reported as stored; writes tried. `ends`: as `meant`."""
    flash = Flash(files, (fault,))
    told = False
    try:
        store = started(FlashDriver(flash), CONFIG)
        told = both_written(store, change)
        assert settings(store) == ends[told]
    except PowerLost:
        pass
    writes = flash.writes
    again = started(FlashDriver(Flash(flash.files)), CONFIG)
    return settings(again), told, writes


def faults_of(kind: str, lengths: tuple[int, ...]) -> Iterator[FlashFault]:
    for write, length in enumerate(lengths):
        for place in range(length + 1) if kind in ("cut", "torn") else (0,):
            yield FlashFault(write, kind, place)


@pytest.mark.parametrize("kind", ["cut", "torn", "lost", "failed"])
@pytest.mark.parametrize("change", CHANGES)
def test_every_write_at_every_byte(change: str, kind: str) -> None:
    """One write goes wrong, at any byte: old or new after a restart, new when that was reported, and the next change works."""
    longest = max(len(data) for _, data in before()) + 8 + len(ROWS) * 6 + 30
    found = set()
    ends = old, new = meant(dict(before()), CHANGES[change])
    for fault in faults_of(kind, (longest,) * 3):  # one write at the start, two for the change
        now, told, writes = tried(dict(before()), CHANGES[change], fault, ends)
        assert now in (old, new), fault
        assert now == new or not told, fault
        assert writes <= 3
        found.add(now)
    assert len(found) == (1 if change == "start" else 2)


def test_the_very_first_start_may_be_cut_anywhere() -> None:
    """No settings yet. Cut in its first copy, the next start is locked out: the piece may be what is left of settings.

    Flashing anew, which takes the files away, begins again; cut at any byte of the second copy, the first one counts.
    """
    first = Store(FlashDriver(Flash({})), CONFIG)
    assert first.start()
    for write in range(2):
        for length in range(len(first.packed(1)) + 1):
            flash = Flash({}, (FlashFault(write, "cut", length),))
            with pytest.raises(PowerLost):
                Store(FlashDriver(flash), CONFIG).start()
            if write == 0 and length < len(first.packed(1)):
                assert not Store(FlashDriver(Flash(flash.files)), CONFIG).start()
            else:
                assert settings(started(FlashDriver(Flash(flash.files)), CONFIG)) == settings(first)


def test_a_start_counts_and_mends() -> None:
    """Each start has its number; a copy damaged in any bit is passed over for the other, and is whole again afterwards."""
    files = dict(before())
    boots = {started(FlashDriver(Flash(files)), CONFIG).boot}
    for name in FILES:
        for place in range(len(files[name])):
            damaged = bytearray(files[name])
            damaged[place] ^= 1 << place % 8
            flash = Flash(files | {name: bytes(damaged)})
            store = started(FlashDriver(flash), CONFIG)
            assert settings(store) == settings(started(FlashDriver(Flash(files)), CONFIG))
            boots.add(store.boot)
            # The mended copy alone is enough now.
            assert settings(started(FlashDriver(Flash({name: flash.files[name]})), CONFIG)) == settings(store)
    assert boots == {4, 3}  # 3 where the newer copy, which held the last count, was the damaged one


def damaged_pairs() -> Iterator[dict[str, bytes | None]]:
    chance = random.Random(1)
    files = dict(before())
    for _ in range(400):
        pair: dict[str, bytes | None] = {}
        for name in FILES:
            data = bytearray(files[name])
            for _ in range(chance.choice((1, 1, 2, 9))):
                data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
            cut = chance.randrange(1, len(data))
            noise = bytes(chance.randrange(256) for _ in range(50))
            pair[name] = chance.choice((bytes(data), bytes(data[:cut]), b"", b"\xff" * len(data), noise))
        if pair[FILES[0]] != files[FILES[0]] and pair[FILES[1]] != files[FILES[1]]:
            yield pair
    yield {FILES[0]: b"\0" * 4096, FILES[1]: None}
    yield {FILES[0]: None, FILES[1]: files[FILES[1]][:-1]}
    yield {FILES[0]: files[FILES[0]][:-1], FILES[1]: None}


def test_both_copies_damaged_is_no_settings() -> None:
    """Whatever the damage: no schedule at all, nothing written over what may still be read by a person."""
    number = 0
    for pair in damaged_pairs():
        flash = Flash({name: data for name, data in pair.items() if data is not None})
        store = Store(FlashDriver(flash), CONFIG)
        assert not store.start()
        assert (store.selected, store.schedules, store.rows("first"), flash.writes) == ("", [], (), 0)
        number += 1
    assert number > 300


def test_damaged_settings_lock_out_and_never_weld() -> None:
    """On the bench: the pedal is pressed, twice, and nothing is fired; the link still answers, and a push is refused."""
    files = tuple((name, data[:-1] + b"?") for name, data in before())
    bench = quiet_bench(make_welder(), TABLE, 5, (0.6, 1.0), (3.0, 1.0), board=BoardSpec(files=files))
    recording = simulate(BUNDLE, TABLE, bench)
    assert recording.fired == 0
    assert states(recording) == ["locked out: settings damaged"]
    assert dict(recording.files) == dict(files)
    whole = simulate(BUNDLE, TABLE, quiet_bench(make_welder(), TABLE, 5, (0.6, 1.0), board=BoardSpec(files=before())))
    assert whole.fired > 0


def test_flash_that_holds_nothing_locks_out() -> None:
    """The first start cannot store its settings: a board whose flash is broken does not weld."""
    flash = Flash({}, tuple(FlashFault(n, "lost") for n in range(9)))
    store = Store(FlashDriver(flash), CONFIG)
    assert not store.start()


def test_another_firmware_brings_its_schedule_and_its_limits() -> None:
    """What is flashed is what is selected; kept schedules stay only where the new limits allow them."""
    files = dict(before())
    bundle, table = made("first", limits={"first_delay_deg": 110})
    store = started(FlashDriver(Flash(files)), config_of(bundle))
    assert store.names() == [("first", table.digest)]  # "second" fires its first half-cycle at 101 degrees
    bundle, table = made("fourth", force={"source": "hand"})
    store = started(FlashDriver(Flash(files)), config_of(bundle))
    assert store.selected == "fourth"
    assert [name for name, _ in store.names()] == ["first", "second", "fourth"]
    assert store.rows("fourth") == rows_of(table)


def test_sixteen_schedules_and_no_more() -> None:
    """The seventeenth is refused, and so is what makes more than 16 KiB together; nothing changes then."""
    store = started(FlashDriver(Flash({})), CONFIG)
    for n in range(MOST_SCHEDULES - 1):
        assert store.put(f"schedule-{n}", SHORT_ROWS)
    whole = settings(store)
    assert not store.put("one-more", SHORT_ROWS)
    assert settings(store) == whole
    assert store.put("schedule-3", ROWS)
    many = SHORT_ROWS[:1] + SHORT_ROWS[1:2] * 253 + SHORT_ROWS[2:]
    fitted = [store.put(f"schedule-{n}", many) for n in range(MOST_SCHEDULES - 1)]
    assert 5 < sum(fitted) < MOST_SCHEDULES - 1
    assert len(store.packed(1)) < MOST_BYTES + 60


def test_the_digest_is_the_hosts() -> None:
    """Counted on both sides from the same text; the second as sha256sum has it."""
    assert digest(TABLE.name, TABLE.frequency_Hz, ROWS) == TABLE.digest
    assert digest("x", 50, SHORT_ROWS) == "601031b76bdb2e82"


@pytest.mark.parametrize(
    "broken",
    [
        patch.object(store_module, "FILES", ("settings.a", "settings.a")),
        patch.object(store_module, "crc32", lambda data, start=0: 0),
    ],
    ids=["one copy alone", "no checksum"],
)
def test_the_proof_notices_a_weaker_store(broken: Any) -> None:
    """With a single file, or without the checksum, the same trial finds damaged or missing settings."""
    with broken, pytest.raises(AssertionError):
        trial()


def trial() -> None:
    """Cuts and torn writes at every byte of one change."""
    files = started_files()
    ends = old, new = meant(files, CHANGES["replace"])
    for kind in ("cut", "torn"):
        for fault in faults_of(kind, (250,) * 3):
            now, told, _ = tried(files, CHANGES["replace"], fault, ends)
            assert now in (old, new)
            assert now == new or not told


def started_files() -> dict[str, bytes]:
    flash = Flash({})
    store = started(FlashDriver(flash), CONFIG)
    assert store.put("second", ROWS)
    store.write()
    store.write()
    return flash.files


def test_many_changes_with_faults_anywhere() -> None:
    """Fifty boards, each with forty changes, restarts and faults: always the last that was reported, or the one just tried."""
    for seed in range(50):
        chance = random.Random(seed)
        flash = Flash({})
        kept = settings(started(FlashDriver(flash), CONFIG))
        for _ in range(40):
            kind = chance.choice(("none", "none", "cut", "torn", "lost", "failed"))
            fault = FlashFault(chance.randrange(3), kind, chance.randrange(300))
            change = random_change(chance)
            flash = Flash(flash.files, () if kind == "none" else (fault,))
            allowed = {kept}
            try:
                store = started(FlashDriver(flash), CONFIG)
                assert settings(store) == kept, seed
                change(store)
                allowed.add(settings(store))
                if store.write():
                    allowed = {settings(store)}
                    store.write()
                else:
                    store.undo()
            except PowerLost:
                pass
            flash = Flash(flash.files)
            kept = settings(started(FlashDriver(flash), CONFIG))
            assert kept in allowed, seed


def random_change(chance: random.Random) -> Change:
    name = f"schedule-{chance.randrange(5)}"
    rows = chance.choice((ROWS, SHORT_ROWS))

    def change(store: Store) -> None:
        kind = chance.choice(("put", "select", "remove"))
        if kind == "put" or store.find(name) < 0:
            store.put(name, rows)
        elif kind == "select":
            store.select(name)
        elif name != store.selected:
            store.remove(name)

    return change


# -- on littlefs ---------------------------------------------------------------------------------------------------------


@cache
def little_before() -> bytes:
    """A board's whole file system with two schedules; other files are there too."""
    driver = LittleDriver(Chip(b"\xff" * BLOCK * BLOCKS, ENDLESS), form=True)
    driver.write_file("main.py", b"x" * 5000)
    store = started(driver, CONFIG)
    assert store.put("second", ROWS)
    assert store.write()
    assert store.write()
    return bytes(driver.chip.buffer)


Cut = Callable[[Chip], object]  # what is done on a chip until its power goes


def every_cut(image: bytes, done: Cut, after: Callable[[bytes], Any]) -> tuple[list[Any], int]:
    """What `after` finds on the flash for the power gone at each byte; alike flashes are asked once. And the bytes cut for real.

    One run tells all that is programmed, byte by byte. Every thirty-first cut is made as well, and leaves just that.
    """
    found: list[Any] = []
    last, real = b"", 0

    def told(power: int, held: bytes) -> None:
        nonlocal last, real
        assert power == len(found)
        if power % 31 == 0:
            chip = Chip(image, power)
            with pytest.raises(PowerLost):
                done(chip)
            assert bytes(chip.buffer) == held, power
            real += 1
        found.append(found[-1] if held == last else after(held))
        last = held

    whole = WatchedChip(image, told)
    done(whole)
    assert whole.used == len(found)
    return found, real


@pytest.mark.parametrize("change", ["replace", "long"])
def test_power_cut_at_every_byte_on_littlefs(change: str) -> None:
    """From the start to the second copy, the power goes after each byte that the file system programs."""
    change_of: dict[str, Change] = CHANGES | {"long": lambda store: store.put("long", LONG_ROWS)}
    image = little_before()
    old = settings(started(LittleDriver(Chip(image, ENDLESS)), CONFIG))
    store = started(LittleDriver(Chip(image, ENDLESS)), CONFIG)
    assert both_written(store, change_of[change])
    new = settings(store)
    assert (len(store.packed(1)) > 512) == (change == "long")
    found, real = every_cut(
        image,
        lambda chip: both_written(started(LittleDriver(chip), CONFIG), change_of[change]),
        lambda held: settings(started(LittleDriver(Chip(held, ENDLESS)), CONFIG)),
    )
    assert set(found) == {old, new}
    assert len(found) > 1000
    assert real > 30
    assert found[0] == old
    assert found[-1] == new


def test_first_start_cut_at_every_byte_on_littlefs() -> None:
    """A fresh board: wherever the power goes, the next start comes to the burnt-in schedule, or is locked out.

    It is locked out where the file's name is on the flash and its content is not, in a few cuts of all.
    """
    driver = LittleDriver(Chip(b"\xff" * BLOCK * BLOCKS, ENDLESS), form=True)
    image = bytes(driver.chip.buffer)
    meant = settings(started(LittleDriver(Chip(image, ENDLESS)), CONFIG))

    def locked_out(held: bytes) -> bool:
        left = LittleDriver(Chip(held, ENDLESS))
        store = Store(left, CONFIG)
        if store.start():
            assert settings(store) == meant
            return False
        assert (left.read_file("settings.a"), left.read_file("settings.b")) == (b"", None)
        return True

    found, _ = every_cut(image, lambda chip: started(LittleDriver(chip), CONFIG), locked_out)
    assert 0 < sum(found) < len(found) / 2
