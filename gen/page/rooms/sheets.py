"""The sheets room: every printable sheet, identical to its command's output, and all of them in one ZIP."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from functools import partial
from pathlib import Path

from starlette.responses import Response
from starlette.routing import Route

from gen.errors import InputError
from gen.page.asked import AskedOnPage, page, part, route, sheet
from gen.page.computed_sheets import (
    chart,
    commissioned,
    commissioning,
    electrodes,
    joint_page,
    label,
    logbook,
    report,
    wiring,
    zipped,
)
from gen.page.desk import Desk
from gen.page.texts import text
from gen.user_files import written


def routes(desk: Desk) -> list[Route]:
    """The addresses of this room."""
    return [
        route(desk, "/sheets", _list),
        route(desk, "/sheets/report/{name}", lambda asked: sheet(_report(asked, asked.path["name"]))),
        route(desk, "/sheets/joint/{name}", lambda asked: sheet(_joint(asked, asked.path["name"]))),
        route(desk, "/sheets/wiring", lambda asked: sheet(_slow(asked, wiring))),
        route(desk, "/sheets/commissioning", lambda asked: sheet(_slow(asked, commissioning))),
        route(desk, "/sheets/commissioned", lambda asked: sheet(_slow(asked, commissioned))),
        route(desk, "/sheets/electrodes", lambda asked: sheet(_slow(asked, electrodes))),
        route(desk, "/sheets/chart", lambda asked: sheet(_slow(asked, chart))),
        route(desk, "/sheets/label", lambda asked: sheet(_slow(asked, label))),
        route(desk, "/sheets/logbook", lambda asked: sheet(_logbook(asked))),
        route(desk, "/sheets/all.zip", _zip),
    ]


def _list(asked: AskedOnPage) -> Response:
    folder = asked.desk.folder
    return page(
        asked,
        "sheets",
        part(
            "sheets",
            schedules=folder.schedules(),
            joints=folder.joints(),
            today=datetime.now().astimezone().date().isoformat(),
        ),
    )


def _slow(asked: AskedOnPage, made: Callable[[Path], str]) -> str:
    return asked.desk.workers.slow.run(f"sheet {id(asked)}", made, asked.desk.folder.welder)


def _report(asked: AskedOnPage, name: str) -> str:
    folder = asked.desk.folder
    return asked.desk.workers.slow.run(f"sheet {id(asked)}", report, folder.schedule(name), folder.welder)


def _joint(asked: AskedOnPage, name: str) -> str:
    folder = asked.desk.folder
    return asked.desk.workers.slow.run(f"sheet {id(asked)}", joint_page, folder.joint(name), folder.welder)


def _logbook(asked: AskedOnPage) -> str:
    """Welds and trials from one day to another, by default of today."""
    today = datetime.now().astimezone().date()
    end = _day(asked, "to") or today
    begin = _day(asked, "from") or end
    if begin > end:
        raise InputError(text("sheets.from"), str(begin), None, text("sheets.not_after", end=end))
    return _slow(asked, partial(logbook, begin=begin, end=end))


def _day(asked: AskedOnPage, name: str) -> date | None:
    given = asked.given(name)
    try:
        return date.fromisoformat(given) if given else None
    except ValueError:
        raise InputError(text(f"sheets.{name}"), written(given), None, text("sheets.a_day")) from None


def _zip(asked: AskedOnPage) -> Response:
    """Every sheet and the folder's own files. A sheet that cannot be made is replaced by the reason."""
    folder = asked.desk.folder
    made: dict[str, Callable[[], str]] = {
        **{f"report-{name}.html": partial(_report, asked, name) for name in folder.schedules()},
        **{f"joint-{name}.html": partial(_joint, asked, name) for name in folder.joints()},
        "wiring.html": partial(_slow, asked, wiring),
        "commissioning.html": partial(_slow, asked, commissioning),
        "commissioned.html": partial(_slow, asked, commissioned),
        "electrodes.html": partial(_slow, asked, electrodes),
        "wall-chart.html": partial(_slow, asked, chart),
        "label.html": partial(_slow, asked, label),
        "logbook.html": partial(_logbook, asked),
    }
    files = {}
    for path in (folder.welder, *map(folder.schedule, folder.schedules()), *map(folder.joint, folder.joints())):
        files[path.name] = folder.held(path).text
    for name, make in made.items():
        try:
            files[name] = make()
        except InputError as error:
            files[f"{name}.txt"] = f"{error}\n"
    headers = {"content-disposition": 'attachment; filename="weldbeat-sheets.zip"'}
    return Response(zipped(files), media_type="application/zip", headers=headers)
