"""The requests of the serial line: identity and status, schedules, last welds, and a restart for maintenance.

Requests run only when idle. A refusal names the limit, and changes nothing. A request does not change the timer itself: it
returns the action wanted, and the supervisor performs it.
"""

from . import words
from .line import Refused
from .store import MOST_BYTES
from .table_check import digest, is_name, refusal

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, Callable

    from interface import Config

    from .curve import Curve
    from .duty import DutyGuard
    from .store import Store
    from .welds import Welds

MOST_FIGURE = 32767
FULL = "no room: at most %d schedules, and %d KiB together" % (words.MOST_SCHEDULES, MOST_BYTES // 1024)

# The actions that a request may want.
NOTHING = 0
STORE = 1  # write the store's change; the reply follows later
RESTART = 2  # without the application

# Levels of change that the timer allows, and the refusal of a request that needs more.
NO_CHANGE = 0
MAINTENANCE = 1
SETTINGS = 2
NOT_NOW = (
    "",
    "not now: allowed when ready, waiting for mains or locked out",
    "not now: allowed when ready, waiting for mains or locked out, with whole settings",
)


class Requests:
    """Answers requests from the store, the last welds, the last weld's currents and the duty guard.

    `status` returns the timer's status as JSON text. The rows of a push are collected here until the commit.
    """

    def __init__(
        self,
        config: "Config",
        store: "Store",
        last_welds: "Welds",
        curve: "Curve",
        duty: "DutyGuard",
        status: "Callable[[], str]",
    ) -> None:
        self.config = config
        self.store = store
        self.last_welds = last_welds
        self.curve = curve
        self.duty = duty
        self.status = status
        self.name = ""  # name of the table being pushed; "" for none
        self.digest = ""
        self.rows_total = 0
        self.rows: list[tuple[str, int, int, int]] = []
        self.changing = ("", "")  # first key of the pending reply, and the schedule's name
        # Method, the keys of its parameters, the level of change that it needs, and the action that it wants.
        self.methods: dict[str, tuple[Callable[[dict[str, Any]], str], tuple[str, ...], int, int]] = {
            "hello": (self._hello, (), NO_CHANGE, NOTHING),
            "status": (self._status, (), NO_CHANGE, NOTHING),
            "schedules": (self._schedules, (), NO_CHANGE, NOTHING),
            "read": (self._read, ("name", "from"), NO_CHANGE, NOTHING),
            "push_begin": (self._push_begin, ("name", "digest", "rows_total"), SETTINGS, NOTHING),
            "push_rows": (self._push_rows, ("from", "rows"), SETTINGS, NOTHING),
            "push_commit": (self._push_commit, (), SETTINGS, STORE),
            "select": (self._select, ("name",), SETTINGS, STORE),
            "remove": (self._remove, ("name",), SETTINGS, STORE),
            "welds": (self._welds, ("since",), NO_CHANGE, NOTHING),
            "curve": (self._curve, ("from",), NO_CHANGE, NOTHING),
            "clear": (self._clear, ("reason",), SETTINGS, STORE),
            "maintain": (self._maintain, (), MAINTENANCE, RESTART),
        }

    def answer(self, method: str, params: "dict[str, Any]", allowed: int) -> "tuple[str, int]":
        """The result as JSON text ("" where it follows later), and the action wanted. Raises Refused.

        `allowed`: the level of change allowed now.
        """
        if method not in self.methods:
            raise Refused(words.UNKNOWN_METHOD, "unknown method")
        function, keys, needed, wanted = self.methods[method]
        for key in keys:
            if key not in params:
                raise Refused(words.WRONG_PARAMETERS, "%s is missing" % key)
        if len(params) != len(keys):
            raise Refused(words.WRONG_PARAMETERS, "allowed: %s" % (", ".join(keys) or "no parameters"))
        if allowed < needed:
            raise Refused(words.BUSY, NOT_NOW[needed])
        return function(params), wanted

    # -- reporting -----------------------------------------------------------------------------------------------

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
        return self.status()

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
        entries = self.last_welds.as_json(_whole(params, "since", 0, 999999999), self.duty.seconds)
        return '{"boot": %d, "count": %d, "welds": %s}' % (self.store.boot, self.last_welds.count, entries)

    def _curve(self, params: "dict[str, Any]") -> str:
        first = _whole(params, "from", 0, words.CURVE_KEPT)
        return '{"boot": %d, %s}' % (self.store.boot, self.curve.as_json(first))

    # -- changing ------------------------------------------------------------------------------------------------

    def _stored(self, params: "dict[str, Any]") -> str:
        name: str = params["name"]
        if self.store.find(name) < 0:
            raise Refused(words.NO_SUCH_SCHEDULE, "no such schedule")
        return name

    def _push_begin(self, params: "dict[str, Any]") -> str:
        name, letters = params["name"], params["digest"]
        if not is_name(name):
            raise Refused(
                words.WRONG_PARAMETERS, "name must be 1 to %d of a to z, 0 to 9, - and _" % words.LONGEST_NAME
            )
        if type(letters) is not str or len(letters) != words.DIGEST_LETTERS:
            raise Refused(words.WRONG_PARAMETERS, "digest must be %d hexadecimal digits" % words.DIGEST_LETTERS)
        rows_total = _whole(params, "rows_total", 1, MOST_FIGURE)
        if rows_total > self.config.MAX_ROWS:
            raise Refused(words.BEYOND_LIMITS, "%d rows: at most %d here" % (rows_total, self.config.MAX_ROWS))
        if self.store.find(name) < 0 and len(self.store.schedules) >= words.MOST_SCHEDULES:
            raise Refused(words.STORAGE, FULL)
        self.name = name
        self.digest = letters
        self.rows_total = rows_total
        self.rows = []
        return '{"ready": true}'

    def _push_rows(self, params: "dict[str, Any]") -> str:
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
        self.changing = ("name", name)
        return ""

    def _select(self, params: "dict[str, Any]") -> str:
        name = self._stored(params)
        self.store.select(name)
        self.changing = ("selected", name)
        return ""

    def _remove(self, params: "dict[str, Any]") -> str:
        name = self._stored(params)
        if name == self.store.selected:
            raise Refused(words.WRONG_PARAMETERS, "name: not the one that is selected")
        self.store.remove(name)
        self.changing = ("names", name)
        return ""

    def _clear(self, params: "dict[str, Any]") -> str:
        """End a lockout that outlasts the power. The caller names its reason, after checking what it names."""
        held = words.REASON_NAMES[self.store.lockout] if self.store.lockout < len(words.REASON_NAMES) else ""
        if not self.store.lockout or params["reason"] != held:
            raise Refused(words.WRONG_PARAMETERS, "reason: that of the lockout, which is: %s" % held)
        self.store.hold(words.NO_REASON)
        self.changing = ("cleared", held)
        return ""

    def stored(self) -> str:
        """The reply to the change just stored, as JSON text."""
        key, name = self.changing
        if key == "names":
            return '{"names": %s}' % self._names()
        if key == "cleared":
            return '{"cleared": "%s"}' % name
        return '{"%s": "%s", "digest": "%s"}' % (key, name, self.store.digest(name))

    def _maintain(self, params: "dict[str, Any]") -> str:
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
