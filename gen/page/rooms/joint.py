"""The joint room: the joint, the handbook's suggestion with its sources, and a schedule made from it."""

from __future__ import annotations

from pathlib import Path

import tomlkit
from markupsafe import Markup
from starlette.responses import Response
from starlette.routing import Route

from gen.errors import InputError
from gen.joint import Joint, joint_from, read_joint
from gen.page.asked import AskedOnPage, drawing, go, page, part, route, shown
from gen.page.computed_trials import Suggested, WindowShown, joint_course, joint_window, suggested
from gen.page.desk import Desk
from gen.page.folder import HeldFile
from gen.page.labels import words_and_unit
from gen.page.texts import text
from gen.writing import write_whole

_SIZES = ("rods_mm", "sheets_mm")
_CHOICES = {
    "surface": ("clean", "scaled", "zinc"),
    "finish": ("cold_drawn", "hot_drawn"),
    "material": ("low_carbon_steel", "stainless_steel", "brass", "nickel"),
    "force_measured": ("gauge", "spring", "lever"),
}
_NUMBERS = (
    "force_N",
    "setdown_percent",
    "face_diameter_mm",
    "groove_radius_mm",
    "dome_radius_mm",
    "flat_width_mm",
    "pitch_mm",
)


def routes(desk: Desk) -> list[Route]:
    """The addresses of this room."""
    return [
        route(desk, "/joint", _list),
        route(desk, "/joint/new", _new, "POST"),
        route(desk, "/joint/{name}", _open),
        route(desk, "/joint/{name}/schedule", _schedule, "POST"),
        route(desk, "/joint/{name}/course", _course),
        route(desk, "/joint/{name}/window", _window),
        route(desk, "/joint/{name}/window.svg", _window_picture),
    ]


def titled_joints(asked: AskedOnPage) -> list[tuple[str, str]]:
    """Each joint's name, and the joint in a few words, or what is wrong with its file."""
    folder = asked.desk.folder
    return [(name, _title(folder.joint(name))) for name in folder.joints()]


def _title(path: Path) -> str:
    try:
        return read_joint(path).title
    except InputError as error:
        return str(error)


def _list(asked: AskedOnPage) -> Response:
    numbers = [(key, *words_and_unit(key)) for key in _NUMBERS]
    left_out = {key: Joint.model_fields[key].get_default() for key in (*_CHOICES, *_NUMBERS)}
    typical = {key: "" if value is None else f"{value}" for key, value in left_out.items()}
    return page(
        asked, "joint", part("joints", joints=titled_joints(asked), choices=_CHOICES, numbers=numbers, typical=typical)
    )


def _new(asked: AskedOnPage) -> Response:
    """Write a joint file from the form. An invalid one is not written."""
    path = asked.desk.folder.new(asked.given("name"))
    document = tomlkit.document()
    sizes = [_number(part) for part in asked.given("sizes").replace(";", ",").split(",") if part.strip()]
    document[asked.given("kind") if asked.given("kind") in _SIZES else _SIZES[0]] = sizes
    for key in _CHOICES:
        if asked.given(key):
            document[key] = asked.given(key)
    for key in _NUMBERS:
        if asked.given(key):
            document[key] = _number(asked.given(key))
    content = tomlkit.dumps(document)
    joint_from(content, path)
    write_whole(path, content)
    return go(asked, f"/joint/{path.stem}")


def _number(typed: str) -> float | str:
    """A number, or the typed text, which the joint's validation then refuses."""
    try:
        return float(typed)
    except ValueError:
        return typed.strip()


def _open(asked: AskedOnPage) -> Response:
    folder = asked.desk.folder
    held = folder.held(folder.joint(asked.path["name"]))
    joint: Joint = joint_from(held.text, held.path)
    found = asked.desk.workers.quick.run(f"joint {held.path.stem}", suggested, held.text, held.path, folder.welder)
    return page(asked, "joint", _parts(asked, held, joint, found))


def _parts(asked: AskedOnPage, held: HeldFile, joint: Joint, found: Suggested | None) -> Markup:
    schedules = asked.desk.folder.schedules()
    return part("joint", name=held.path.stem, joint=joint, found=found, text=held.text, schedules=schedules)


def _course(asked: AskedOnPage) -> Response:
    """The model's weld of the joint, by one of the schedules or at 100 % until it is good."""
    folder = asked.desk.folder
    joint = folder.joint(asked.path["name"])
    schedule = folder.schedule(asked.given("by")) if asked.given("by") else None
    drawn = asked.desk.workers.model.run(f"course {joint.stem}", joint_course, joint, schedule, folder.welder)
    return shown("whole", content=drawn)


def _schedule(asked: AskedOnPage) -> Response:
    """Write the suggested schedule to a new file."""
    folder = asked.desk.folder
    held = folder.held(folder.joint(asked.path["name"]))
    path = folder.new(asked.given("as"))
    found = asked.desk.workers.quick.run(f"joint {held.path.stem}", suggested, held.text, held.path, folder.welder)
    if found is None or not found.schedule:
        why = text("joint.unknown_current") if found is None else found.refused or found.why_not
        raise InputError(held.path, "no suggestion", None, why)
    write_whole(path, found.schedule)
    return go(asked, f"/schedule/{path.stem}") if asked.partial else shown("said", lines=[path.name])


def _windowed(asked: AskedOnPage) -> WindowShown:
    folder = asked.desk.folder
    joint = folder.joint(asked.path["name"])
    return asked.desk.workers.model.run(f"window {joint.stem}", joint_window, joint, folder.welder)


def _window(asked: AskedOnPage) -> Response:
    """The times and percents of good welds, by the model."""
    return shown("joint_window", name=asked.path["name"], window=_windowed(asked))


def _window_picture(asked: AskedOnPage) -> Response:
    """The window's picture. Its policy allows the picture's own styles by digest."""
    return drawing(_windowed(asked).svg)
