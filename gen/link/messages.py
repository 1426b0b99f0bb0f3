"""The messages of the serial link, defined by these models.

JSON-RPC 2.0 without batches and notifications. Rows and welds are short arrays, because a line has 480 bytes at most.
Every text, list and number is bounded, against the answers of a faulty board.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from gen.boards import MOST_ROWS
from gen.words import (
    CORRECTION_NAMES,
    CURVE_A_LINE,
    CURVE_KEPT,
    DIGEST_LETTERS,
    ENDING_NAMES,
    LARGEST_ID,
    LONGEST_NAME,
    MOST_SCHEDULES,
    NOT_TIMED,
    PHASES,
    PROGRAM,
    PROTOCOL,
    ROWS_A_LINE,
    WELDS_A_LINE,
)

_NAME = f"[a-z0-9][a-z0-9_-]{{0,{LONGEST_NAME - 1}}}"
_DIGEST = f"[0-9a-f]{{{DIGEST_LETTERS}}}"
NAME_PATTERN = f"^{_NAME}$"
Name = Annotated[str, StringConstraints(pattern=NAME_PATTERN)]
Digest = Annotated[str, StringConstraints(pattern=f"^{_DIGEST}$")]
# "" while the settings are not read yet, or damaged.
NameOrNone = Annotated[str, StringConstraints(pattern=f"^({_NAME})?$")]
DigestOrNone = Annotated[str, StringConstraints(pattern=f"^({_DIGEST})?$")]
Text = Annotated[str, StringConstraints(pattern="^[ -~]{0,120}$")]  # printable ASCII, as the board makes it
Count = Annotated[int, Field(ge=0, lt=2**30)]
RowsTotal = Annotated[int, Field(ge=1, le=MOST_ROWS)]


class Row(NamedTuple):
    """Equal half-cycles: index of their phase in PHASES, firing delay in us (-1: no gate), heat of one half-cycle."""

    phase: Annotated[int, Field(ge=0, lt=len(PHASES))]
    half_cycles: Annotated[int, Field(ge=1, lt=2**15)]
    delay_us: Annotated[int, Field(ge=-1, lt=2**15)]
    heat: Annotated[int, Field(ge=0, le=100)]


class WeldEntry(NamedTuple):
    """A weld in the board's memory. `number` counts since the start; `ending` is an index of ENDING_NAMES.

    `duty_used_half_cycles` is the duty guard's count after the weld. `fired_for_permille`: of the planned current, 0 where the
    board corrects nothing; `correction`: what the weld means to the next, an index of CORRECTION_NAMES.
    """

    number: Count
    ending: Annotated[int, Field(ge=0, lt=len(ENDING_NAMES))]
    planned: Count
    fired: Count
    duty_used_half_cycles: Count
    age_s: Count
    fired_for_permille: Annotated[int, Field(ge=0, lt=2**15)] = 0  # an older firmware leaves both out
    correction: Annotated[int, Field(ge=0, lt=len(CORRECTION_NAMES))] = 0


class CurveEntry(NamedTuple):
    """A gate of a weld: firing delay, length of its current, and length of the half-cycle, in microseconds.

    `length_us` is 0 if the switch blocked, RUNS_ON_US if the current still flowed when the next gate was due, and NOT_TIMED
    without a sense. `current_dA` is its RMS in tenths of an ampere, -1 if not measured. `peak_dA` is its peak with its sign.
    """

    delay_us: Annotated[int, Field(ge=0, lt=2**15)]
    length_us: Annotated[int, Field(ge=NOT_TIMED, lt=2**15)]
    half_us: Annotated[int, Field(ge=1, lt=2**15)]
    current_dA: Annotated[int, Field(ge=-1, lt=2**15)] = -1
    peak_dA: Annotated[int, Field(ge=-(2**15), lt=2**15)] = 0


class Held(NamedTuple):
    """A schedule on the board."""

    name: Name
    digest: Digest


class Params(BaseModel):
    """Parameters of a request: exactly these keys."""

    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", populate_by_name=True)


class Result(BaseModel):
    """Result in a reply. Other keys are ignored; none of these may be missing or of another type."""

    model_config = ConfigDict(frozen=True, strict=True, extra="ignore", populate_by_name=True)


class NoParams(Params):
    """No parameters."""


class NameParams(Params):
    """The name of a schedule."""

    name: Name


class ReadParams(Params):
    """Rows of a schedule, from the one at `start` (on the line: `from`)."""

    name: Name
    start: Count = Field(validation_alias="from", serialization_alias="from")


class BeginParams(Params):
    """Name, digest and size of the table to come, by which its end is checked."""

    name: Name
    digest: Digest
    rows_total: RowsTotal


class RowsParams(Params):
    """The next rows. `start` (on the line: `from`) is the number of rows before them."""

    start: Count = Field(validation_alias="from", serialization_alias="from")
    rows: Annotated[list[Row], Field(min_length=1, max_length=ROWS_A_LINE)]


class CurveParams(Params):
    """Gates of the last weld, from the one at `start` (on the line: `from`)."""

    start: Count = Field(validation_alias="from", serialization_alias="from")


class SinceParams(Params):
    """The number of the weld after which to begin."""

    since: Count


class Hello(Result):
    """The board's identity. `digest` is the selected schedule's. `boot` counts starts and never repeats."""

    program: Annotated[str, Field(pattern=f"^{PROGRAM}$")]
    version: Text
    protocol: Annotated[int, Field(ge=PROTOCOL, le=PROTOCOL)]
    board: Text
    bundle: DigestOrNone
    frequency_Hz: Literal[50, 60]
    selected: NameOrNone
    digest: DigestOrNone
    boot: Count


class Status(Result):
    """The board's status. `mains_mHz` is 0 while it is not locked to the mains. `welds` counts since the start.

    `inputs`: levels of the contacts now, a sum of the bits in gen/words.py. A contact that is not fitted reads as safe.
    `failure`: the error that ended the previous run, until it is acknowledged; "" for none.
    """

    state: Text
    reason: Text
    way_out: Text
    mains_mHz: Count
    welds: Count
    last: Text
    fired: Count
    planned: Count
    duty_left_half_cycles: Annotated[int, Field(gt=-(2**30), lt=2**30)]
    duty_wait_s: Count
    selected: NameOrNone
    inputs: Count
    failure: Text = ""  # an older firmware leaves it out


class Schedules(Result):
    """The schedules on the board."""

    selected: NameOrNone
    names: Annotated[list[Held], Field(max_length=MOST_SCHEDULES)]


class ReadResult(Result):
    """Some rows of a schedule."""

    name: Name
    digest: Digest
    rows_total: RowsTotal
    rows: Annotated[list[Row], Field(max_length=ROWS_A_LINE)]


class Ready(Result):
    """The board is ready for the rows of a push."""

    ready: Literal[True]


class RowsResult(Result):
    """Rows collected so far."""

    rows: RowsTotal


class Stored(Result):
    """The stored schedule. The board computes the digest from what it reads back."""

    name: Name
    digest: Digest


class Selected(Result):
    """The schedule of the next weld."""

    selected: Name
    digest: Digest


class Names(Result):
    """The schedules that are left."""

    names: Annotated[list[Held], Field(max_length=MOST_SCHEDULES)]


class WeldsResult(Result):
    """Welds after the number asked for, oldest first. `count` is the number of the last weld."""

    boot: Count
    count: Count
    welds: Annotated[list[WeldEntry], Field(max_length=WELDS_A_LINE)]


class CurveResult(Result):
    """Some gates of the last weld. `weld`: its number, 0 while there is none. `total`: the number of its gates."""

    boot: Count
    weld: Count
    total: Annotated[int, Field(ge=0, le=CURVE_KEPT)]
    entries: Annotated[list[CurveEntry], Field(max_length=CURVE_A_LINE)]


class ClearParams(Params):
    """A lockout that outlasts the power, by its reason."""

    reason: Text


class Cleared(Result):
    """The reason of the lockout that is over."""

    cleared: Text


class Restarting(Result):
    """The board restarts into a state in which files can be copied."""

    restarting: Literal[True]


class ErrorObject(Result):
    """Why the board refuses."""

    code: Annotated[int, Field(ge=-(2**15), lt=2**15)]
    message: Text


class Request(Params):
    """A line to the board."""

    jsonrpc: Literal["2.0"] = "2.0"
    id: Annotated[int, Field(ge=1, le=LARGEST_ID)]
    method: str
    params: dict[str, Any] = Field(default_factory=dict)


class Reply(Result):
    """A line from the board, with `result` or `error`. Id 0: the board could not read a line."""

    jsonrpc: Literal["2.0"]
    id: Annotated[int, Field(ge=0, le=LARGEST_ID)]
    result: dict[str, Any] | None = None
    error: ErrorObject | None = None


@dataclass(frozen=True)
class Method:
    """One request and its reply. `repeatable`: sending it twice has the same effect as once."""

    params: type[Params]
    result: type[Result]
    repeatable: bool = True


METHODS: dict[str, Method] = {
    "hello": Method(NoParams, Hello),
    "status": Method(NoParams, Status),
    "schedules": Method(NoParams, Schedules),
    "read": Method(ReadParams, ReadResult),
    "push_begin": Method(BeginParams, Ready),
    "push_rows": Method(RowsParams, RowsResult, repeatable=False),
    "push_commit": Method(NoParams, Stored, repeatable=False),
    "select": Method(NameParams, Selected),
    "remove": Method(NameParams, Names, repeatable=False),
    "welds": Method(SinceParams, WeldsResult),
    "curve": Method(CurveParams, CurveResult),
    "clear": Method(ClearParams, Cleared, repeatable=False),
    "maintain": Method(NoParams, Restarting, repeatable=False),
}
