"""The words and figures that the board and the host share: each stands here and nowhere else.

This very file lies on the board; the host reads it as gen/words.py. Only plain numbers, strings and tuples, and no import.
Checks are not shared: the board holds a table against its limits with code of its own (table_check.py).
"""

# -- the driver interface ------------------------------------------------------------------------------------------

# Bits of `inputs()`.
PEDAL = 1  # pedal contact closed
STOP_OPEN = 2  # the normally closed stop circuit is open (pressed, or its wire is broken)
FORCE = 4  # force switch closed (air machines)
HOT = 8  # over-temperature contact open
WATCHDOG = 16  # this run of the program began with a bite of the watchdog
CONTACTOR_OPEN = 32  # mirror contact closed: every main contact of the contactor is open
MEMORY_BAD = 64  # at this start a place of the half-cycles' memory did not keep what was written

# Values of `conduction()`.
NOT_FITTED = 0  # no sense across the switch
BLOCKING = 1  # since the last call the switch was seen to block
CONDUCTING = 2  # since the last call the switch was seen to conduct; both bits when it did both

RUNS_ON_US = 16383  # in the place of a conduction's length: it had not ended when the next gate was due
NOT_TIMED = -1  # in the same place: no sense timed it
CURVE_KEPT = 200  # gates of one weld whose currents are kept

SAMPLE_US = 120  # from one sample of the primary current to the next: 64 a half-cycle and more, to 65 Hz
CURRENT_RING = 512  # samples kept, a power of 2: more than a step may come late
GATES_STAMPED = 8  # of the newest gates it is known at which sample they began
CONTACTOR_HELD_MS = 60  # so long after the last edge of the pulse train the coil is without current, at the latest

GATE_END_DEG = 165  # of its half-cycle: the gate is held to here, so that a lagging current still finds it

# -- the phases of a schedule --------------------------------------------------------------------------------------

# A phase lies in storage and crosses the serial line as its place here.
PHASES = ("squeeze", "pulse", "cool", "upslope", "weld", "downslope", "hold", "off")
FIRED_PHASES = ("pulse", "upslope", "weld", "downslope")

# -- the states of the timer ---------------------------------------------------------------------------------------

STARTING = 0
WAITING_FOR_MAINS = 1
READY = 2
STORING = 3
SQUEEZE = 4
WELD = 5
HOLD = 6
OFF = 7
LOCKED_OUT = 8

STATE_NAMES = ("starting", "waiting for mains", "ready", "storing", "squeeze", "weld", "hold", "off", "locked out")

# -- the reasons for a lockout ---------------------------------------------------------------------------------------

NO_REASON = 0
STOP_CIRCUIT_OPEN = 1
MAINS_LOST = 2
EXTRA_EDGES = 3
OUT_OF_BAND = 4
OVER_TEMPERATURE = 5
STUCK_PEDAL = 6
SWITCH_SHORTED = 7
NO_CONDUCTION = 8
GATE_STUCK = 9
WATCHDOG_RESTART = 10
DUTY = 11
SETTINGS_DAMAGED = 12
PROGRAM_FAILED = 13
ONE_SIDED = 14
LOPSIDED = 15
TOO_LONG = 16
CURRENT_SENSE_FAULT = 17
SENSES_DISAGREE = 18
CURRENT_HIGH = 19
CURRENT_LOW = 20
CONTACTOR_SHUT = 21
CONTACTOR_NOT_SHUT = 22
MEMORY_DAMAGED = 23
FILE_DAMAGED = 24  # reported by main.py: the application does not run then

REASON_NAMES = (
    "none",
    "stop is open",
    "mains lost or unsteady",
    "extra edges from the detector",
    "frequency out of band",
    "over-temperature contact open",
    "pedal stuck closed",
    "switch conducts without a gate",
    "no conduction after firing",
    "gate pin does not go low",
    "restarted by the watchdog",
    "duty used up",
    "settings damaged",
    "the program failed",
    "current flows in one direction only",
    "current lasts longer in one direction: the core is near saturation",
    "current lasts longer than the load angle allows: the core is near saturation",
    "current transformer or converter at fault",
    "current transformer and sense across the switch disagree",
    "current above the planned band",
    "current below the planned band",
    "contactor stayed closed",
    "contactor did not close, or opened under current",
    "memory of the half-cycles damaged",
    "firmware damaged",
)

