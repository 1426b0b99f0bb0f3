"""The words and figures that board and host share. Each is defined only here.

The board runs this file; the host reads the same file through gen/words.py. It has only numbers, strings and tuples, and no
import. Checks are not shared: the board checks a table against its limits with its own code (table_check.py).
"""

# -- the driver interface ------------------------------------------------------------------------------------------

# Bits of `inputs()`.
PEDAL = 1  # the pedal contact is closed
STOP_OPEN = 2  # the normally closed stop circuit is open: stop is pressed, or a wire is broken
FORCE = 4  # the force switch is closed (air machines)
HOT = 8  # the over-temperature contact is open
WATCHDOG = 16  # the watchdog started this run of the program
CONTACTOR_OPEN = 32  # the mirror contact is closed: every main contact of the contactor is open
MEMORY_BAD = 64  # the memory of the half-cycles failed its test at this start

# Values of `conduction()`.
NOT_FITTED = 0  # there is no sense across the switch
BLOCKING = 1  # the switch blocked at some time since the last call
CONDUCTING = 2  # the switch conducted at some time since the last call; both bits may be set

RUNS_ON_US = 16383  # as the length of a conduction: it had not ended when the next gate was due
NOT_TIMED = -1  # as the length of a conduction: no sense timed it
CURVE_KEPT = 200  # the currents of so many gates of a weld are kept

SAMPLE_US = 120  # time between samples of the primary current: 64 or more a half-cycle, up to 65 Hz
CURRENT_RING = 512  # samples kept, a power of 2; they last longer than a step may be late
GATES_STAMPED = 8  # the first samples of so many newest gates are known
CONTACTOR_HELD_MS = 60  # the coil has no current later than this after the last edge of the pulse train

GATE_END_DEG = 165  # the gate is held to this angle of its half-cycle, so that a lagging current still latches

# -- the phases of a schedule --------------------------------------------------------------------------------------

# Storage and the serial line use the index of a phase here.
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
FILE_DAMAGED = 24  # main.py reports it, and does not run the application

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

# These last over a loss of power. Only a `clear` over the serial line that names them ends them.
LASTING = (SWITCH_SHORTED, ONE_SIDED, CONTACTOR_SHUT)

# What ends each lockout. The pedal must always be open as well.
WAY_OUT = (
    "",
    "close the stop",
    "wait for steady mains",
    "find the noise; clears when the mains is steady",
    "clears when the mains is back in its band",
    "let it cool",
    "let go of the pedal",
    "isolate; replace the switch, and check that the new one blocks; then weldbeat clear",
    "check gate wiring and contactor, then press and release stop",
    "isolate; replace the board or the gate driver",
    "press and release stop",
    "wait for the countdown",
    "remove both settings files and flash the board again",
    "read the failure in the status, then press and release stop",
    "isolate; check both halves of the switch and their gate wires; then weldbeat clear",
    "isolate; check the switch, its gate wiring and the detector, then press and release stop",
    "isolate; check tap, load angles in the welder file and the switch, then press and release stop",
    "isolate; check the current transformer, its burden and wires, then press and release stop",
    "isolate; check the wires of both senses, then press and release stop",
    "isolate; check tap, electrodes and work, then press and release stop",
    "clean work and electrodes; isolate and check secondary joints and tap, then press and release stop",
    "isolate; replace the contactor, or repair its mirror contact's wire; then weldbeat clear",
    "check the contactor's coil, its driver and the stop's contacts, then press and release stop",
    "isolate; replace the board",
    "isolate; flash the firmware again; if it recurs, replace the board",
)

# -- the endings of a weld ---------------------------------------------------------------------------------

NEVER = 0  # no weld yet
COMPLETED = 1
RELEASED = 2  # the pedal was released
STOPPED = 3  # by the stop circuit or a stop line
FAULT = 4  # by a lockout
NO_FORCE = 5  # the force switch did not close, or opened under current
EXPELLED = 6  # by expulsion, if the configuration asks for that

# The serial line uses the index of an ending, and the host's records keep its text: a changed text damages old records.
ENDING_NAMES = ("none", "completed", "released", "stopped", "fault", "no force", "expulsion")

# -- the correction from weld to weld ------------------------------------------------------------------------------

AS_PLANNED = 1000  # a weld is fired for the planned current, in thousandths of it

NOT_CORRECTING = 0  # not configured, or not known
CORRECTED = 1  # this weld updated the correction; it is unchanged after all others
KEPT_NOT_COMPLETED = 2
KEPT_EXPULSION = 3
KEPT_NOT_MEASURED = 4
KEPT_TOO_SHORT = 5
KEPT_UNEVEN = 6
KEPT_OUTSIDE = 7
KEPT_BY_LIMITS = 8  # the correction is set to none

# A weld's effect on the correction. Index and text are used as an ending's.
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
LONGEST_NAME = 32  # letters of a schedule's name
SHOT_NAME = "commission-"  # start of the name of a commissioning weld, whose load may differ from the planned one
DIGEST_LETTERS = 16  # hexadecimal digits of a table's digest

# Codes of an error reply. Those up to -32600 are defined by JSON-RPC 2.0.
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
