"""The board room: ports, the board's status and schedules, push and flash, the latest welds, and a stop."""

from __future__ import annotations

from markupsafe import Markup
from starlette.responses import Response
from starlette.routing import Route

from gen.ask import NotTaken, number
from gen.cautions import AT_THE_ELECTRODES, CAUTIONS
from gen.errors import InputError
from gen.job import read_job
from gen.link import answer_on, push, schedule_name
from gen.link.flashing import bundle_board, bundle_schedule, look, now_on, read_bundle, replaced
from gen.link.ports import ports
from gen.link.watching import IN_A_WELD, NO_EMERGENCY_STOP
from gen.page.asked import AskedOnPage, page, part, route, shown
from gen.page.board_keeper import BoardSeen, waited
from gen.page.computed import flash_refused_by, refused_by, weld_curves
from gen.page.desk import Desk
from gen.page.live import event_stream
from gen.page.texts import text
from gen.units import PACE, PACES
from gen.writing import check_bundle_folder, write_bundle

FIRMWARE = "firmware"  # the folder in the machine's own
_pace = number(*PACES)
_CONNECTING_S = 6.0
_CURVES = 3  # number of latest welds whose curves are superimposed


def routes(desk: Desk) -> list[Route]:
    """The addresses of this room."""
    return [
        route(desk, "/board", _open),
        route(desk, "/board/live", _live),
        route(desk, "/board/events", _events),
        route(desk, "/board/curves", _curves),
        route(desk, "/board/ports", _ports),
        route(desk, "/board/connect", _connect, "POST"),
        route(desk, "/board/disconnect", _disconnect, "POST"),
        route(desk, "/board/stop", _stop, "POST"),
        route(desk, "/board/push", _push, "POST"),
        route(desk, "/board/select", _select, "POST"),
        route(desk, "/board/remove", _remove, "POST"),
        route(desk, "/board/build", _build, "POST"),
        route(desk, "/board/flash", _flash, "POST"),
    ]


def _open(asked: AskedOnPage) -> Response:
    seen = asked.desk.board.seen
    content = part(
        "board",
        seen=seen,
        schedules=asked.desk.folder.schedules(),
        pace=f"{PACE:g}",
        no_emergency_stop=NO_EMERGENCY_STOP,
        cautions=AT_THE_ELECTRODES,
        **_drawn(seen),
    )
    return page(asked, "board", content)


def _drawn(seen: BoardSeen) -> dict[str, Markup]:
    """The parts updated by the stream: the board's status, its schedules, its latest welds."""
    live = part("board_live", seen=seen, in_a_weld=IN_A_WELD)
    return {"live": live, "held": part("board_held", seen=seen), "welds": part("board_welds", seen=seen)}


def _events(asked: AskedOnPage) -> Response:
    return event_stream(asked.desk.board.live, _drawn)


def _live(asked: AskedOnPage) -> Response:
    return shown("whole", content=Markup("").join(_drawn(asked.desk.board.seen).values()))


def _curves(asked: AskedOnPage) -> Response:
    """The curves of the latest welds that the board timed, superimposed."""
    desk = asked.desk
    welds = desk.board.seen.welds[:_CURVES]
    drawn = desk.workers.quick.run("curves", weld_curves, welds, desk.folder.welder) if welds else ""
    return shown("board_curves", drawn=drawn, welds=welds)


def _ports(asked: AskedOnPage) -> Response:
    mine = asked.desk.board.seen
    found = []
    for port in ports():
        held = mine.connected and port.device == mine.port
        found.append((port, text("board.connected_here") if held else answer_on(port)))
    return shown("board_ports", found=found)


def _connect(asked: AskedOnPage) -> Response:
    keeper = asked.desk.board
    port = asked.given("port")
    _not_in_a_walk(asked, port)
    if not port:
        raise InputError(text("board.port"), "missing", None, text("board.port_allowed"))
    keeper.connect(port)
    waited(_CONNECTING_S, lambda: keeper.seen.connected or bool(keeper.seen.problem))
    return _live(asked)


