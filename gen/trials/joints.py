"""The trials of one joint, converted from the records for the estimate, and the candidates for the next setting."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from gen.errors import InputError
from gen.handbook import Suggestion, suggest_on
from gen.job import find_welder
from gen.joint import SETDOWNS, ForceSource, Joint, joint_from, read_joint
from gen.machine import WELDER_FILE, Welder
from gen.records import RECORDS_FILE, KeptRecord, Records, TrialRecord, WeldRecord
from gen.trials.belief import Belief, believe
from gen.trials.values import EXPULSIONS, OUTCOMES, ComputedTimes, Prior, Setting, Tried
from gen.user_files import Written, written
from gen.words import COMPLETED, ENDING_NAMES

GRID = 1.04  # ratio of neighbouring candidate times, where whole cycles are not further apart
Compute = Callable[[Joint, Welder], ComputedTimes | None]  # by a model of the joint; None where it has no result
REACH = 3.0  # candidates reach this factor beyond the suggestion and the trials, either way


@dataclass(frozen=True)
class Known:
    """The knowledge of a joint: its file, the handbook's suggestion (None: not asked, or none), and the trials.

    `between_s`: the weld time that the user expects, in place of the handbook's. `records` are in order. `kept`: the setting
    kept last. `force_source`: the source of the electrode force on this machine; `hand` is expected to scatter most.
    `computed`: times by a model of the joint, used where the handbook has no suggestion.
    """

    name: str
    joint: Joint
    suggestion: Suggestion | None
    between_s: tuple[float, float] | None
    records: tuple[TrialRecord, ...]
    kept: KeptRecord | None
    force_source: ForceSource = "hand"
    computed: ComputedTimes | None = None

    @property
    def percents(self) -> tuple[float, ...]:
        """The percents tried, rising."""
        return tuple(sorted({record.percent for record in self.records}))

    @property
    def percents_reported(self) -> tuple[float, ...]:
        """The percents to report, falling: those tried, or else the suggested one."""
        return tuple(reversed(self.percents or (self.percent,)))

    @property
    def percent(self) -> float:
        """The percent of the last trial. Without trials that of the suggestion or of the model, or 100."""
        if self.records:
            return self.records[-1].percent
        if self.suggestion and self.suggestion.known:
            return self.suggestion.percent
        return self.computed.percent if self.computed else 100.0

    @property
    def prior(self) -> Prior | None:
        """The prior of the estimate. None where neither handbook, model nor user gives a weld time."""
        wanted, held = setdown_wanted(self.joint), self.joint.force_held(self.force_source)
        if self.between_s is not None:
            percent = self.records[0].percent if self.records else self.percent
            return Prior(*self.between_s, percent, wanted, held)
        if self.suggestion is None or self.suggestion.weld is None:
            c = self.computed
            return Prior(c.low_s, c.high_s, c.percent, wanted, held, c.within) if c else None
        weld = self.suggestion.weld
        return Prior(weld.low, weld.high, self.suggestion.percent, wanted, held)

    @property
    def tried(self) -> tuple[Tried, ...]:
        """The trials in the form of the estimate."""
        return tuple(tried_of(record, self.joint) for record in self.records)

    @property
    def belief(self) -> Belief | None:
        """The estimate after all trials. None without a prior."""
        return None if self.prior is None else believe(self.prior, self.tried)

    @property
    def text(self) -> str | None:
        """The text of the schedule tried last, or else the suggested one. None where neither exists."""
        last = next((record.text for record in reversed(self.records) if record.text), None)
        if last is None and self.suggestion is not None and self.suggestion.known:
            return self.suggestion.schedule_text()
        return last

    @property
    def schedule(self) -> str:
        """The name of the schedule tried last. Without trials the joint's name, shortened to what a schedule name allows."""
        last = next((record.schedule for record in reversed(self.records) if record.schedule), "")
        name = re.sub("[^a-z0-9_-]+", "-", self.name.lower()).strip("-_")[:32]
        return last or name or "trial"


def known_of(
    joint_path: Path, welder_path: Path | None, between_s: tuple[float, float] | None, compute: Compute | None = None
) -> tuple[Known, Welder]:
    """The joint with its trials, and the machine, whose file is found by `find_welder`. Raises InputError.

    `compute`, which may take a minute, is called only where neither user nor handbook gives a weld time.
    """
    joint = read_joint(joint_path)
    welder = find_welder(welder_path)
    trials, kept = recorded(welder_path, joint_path.stem)
    check_same_joint(joint, trials, joint_path)
    found = suggest_on(joint, welder)
    last = kept[-1] if kept else None
    unknown = compute is not None and between_s is None and (found is None or found.weld is None)
    computed = compute(joint, welder) if compute and unknown else None
    return Known(joint_path.stem, joint, found, between_s, tuple(trials), last, welder.force.source, computed), welder


def recorded(welder_path: Path | None, joint: str | None = None) -> tuple[list[TrialRecord], list[KeptRecord]]:
    """The trials and the kept settings of `joint` or of all joints. No records file is created."""
    welder = welder_path or Path(WELDER_FILE)
    if not welder.absolute().parent.joinpath(RECORDS_FILE).exists():
        return [], []
    with Records.beside(welder) as records:
        return records.trials(joint), records.kept(joint)


def no_trials(known: Known, source: Path) -> InputError:
    """The error of a command that needs trials."""
    allowed = f"allowed: after the first `weldbeat trial add {source.name} SCHEDULE.toml`"
    return InputError(source, f"no trials of {known.name}", None, allowed)


