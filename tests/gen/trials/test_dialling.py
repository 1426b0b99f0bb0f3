"""A joint dialled in as any front end does it: propose, weld, add, until it is settled, then keep. No command line, no simulator.

No source outside: how soon a window is found is held in tests/outside/test_dial_in. Here: that the calls fit together, that
what the judge forbids is never proposed, and that what is kept is what was proposed.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from gen.begin import demo_files
from gen.errors import InputError
from gen.job import Job
from gen.machine import WELDER_FILE
from gen.records import Records
from gen.trials import (
    Forbidden,
    Proposal,
    add_trial,
    known_of,
    nearest,
    propose,
    recorded,
    remove_trial,
    settle,
    verdicts_on,
)

GOOD_FROM_S, GOOD_TO_S = 0.9, 1.5  # what nobody but the test knows
FORBIDDEN_FROM_S = 1.3
NOT_MEASURED = dict.fromkeys(("force_N", "setdown_mm", "strength_N", "twist_Nm", "nugget_mm"))


@pytest.fixture
def joint(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A joint file in a user's folder, its machine that of the demonstration."""
    monkeypatch.chdir(tmp_path)
    Path(WELDER_FILE).write_text(demo_files()[WELDER_FILE])
    path = Path("rungs.toml")
    path.write_text("rods_mm = [5, 8]\n")
    return path


def judge(job: Job) -> Forbidden | None:
    """Forbids long welds, as a verdict on heat might."""
    weld_s = job.table.fired_half_cycles * 0.5 / job.table.frequency_Hz
    return Forbidden("heat", f"{weld_s:.2f} s is too long") if weld_s > FORBIDDEN_FROM_S else None


def outcome_of(weld_s: float) -> dict[str, object]:
    """What comes of a weld."""
    outcome = "broke at joint" if weld_s < GOOD_FROM_S else "tore parent"
    expulsion = "late" if weld_s > GOOD_TO_S else "none"
    return NOT_MEASURED | {"outcome": outcome, "expulsion": expulsion, "dressed": 0, "note": ""}


def proposed(joint: Path, output: Path) -> Proposal:
    known, welder = known_of(joint, None, (0.4, 2.0))
    belief = known.belief
    assert belief is not None
    verdicts = verdicts_on(known, welder, None, output, judge)
    found = propose(known, belief, verdicts)
    assert all(setting.time_s > 1.0 for setting in verdicts.refused)
    assert len(nearest(verdicts.refused)) <= 1
    return found


def test_from_the_first_trial_to_what_is_kept(joint: Path) -> None:
    """Each weld proposed is allowed; once settled, what is kept lies in the good window and compiles to its own digest."""
    output = Path("try.toml")
    for _ in range(20):
        found = proposed(joint, output)
        assert found.text is not None
        assert found.advice.setting is not None
        if found.advice.settled:
            break
        output.write_text(found.text)
        added = add_trial(joint, output, None, outcome_of(found.advice.setting.time_s))
        assert added.setting.time_s == pytest.approx(found.advice.setting.time_s)
        assert added.setting.time_s <= FORBIDDEN_FROM_S
    assert found.advice.settled
    known, welder = known_of(joint, None, (0.4, 2.0))
    assert known.belief is not None
    verdicts = verdicts_on(known, welder, None, output, judge)
    kept = settle(known, known.belief, verdicts)
    assert kept is not None
    assert GOOD_FROM_S <= kept.weld_s <= FORBIDDEN_FROM_S
    assert kept.trials == len(known.records) == len(recorded(None, "rungs")[0])
    with Records.beside(Path(WELDER_FILE)) as records:
        records.add_kept(kept)
    assert known_of(joint, None, None)[0].kept == kept


def test_nothing_is_proposed_where_everything_is_forbidden(joint: Path) -> None:
    """And the reason of each is kept for whoever shows it."""
    known, welder = known_of(joint, None, (0.4, 2.0))
    assert known.belief is not None
    verdicts = verdicts_on(known, welder, None, None, lambda job: Forbidden("breaker", "opens"))
    assert propose(known, known.belief, verdicts).text is None
    assert settle(known, known.belief, verdicts, percent=100) is None
    assert {found.why for setting, found in verdicts.refused.items() if setting.time_s <= 3} == {"opens"}


def test_a_trial_is_taken_out_by_its_number(joint: Path) -> None:
    """The records say which there are."""
    output = Path("try.toml")
    text = proposed(joint, output).text
    assert text is not None
    output.write_text(text)
    added = add_trial(joint, output, None, outcome_of(1.0))
    with pytest.raises(InputError, match="has no such trial; allowed: 1"):
        remove_trial(joint, 2, None)
    assert remove_trial(joint, 1, None) == added.record
    assert recorded(None)[0] == []
