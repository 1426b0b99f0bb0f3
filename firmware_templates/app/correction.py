"""Correction of the next weld's firing delays by the last weld's current, which holds the planned current.

Nothing changes within a weld. The measurement is evaluated when idle. The corrected rows must pass every limit of a pushed
table before a half-cycle is prepared from them. Whatever was measured, their current is within CORRECT_PERMILLE of the
table's, no gate comes before EARLIEST_DELAY_US, and the number of half-cycles is the table's. A weld is compared with the
current planned at its own delays, so that errors do not add up from weld to weld.
"""

from .plan import GateDelays
from .table_check import refusal
from .words import (
    AS_PLANNED,
    CORRECTED,
    CURVE_KEPT,
    KEPT_BY_LIMITS,
    KEPT_EXPULSION,
    KEPT_NOT_MEASURED,
    KEPT_OUTSIDE,
    KEPT_TOO_SHORT,
    KEPT_UNEVEN,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from interface import Config, Rows

    from .curve import Curve
    from .plan import Plan

SETTLING = 2  # first gates left out, since the contacts still break down; common practice, no source
LEAST_GATES = 4  # least number of gates after those
UNEVEN_PERMILLE = 100  # greatest difference of the two directions; common practice, no source
SHARE_BITS = 14
_MOST_SUM = 1 << 19  # a thousand times this is below 2**30


class Correction:
    """`permille`: the current that the next weld is fired for, in thousandths of the planned one."""

    def __init__(self, config: "Config") -> None:
        self.config = config
        self.permille = AS_PLANNED
        self.delays = GateDelays()

    def reset(self) -> None:
        """Start without a correction, as for another table."""
        self.permille = AS_PLANNED

    def update(self, plan: "Plan", curve: "Curve", expelled: int) -> int:
        """Set the correction by a completed weld. Returns CORRECTED, or the reason why it stays as it was."""
        if expelled:
            return KEPT_EXPULSION
        config = self.config
        planned, drawn = [0, 0], [0, 0]
        outside = counted = 0
        self.delays.begin(plan.rows, plan.first_row)
        for gate in range(min(plan.planned, CURVE_KEPT)):
            delay_us = self.delays.next()
            place = max((delay_us - config.EARLIEST_DELAY_US) // config.VOLT_SECONDS_STEP_US, 0)
            place = min(place, len(config.LEAST_DA) - 2)
            least_dA = config.LEAST_DA[place + 1]
            if gate < SETTLING or least_dA == 0:  # so late a gate measures noise
                continue
            current_dA = curve.currents[gate] if gate < curve.count else -1
            if current_dA < 0:
                return KEPT_NOT_MEASURED
            if current_dA < least_dA or current_dA > config.MOST_DA[place]:
                outside += 1
            # In sixteenths of a tenth of an ampere; the ammeter's rounds down.
            planned[gate & 1] += share(delay_us, config) * config.PLANNED_DA >> SHARE_BITS - 4
            drawn[gate & 1] += 16 * current_dA + 8
            counted += 1
        if counted < LEAST_GATES:
            return KEPT_TOO_SHORT
        if abs(_permille(planned[0], drawn[0]) - _permille(planned[1], drawn[1])) > UNEVEN_PERMILLE:
            return KEPT_UNEVEN
        if outside:
            return KEPT_OUTSIDE
        most = config.CORRECT_PERMILLE
        asked = _permille(planned[0] + planned[1], drawn[0] + drawn[1])
        self.permille = min(max(asked, AS_PLANNED - most), AS_PLANNED + most)
        return CORRECTED

    def rows(self, rows: "Rows", whole: bool) -> "tuple[Rows, int]":
        """The rows of the next weld, and CORRECTED; the table's own if the limits of a pushed table refuse those.

        `whole`: the table matches its digest.
        """
        made = corrected(rows, self.permille, self.config)
        if not whole or refusal(made, self.config):
            self.reset()
            return rows, KEPT_BY_LIMITS
        return made, CORRECTED


def corrected(rows: "Rows", permille: int, config: "Config") -> "Rows":
    """The rows of a table, delayed for this current. The first half-cycle of an impulse keeps its least delay."""
    if permille == AS_PLANNED:
        return rows
    made: list[tuple[str, int, int, int]] = []
    begins = True
    for phase, half_cycles, delay_us, heat in rows:
        if delay_us < 0:
            made.append((phase, half_cycles, delay_us, heat))
            begins = True
            continue
        to_us = delay_for(share(delay_us, config), permille, config)
        if begins and to_us < config.FIRST_DELAY_US:
            first_us = config.FIRST_DELAY_US
            made.append((phase, 1, first_us, max(heat, most_heat(first_us, config))))
            half_cycles -= 1
        if half_cycles:
            made.append((phase, half_cycles, to_us, max(heat, most_heat(to_us, config))))
        begins = False
    return tuple(made)


def share(delay_us: int, config: "Config") -> int:
    """The planned current at a delay, 2**14 at full conduction, interpolated linearly in the table."""
    shares = config.PLANNED_SHARES
    after_us = max(delay_us - config.EARLIEST_DELAY_US, 0)
    i = after_us // config.VOLT_SECONDS_STEP_US
    if i + 1 >= len(shares):
        return shares[-1]
    return (
        shares[i]
        - (shares[i] - shares[i + 1]) * (after_us % config.VOLT_SECONDS_STEP_US) // config.VOLT_SECONDS_STEP_US
    )


def delay_for(of_share: int, permille: int, config: "Config") -> int:
    """The delay for this many thousandths of a share, rounded towards the table's own delay."""
    shares, step_us = config.PLANNED_SHARES, config.VOLT_SECONDS_STEP_US
    wanted = of_share * permille
    i = 0
    while i < len(shares) - 2 and shares[i + 1] * AS_PLANNED > wanted:
        i += 1
    drop = max((shares[i] - shares[i + 1]) * AS_PLANNED, 1)
    into = min(max(shares[i] * AS_PLANNED - wanted, 0), drop)
    more = drop - 1 if permille > AS_PLANNED else 0
    delay_us = config.EARLIEST_DELAY_US + i * step_us + (into * step_us + more) // drop
    return min(delay_us, config.LATEST_DELAY_US)


def most_heat(delay_us: int, config: "Config") -> int:
    """An upper limit of the heat of a half-cycle fired at this delay: the table of least heats, one step earlier."""
    before = 100
    for latest_us, heat in config.HEAT_STEPS:
        if delay_us < latest_us:
            return before
        before = heat
    return before


def _permille(planned: int, drawn: int) -> int:
    """1000 times planned over drawn, rounded."""
    while planned > _MOST_SUM or drawn > _MOST_SUM:
        planned >>= 1
        drawn >>= 1
    return (planned * 1000 + drawn // 2) // max(drawn, 1)
