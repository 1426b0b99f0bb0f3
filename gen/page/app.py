"""The routes of the page, and its front page."""

from __future__ import annotations

from starlette.applications import Starlette
from starlette.responses import Response
from starlette.routing import BaseRoute

from gen.page.asked import AskedOnPage, go, problem, route, shown, static
from gen.page.desk import Desk
from gen.page.door import App
from gen.page.rooms import board, commission, joint, machine, schedule, sheets, trials
from gen.page.texts import text
from sim.report.sections import templates as report_templates

_KINDS = {"css": "text/css", "js": "text/javascript", "txt": "text/plain", "svg": "image/svg+xml"}


def make_app(desk: Desk) -> App:
    """The page as an ASGI application. `gen.page.door.Door` guards it."""
    routes: list[BaseRoute] = [
        route(desk, "/", _front),
        route(desk, "/static/report.css", _report_style),
        route(desk, "/static/{name}", _static),
        *machine.routes(desk),
        *schedule.routes(desk),
        *joint.routes(desk),
        *board.routes(desk),
        *commission.routes(desk),
        *trials.routes(desk),
        *sheets.routes(desk),
        route(desk, "/close", _close, "POST"),
        route(desk, "/{anything:path}", _nothing, "GET", "POST", "PUT", "DELETE", "PATCH"),
    ]
    return Starlette(routes=routes)


def _front(asked: AskedOnPage) -> Response:
    """Redirect to the schedules, or to the machine room while there is no welder file."""
    return go(asked, "/schedule" if asked.desk.folder.has_welder else "/machine")


def _static(asked: AskedOnPage) -> Response:
    content = static(asked.path["name"])
    if content is None:
        return _nothing(asked)
    kind = _KINDS.get(asked.path["name"].rpartition(".")[2], "application/octet-stream")
    return Response(content, media_type=kind)


def _report_style(_: AskedOnPage) -> Response:
    """The report's style sheet, so that page and report look alike."""
    return Response(report_templates().get_template("style.css.j2").render(), media_type=_KINDS["css"])


def _nothing(asked: AskedOnPage) -> Response:
    return problem(asked, text("page.nothing"), status=404)


def _close(asked: AskedOnPage) -> Response:
    asked.desk.end()
    return shown("closed")
