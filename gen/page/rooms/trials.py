"""The trials room: the next weld in large figures, its outcome by one button, and keeping a setting."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from starlette.responses import Response
from starlette.routing import Route

from gen.ask import NotTaken, expected_times, number
from gen.cautions import AT_THE_ELECTRODES
from gen.errors import InputError
from gen.job import read_job
from gen.link import push
from gen.page.asked import AskedOnPage, go, page, part, route, shown
from gen.page.computed_trials import TrialTerms, kept_as, next_weld
from gen.page.desk import Desk
from gen.page.folder import HeldFile
from gen.page.rooms.joint import titled_joints
from gen.page.texts import text
from gen.records import Records
from gen.trials import add_trial, remove_trial
from gen.trials.values import EXPULSIONS, OUTCOMES
from gen.units import PACE, PACES
from gen.user_files import written
from gen.writing import write_whole

_UNMEASURED = dict.fromkeys(("force_N", "strength_N", "twist_Nm", "nugget_mm"))
_setdown = number(0.0, 100.0)
_number = number(1, 1_000_000)
_percent = number(1.0, 100.0)
_pace = number(*PACES)


def routes(desk: Desk) -> list[Route]:
    """The addresses of this room."""
    return [
        route(desk, "/trials", _list),
        route(desk, "/trials/{name}", _open),
        route(desk, "/trials/{name}/next", _next),
        route(desk, "/trials/{name}/add", _add, "POST"),
        route(desk, "/trials/{name}/send", _send, "POST"),
        route(desk, "/trials/{name}/remove", _remove, "POST"),
        route(desk, "/trials/{name}/keep", _keep, "POST"),
    ]


def _list(asked: AskedOnPage) -> Response:
    return page(asked, "trials", part("trials_list", joints=titled_joints(asked)))


def _open(asked: AskedOnPage) -> Response:
    path = asked.desk.folder.joint(asked.path["name"])
    return page(asked, "trials", part("trials", name=path.stem, cautions=AT_THE_ELECTRODES, pace=f"{PACE:g}"))


def _next(asked: AskedOnPage, said: tuple[str, ...] = ()) -> Response:
    folder = asked.desk.folder
    path = folder.joint(asked.path["name"])
    seen = asked.desk.workers.slow.run(f"next {path.stem}", next_weld, path, folder.welder, _terms(asked))
    held = folder.remember(HeldFile(folder.place / f"{seen.name}.toml", seen.schedule))
    return shown(
        "trials_next",
        name=path.stem,
        seen=seen,
        stamp=held.stamp,
        outcomes=OUTCOMES,
        expulsions=EXPULSIONS,
        said=said,
        connected=asked.desk.board.seen.connected,
    )


def _terms(asked: AskedOnPage) -> TrialTerms:
    """The terms in the form above the trials. Raises InputError."""
    pace, between, percent = (
        _read(asked.given(name), read, text(words))
        for name, read, words in (
            ("pace", _pace, "schedule.pace"),
            ("between", expected_times, "trials.between"),
            ("percent", _percent, "trials.percent"),
        )
    )
    folder = asked.desk.folder
    schedules = folder.schedules()
    begun = folder.schedule(schedules[0]) if schedules else None
    return TrialTerms(PACE if pace is None else pace, between, percent, begun)


def _read(given: str, read: Callable[[str], Any], name: str) -> Any:
    """The typed value, None for an empty field. Raises InputError."""
    try:
        return read(given) if given else None
    except NotTaken as error:
        raise InputError(name, "", None, str(error)) from None


def _schedule(asked: AskedOnPage, scratch: str) -> Path:
    """The schedule shown, written as a file of its name in a temporary folder. Raises InputError."""
    content = asked.desk.folder.remembered(asked.given("stamp"))
    try:
        name = asked.desk.folder.checked_name(asked.given("try"))
    except InputError:
        content = None
    if not content:
        raise InputError(text("files.form"), "not readable", None, text("trials.show_anew"))
    path = Path(scratch, f"{name}.toml")
    write_whole(path, content)
    return path


def _add(asked: AskedOnPage) -> Response:
    """Record the weld's outcome, and show the next weld."""
    folder = asked.desk.folder
    joint = folder.joint(asked.path["name"])
    told: dict[str, Any] = {
        "outcome": _of(asked.given("outcome"), OUTCOMES),
        "expulsion": _of(asked.given("expulsion") or "none", EXPULSIONS),
        "setdown_mm": _measured(asked.given("setdown")),
        "dressed": int(bool(asked.given("dressed"))),
        "note": "",
    }
    with TemporaryDirectory() as scratch:
        schedule = _schedule(asked, scratch)
        added = add_trial(joint, schedule, folder.welder, _UNMEASURED | told, None, bool(asked.given("last")))
    trial = added.record
    return _next(asked, (text("trials.noted", number=trial.number, outcome=trial.outcome),))


def _of(given: str, allowed: tuple[str, ...]) -> str:
    if given not in allowed:
        raise InputError(text("trials.outcome"), written(given), None, f"allowed: {', '.join(allowed)}")
    return given


def _measured(typed: str) -> float | None:
    try:
        return _setdown(typed.replace(",", ".")) if typed else None
    except NotTaken as error:
        raise InputError(text("trials.setdown"), "", None, str(error)) from None


def _send(asked: AskedOnPage) -> Response:
    """Store the schedule shown on the board, for the next weld. It was judged before it was shown."""
    with TemporaryDirectory() as scratch:
        path = _schedule(asked, scratch)
        job = read_job(path, asked.desk.folder.welder)
        pushed = asked.desk.board.ask(lambda link, records: push(job, path, link, records, True))
    return shown("said", lines=[text("board.next_is", name=pushed.selected)])


def _remove(asked: AskedOnPage) -> Response:
    """Remove a wrongly recorded trial, and show the next weld."""
    folder = asked.desk.folder
    joint = folder.joint(asked.path["name"])
    try:
        which = int(_number(asked.given("number")))
    except NotTaken as error:
        raise InputError(text("trials.number"), "", None, str(error)) from None
    removed = remove_trial(joint, which, folder.welder)
    return _next(asked, (text("trials.removed", number=removed.number, outcome=removed.outcome),))


def _keep(asked: AskedOnPage) -> Response:
    """Write the schedule with the setting kept to a new file, and record it."""
    folder = asked.desk.folder
    joint = folder.joint(asked.path["name"])
    output = folder.new(asked.given("as"))
    kept, told, doubted = asked.desk.workers.slow.run(
        f"keep {joint.stem}", kept_as, joint, folder.welder, output, _terms(asked)
    )
    if kept is None:
        return shown("said", lines=[text("trials.nothing_kept"), *told])
    with Records.beside(folder.welder) as records:
        write_whole(output, kept.text)
        records.add_kept(kept)
    if asked.given("then"):
        return go(asked, f"/schedule/{output.stem}")
    return shown("said", lines=[text("trials.kept", file=output.name), *told, *doubted])
