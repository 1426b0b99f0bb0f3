"""Pages of joints in every shape that they take: many trials, none, all at one time, several percents, nothing known."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache

from gen.handbook.advice import suggest
from gen.joint import Joint
from gen.ranges import Figure
from gen.records import KeptRecord, TrialRecord
from gen.trials.joints import Known, tried_of
from sim.report.joint_course import course_page, render_course
from sim.report.joint_page import JointPage, render_joint
from sim.report.trials import Lane, Mark
from tests.support.machines import make_welder

RODS = Joint(rods_mm=(5.0, 8.0), setdown_percent=15)
SCHEDULE = """\
frequency_Hz = 50
phase = [
    {squeeze = "0.4 s"},
    {pulse = "2 cycles", current_percent = 60, repeat = 2, cool = "4 cycles"},
    {weld = "90 cycles", upslope = "5 cycles"},
    {hold = "0.5 s"},
    {off = "3 s"},
]
"""


def trial(
    number: int, weld_s: float, percent: float, outcome: str, expulsion: str = "none", **told: object
) -> TrialRecord:
    """One trial (invented)."""
    measured = dict.fromkeys(("force_N", "setdown_mm", "strength_N", "twist_Nm", "nugget_mm"))
    record = {"dressed": 0, "note": "", **measured, **told}
    return TrialRecord(
        joint="rungs", number=number, tried_at=f"2026-05-{number:02}T10:00:00Z", joint_text="", schedule="job", text="",
        digest="", weld_s=weld_s, percent=percent, outcome=outcome, expulsion=expulsion, **record,  # type: ignore[arg-type]
    )  # fmt: skip


def page(records: Sequence[TrialRecord], current_A: float | None = 2100, kept: bool = False) -> JointPage:
    """The page of these trials, put together as the command does."""
    found = None
    if current_A is not None:
        found = suggest(RODS, Figure(0.95 * current_A, 1.05 * current_A, "A", "invented"), 50)
    setting = KeptRecord(
        "rungs", "2026-05-30T10:00:00.000000Z", "rungs-kept", SCHEDULE, "0123456789abcdef", 1.8, 100, 1, 3, 9
    )
    known = Known("rungs", RODS, found, None, tuple(records), setting if kept else None)
    belief = known.belief
    lanes = []
    for percent in known.percents or (known.percent,):
        tried = [(record, tried_of(record, RODS)) for record in records if record.percent == percent]
        marks = tuple(Mark(record.number, record.weld_s, t.outcome, t.expulsion) for record, t in tried)
        lanes.append(
            Lane(percent, belief.window(percent) if belief else None, marks, 1.8 if kept and percent == 100 else None)
        )
    sentence = "Good window at {:g} %: from 1.23 s (0.987 to 1.45) to 2.34 s (1.98 to 2.87), 95 % limits in brackets; probability"
    windows = tuple(f"{sentence.format(lane.percent)} that there is one: above 99 %." for lane in lanes if belief)
    likely = ("Chance of a good weld 91 % (78 % or more, nine times in ten) at the best time, 1.78 s at 100 %.",)
    return JointPage(
        "rungs",
        RODS,
        50,
        found,
        known.between_s,
        known.records,
        tuple(lanes),
        likely if belief else (),
        windows,
        known.kept,
    )


def fresh() -> JointPage:
    return page(())


def one() -> JointPage:
    return page([trial(1, 1.5, 100, "no bond")])


def typical() -> JointPage:
    """Twelve trials at three percents, everything measured."""
    told = {"force_N": 900, "setdown_mm": 0.35, "strength_N": 5200, "twist_Nm": 12.5, "nugget_mm": 3.1}
    found = [
        trial(n, s, percent, outcome, expulsion, **told)
        for n, (s, percent, outcome, expulsion) in enumerate(
            [
                (1.0, 100, "no bond", "none"),
                (1.2, 100, "broke at joint", "early"),
                (1.4, 100, "broke at joint", "none"),
                (1.8, 100, "tore parent", "none"),
                (1.8, 100, "tore parent", "none"),
                (2.6, 100, "tore parent", "late"),
                (2.2, 85, "broke at joint", "none"),
                (2.6, 85, "tore parent", "none"),
                (3.6, 85, "tore parent", "late"),
                (3.0, 72.5, "broke at joint", "none"),
                (3.8, 72.5, "tore parent", "none"),
                (1.8, 100, "tore parent", "none"),
            ],
            1,
        )
    ]
    noted = trial(13, 1.7, 100, "tore parent", dressed=1, note="the electrode slipped, but the weld held on both sides")
    return page([*found, noted], kept=True)


def stacked() -> JointPage:
    """Twenty-eight at one time, and some so near that their marks would lie upon each other."""
    same = [trial(n, 1.8, 100, "tore parent", "late" if n % 2 else "early") for n in range(1, 22)]
    return page([*same, *(trial(n, 1.5 + 0.02 * n, 100, "broke at joint") for n in range(22, 29))], kept=True)


def unknown() -> JointPage:
    """A machine of which too little is known for any estimate."""
    return page([trial(1, 1.5, 100, "no bond"), trial(2, 0.02, 60, "no bond")], current_A=None)


EVERY_SHAPE: tuple[Callable[[], JointPage], ...] = (fresh, one, typical, stacked, unknown)


NAMES = [f"joint-{shape.__name__}" for shape in EVERY_SHAPE]


def made(name: str) -> str:
    """One of them as HTML, made anew."""
    return render_joint(EVERY_SHAPE[NAMES.index(name)]())


once_made = cache(made)


def course() -> str:
    """The page of `joint show`: thin rods at 100 % current on an invented machine until the weld is good."""
    welder = make_welder(transformer={"open_secondary_V": 2.4})
    return render_course(course_page("rungs", Joint(rods_mm=(3.0, 3.0), force_N=700), welder, None))
