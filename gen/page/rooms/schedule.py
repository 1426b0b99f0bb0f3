"""The schedule room: fields and sliders, the picture that follows them, and the verdict."""

from __future__ import annotations

import difflib
import secrets
from dataclasses import dataclass
from pathlib import Path

from markupsafe import Markup
from starlette.responses import Response
from starlette.routing import Route

from gen.ask import NotTaken, number
from gen.errors import InputError
from gen.page.asked import AskedOnPage, go, page, part, route, shown
from gen.page.computed import judged, turned
from gen.page.desk import Desk
from gen.page.folder import Changed, HeldFile
from gen.page.schedule_form import (
    ADDED,
    UNITS,
    FormPhase,
    edited,
    form_of,
    place_of,
    with_phase,
    without_phase,
)
from gen.page.texts import text
from gen.schedule import schedule_from
from gen.units import PACE, PACES
from gen.writing import write_whole

_pace = number(*PACES)
_ON_DISK = "saved"  # compare with the saved file
_LONGEST_DIFF = 60  # lines


def routes(desk: Desk) -> list[Route]:
    """The addresses of this room."""
    return [
        route(desk, "/schedule", _list),
        route(desk, "/schedule/{name}", _open),
        route(desk, "/schedule/{name}/turn", _turn, "POST"),
        route(desk, "/schedule/{name}/verdict", _verdict, "POST"),
        route(desk, "/schedule/{name}/save", _save, "POST"),
        route(desk, "/schedule/{name}/copy", _copy, "POST"),
        route(desk, "/schedule/{name}/phases", _phases, "POST"),
    ]


def _list(asked: AskedOnPage) -> Response:
    folder = asked.desk.folder
    found = []
    for name in folder.schedules():
        try:
            schedule = schedule_from(folder.held(folder.schedule(name)).text, folder.schedule(name))
            found.append((name, schedule.title, ""))
        except InputError as error:
            found.append((name, "", str(error)))
    return page(asked, "schedule", part("schedules", found=found, has_welder=folder.has_welder))


@dataclass(frozen=True)
class _Draft:
    """A schedule in the form: its file, the file's text when the form was opened, and the edited text."""

    path: Path
    base: HeldFile
    text: str
    form: tuple[FormPhase, ...]


def _draft(asked: AskedOnPage) -> _Draft:
    """The draft in a request. Raises InputError, Changed."""
    folder = asked.desk.folder
    path = folder.schedule(asked.path["name"])
    base = folder.opened_on(path, asked.given("base"))
    changed = edited(base.text, asked.fields, path.name)
    return _Draft(path, base, changed, form_of(changed, path.name))


def _open(asked: AskedOnPage) -> Response:
    folder = asked.desk.folder
    held = folder.held(folder.schedule(asked.path["name"]))
    return page(asked, "schedule", _form(asked, held.path, held, held.stamp, {"pace": f"{PACE:g}"}))


def _form(asked: AskedOnPage, path: Path, base: HeldFile, stamp: str, kept: dict[str, str]) -> Markup:
    others = [name for name in asked.desk.folder.schedules() if name != path.stem]
    form = form_of(base.text, path.name)
    return part(
        "schedule",
        name=path.stem,
        title=_title(base.text, path),
        form=form,
        units=UNITS,
        added=tuple(ADDED),
        base=base.stamp,
        stamp=stamp,
        pace=kept.get("pace", f"{PACE:g}"),
        beside=kept.get("beside", ""),
        others=others,
        tab=kept.get("tab") or secrets.token_hex(8),
    )


def _title(words: str, path: Path) -> str:
    try:
        return schedule_from(words, path).title
    except InputError:
        return ""