def _not_in_a_walk(asked: AskedOnPage, port: str) -> None:
    """Raise InputError where the commissioning walk holds the port."""
    if asked.desk.walk.seen.walking:
        raise InputError(port or text("board.board"), text("walk.has_the_board"), None, text("walk.end_first"))


def _disconnect(asked: AskedOnPage) -> Response:
    asked.desk.board.disconnect()
    return _live(asked)


def _stop(asked: AskedOnPage) -> Response:
    asked.desk.board.stop()
    return shown("said", lines=[text("board.stop_sent", note=NO_EMERGENCY_STOP)])


def _push(asked: AskedOnPage) -> Response:
    """Judge a schedule, and store it on the board if the verdict allows it."""
    folder = asked.desk.folder
    path = folder.schedule(asked.given("schedule"))
    refused = _judged(asked, path.stem)
    if refused:
        return shown("said", lines=[refused, text("board.nothing_sent")])
    job, select = read_job(path, folder.welder), bool(asked.given("select"))
    pushed = asked.desk.board.ask(lambda link, records: push(job, path, link, records, select))
    held = pushed.held
    lines = [text("board.holds", name=held.name, rows=len(held.rows), digest=held.digest)]
    lines.append(text("board.next_is", name=pushed.selected))
    return shown("said", lines=lines)


def _judged(asked: AskedOnPage, name: str) -> str:
    """Why a schedule is refused at the pace requested, in words; "" where the verdict allows it. Raises InputError."""
    folder = asked.desk.folder
    try:
        pace = _pace(asked.given("pace") or f"{PACE:g}")
    except NotTaken as error:
        raise InputError(text("schedule.pace"), "", None, str(error)) from None
    return asked.desk.workers.slow.run("board", refused_by, folder.schedule(name), folder.welder, pace)


def _select(asked: AskedOnPage) -> Response:
    name = _name(asked)
    asked.desk.board.ask(lambda link, _: link.select(name))
    return shown("said", lines=[text("board.next_is", name=name)])


def _remove(asked: AskedOnPage) -> Response:
    name = _name(asked)
    asked.desk.board.ask(lambda link, _: link.remove(name))
    return shown("said", lines=[text("board.removed", name=name)])


def _name(asked: AskedOnPage) -> str:
    try:
        return schedule_name(asked.given("name"))
    except NotTaken as error:
        raise InputError(text("files.name"), "", None, str(error)) from None


def _build(asked: AskedOnPage) -> Response:
    """Judge, write the firmware, and show what it would replace on the board. Nothing is flashed yet."""
    folder, keeper = asked.desk.folder, asked.desk.board
    path = folder.schedule(asked.given("schedule"))
    port = asked.given("port") or keeper.seen.port
    refused = _judged(asked, path.stem)
    if refused:
        return shown("said", lines=[refused, text("board.nothing_written")])
    job = read_job(path, folder.welder)
    place = folder.place / FIRMWARE
    check_bundle_folder(place, job.bundle, FIRMWARE)
    write_bundle(place, job.bundle)
    if not port or asked.desk.walk.seen.walking:
        return shown("said", lines=[text("board.built", folder=FIRMWARE, digest=job.bundle.digest)])
    keeper.disconnect()
    bundle = read_bundle(place)
    on_board = look(port, bundle_board(bundle))
    lines = [
        text("board.built", folder=FIRMWARE, digest=job.bundle.digest),
        f"{port}: {now_on(on_board)}",
        f"{bundle_board(bundle).title}, {bundle_schedule(bundle)}, {len(bundle.files)} files",
        *replaced(on_board, False),
    ]
    return shown("board_flash", lines=lines, port=port, cautions=CAUTIONS)


def _flash(asked: AskedOnPage) -> Response:
    """Flash the firmware that was built, unless its machine is refused as by `weldbeat flash`."""
    port = asked.given("port")
    _not_in_a_walk(asked, port)
    bundle = read_bundle(asked.desk.folder.place / FIRMWARE)
    if refused := flash_refused_by(bundle):
        return shown("said", lines=[*refused, text("board.nothing_sent")])
    asked.desk.board.flash(port, bundle, look(port, bundle_board(bundle)))
    return shown("said", lines=[text("board.flashing")])
