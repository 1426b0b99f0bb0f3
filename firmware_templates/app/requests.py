"""What the serial line may ask: what the board is and does, its schedules, its last welds, and a start for maintenance.

Runs only when idle. What stands in the way of a request is told with the figure that is allowed, and nothing changes.
"""

from . import words
from .line import Refused
from .store import MOST_BYTES
from .table_check import digest, is_name, refusal

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, Callable

    from .supervisor import Supervisor

MOST_FIGURE = 32767
FULL = "no room: at most %d schedules, and %d KiB together" % (words.MOST_SCHEDULES, MOST_BYTES // 1024)


class Requests:
    """Answers for a supervisor. A push is collected here until it is committed."""

    def __init__(self, supervisor: "Supervisor") -> None:
        self.supervisor = supervisor
        self.store = supervisor.store
        self.config = supervisor.config
        self.name = ""  # of the table that is being pushed; "" when there is none
        self.digest = ""
        self.rows_total = 0
        self.rows: list[tuple[str, int, int, int]] = []
        self.copies = 0  # written of the change under way
        self.changing = ("", "")  # first key of its answer, and the schedule's name
        self.methods: dict[str, tuple[Callable[[dict[str, Any]], str], tuple[str, ...]]] = {
            "hello": (self._hello, ()),
            "status": (self._status, ()),
            "schedules": (self._schedules, ()),
            "read": (self._read, ("name", "from")),
            "push_begin": (self._push_begin, ("name", "digest", "rows_total")),
            "push_rows": (self._push_rows, ("from", "rows")),
            "push_commit": (self._push_commit, ()),
            "select": (self._select, ("name",)),
            "remove": (self._remove, ("name",)),
            "welds": (self._welds, ("since",)),
            "maintain": (self._maintain, ()),
        }

    def answer(self, method: str, params: "dict[str, Any]") -> str:
        """The result as JSON text, or "" where it follows when it is stored. Raises Refused."""
        if method not in self.methods:
            raise Refused(words.UNKNOWN_METHOD, "unknown method")
        function, keys = self.methods[method]
        for key in keys:
            if key not in params:
                raise Refused(words.WRONG_PARAMETERS, "%s is missing" % key)
        if len(params) != len(keys):
            raise Refused(words.WRONG_PARAMETERS, "allowed: %s" % (", ".join(keys) or "no parameters"))
        return function(params)

    # -- telling -------------------------------------------------------------------------------------------------

    def _hello(self, params: "dict[str, Any]") -> str:
        store, config = self.store, self.config
        return (
            '{"program": "%s", "version": "%s", "protocol": %d, "board": "%s", "bundle": "%s", "frequency_Hz": %d, '
            '"selected": "%s", "digest": "%s", "boot": %d}'
        ) % (
            words.PROGRAM,
            config.VERSION,
            words.PROTOCOL,
            config.BOARD,
            config.BUNDLE_DIGEST,
            config.FREQUENCY_HZ,
            store.selected,
            store.digest(store.selected),
            store.boot,
        )

    def _status(self, params: "dict[str, Any]") -> str:
        it = self.supervisor
        return (
            '{"state": "%s", "reason": "%s", "way_out": "%s", "mains_mHz": %d, "welds": %d, "last": "%s", '
            '"fired": %d, "planned": %d, "duty_left_half_cycles": %d, "duty_wait_s": %d, "selected": "%s", "inputs": %d}'
        ) % (
            words.STATE_NAMES[it.state],
            words.REASON_NAMES[it.reason],
            words.WAY_OUT[it.reason],
            500000000 // it.lock.half_us if it.lock.locked() else 0,
            it.welds,
            words.ENDING_NAMES[it.ending],
            it.fired,
            it.plan.planned,
            (it.duty.limit - it.duty.used) // 100,
            it.duty.seconds_until(it.plan.cost),
            self.store.selected,
            it.inputs,
        )

    def _names(self) -> str:
        return "[%s]" % ", ".join(['["%s", "%s"]' % pair for pair in self.store.names()])

    def _schedules(self, params: "dict[str, Any]") -> str:
        return '{"selected": "%s", "names": %s}' % (self.store.selected, self._names())

    def _read(self, params: "dict[str, Any]") -> str:
        name = self._stored(params)
        rows = self.store.rows(name)
        first = _whole(params, "from", 0, len(rows))
        parts = []
        for i in range(first, min(first + words.ROWS_A_LINE, len(rows))):
            phase, half_cycles, delay_us, heat = rows[i]
            parts.append("[%d, %d, %d, %d]" % (words.PHASES.index(phase), half_cycles, delay_us, heat))
        return '{"name": "%s", "digest": "%s", "rows_total": %d, "rows": [%s]}' % (
            name,
            self.store.digest(name),
            len(rows),
            ", ".join(parts),
        )

    def _welds(self, params: "dict[str, Any]") -> str:
        welds = self.supervisor.last_welds
        told = welds.told(_whole(params, "since", 0, 999999999), self.supervisor.duty.seconds)
        return '{"boot": %d, "count": %d, "welds": %s}' % (self.store.boot, welds.count, told)

    # -- changing ------------------------------------------------------------------------------------------------

    def _idle(self) -> None:
        if not self.supervisor.idle() or self.supervisor.reason == words.SETTINGS_DAMAGED:
            raise Refused(
                words.BUSY, "not now: allowed when ready, waiting for mains or locked out, with whole settings"
            )

    def _stored(self, params: "dict[str, Any]") -> str:
        name: str = params["name"]
        if self.store.find(name) < 0:
            raise Refused(words.NO_SUCH_SCHEDULE, "no such schedule")
        return name

    def _push_begin(self, params: "dict[str, Any]") -> str:
        self._idle()
        name, told = params["name"], params["digest"]
        if not is_name(name):
            raise Refused(
                words.WRONG_PARAMETERS, "name must be 1 to %d of a to z, 0 to 9, - and _" % words.LONGEST_NAME
            )
        if type(told) is not str or len(told) != words.DIGEST_LETTERS:
            raise Refused(words.WRONG_PARAMETERS, "digest must be %d hexadecimal digits" % words.DIGEST_LETTERS)
        rows_total = _whole(params, "rows_total", 1, MOST_FIGURE)
        if rows_total > self.config.MAX_ROWS:
            raise Refused(words.BEYOND_LIMITS, "%d rows: at most %d here" % (rows_total, self.config.MAX_ROWS))
        if self.store.find(name) < 0 and len(self.store.schedules) >= words.MOST_SCHEDULES:
            raise Refused(words.STORAGE, FULL)
        self.name = name
        self.digest = told
        self.rows_total = rows_total
        self.rows = []
        return '{"ready": true}'

    def _push_rows(self, params: "dict[str, Any]") -> str:
        self._idle()
        if not self.name:
            raise Refused(words.WRONG_PARAMETERS, "no push has begun")
        _whole(params, "from", len(self.rows), len(self.rows))
        given = params["rows"]
        if type(given) is not list or not 1 <= len(given) <= words.ROWS_A_LINE:
            raise Refused(words.WRONG_PARAMETERS, "rows must be 1 to %d of them" % words.ROWS_A_LINE)
        if len(self.rows) + len(given) > self.rows_total:
            raise Refused(words.WRONG_PARAMETERS, "rows: %d were announced" % self.rows_total)
        self.rows = self.rows + [_row(row) for row in given]
        return '{"rows": %d}' % len(self.rows)

    def _push_commit(self, params: "dict[str, Any]") -> str:
        self._idle()
        name, rows = self.name, self.rows
        self.name = ""
        self.rows = []
        if not name:
            raise Refused(words.WRONG_PARAMETERS, "no push has begun")
        if len(rows) != self.rows_total:
            raise Refused(words.WRONG_PARAMETERS, "rows: %d of %d have come" % (len(rows), self.rows_total))
        over = refusal(rows, self.config)
        if over:
            raise Refused(words.BEYOND_LIMITS, over)
        if digest(name, self.config.FREQUENCY_HZ, rows) != self.digest:
            raise Refused(words.WRONG_PARAMETERS, "digest: these rows do not come to it")
        if not self.store.put(name, rows):
            raise Refused(words.STORAGE, FULL)
        return self._begin_storing("name", name)

    def _select(self, params: "dict[str, Any]") -> str:
        self._idle()
        name = self._stored(params)
        self.store.select(name)
        return self._begin_storing("selected", name)

    def _remove(self, params: "dict[str, Any]") -> str:
        self._idle()
        name = self._stored(params)
        if name == self.store.selected:
            raise Refused(words.WRONG_PARAMETERS, "name: not the one that is selected")
        self.store.remove(name)
        return self._begin_storing("names", name)

    def _begin_storing(self, key: str, name: str) -> str:
        self.changing = (key, name)
        self.copies = 0
        self.supervisor.store_now()
        return ""

    def store_on(self) -> bool:
        """Write one copy of the change under way. True when it is over, and answered."""
        stored = self.store.write()
        self.copies += 1
        line = self.supervisor.line
        if self.copies == 1:
            if stored:
                return False
            self.store.undo()
            line.refuse(words.STORAGE, "storage failing: nothing was changed")
        else:
            # The second copy is not needed for the answer: should it have failed, the next start writes it again.
            line.reply(self._stored_told())
        return True

    def _stored_told(self) -> str:
        key, name = self.changing
        if key == "names":
            return '{"names": %s}' % self._names()
        return '{"%s": "%s", "digest": "%s"}' % (key, name, self.store.digest(name))

    def _maintain(self, params: "dict[str, Any]") -> str:
        if not self.supervisor.idle():
            raise Refused(words.BUSY, "not now: allowed when ready, waiting for mains or locked out")
        self.supervisor.maintain = 1
        return '{"restarting": true}'


def _whole(params: "dict[str, Any]", key: str, least: int, most: int) -> int:
    value = params[key]
    if type(value) is not int or not least <= value <= most:
        raise Refused(words.WRONG_PARAMETERS, "%s must be a whole number from %d to %d" % (key, least, most))
    return value


def _row(row: "Any") -> "tuple[str, int, int, int]":
    if type(row) is list and len(row) == 4:
        phase, half_cycles, delay_us, heat = row
        whole = type(phase) is int and type(half_cycles) is int and type(delay_us) is int and type(heat) is int
        if (
            whole
            and 0 <= phase < len(words.PHASES)
            and 0 <= half_cycles <= MOST_FIGURE
            and -1 <= delay_us <= MOST_FIGURE
        ):
            if 0 <= heat <= 255:
                return words.PHASES[phase], half_cycles, delay_us, heat
    raise Refused(words.WRONG_PARAMETERS, "rows: each must be [phase 0 to 7, half-cycles, delay_us or -1, heat]")