def _turn(asked: AskedOnPage) -> Response:
    """The picture, the nearest limits, and errors next to their fields."""
    try:
        draft = _draft(asked)
    except Changed as changed:
        return _another(asked, changed.held)
    folder, tab = asked.desk.folder, asked.given("tab")
    slots = [each.name for phase in draft.form for each in phase.fields]
    wrong, where, seen = "", "", None
    pace = asked.given("pace")
    try:
        seen = asked.desk.workers.quick.run(
            f"turn {tab}",
            turned,
            draft.text,
            draft.path,
            folder.welder,
            _pace(pace or f"{PACE:g}"),
            "this",
        )
    except InputError as error:
        wrong, where = str(error), place_of(error, draft.form)
    except NotTaken as error:
        wrong, where = str(error), "pace"
    other, other_name = None, asked.given("beside")
    if other_name and seen is not None:
        path = draft.path if other_name == _ON_DISK else folder.schedule(other_name)
        try:
            other = asked.desk.workers.quick.run(
                f"beside {tab}", turned, folder.held(path).text, path, folder.welder, _pace(pace), "other"
            )
        except InputError as error:
            wrong = str(error)
    return shown(
        "turned",
        name=draft.path.stem,
        seen=seen,
        other=other,
        other_name=text("schedule.as_saved") if other_name == _ON_DISK else other_name,
        wrong=wrong,
        where=where,
        slots=[*slots, "pace"],
        elsewhere=folder.held(draft.path).stamp != asked.given("stamp"),
    )


def _verdict(asked: AskedOnPage) -> Response:
    """The full verdict. An earlier request of the same form is cancelled."""
    try:
        draft = _draft(asked)
    except Changed as changed:
        return _another(asked, changed.held)
    try:
        found = asked.desk.workers.slow.run(
            f"verdict {asked.given('tab')}",
            judged,
            draft.text,
            draft.path,
            asked.desk.folder.welder,
            _pace(asked.given("pace") or f"{PACE:g}"),
        )
    except NotTaken as error:
        raise InputError(text("schedule.pace"), "", None, str(error)) from None
    return shown("verdict", found=found)


def _save(asked: AskedOnPage) -> Response:
    """Save the form, if it is a valid schedule and the file has not changed since the form was opened."""
    try:
        draft = _draft(asked)
        schedule_from(draft.text, draft.path)
        held = asked.desk.folder.save(draft.path, draft.text, asked.given("stamp"))
    except Changed as changed:
        return _another(asked, changed.held)
    return shown("saved", words=text("schedule.saved", file=draft.path.name), stamp=held.stamp, link="")


def _another(asked: AskedOnPage, held: HeldFile) -> Response:
    """Show that the file has changed meanwhile, with the difference. Nothing is overwritten."""
    path = held.path
    try:
        base = asked.desk.folder.opened_on(path, asked.given("base"))
        mine = edited(base.text, asked.fields, path.name).splitlines()
    except Changed:
        mine = []
    lines = difflib.unified_diff(held.text.splitlines(), mine, "file", "form", lineterm="", n=1) if mine else []
    return shown("another", address=f"/schedule/{path.stem}", file=path.name, lines=list(lines)[2 : _LONGEST_DIFF + 2])


def _copy(asked: AskedOnPage) -> Response:
    """Save the form's text under a new name."""
    folder = asked.desk.folder
    try:
        draft = _draft(asked)
    except Changed as changed:
        return _another(asked, changed.held)
    path = folder.new(asked.given("copy"))
    schedule_from(draft.text, path)
    write_whole(path, draft.text)
    return go(asked, f"/schedule/{path.stem}")


def _phases(asked: AskedOnPage) -> Response:
    """Insert or remove a phase in the form. The file changes only on saving."""
    try:
        draft = _draft(asked)
    except Changed as changed:
        return _another(asked, changed.held)
    changed_text = draft.text
    do, _, place = asked.given("do").partition(" ")
    at = next((phase.place for phase in draft.form if str(phase.place) == place and phase.movable), None)
    before = next((phase.place for phase in draft.form if str(phase.place) == place), None)
    if do in ADDED and before is not None:
        changed_text = with_phase(changed_text, do, before)
    elif do == "drop" and at is not None:
        changed_text = without_phase(changed_text, at)
    base = asked.desk.folder.remember(HeldFile(draft.path, changed_text))
    return shown("whole", content=_form(asked, draft.path, base, asked.given("stamp"), dict(asked.fields)))
