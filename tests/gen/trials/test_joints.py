"""From records to what the estimate takes, and from a setting to a schedule file. No source outside: these are our own rules."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from gen.errors import InputError
from gen.handbook.advice import suggest
from gen.joint import ForceHeld, ForceMeasured, ForceSource, Joint
from gen.machine import Welder
from gen.ranges import Figure
from gen.records import TrialRecord
from gen.schedule import schedule_from
from gen.trials.joints import GRID, Known, choices, known_of, setdown_wanted, tried_of
from gen.trials.model import ASSUMED, tear_prior
from gen.trials.rewritten import impulses, rewritten, setting_of
from gen.trials.values import ComputedTimes, Prior, Setting
from tests.support.cli.command_line import WELDER, replaced

RODS = Joint(rods_mm=(4.0, 5.0))
PATH = Path("job.toml")
SECONDARY = replaced(WELDER, "rating_duty_percent = 50\n", "rating_duty_percent = 50\nopen_secondary_V = 2.4\n")


def trial(weld_s: float, percent: float = 100.0, **changes: Any) -> TrialRecord:
    values: dict[str, Any] = dict.fromkeys(TrialRecord.__dataclass_fields__)
    values |= {"joint": "rungs", "number": 1, "text": "", "schedule": "", "joint_text": ""}
    values |= {"weld_s": weld_s, "percent": percent, "outcome": "no bond", "expulsion": "none", "dressed": 0}
    return TrialRecord(**(values | changes))


def known(*records: TrialRecord, between_s: tuple[float, float] | None = (0.5, 2.0), name: str = "rungs") -> Known:
    return Known(name, RODS, None, between_s, records, None)


def test_choices_are_whole_cycles_that_the_machine_may_weld() -> None:
    """At each percent, close enough to each other, around the range of equal heat there, none beyond the longest weld."""
    found = choices(known(), [100, 50], 60, 3.0)
    assert len(found) == len(set(found))
    for setting in found:
        assert abs(setting.time_s * 60 - round(setting.time_s * 60)) < 1e-9
        assert setting.time_s <= 3.0 + 1e-9
    full = [setting.time_s for setting in found if setting.percent == 100]
    half = [setting.time_s for setting in found if setting.percent == 50]
    assert full == sorted(full)
    assert min(full) < 0.5
    assert max(full) == pytest.approx(3.0, rel=GRID - 1)
    assert 0.5 < min(half) < 2.0
    assert all(b <= a * GRID + 1 / 60 + 1e-9 for a, b in zip(full, full[1:], strict=False))


def test_what_was_tried_may_be_tried_again() -> None:
    """Its own time is among the choices, also one of less than a cycle as somebody typed it in; too long a one is not."""
    found = choices(known(trial(0.74), trial(0.001), trial(7.0)), [100], 50, 3.0)
    assert {Setting(0.74, 100), Setting(0.02, 100)} <= set(found)
    assert max(setting.time_s for setting in found) <= 3.0


def test_setdown_is_wanted_half_way_to_the_next_column() -> None:
    """Our assumption: 15, 30 and 50 % as in the table, each up to half-way to its neighbours; sheets want none."""
    shares = [setdown_wanted(Joint(rods_mm=(4.0, 4.0), setdown_percent=percent)) for percent in (15, 30, 50)]
    assert shares == [(0.075, 0.225), (0.225, 0.4), (0.4, 0.6)]
    assert setdown_wanted(Joint(sheets_mm=(1.0, 1.0))) is None
    assert tried_of(trial(1.0, setdown_mm=0.6), RODS).setdown_share == pytest.approx(0.15)


@pytest.mark.parametrize(
    ("source", "measured", "held"),
    [
        ("air", None, "air"),
        ("air", "spring", "air"),
        ("foot_lever", "spring", "spring"),
        ("hand", "spring", "spring"),
        ("foot_lever", "gauge", "hand"),
        ("hand", "lever", "hand"),
        ("hand", None, "hand"),
    ],
)
def test_what_holds_the_force(source: ForceSource, measured: ForceMeasured | None, held: ForceHeld) -> None:
    """Air holds it best, a spring that is read next; a gauge is out again before the weld (common practice, no source)."""
    joint = Joint(rods_mm=(4.0, 4.0), force_N=900.0, force_measured=measured)
    prior = Known("rungs", joint, None, (0.3, 0.9), (), None, source).prior
    assert prior
    assert prior.force_held == held


def test_before_any_trial_stands_the_suggestion() -> None:
    """Its range, percent and schedule; --between takes its place; after trials the schedule tried last goes on."""
    current = Figure(3000, 3200, "A", "invented")
    found = suggest(RODS, current, 50)
    assert found.weld
    fresh = Known("rungs", RODS, found, None, (), None)
    assert fresh.prior
    assert (fresh.prior.low_s, fresh.prior.high_s, fresh.prior.percent) == (
        found.weld.low,
        found.weld.high,
        found.percent,
    )
    assert fresh.text == found.schedule_text()
    told = Known(
        "rungs", RODS, found, (0.3, 0.9), (trial(0.5, 85, text="# mine", schedule="mine"), trial(0.6, 85)), None
    )
    assert told.prior
    assert (told.prior.low_s, told.prior.high_s, told.prior.percent) == (0.3, 0.9, 85)
    assert (told.text, told.schedule, told.percent) == ("# mine", "mine", 85)
    assert (known(between_s=None).prior, known(between_s=None).belief, known().text) == (None, None, None)


@pytest.mark.parametrize(
    ("name", "schedule"),
    [("rungs", "rungs"), ("Tür Nr. 1", "t-r-nr-1"), ("ß", "trial"), ("-_a" + "b" * 40, "a" + "b" * 31)],
)
def test_a_schedule_is_named_after_the_joint_as_far_as_it_may(name: str, schedule: str) -> None:
    assert known(name=name).schedule == schedule


SQUARE = '# ä\nfrequency_Hz = 60\n[[phase]]\nsqueeze = "1 s"\n[[phase]]\nweld = "30 cycles" # so long\n'
SQUARE += '[[phase]]\nhold = "1 s"\n[[phase]]\noff = "1 s"\n'
INLINE = "frequency_Hz = 60\nphase = [{squeeze = '1 s'}, {weld = '500 ms', upslope = '4 cycles'}, # so\n"
INLINE += " {hold = '1 s'}, {off = '1 s'}]\n"


@pytest.mark.parametrize("text", [SQUARE, INLINE, SQUARE.replace("\n", "\r\n")], ids=["tables", "inline", "windows"])
@pytest.mark.parametrize(("time_s", "percent"), [(0.75, 100.0), (1 / 60, 87.5)])
def test_only_time_and_percent_are_rewritten(text: str, time_s: float, percent: float) -> None:
    """The reader of Python's own library sees the same content but for them; comments and line ends are there still."""
    new = rewritten(text, Setting(time_s, percent), PATH)
    before, after = tomllib.loads(text), tomllib.loads(new)
    weld = before["phase"][1]
    weld["weld"] = "45 cycles" if time_s == 0.75 else "1 cycle"
    if percent != 100:
        weld["current_percent"] = percent
    assert after == before
    assert new.count("# so") == text.count("# so") == 1
    assert new.count("\r\n") >= text.count("\r\n")
    assert rewritten(new, Setting(time_s, percent), PATH) == new


