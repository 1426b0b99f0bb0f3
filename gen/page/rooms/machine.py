"""The machine room: the welder file as a form, what follows from it beside, and a file to begin with where there is none."""

from __future__ import annotations

import secrets

from markupsafe import Markup
from starlette.responses import Response
from starlette.routing import Route

from gen.ask import NotTaken, value_of
from gen.begin import FIRST_SCHEDULE, FITTED, QUESTIONS, TYPICAL, machine_files
from gen.errors import InputError
from gen.machine import WELDER_FILE
from gen.page.asked import Asked, go, page, part, route, shown
from gen.page.computed import described
from gen.page.desk import Desk
from gen.page.folder import Changed, Held
from gen.page.texts import text
from gen.page.welder_form import edited, form_of, place_of
from gen.writing import check_without, write_whole


def routes(desk: Desk) -> list[Route]:
    """The addresses of this room."""
    return [
        route(desk, "/machine", _open),
        route(desk, "/machine/turn", _turn, "POST"),
        route(desk, "/machine/save", _save, "POST"),
        route(desk, "/machine/new", _new, "POST"),
    ]


def _open(asked: Asked) -> Response:
    folder = asked.desk.folder
    if not folder.has_welder:
        return page(asked, "machine", _questions({}, {}))
    held = folder.held(folder.welder)
    content = part(
        "machine", tables=form_of(held.text, held.path), stamp=held.stamp, tab=secrets.token_hex(8), file=WELDER_FILE
    )
    return page(asked, "machine", content)


def _draft(asked: Asked) -> tuple[Held, str]:
    """What the form was opened on, and the text as edited. Raises InputError, Changed."""
    folder = asked.desk.folder
    held = folder.opened_on(folder.welder, asked.given("stamp"))
    return held, edited(held.text, asked.fields, held.path)


def _turn(asked: Asked) -> Response:
    """What follows from the form, and what is wrong where it stands."""
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


def _save(asked: Asked) -> Response:
    """Put the form into the file, if what it describes is a machine and the file is still the one that was opened."""
    try:
        held, changed = _draft(asked)
        asked.desk.workers.quick.run(f"machine save {asked.given('tab')}", described, changed, held.path)
        saved = asked.desk.folder.save(held.path, changed, held.stamp)
    except Changed as found:
        return _another(found.held)
    return shown("saved", words=text("schedule.saved", file=held.path.name), stamp=saved.stamp, link="")


def _another(held: Held) -> Response:
    return shown("another", address="/machine", file=held.path.name, lines=[])


def _questions(given: dict[str, str], wrong: dict[str, str]) -> Markup:
    asked = [(q.answer, q.text, given.get(q.answer, ""), TYPICAL[q.answer], wrong.get(q.answer, "")) for q in QUESTIONS]
    return part("machine_new", questions=asked, fitted=[(key, key in given) for key in FITTED], schedule=FIRST_SCHEDULE)


def _new(asked: Asked) -> Response:
    """Write a welder file and a first schedule from the answers; what is left empty is typical, and marked so."""
    folder = asked.desk.folder
    check_without(text("files.file"), folder.place, (WELDER_FILE, FIRST_SCHEDULE))
    answers, wrong = {}, {}
    for question in QUESTIONS:
        typed = asked.given(question.answer)
        if typed:
            try:
                answers[question.answer] = value_of(question.table, question.key)(typed)
            except NotTaken as error:
                wrong[question.answer] = str(error)
    if wrong:
        return page(asked, "machine", _questions(dict(asked.fields), wrong), 422)
    for name, content in machine_files(answers, tuple(key for key in FITTED if asked.given(key))).items():
        write_whole(folder.place / name, content)
    return go(asked, "/machine")
