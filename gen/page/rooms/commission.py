"""The commissioning room: the walk to the first weld, one step at a time, with outcomes and readings."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from starlette.responses import Response
from starlette.routing import Route

from gen.cautions import CAUTIONS
from gen.commissioning import calibrated, difference, last_walk, record_lines, steps, values_of_last_walk
from gen.errors import InputError
from gen.job import board_of, find_welder
from gen.page.asked import AskedOnPage, page, part, problem, route, shown
from gen.page.desk import Desk
from gen.page.folder import Changed
from gen.page.live import event_stream
from gen.page.texts import text
from gen.page.walk_keeper import WalkSeen
from gen.records import RECORDS_FILE

IN_THE_STREAM = 204  # no content: the stream shows the result, so that no older state replaces a newer one


def routes(desk: Desk) -> list[Route]:
    """The addresses of this room."""
    return [
        route(desk, "/commission", _open),
        route(desk, "/commission/events", _events),
        route(desk, "/commission/begin", _begin, "POST"),
        route(desk, "/commission/answer", _answer, "POST"),
        route(desk, "/commission/end", _end, "POST"),
        route(desk, "/commission/calibrate", _calibrate, "POST"),
    ]


def _open(asked: AskedOnPage) -> Response:
    return page(asked, "commission", part("commission", cautions=CAUTIONS, **_drawn(asked.desk, asked.desk.walk.seen)))


def _drawn(desk: Desk, seen: WalkSeen) -> Mapping[str, str]:
    """The parts that change during the walk."""
    welder = find_welder(desk.folder.welder)
    lines = record_lines(steps(welder, board_of(welder)), last_walk(_kept(desk)))
    now = part(
        "commission_now",
        seen=seen,
        begun=any(line.tried for line in lines),
        port=desk.board.seen.port,
        readings="" if seen.walking else _readings(desk),
        stamp="" if seen.walking else desk.folder.held(desk.folder.welder).stamp,
    )
    return {"now": now, "steps": part("commission_steps", lines=lines, seen=seen)}


def _kept(desk: Desk) -> Path:
    return desk.folder.place / RECORDS_FILE


def _readings(desk: Desk) -> str:
    """The change that the last walk's readings make to the welder file; "" where there is none."""
    path = desk.folder.welder
    try:
        return difference(path, calibrated(path, values_of_last_walk(_kept(desk), find_welder(path))))
    except InputError:
        return ""


def _events(asked: AskedOnPage) -> Response:
    desk = asked.desk

    def drawn(seen: WalkSeen) -> Mapping[str, str]:
        try:
            return _drawn(desk, seen)
        except InputError as error:  # the welder file has become invalid meanwhile
            return {"now": part("problem", words=str(error))}

    return event_stream(desk.walk.live, drawn)


def _begin(asked: AskedOnPage) -> Response:
    """Begin the walk. It takes the port from the board room. The stream shows the result."""
    desk = asked.desk
    if not desk.walk.seen.walking:
        desk.board.disconnect()
    desk.walk.begin(asked.given("port"), anew=bool(asked.given("anew")))
    return Response(status_code=IN_THE_STREAM)


def _answer(asked: AskedOnPage) -> Response:
    number = asked.given("number")
    if number.isdecimal() and len(number) < 10:
        asked.desk.walk.answer(int(number), asked.given("instead") or asked.given("said"))
    return Response(status_code=IN_THE_STREAM)


def _end(asked: AskedOnPage) -> Response:
    asked.desk.walk.end()
    return Response(status_code=IN_THE_STREAM)


def _calibrate(asked: AskedOnPage) -> Response:
    """Write the readings of the last walk to the welder file, if the file is the one on which the change was shown."""
    folder = asked.desk.folder
    path = folder.welder
    changed = calibrated(path, values_of_last_walk(_kept(asked.desk), find_welder(path)))
    try:
        folder.save(path, changed, asked.given("stamp"))
    except Changed:
        return problem(asked, text("schedule.elsewhere"))
    return shown("said", lines=[text("walk.put_done", file=path.name)])