def test_a_schedule_of_two_welds_is_not_rewritten() -> None:
    text = SQUARE.replace(
        "[[phase]]\nhold", '[[phase]]\ncool = "2 cycles"\n[[phase]]\nweld = "9 cycles"\n[[phase]]\nhold'
    )
    with pytest.raises(InputError, match=r"job\.toml: weld phases: 2 given"):
        rewritten(text, Setting(0.5, 100), PATH)


PULSATION = """\
frequency_Hz = 50
[[phase]]
squeeze = "1 s"
[[phase]]
pulse = "2 cycles" # beds in
cool = "4 cycles"
[[phase]]
pulse = "20 cycles"
repeat = 3
cool = "5 cycles"
[[phase]]
weld = "21 cycles"
[[phase]]
hold = "1 s"
[[phase]]
off = "1 s"
"""


def test_pulsation_shares_the_weld_time() -> None:
    """Impulses as strong and as long as the weld are of it, a short one before them is not; what is over goes to the last."""
    schedule = schedule_from(PULSATION, PATH)
    assert impulses(schedule, PATH) == 4
    assert setting_of(schedule, PATH) == Setting(81 / 50, 100)
    new = schedule_from(rewritten(PULSATION, Setting(1.24, 80), PATH), PATH)
    assert setting_of(new, PATH) == Setting(1.24, 80)
    assert tomllib.loads(rewritten(PULSATION, Setting(1.24, 80), PATH))["phase"][1:4] == [
        {"pulse": "2 cycles", "cool": "4 cycles"},
        {"pulse": "15 cycles", "repeat": 3, "cool": "5 cycles", "current_percent": 80},
        {"weld": "17 cycles", "current_percent": 80},
    ]
    with pytest.raises(InputError, match=r"weld time: 3 cycles given; allowed: at least 4 cycles"):
        rewritten(PULSATION, Setting(0.06, 100), PATH)
    for setting in choices(known(trial(1.62)), [100], 50, 3.0, impulses=4):
        assert abs(setting.time_s * 50 / 4 - round(setting.time_s * 50 / 4)) < 1e-9


