"""Holds a timing table that came over the serial line against the limits that are burnt in, and counts its digest.

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
    """True for what may name a schedule."""
    if type(name) is not str or not 1 <= len(name) <= LONGEST_NAME or name[0] not in _FIRST_OF_NAME:
        return False
    for letter in name:
        if letter not in _FIRST_OF_NAME and letter not in "_-":
            return False
    return True


def digest(name: str, frequency_Hz: int, rows: "Rows") -> str:
    """SHA-256 of a table as the host counts it too, its first hexadecimal digits."""
    total = sha256(("weldbeat 1\n%s\n%d\n" % (name, frequency_Hz)).encode())
    for row in rows:
        total.update(("%s,%d,%d,%d\n" % row).encode())
    return hexlify(total.digest())[:DIGEST_LETTERS].decode()


def refusal(rows: "Rows", config: "Config") -> str:
    """The limit that a table breaks, in words; "" when it keeps them all."""
    return (
        _row_refusal(rows, config)
        or _order_refusal(rows)
        or _current_refusal(rows, config)
        or _balance_refusal(rows, config)
    )


def _row_refusal(rows: "Rows", config: "Config") -> str:
    """Each row for itself."""
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
    """What a half-cycle fired there heats at least: what is told to heat less would be welded past the duty guard."""
    for latest_us, heat in config.HEAT_STEPS:
        if delay_us <= latest_us:
            return heat
    return 100


def _order_refusal(rows: "Rows") -> str:
    """Squeeze; then what passes current, and the cool times between; then hold; then off."""
    if len(rows) < 4 or rows[0][0] != "squeeze" or rows[-2][0] != "hold" or rows[-1][0] != "off":
        return "order of phases: squeeze first, hold and off last"
    previous = "cool"
    for i in range(1, len(rows) - 2):
        phase = rows[i][0]
        if phase not in FIRED_PHASES and (phase != "cool" or previous == "cool"):
            return "order of phases: between squeeze and hold only current, and single cool times within it"
        previous = phase
    return "order of phases: cool just before hold" if previous == "cool" else ""


def _current_refusal(rows: "Rows", config: "Config") -> str:
    """The impulses and the gaps between them, and all of the weld."""
    impulse = fired = cost = span = 0
    for i in range(1, len(rows) - 1):  # the hold ends the last impulse
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
    """The two halves of each cycle: what one polarity gets more than the other magnetises the core and saturates it.

    No stretch of an impulse may give one polarity more than one cycle between the earliest firing and the latest would: what
    came before it may have died away, however fast, and then evens nothing out. A current that rises once and falls once stays
    within that, whatever its steps. What is left of earlier impulses counts on, or many short ones would add up.
    """
    halves_in = config.FLUX_HALVES_HALF_CYCLES
    for volt_seconds in config.VOLT_SECONDS:
        most = volt_seconds[0] - volt_seconds[-1]
        above = below = 0  # what the impulses before may have left, of the first polarity and of the other
        up = down = 0  # the most that any stretch up to here gives either
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
    """What is left after so many half-cycles: between two halvings a line, which lies above the true curve."""
    ahead >>= half_cycles // halves_in
    return ahead - ahead * (half_cycles % halves_in) // (2 * halves_in)


def _volt_seconds(delay_us: int, volt_seconds: "tuple[int, ...]", config: "Config") -> int:
    """Of a half-cycle fired there, between two entries of a table; falls as the delay grows, as the table does."""
    after_us = delay_us - config.EARLIEST_DELAY_US
    i = after_us // config.VOLT_SECONDS_STEP_US
    if i + 1 >= len(volt_seconds):
        return volt_seconds[-1]
    drop = (volt_seconds[i] - volt_seconds[i + 1]) * (after_us % config.VOLT_SECONDS_STEP_US)
    return volt_seconds[i] - drop // config.VOLT_SECONDS_STEP_US
