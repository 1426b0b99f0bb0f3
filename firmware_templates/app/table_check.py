"""Checks a timing table from the serial line against the limits in config.py, and computes its digest.

Rows are (phase, half-cycles, firing delay in us at nominal frequency or -1, heat a half-cycle), as in config.py. Runs only
when idle.
"""

from binascii import hexlify
from hashlib import sha256

from .words import DIGEST_LETTERS, FIRED_PHASES, LONGEST_NAME

TYPE_CHECKING = False
if TYPE_CHECKING:
    from interface import Config, Rows

_FIRST_OF_NAME = "abcdefghijklmnopqrstuvwxyz0123456789"


def is_name(name: object) -> bool:
    """True for a valid schedule name."""
    if type(name) is not str or not 1 <= len(name) <= LONGEST_NAME or name[0] not in _FIRST_OF_NAME:
        return False
    for letter in name:
        if letter not in _FIRST_OF_NAME and letter not in "_-":
            return False
    return True


def digest(name: str, frequency_Hz: int, rows: "Rows") -> str:
    """The first hexadecimal digits of a table's SHA-256, computed as on the host."""
    total = sha256(("weldbeat 1\n%s\n%d\n" % (name, frequency_Hz)).encode())
    for row in rows:
        total.update(("%s,%d,%d,%d\n" % row).encode())
    return hexlify(total.digest())[:DIGEST_LETTERS].decode()


def refusal(rows: "Rows", config: "Config") -> str:
    """The limit that a table exceeds, in words; "" when it is within all of them."""
    return (
        _row_refusal(rows, config)
        or _order_refusal(rows)
        or _squeeze_refusal(rows, config)
        or _current_refusal(rows, config)
        or _balance_refusal(rows, config)
    )


def _row_refusal(rows: "Rows", config: "Config") -> str:
    """Check each row by itself."""
    if len(rows) > config.MAX_ROWS:
        return "%d rows: at most %d here" % (len(rows), config.MAX_ROWS)
    for phase, half_cycles, delay_us, heat in rows:
        if not 1 <= half_cycles <= config.LONGEST_TIME_HALF_CYCLES:
            return "%s of %d half-cycles: 1 to %d here" % (phase, half_cycles, config.LONGEST_TIME_HALF_CYCLES)
        if phase not in FIRED_PHASES:
            if delay_us != -1 or heat != 0:
                return "%s with a gate or heat: neither has a place there" % phase
        elif not config.EARLIEST_DELAY_US <= delay_us <= config.LATEST_DELAY_US:
            allowed = (config.EARLIEST_DELAY_US, config.LATEST_DELAY_US)
            return "%s fired at %d us: %d to %d here" % ((phase, delay_us) + allowed)
        elif not 1 <= heat <= 100:
            return "%s with heat %d: 1 to 100" % (phase, heat)
        elif heat < _least_heat(delay_us, config):
            least = _least_heat(delay_us, config)
            return "%s fired at %d us with heat %d: at least %d here" % (phase, delay_us, heat, least)
    return ""


def _least_heat(delay_us: int, config: "Config") -> int:
    """Least heat of a half-cycle with this firing delay. A smaller declared heat would evade the duty guard."""
    for latest_us, heat in config.HEAT_STEPS:
        if delay_us <= latest_us:
            return heat
    return 100


def _order_refusal(rows: "Rows") -> str:
    """Check the order: squeeze; current phases with single cool times between; hold; off."""
    if len(rows) < 4 or rows[0][0] != "squeeze" or rows[-2][0] != "hold" or rows[-1][0] != "off":
        return "order of phases: squeeze first, hold and off last"
    previous = "cool"
    for i in range(1, len(rows) - 2):
        phase = rows[i][0]
        if phase not in FIRED_PHASES and (phase != "cool" or previous == "cool"):
            return "order of phases: between squeeze and hold only current, and single cool times within it"
        previous = phase
    return "order of phases: cool just before hold" if previous == "cool" else ""


def _squeeze_refusal(rows: "Rows", config: "Config") -> str:
    """The force must be there, and the contactor closed, before the first current."""
    half_cycles, least = rows[0][1], config.LEAST_SQUEEZE_HALF_CYCLES
    return "squeeze of %d half-cycles: at least %d here" % (half_cycles, least) if half_cycles < least else ""