def test_a_weaker_pulse_is_none_of_the_weld() -> None:
    text = PULSATION.replace('pulse = "20 cycles"', 'pulse = "20 cycles"\ncurrent_percent = 60')
    assert impulses(schedule_from(text, PATH), PATH) == 1
    assert setting_of(schedule_from(text, PATH), PATH) == Setting(0.42, 100)


COMPUTED = ComputedTimes(0.4, 0.8, 90.0, 0.6)


def test_a_computed_range_is_believed_where_the_handbook_says_nothing() -> None:
    """It gives percent and prior; the user's own range goes before it, and so does the handbook's."""
    joint = Joint(rods_mm=(4.0, 5.0), material="brass", force_N=900)
    unknown = Known("rungs", joint, None, None, (), None, computed=COMPUTED)
    assert unknown.percent == 90
    assert unknown.prior is not None
    assert (unknown.prior.low_s, unknown.prior.high_s, unknown.prior.within) == (0.4, 0.8, 0.6)
    users = replace(unknown, between_s=(1.0, 2.0)).prior
    assert users is not None
    assert (users.low_s, users.within) == (1.0, None)


def test_the_width_of_a_computed_range_is_what_was_measured() -> None:
    """Where welds begin to tear lies about its lower end, within that alone; no assumption of ours is added."""
    assert tear_prior(Prior(0.4, 0.8, 90, within=0.6), ASSUMED) == (pytest.approx(math.log(0.4)), 0.6)


def test_a_model_is_asked_only_where_nobody_else_says(tmp_path: Path) -> None:
    (tmp_path / "welder.toml").write_text(SECONDARY)
    asked: list[Joint] = []

    def compute(joint: Joint, _: Welder) -> ComputedTimes:
        asked.append(joint)
        return COMPUTED

    for text, between, times in (
        ("rods_mm = [3, 3]\nforce_N = 700\n", None, 0),
        ('rods_mm = [3, 3]\nmaterial = "brass"\nforce_N = 700\n', (0.5, 2.0), 0),
        ('rods_mm = [3, 3]\nmaterial = "brass"\nforce_N = 700\n', None, 1),
    ):
        (tmp_path / "rungs.toml").write_text(text)
        known_of(tmp_path / "rungs.toml", tmp_path / "welder.toml", between, compute)
        assert len(asked) == times
