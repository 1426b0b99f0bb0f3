"""The message table of the serial link. These models define it.

JSON-RPC 2.0 without batches and notifications. Rows and welds travel as short arrays, since a line has 480 bytes.
Each text, list and number has its bound: a faulty board is not believed, whatever it answers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from gen.boards import MOST_ROWS
from gen.words import (
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
# Of a board whose settings are not read yet, or damaged.
NameOrNone = Annotated[str, StringConstraints(pattern=f"^({_NAME})?$")]
DigestOrNone = Annotated[str, StringConstraints(pattern=f"^({_DIGEST})?$")]
Text = Annotated[str, StringConstraints(pattern="^[ -~]{0,120}$")]  # printable ASCII, as the board makes it
Count = Annotated[int, Field(ge=0, lt=2**30)]


RowsTotal = Annotated[int, Field(ge=1, le=MOST_ROWS)]


class Row(NamedTuple):
    """A run of equal half-cycles: place of its phase in PHASES, firing delay in us (-1: no gate), heat of one half-cycle."""

    phase: Annotated[int, Field(ge=0, lt=len(PHASES))]
    half_cycles: Annotated[int, Field(ge=1, lt=2**15)]
    delay_us: Annotated[int, Field(ge=-1, lt=2**15)]
    heat: Annotated[int, Field(ge=0, le=100)]


class WeldEntry(NamedTuple):
    """A weld as the board remembers it, by its number since the start. `ending` is a place in ENDING_NAMES.

    `duty_used_half_cycles` is what the duty guard counted after it.
    """

    number: Count
    ending: Annotated[int, Field(ge=0, lt=len(ENDING_NAMES))]
    planned: Count
    fired: Count
    duty_used_half_cycles: Count
    age_s: Count


class CurveEntry(NamedTuple):
    """A gate of a weld: its firing delay, how long its current flowed, and the mains' half-cycle, in microseconds.

    `length_us` is 0 where the switch blocked, RUNS_ON_US where the current had not ended when the next gate was due, and
    NOT_TIMED without a sense. `current_dA`, its RMS in tenths of an ampere, is -1 where it was not measured; `peak_dA` is what
    lay farthest from 0, with its sign.
    """

    delay_us: Annotated[int, Field(ge=0, lt=2**15)]
    length_us: Annotated[int, Field(ge=NOT_TIMED, lt=2**15)]
    half_us: Annotated[int, Field(ge=1, lt=2**15)]
    current_dA: Annotated[int, Field(ge=-1, lt=2**15)] = -1
    peak_dA: Annotated[int, Field(ge=-(2**15), lt=2**15)] = 0


class Held(NamedTuple):
    """A schedule that the board holds."""

    name: Name
    digest: Digest


class Params(BaseModel):
    """What a request asks with: exactly these keys."""

    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", populate_by_name=True)


class Result(BaseModel):
    """What a reply brings. A board may add keys; none of these may be missing, nor be of another kind."""

    model_config = ConfigDict(frozen=True, strict=True, extra="ignore", populate_by_name=True)


class NoParams(Params):
    """Nothing."""


class NameParams(Params):
    """A schedule by its name."""

    name: Name


class ReadParams(Params):
    """Rows of a schedule, from the one at `start` (on the line: `from`)."""

    name: Name
    start: Count = Field(validation_alias="from", serialization_alias="from")


class BeginParams(Params):
    """What the table will be, so that the end can be checked."""

    name: Name
    digest: Digest
    rows_total: RowsTotal


class RowsParams(Params):
    """The next rows; `start` (on the line: `from`) is how many went before."""

    start: Count = Field(validation_alias="from", serialization_alias="from")
    rows: Annotated[list[Row], Field(min_length=1, max_length=ROWS_A_LINE)]


class CurveParams(Params):
    """Gates of the last weld, from the one at `start` (on the line: `from`)."""

    start: Count = Field(validation_alias="from", serialization_alias="from")


class SinceParams(Params):
    """Welds after this count."""

    since: Count


class Hello(Result):
    """What the board is. `digest` is the selected schedule's; `boot` counts starts and is never the same twice."""

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
    """What the board does. `mains_mHz` is 0 while it is not locked to the mains; `welds` counts since the start.

    `inputs`: levels of the contacts when it answered, a sum of PEDAL, STOP_OPEN, FORCE and HOT. What is not fitted reads as safe.
    `failure`: the words of the error that ended the run before this and was not acknowledged; "" where there is none.
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
    failure: Text = ""  # an older firmware does not tell it


class Schedules(Result):
    """What the board holds."""

    selected: NameOrNone
    names: Annotated[list[Held], Field(max_length=MOST_SCHEDULES)]


class ReadResult(Result):
    """Some rows of a schedule."""

    name: Name
    digest: Digest
    rows_total: RowsTotal
    rows: Annotated[list[Row], Field(max_length=ROWS_A_LINE)]


class Ready(Result):
    """A push may go on."""

    ready: Literal[True]


class RowsResult(Result):
    """Rows collected so far."""

    rows: RowsTotal


class Stored(Result):
    """What the board holds now, the digest made from what it read back."""

    name: Name
    digest: Digest


class Selected(Result):
    """What the next weld will be."""

    selected: Name
    digest: Digest


class Names(Result):
    """What is left."""

    names: Annotated[list[Held], Field(max_length=MOST_SCHEDULES)]


class WeldsResult(Result):
    """Welds after the count asked for, oldest first; `count` is the last weld's."""

    boot: Count
    count: Count
    welds: Annotated[list[WeldEntry], Field(max_length=WELDS_A_LINE)]


class CurveResult(Result):
    """Some gates of the last weld. `weld`: its number since the start, 0 while there is none; `total`: gates of it."""

    boot: Count
    weld: Count
    total: Annotated[int, Field(ge=0, le=CURVE_KEPT)]
    entries: Annotated[list[CurveEntry], Field(max_length=CURVE_A_LINE)]


class Restarting(Result):
    """The board restarts into a state in which files can be copied."""

    restarting: Literal[True]


class ErrorObject(Result):
    """Why the board will not."""

    code: Annotated[int, Field(ge=-(2**15), lt=2**15)]
    message: Text


class Request(Params):
    """A line to the board."""

    jsonrpc: Literal["2.0"] = "2.0"
    id: Annotated[int, Field(ge=1, le=LARGEST_ID)]
    method: str
    params: dict[str, Any] = Field(default_factory=dict)


class Reply(Result):
    """A line from the board, with `result` or `error`. An error about a line that could not be read has id 0."""

    jsonrpc: Literal["2.0"]
    id: Annotated[int, Field(ge=0, le=LARGEST_ID)]
    result: dict[str, Any] | None = None
    error: ErrorObject | None = None


@dataclass(frozen=True)
class Method:
    """One request and its reply. `repeatable`: asking twice does no more than asking once."""

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
    "maintain": Method(NoParams, Restarting, repeatable=False),
}
