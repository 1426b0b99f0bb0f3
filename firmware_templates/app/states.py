"""Names for the states, the reasons for a lockout and the ways in which a weld ends."""

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

NO_REASON = 0
STOP_OPEN = 1
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
)

# What ends each lockout. The pedal must be open as well, always.
WAY_OUT = (
    "",
    "close the stop",
    "wait for steady mains",
    "find the noise; clears when the mains is steady",
    "clears when the mains is back in its band",
    "let it cool",
    "let go of the pedal",
    "isolate; replace the switch",
    "check gate wiring and contactor, then press and release stop",
    "isolate; replace the board or the gate driver",
    "press and release stop",
    "wait: the countdown runs",
    "remove both settings files and flash the board again",
)

NEVER = 0  # no weld yet
COMPLETED = 1
RELEASED = 2  # pedal let go
STOPPED = 3  # stop circuit or stop line
FAULT = 4  # ended by a lockout
NO_FORCE = 5  # the force switch never closed, or opened under current

ENDING_NAMES = ("none", "completed", "released", "stopped", "fault", "no force")
