"""What a watch says that a weld delivered: by the welder file, and nothing where that is no longer the weld's own."""

from __future__ import annotations

from pathlib import Path

from gen.job import read_job
from gen.link.watching import computed_current
from gen.machine.welder import read_welder
from gen.records import Records, WeldRecord
from tests.support.cli.command_line import SCHEDULE, WELDER, replaced


def test_a_weld_is_reported_in_the_secondarys_amperes(here: Path) -> None:
    """The longest row of what was pushed, at this machine's turns; by hand 22 A times 230 / 2.4 is 2.11 kA at full current."""
    path = here / "welder.toml"
    path.write_text(replaced(WELDER, "working_current_A = 22", "working_current_A = 22\nopen_secondary_V = 2.4"))
    (here / "job.toml").write_text(SCHEDULE)
    digest = read_job(here / "job.toml", path).table.digest
    weld = WeldRecord("board", 1, 1, "2026-01-01T00:00:00Z", "completed", 44, 44, 44, "job", digest)
    with Records(here / "records.sqlite") as records:
        assert computed_current(weld, records, read_welder(path)) is None
        records.add_pushed(digest, "job", SCHEDULE, "2026-01-01T00:00:00Z")
        found = computed_current(weld, records, read_welder(path))
        assert found is not None
        assert found.unit == "A"
        assert 0.6 * 2108 < found.low < found.high < 2108 * 1.06
        assert found.text.endswith(" kA")
        path.write_text(path.read_text().replace("load_angle_max_deg = 65", "load_angle_max_deg = 60"))
        assert computed_current(weld, records, read_welder(path)) is None, "the file makes another table of it now"
