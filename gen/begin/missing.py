"""The tasks still to do for the machine in a folder, in working order, each with what to type."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from gen.boards import Board
from gen.commissioning import last_walk, steps
from gen.commissioning.calibration import readings_for_file
from gen.job import board_of, find_welder
from gen.machine import WELDER_FILE, Welder
from gen.machine.cut_off import Fitted, lacking
from gen.machine.derived import working_given
from gen.records import RECORDS_FILE, Records
from gen.user_files import read_toml

_BUILT = ("main.py", "config.py", "boot.py")  # in every folder of built firmware


@dataclass(frozen=True)
class Task:
    """One task: what, why, and the command or the line of the welder file that does it."""

    what: str
    why: str
    do: str


def still_missing(folder: Path) -> list[Task]:
    """The tasks of the machine in `folder`, in working order. Raises InputError for a wrong welder file."""
    path = folder / WELDER_FILE
    if not path.exists():
        return [Task("Describe your machine.", "Everything else follows from its file.", "weldbeat new my-welder")]
    welder = find_welder(path)
    schedule = _schedule(folder)
    board = board_of(welder)
    tasks = [*_read(welder), *_parts(welder, board), *_firmware(folder, schedule)]
    return [*tasks, *_in_service(folder, welder, board, schedule)]


def _read(welder: Welder) -> Iterator[Task]:
    """Readings to take before anything is wired."""
    t, in_file = welder.transformer, f"write into {WELDER_FILE}:"
    tap = " transformer.working_tap=TAP" if t.taps else ""
    if t.rating_from == "typical":
        yield Task(
            "Find the rating plate, or measure core and wire.",
            "The power is a guess, and the transformer's duty is judged by it.",
            f"{in_file} transformer.rating_kVA, and remove rating_from",
        )
    if welder.breaker is None:
        yield Task(
            "Read what is printed on the circuit breaker.",
            "Whether it holds is not known yet.",
            f"{in_file} [breaker] characteristic and rating_A",
        )
    elif welder.breaker.standard == "UL 489" and welder.breaker.instantaneous_to_A is None:
        yield Task(
            "Read the instantaneous band off the maker's trip curve of the breaker.",
            "UL 489 sets none, so whether the start trips it is not known.",
            f"{in_file} breaker.instantaneous_from_A and instantaneous_to_A",
        )
    if not t.tap_volts:
        yield Task(
            "Read the volts at the open electrodes.",
            "Without them no current in the weld is known, and no joint can be suggested.",
            "weldbeat calibrate transformer.open_secondary_V=VOLTS",
        )
    if not working_given(t) and t.shorted_current_A is None:
        yield Task(
            "Read the primary current with a clamp meter with hold, while the machine welds scrap by hand.",
            "A current typical of the rating is taken now, and judged at its upper end.",
            f"weldbeat calibrate transformer.working_current_A=AMPERES{tap}",
        )
    if welder.electrodes is None or welder.arms is None:
        yield Task(
            "Measure arms and electrodes with a tape and a caliper.",
            "Without them the electrodes' heat is not judged, and other electrodes cannot be compared.",
            f"{in_file} [arms] and [electrodes]",
        )


def _parts(welder: Welder, board: Board) -> Iterator[Task]:
    """Parts to buy and fit."""
    s = welder.switch
    if s.rated_current_A is None or s.surge_current_A is None or s.foster is None:
        yield Task(
            "Choose the switch and its parts, and copy its data sheet's figures.",
            "Whether it withstands the weld is not judged yet.",
            "weldbeat choose",
        )
    over_run = board.over_run
    fitted = Fitted(
        welder.protection, welder.force, welder.contactor.open_after_ms, over_run.gate_ends_itself, over_run.worst
    )
    if wanted := lacking(fitted):
        yield Task(
            f"Fit {_in_words([one.fit for one in wanted])}.",
            f"They end a faulty weld. Nothing is built before {WELDER_FILE} names them."
            if len(wanted) > 1
            else f"It ends a faulty weld. Nothing is built before {WELDER_FILE} names it.",
            "weldbeat wiring -o upgrade.html",
        )


def _in_words(things: list[str]) -> str:
    return ", and ".join(part for part in (", ".join(things[:-1]), things[-1]) if part)


def _firmware(folder: Path, schedule: str) -> Iterator[Task]:
    if any(all((child / name).is_file() for name in _BUILT) for child in sorted(folder.iterdir()) if child.is_dir()):
        return
    yield Task(
        "Run the schedule on the simulated machine, and read the verdict.",
        "A refused schedule is not built.",
        f"weldbeat simulate {schedule} --report report.html",
    )
    yield Task("Build the firmware.", "It holds the limits of this machine.", f"weldbeat build {schedule} -o firmware")


def _in_service(folder: Path, welder: Welder, board: Board, schedule: str) -> Iterator[Task]:
    """Tasks with the board connected: the commissioning, its readings, and the weld on scrap."""
    kept = folder / RECORDS_FILE
    walk = last_walk(kept)
    passed = {check.step for check in walk if check.outcome == "passed"}
    left = [step for step in steps(welder, board) if step.key not in passed]
    if not walk:
        yield Task(
            "Put the firmware onto the board, its gate lead disconnected.",
            "Without it the board times nothing.",
            "weldbeat flash firmware",
        )
    if left:
        yield Task(
            f"Walk the commissioning: {len(left)} steps are left." if walk else "Walk the commissioning.",
            "It leads from unpowered to the first weld, and compares each reading with its limit.",
            "weldbeat commission",
        )
    content = read_toml(folder / WELDER_FILE)
    readings = readings_for_file(walk, welder)
    if any(content.get(key.split(".")[0], {}).get(key.split(".")[1]) != value for key, value in readings.items()):
        yield Task(
            "Put the readings of the walk into the welder file.",
            "The verdict then uses them; simulate, build and flash anew.",
            "weldbeat calibrate",
        )
    if not kept.exists() or not _tried(kept):
        yield Task(
            "Find the weld on scrap.",
            "A suggestion is a first guess; the joint's own window is found weld by weld.",
            "weldbeat suggest --rods 5,8 -o first-guess.toml",
        )
    elif not _kept(kept):
        yield Task(
            "Go on with the trials until a setting is settled.", "None is kept yet.", "weldbeat trial next JOINT"
        )
    else:
        yield Task("Weld.", "A setting is kept; check it now and then.", f"weldbeat push {schedule}")


def _tried(path: Path) -> bool:
    with Records(path) as records:
        return bool(records.trials())


def _kept(path: Path) -> bool:
    with Records(path) as records:
        return bool(records.kept())


def _schedule(folder: Path) -> str:
    """The schedule changed last; without any, the name of the first one."""
    found = [
        path
        for path in folder.glob("*.toml")
        if path.name != WELDER_FILE and "[[phase]]" in path.read_text("utf-8", "replace")
    ]
    return max(found, key=lambda path: (path.stat().st_mtime, path.name)).name if found else "first-weld.toml"