def _current_refusal(rows: "Rows", config: "Config") -> str:
    """Check each impulse, the gaps between impulses, and the whole weld."""
    impulse = fired = cost = span = 0
    for i in range(1, len(rows) - 1):  # the hold row ends the last impulse
        phase, half_cycles, delay_us, heat = rows[i]
        if phase in FIRED_PHASES:
            if impulse == 0 and delay_us < config.FIRST_DELAY_US:
                return "first half-cycle fired at %d us: at least %d here" % (delay_us, config.FIRST_DELAY_US)
            impulse += half_cycles
            fired += half_cycles
            cost += half_cycles * heat
            span += half_cycles
            continue
        if impulse & 1:
            return "impulse of %d half-cycles: an even number" % impulse
        impulse = 0
        if phase == "cool":
            if half_cycles & 1:
                return "cool of %d half-cycles: an even number" % half_cycles
            if half_cycles < config.LEAST_COOL_HALF_CYCLES:
                return "cool of %d half-cycles: at least %d here" % (half_cycles, config.LEAST_COOL_HALF_CYCLES)
            span += half_cycles
    if fired > config.LONGEST_WELD_HALF_CYCLES:
        return "%d half-cycles under current: at most %d here" % (fired, config.LONGEST_WELD_HALF_CYCLES)
    if span > config.MAX_HALF_CYCLES:
        return "%d half-cycles from the first fired to the last: at most %d here" % (span, config.MAX_HALF_CYCLES)
    if cost > config.DUTY_LIMIT:
        return "heat of %d in one weld: at most %d in a minute here" % (cost, config.DUTY_LIMIT)
    return ""


def _balance_refusal(rows: "Rows", config: "Config") -> str:
    """Check the volt-seconds of the two polarities: an imbalance magnetises the core and saturates it.

    In no part of an impulse may one polarity lead by more than the difference of one cycle between the earliest and the latest
    firing. Earlier flux may have decayed, so it must not be counted as compensation. A current that rises once and falls once
    is within that limit, whatever its steps. The remainder of earlier impulses is added, or many short ones would accumulate.
    """
    halves_in = config.FLUX_HALVES_HALF_CYCLES
    for volt_seconds in config.VOLT_SECONDS:
        most = volt_seconds[0] - volt_seconds[-1]
        above = below = 0  # possible remainder of earlier impulses, of the first polarity and of the other
        up = down = 0  # greatest lead of either polarity in any part up to here
        excess = lowest = highest = lasted = 0
        second_half = False
        for phase, half_cycles, delay_us, _ in rows:
            if phase not in FIRED_PHASES:
                above = _left(above, lasted + half_cycles, halves_in) + _left(up, half_cycles, halves_in)
                below = _left(below, lasted + half_cycles, halves_in) + _left(down, half_cycles, halves_in)
                excess = lowest = highest = lasted = up = down = 0
                continue
            lasted += half_cycles
            given = _volt_seconds(delay_us, volt_seconds, config)
            if second_half:
                excess -= given
                half_cycles -= 1
                second_half = False
                lowest = min(lowest, excess)
                highest = max(highest, excess)
                up = excess - lowest
                down = highest - excess
                ahead = max(above + up, below + down)
                if ahead > most:
                    figures = (ahead // 100, most // 100)
                    return "one polarity ahead by %d %% of a half-cycle's volt-seconds: at most %d %% here" % figures
            if half_cycles & 1:
                excess += given
                second_half = True
    return ""


def _left(ahead: int, half_cycles: int, halves_in: int) -> int:
    """The remainder after `half_cycles`. Between two halvings a straight line is used, which is above the true curve."""
    ahead >>= half_cycles // halves_in
    return ahead - ahead * (half_cycles % halves_in) // (2 * halves_in)


def _volt_seconds(delay_us: int, volt_seconds: "tuple[int, ...]", config: "Config") -> int:
    """Volt-seconds of a half-cycle with this firing delay, interpolated in a table. They fall with the delay."""
    after_us = delay_us - config.EARLIEST_DELAY_US
    i = after_us // config.VOLT_SECONDS_STEP_US
    if i + 1 >= len(volt_seconds):
        return volt_seconds[-1]
    drop = (volt_seconds[i] - volt_seconds[i + 1]) * (after_us % config.VOLT_SECONDS_STEP_US)
    return volt_seconds[i] - drop // config.VOLT_SECONDS_STEP_US
