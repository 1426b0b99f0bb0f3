"""The machine room: the welder file as a form with its derived figures, and a first file where there is none."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup
from starlette.responses import Response
from starlette.routing import Route

from gen.ask import Inquiry, NotTaken, Unsure, reply_of
from gen.begin import FIRST_SCHEDULE, machine_files, wrong_with
from gen.begin.interview import course
from gen.errors import InputError
from gen.machine import WELDER_FILE
from gen.page.asked import AskedOnPage, go, page, part, route, shown
from gen.page.computed import described
from gen.page.desk import Desk
from gen.page.folder import Changed, HeldFile
from gen.page.texts import text
from gen.page.welder_form import edited, form_of, place_of
from gen.user_files import written
from gen.writing import check_without, write_whole


def routes(desk: Desk) -> list[Route]:
    """The addresses of this room."""
    return [
        route(desk, "/machine", _open),
        route(desk, "/machine/turn", _turn, "POST"),
        route(desk, "/machine/save", _save, "POST"),
        route(desk, "/machine/ask", _ask, "POST"),
        route(desk, "/machine/new", _new, "POST"),
    ]


def _open(asked: AskedOnPage) -> Response:
    folder = asked.desk.folder
    if not folder.has_welder:
        return page(asked, "machine", _questions(_heard({})[0]))
    held = folder.held(folder.welder)
    content = part(
        "machine", tables=form_of(held.text, held.path), stamp=held.stamp, tab=secrets.token_hex(8), file=WELDER_FILE
    )
    return page(asked, "machine", content)


def _draft(asked: AskedOnPage) -> tuple[HeldFile, str]:
    """The file on which the form was opened, and the edited text. Raises InputError, Changed."""
    folder = asked.desk.folder
    held = folder.opened_on(folder.welder, asked.given("stamp"))
    return held, edited(held.text, asked.fields, held.path)


def _turn(asked: AskedOnPage) -> Response:
    """The derived figures of the form, and errors next to their fields."""
    folder = asked.desk.folder
    try:
        held, changed = _draft(asked)
    except Changed as found:
        return _another(found.held)
    form = form_of(held.text, held.path)
    wrong, where, seen = "", "", None
    try:
        seen = asked.desk.workers.quick.run(f"machine {asked.given('tab')}", described, changed, held.path)
    except InputError as error:
        wrong, where = str(error), place_of(error, form)
    return shown(
        "machine_turned",
        seen=seen,
        wrong=wrong,
        where=where,
        slots=[each.name for table in form for each in table.fields],
        elsewhere=folder.held(folder.welder).stamp != asked.given("stamp"),
    )


def _save(asked: AskedOnPage) -> Response:
    """Save the form, if it is a valid machine and the file has not changed since the form was opened."""
    try:
        held, changed = _draft(asked)
        asked.desk.workers.quick.run(f"machine save {asked.given('tab')}", described, changed, held.path)
        saved = asked.desk.folder.save(held.path, changed, held.stamp)
    except Changed as found:
        return _another(found.held)
    return shown("saved", words=text("schedule.saved", file=held.path.name), stamp=saved.stamp, link="")


def _another(held: HeldFile) -> Response:
    return shown("another", address="/machine", file=held.path.name, lines=[])


@dataclass(frozen=True)
class _Put:
    """A question on the page, with its answer and, if refused, the reason."""

    inquiry: Inquiry
    said: str
    picked: tuple[str, ...]
    wrong: str


def _heard(fields: Mapping[str, str]) -> tuple[list[_Put], dict[str, Any]]:
    """The questions that follow from the answers so far, and the answers. Missing or refused answers are unknown."""
    answers: dict[str, Any] = {}
    put = []
    for inquiry in course(answers):  # each question depends on the earlier answers
        picked = tuple(choice.name for choice in inquiry.choices if f"{inquiry.key}.{choice.name}" in fields)
        said = ", ".join(picked) if inquiry.many else fields.get(inquiry.key, "").strip()
        wrong = ""
        try:
            reply = reply_of(inquiry, said, by_number=False) if said or not inquiry.meanwhile else Unsure.UNKNOWN
            if reply is Unsure.BACK:
                raise NotTaken(written(said), text("machine.an_answer"))
            answers[inquiry.key] = reply
        except NotTaken as error:
            answers[inquiry.key], wrong = Unsure.UNKNOWN, str(error)
        put.append(_Put(inquiry, said, picked, wrong))
    return put, answers


def _questions(put: list[_Put], wrong: str = "") -> Markup:
    return part("machine_new", put=put, wrong=wrong, schedule=FIRST_SCHEDULE)


def _ask(asked: AskedOnPage) -> Response:
    """Show the questions again, with those that an answer adds."""
    put, answers = _heard(asked.fields)
    return shown("whole", content=_questions(put, wrong_with(answers)))


def _new(asked: AskedOnPage) -> Response:
    """Write a welder file and a first schedule from the answers. Unknown values are typical, and marked so."""
    folder = asked.desk.folder
    check_without(text("files.file"), folder.place, (WELDER_FILE, FIRST_SCHEDULE))
    put, answers = _heard(asked.fields)
    wrong = wrong_with(answers)
    if wrong or any(each.wrong for each in put):
        return page(asked, "machine", _questions(put, wrong), 422)
    for name, content in machine_files(answers).items():
        write_whole(folder.place / name, content)
    return go(asked, "/machine")
