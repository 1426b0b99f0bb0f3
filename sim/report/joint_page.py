"""The page of a joint: kept setting, trials drawn and listed, the handbook's suggestion, cautions."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from gen.handbook.suggestion import Suggestion
from gen.joint import Joint
from gen.records import KeptRecord, TrialRecord
from gen.schedule import Cool, Hold, Off, Phase, Pulse, Squeeze, Weld, schedule_from
from gen.trials.joints import Known
from gen.trials.wording import good_sentences, window_sentences
from sim.report.sections import all_cautions, templates
from sim.report.svg import WIDE, picture
from sim.report.trials import Lane, draw_trials, lanes_of

# A measured quantity, its heading in a table, and its unit.
MEASURED = (
    ("force_N", "Force", "N"),
    ("setdown_mm", "Setdown", "mm"),
    ("strength_N", "Strength", "N"),
    ("twist_Nm", "Twist", "Nm"),
    ("nugget_mm", "Nugget", "mm"),
)


@dataclass(frozen=True)
class JointPage:
    """The content of the page. `likely_good`, `windows`: sentences on the chance of a good weld and on the good window."""

    name: str
    joint: Joint
    frequency_Hz: int
    suggestion: Suggestion | None
    between_s: tuple[float, float] | None
    records: tuple[TrialRecord, ...]
    lanes: tuple[Lane, ...]
    likely_good: tuple[str, ...]
    windows: tuple[str, ...]
    kept: KeptRecord | None


def page_of(known: Known, frequency_Hz: int) -> JointPage:
    """The page of a joint with its present trials."""
    belief = known.belief
    return JointPage(
        name=known.name,
        joint=known.joint,
        frequency_Hz=frequency_Hz,
        suggestion=known.suggestion,
        between_s=known.between_s,
        records=known.records,
        lanes=lanes_of(known, belief),
        likely_good=tuple(good_sentences(known, belief)) if belief else (),
        windows=tuple(window_sentences(known, belief)) if belief else (),
        kept=known.kept,
    )


def render_joint(page: JointPage) -> str:
    """The page as HTML without other files, scripts or network. Same data, same text."""
    drawn = [lane for lane in page.lanes if lane.marks or lane.window]
    figure = picture(lambda width, name: draw_trials(drawn, width, name), "trials") if drawn else None
    columns = [column for column in MEASURED if any(getattr(r, column[0]) is not None for r in page.records)]
    text = (
        templates()
        .get_template("joint.html.j2")
        .render(
            page=page,
            figure=figure,
            columns=columns,
            notes=any(record.note for record in page.records),
            expelled=any(record.expulsion != "none" for record in page.records),
            phases=phases_of(page.kept) if page.kept else (),
            cautions=all_cautions(),
        )
    )
    return text + "\n"


def standalone(lanes: tuple[Lane, ...], title: str) -> str:
    """The picture alone with its title, as an SVG file."""
    return svg_file(draw_trials(lanes, WIDE, "trials", title), WIDE)


def svg_file(drawn: str, width: int) -> str:
    """A picture as an SVG file with its styles."""
    source = templates().get_template("style.css.j2").render()
    style = "\n".join(rule for rule in source.splitlines() if rule.startswith((":root", "svg ")))
    opening, rest = drawn.split(">", 1)
    sizes = f'xmlns="http://www.w3.org/2000/svg" width="{width}" style="background: #fff"'
    return f"{opening} {sizes}><style>\n{style}\n</style>{rest}\n"


def phases_of(kept: KeptRecord) -> tuple[str, ...]:
    """The phases of a kept schedule, each in a few words."""
    return tuple(_phase(phase) for phase in schedule_from(kept.text, Path(f"{kept.schedule}.toml")).phases)


def _phase(phase: Phase) -> str:
    match phase:
        case Squeeze():
            return f"squeeze {phase.squeeze}"
        case Pulse():
            times = f"{phase.repeat} pulses" if phase.repeat > 1 else "pulse"
            cool = f", cool {phase.cool}" if phase.cool else ""
            return f"{times} {phase.pulse} at {phase.current_percent:g} %{cool}"
        case Weld():
            slopes = [
                f"{name} {time}" for name, time in (("upslope", phase.upslope), ("downslope", phase.downslope)) if time
            ]
            return f"weld {phase.weld} at {phase.current_percent:g} %{''.join(f', {slope}' for slope in slopes)}"
        case Cool():
            return f"cool {phase.cool}"
        case Hold():
            return f"hold {phase.hold}"
        case Off():
            return f"off {phase.off}"