# These outlast the power, and end only by a `clear` over the serial line that names them.
LASTING = (SWITCH_SHORTED, ONE_SIDED, CONTACTOR_SHUT)

# What ends each lockout. The pedal must be open as well, always.
WAY_OUT = (
    "",
    "close the stop",
    "wait for steady mains",
    "find the noise; clears when the mains is steady",
    "clears when the mains is back in its band",
    "let it cool",
    "let go of the pedal",
    "isolate; replace the switch, and see that the new one blocks; then weldbeat clear",
    "check gate wiring and contactor, then press and release stop",
    "isolate; replace the board or the gate driver",
    "press and release stop",
    "wait: the countdown runs",
    "remove both settings files and flash the board again",
    "read the failure in the status, then press and release stop",
    "isolate; check both halves of the switch and their gate wires; then weldbeat clear",
    "isolate; check the switch, its gate wiring and the detector, then press and release stop",
    "isolate; check tap, load angles in the welder file and the switch, then press and release stop",
    "isolate; check the current transformer, its burden and wires, then press and release stop",
    "isolate; check the wires of both senses, then press and release stop",
    "isolate; check tap, electrodes and work, then press and release stop",
    "clean work and electrodes; isolate and check secondary joints and tap, then press and release stop",
    "isolate; replace the contactor, or mend its mirror contact's wire; then weldbeat clear",
    "check the contactor's coil, its stage and the stop's contacts, then press and release stop",
    "isolate; replace the board",
    "isolate; flash the firmware again; where it comes back, replace the board",
)

# -- the ways in which a weld ends ---------------------------------------------------------------------------------

NEVER = 0  # no weld yet
COMPLETED = 1
RELEASED = 2  # pedal let go
STOPPED = 3  # stop circuit or stop line
FAULT = 4  # ended by a lockout
NO_FORCE = 5  # the force switch never closed, or opened under current
EXPELLED = 6  # ended as metal was thrown out, where that was asked for

# An ending crosses the serial line as its place here.
ENDING_NAMES = ("none", "completed", "released", "stopped", "fault", "no force", "expulsion")

# -- the correction from weld to weld ------------------------------------------------------------------------------

AS_PLANNED = 1000  # thousandths of the planned current that a weld is fired for

NOT_CORRECTING = 0  # not asked for, or not known
CORRECTED = 1  # the next weld is fired by what this one drew; all others leave the correction as it was
KEPT_NOT_COMPLETED = 2
KEPT_EXPULSION = 3
KEPT_NOT_MEASURED = 4
KEPT_TOO_SHORT = 5
KEPT_UNEVEN = 6
KEPT_OUTSIDE = 7
KEPT_BY_LIMITS = 8  # nothing is corrected then

# What a weld means to the next crosses the serial line as its place here.
CORRECTION_NAMES = (
    "none",
    "taken for the next weld",
    "kept as it was: the weld was not completed",
    "kept as it was: metal was thrown out",
    "kept as it was: the current was not measured throughout",
    "kept as it was: too few half-cycles to tell",
    "kept as it was: one direction drew more than the other",
    "kept as it was: current outside the planned band",
    "none: the limits burnt in refuse it",
)

# -- the serial line -----------------------------------------------------------------------------------------------

PROGRAM = "weldbeat"
PROTOCOL = 1
LONGEST_LINE = 480  # bytes of a line to the board, with its newline
LARGEST_ID = 999999999
ROWS_A_LINE = 8
WELDS_A_LINE = 6
CURVE_A_LINE = 10
WELDS_KEPT = 64
MOST_SCHEDULES = 16
LONGEST_NAME = 32  # of a schedule
SHOT_NAME = "commission-"  # begins that of a weld of a commissioning, which may meet another load than the planned one
DIGEST_LETTERS = 16  # hexadecimal digits of a table's digest

# Codes of an error reply. Those up to -32600 are JSON-RPC 2.0's own.
DAMAGED = -32700
NOT_A_REQUEST = -32600
UNKNOWN_METHOD = -32601
WRONG_PARAMETERS = -32602
BUSY = -32000
OUT_OF_ORDER = -32001
BEYOND_LIMITS = -32002
NO_SUCH_SCHEDULE = -32003
STORAGE = -32004
FIRMWARE_DAMAGED = -32005  # the message names the file