@dataclass(frozen=True)
class Compared:
    """One joint of the records, for comparison. `i2t`: percent squared times weld time of the setting kept."""

    joint: str
    sizes: str
    trials: int
    kept: KeptRecord | None

    @property
    def i2t(self) -> float | None:
        return None if self.kept is None else (self.kept.percent / 100) ** 2 * self.kept.weld_s


def compare(trials: Sequence[TrialRecord], kept: Sequence[KeptRecord]) -> tuple[Compared, ...]:
    """The joints of the records, by name."""
    found = []
    for name in sorted({record.joint for record in trials} | {record.joint for record in kept}):
        own = [record for record in trials if record.joint == name]
        last = next((record for record in reversed(kept) if record.joint == name), None)
        joint = joint_in(own)
        found.append(Compared(name, joint.title if joint else "", len(own), last))
    return tuple(found)


def setdown_wanted(joint: Joint) -> tuple[float, float] | None:
    """The setdown wanted of rods, as shares of the thinner rod: half-way to the neighbours in the table. None for sheets
    and for a rod on a flat bar.

    Our assumption: the table gives 15, 30 and 50 % and no tolerance.
    """
    if joint.rods_mm is None or joint.flat_width_mm is not None:
        return None
    place = SETDOWNS.index(int(joint.setdown_percent))
    this = SETDOWNS[place]
    below = SETDOWNS[place - 1] if place else 0
    above = SETDOWNS[place + 1] if place + 1 < len(SETDOWNS) else this + (this - below)
    return (below + this) / 200, (this + above) / 200


def tried_of(record: TrialRecord, joint: Joint) -> Tried:
    """One trial in the form of the estimate. Raises ValueError for an outcome or expulsion that does not exist."""
    outcome = OUTCOMES[OUTCOMES.index(record.outcome)]
    expulsion = EXPULSIONS[EXPULSIONS.index(record.expulsion)]
    share = None if record.setdown_mm is None else record.setdown_mm / joint.thin_mm
    return Tried(Setting(record.weld_s, record.percent), outcome, expulsion, share, bool(record.dressed))


def joint_in(records: Sequence[TrialRecord]) -> Joint | None:
    """The joint recorded with the last trial that has one. None where no trial has one, or its type is unknown today."""
    text = next((record.joint_text for record in reversed(records) if record.joint_text), "")
    try:
        return joint_from(text, Path("joint.toml")) if text else None
    except InputError:
        return None


def check_same_joint(joint: Joint, records: Sequence[TrialRecord], source: Path) -> None:
    """Raise InputError where earlier trials of this name were made with another joint."""
    for record in records:
        earlier = joint_in([record])
        if earlier is None:
            continue
        for key in ("sheets_mm", "rods_mm", "flat_width_mm", "material", "surface", "finish"):
            now, then = getattr(joint, key), getattr(earlier, key)
            if now != then:
                was = "left out" if then is None else _shown(then)
                allowed = (
                    f"trial {record.number} of {record.joint} was made with it {was}; allowed: a file of another name"
                )
                raise InputError(source, key, Written("nothing" if now is None else _shown(now)), allowed)


def _shown(value: object) -> str:
    return str(list(value)) if isinstance(value, tuple) else str(written(value))


def choices(
    known: Known, percents: Iterable[float], frequency_Hz: int, longest_s: float, impulses: int = 1
) -> list[Setting]:
    """Weld times up to `longest_s` at each of `percents`: around the prior's range and the settings tried.

    They are whole cycles, the same number for each of the weld's `impulses`.
    """
    prior = known.prior
    found = set()
    for percent in percents:
        times = [record.weld_s * (record.percent / percent) ** 2 for record in known.records]
        if prior is not None:
            shift = (prior.percent / percent) ** 2  # equal heat
            times += [prior.low_s * shift, prior.high_s * shift]
        low, high = min(times) / REACH, min(longest_s, max(times) * REACH)
        each_hz = frequency_Hz / impulses
        each = max(1, math.ceil(low * each_hz))
        while each <= high * each_hz * (1 + 1e-9):
            found.add(Setting(each / each_hz, percent))
            each = max(each + 1, round(each * GRID))
        # The settings tried may be repeated.
        for record in known.records:
            if record.percent == percent and record.weld_s <= longest_s:
                found.add(in_cycles(Setting(record.weld_s, percent), frequency_Hz, impulses))
    return sorted(found, key=lambda s: (s.percent, s.time_s))


def in_cycles(setting: Setting, frequency_Hz: int, impulses: int = 1) -> Setting:
    """The nearest setting in whole cycles of the mains, the same number, at least one, for each of its impulses."""
    each_hz = frequency_Hz / impulses
    return Setting(max(1, round(setting.time_s * each_hz)) / each_hz, setting.percent)


def watched(welds: Sequence[WeldRecord], digest: str, wanted: tuple[int, int] | None) -> WeldRecord | str:
    """The weld to join: the newest of `digest`, or that of boot and count. A text with the reason where none is suitable.

    A weld that was not watched has no digest, and can be joined by boot and count only.
    """
    if wanted is None:
        found = [weld for weld in welds if weld.digest == digest]
        none = "no weld of this schedule was watched"
    else:
        found = [weld for weld in welds if (weld.boot, weld.count) == wanted]
        none = "no such weld was watched"
    if not found:
        return f"{none}; allowed: one that `weldbeat watch` has kept"
    weld = found[-1]
    if weld.digest not in (None, digest):
        return f"that was {weld.schedule}, digest {weld.digest}; this schedule has {digest}; allowed: a weld of this schedule"
    if weld.ending != ENDING_NAMES[COMPLETED] or weld.fired != weld.planned:
        done = f"that ended as {weld.ending}, {weld.fired} of {weld.planned} half-cycles fired"
        return f"{done}; allowed: one that was completed"
    return weld
