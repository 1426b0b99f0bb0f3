"""The verdict on a setting, before it is proposed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from gen.errors import InputError
from gen.job import Job, make_job
from gen.machine.welder import Welder
from gen.schedule import schedule_from
from gen.trials.rewritten import impulses, rewritten
from gen.trials.values import Setting


@dataclass(frozen=True)
class Forbidden:
    """A refusal of a setting: the check or the key that refuses it, and the reason in words."""

    by: str
    why: str


@dataclass
class Verdicts:
    """The verdicts on one schedule at other settings, each computed once.

    `judge`: the reason that forbids a job, None where it is allowed. It may be slow.
    """

    text: str
    path: Path
    welder: Welder
    judge: Callable[[Job], Forbidden | None]
    _forbidden: dict[Setting, Forbidden | None] = field(default_factory=dict)

    def job(self, setting: Setting) -> Job:
        """The schedule at `setting`, compiled. Raises InputError where this machine cannot have it."""
        schedule = schedule_from(rewritten(self.text, setting, self.path), self.path)
        return make_job(schedule, self.welder, self.path)

    @property
    def impulses(self) -> int:
        """The number of impulses of the weld. Raises InputError where there is no weld phase, or more than one."""
        return impulses(schedule_from(self.text, self.path), self.path)

    def allowed(self, setting: Setting) -> bool:
        """Whether the schedule at this setting compiles and is not refused."""
        if setting not in self._forbidden:
            self._forbidden[setting] = self._judged(setting)
        return self._forbidden[setting] is None

    @property
    def refused(self) -> dict[Setting, Forbidden]:
        """The settings refused so far, with the reasons."""
        return {setting: found for setting, found in self._forbidden.items() if found is not None}

    def _judged(self, setting: Setting) -> Forbidden | None:
        try:
            job = self.job(setting)
        except InputError as error:
            return Forbidden(error.key, str(error))
        return self.judge(job)


def nearest(refused: Mapping[Setting, Forbidden]) -> dict[Setting, str]:
    """For each check, the refused setting of least heat, with the reason."""
    found: dict[str, tuple[Setting, str]] = {}
    for setting, forbidden in sorted(refused.items(), key=lambda item: item[0].time_s * item[0].percent ** 2):
        found.setdefault(forbidden.by, (setting, forbidden.why))
    return dict(found.values())
