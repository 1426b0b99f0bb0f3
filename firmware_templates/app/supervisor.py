"""The weld timer itself: from the pedal to the end of off time.

`step(now_ms)` looks at everything once, moves on if it must, and says when it wants to be called again. Being called
late may move a reaction; it cannot add a firing, because the firing hardware was given its half-cycles at the start.
"""

from . import failure, words
from .ammeter import Ammeter
from .clock import after, elapsed
from .correction import Correction
from .curve import Curve
from .duty import DutyGuard
from .line import Line
from .lock import MainsLock
from .plan import Plan
from .requests import MAINTENANCE, NO_CHANGE, RESTART, SETTINGS, STORE, Requests
from .store import FAILED, STORED, UNDER_WAY, Store
from .welds import Welds

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from interface import Config, Driver

STEADY_MS = 20  # a pedal contact that has not moved for this long has stopped bouncing
STUCK_MS = 30000  # a pedal still down this long after the weld is stuck
FORCE_WAIT_MS = 2000  # after squeeze, for the force switch
WAIT_MS = 5000  # after squeeze, for everything: longer waits only a program that comes late step after step
STALL_MS = 60  # no half-cycle reported for this long: the firing hardware has ended by itself
START_TRIES = 3  # an edge may fall between reading the detector and starting
SHORTED_MS = 60  # conducting and never blocking for this long without a gate, the contactor closed
PAUSE_MS = 50  # steps further apart: the contactor may have dropped, and must not close again under a gate
PROVE_HALF_CYCLES = 4  # after this many fired, conduction must have been seen

# These end after a press of stop.
ACKNOWLEDGED = (
    words.NO_CONDUCTION,
    words.LOPSIDED,
    words.TOO_LONG,
    words.CURRENT_SENSE_FAULT,
    words.SENSES_DISAGREE,
    words.CURRENT_HIGH,
    words.CURRENT_LOW,
    words.WATCHDOG_RESTART,
    words.PROGRAM_FAILED,
    words.CONTACTOR_NOT_SHUT,
)

METERED = 8  # half-cycles that a driver keeps, at most

IDLE_WAKE_MS = 17  # no multiple of a half-cycle, or a level read each step could see the same phase for long
ARMED_WAKE_MS = 5


class Supervisor:
    """State of the timer. The attributes are read by main.py and the simulator; only this class writes them."""

    def __init__(self, driver: "Driver", config: "Config") -> None:
        self.driver = driver
        self.config = config
        self.lock = MainsLock(config.NOMINAL_HALF_US, config.SHORTEST_HALF_US, config.LONGEST_HALF_US)
        self.duty = DutyGuard(config.DUTY_LIMIT)
        self.store = Store(driver, config)
        self.plan = Plan((), config.NOMINAL_HALF_US)
        self.last_welds = Welds()
        self.curve = Curve(config)
        self.ammeter = Ammeter(driver, config, self.curve)
        self.correction = Correction(config)
        self.unweighed = False  # a weld has ended, and the correction has not looked at it
        self.requests = Requests(config, self.store, self.last_welds, self.curve, self.duty, self._told)
        self.line = Line(driver, config.STOP_LINE, self._answer)
        self.state = words.STARTING
        self.reason = words.NO_REASON
        self.ending = words.NEVER
        self.welds = 0  # accepted pedals since start
        self.fired = 0  # half-cycles given a gate in the last weld
        self.since_ms = 0  # when this state began
        self.squeeze_ms = 0
        self.asked_ms = 0  # when the pedal was accepted
        self.positive = 1  # polarity of the first half-cycle of the next weld
        self.tries = 0
        self.done = 0
        self.progress_ms = 0
        self.stepped_ms = 0
        self.paused = False  # the last step lies too far back
        self.inputs = 0  # as the driver tells them, in this step
        self.pedal = 0
        self.pedal_ms = 0
        self.fresh = False  # the pedal has been seen open since the last weld
        self.acknowledged = False  # stop has been opened since the lockout began
        self.conducted = False
        self.blocked = False  # seen since the contactor closed for this weld
        self.blocked_ms = 0
        self.drives = 0  # the last step gave the contactor a pulse
        self.driven_ms = 0  # when it got its last
        self.was_locked_out = False  # when storing began: it goes back there
        self.remembering = STORED
        self.remembered = words.NO_REASON
        self.stalled = False  # flash was written since the last step, and the program stood still
        self.failure = ""  # the words of the error that ended the run before this
        self.maintain = 0  # 1: restart without the application

    def armed(self) -> bool:
        """True from an accepted pedal to the end of off time."""
        return words.SQUEEZE <= self.state and self.state <= words.OFF

    def step(self, now_ms: int) -> int:
        """Look, act, and return when to be called again (a time of the same clock)."""
        inputs = self.driver.inputs()
        self.paused = elapsed(now_ms, self.stepped_ms) > PAUSE_MS
        self.stepped_ms = now_ms
        self.inputs = inputs
        self._watch_mains(now_ms)
        self._watch_pedal(inputs, now_ms)
        self._watch_switch(now_ms)
        if self.config.CURRENT_SENSE and self.armed():
            self.ammeter.look(self.driver, self.lock.half_us, now_ms)
        if self.unweighed and not self.armed():
            self._weigh()
        stop_line = self.line.poll(self.armed())
        if self.state == words.STARTING:
            self._start(inputs, now_ms)
        self.duty.check(now_ms)  # once it has begun: it steps through every second since
        trouble = self._trouble(inputs, now_ms)
        if self.state == words.STORING:
            self._storing(now_ms)
        elif self.state == words.LOCKED_OUT:
            self._locked_out(inputs, trouble, now_ms)
        elif trouble:
            self._lock_out(trouble, now_ms)
        elif self.maintain:
            pass  # nothing begins any more
        elif stop_line and self.armed():
            self._end(words.STOPPED, now_ms)
        elif self.state == words.WAITING_FOR_MAINS:
            if self.lock.locked():
                self.fresh = False  # a pedal pressed before the board was ready must be let go
                self._enter(words.READY, now_ms)
        elif self.state == words.READY:
            self._ready(now_ms)
        elif self.state == words.SQUEEZE:
            self._squeeze(inputs, now_ms)
        elif self.state == words.WELD:
            self._weld(inputs, now_ms)
        elif self.state == words.HOLD:
            if elapsed(now_ms, self.since_ms) >= self.plan.unfired_ms("hold", self.lock.half_us):
                self._enter(words.OFF, now_ms)
        elif self.state == words.OFF:
            if elapsed(now_ms, self.since_ms) >= self.plan.unfired_ms("off", self.lock.half_us):
                self._enter(words.READY, now_ms)
        self.drives = self._wants_contactor()
        if self.drives:
            self.driven_ms = now_ms
        self.driver.alive(self.drives)
        return after(now_ms, ARMED_WAKE_MS if self.armed() else IDLE_WAKE_MS)

    # -- the serial line -----------------------------------------------------------------------------------------

    def _answer(self, method: str, params: "dict[str, Any]") -> str:
        """Answer a request and do what it wants done. Raises Refused."""
        result, wanted = self.requests.answer(method, params, self._may_change())
        if wanted == STORE:
            self.was_locked_out = self.state == words.LOCKED_OUT
            self.state = words.STORING
        elif wanted == RESTART:
            self.maintain = 1
        return result

    def _may_change(self) -> int:
        """Nothing while something is under way or can begin in this step; no settings where those held are not whole."""
        if self.state != words.READY and self.state != words.WAITING_FOR_MAINS and self.state != words.LOCKED_OUT:
            return NO_CHANGE
        return MAINTENANCE if self.reason == words.SETTINGS_DAMAGED else SETTINGS

    def _told(self) -> str:
        """The status, as JSON text."""
        return (
            '{"state": "%s", "reason": "%s", "way_out": "%s", "mains_mHz": %d, "welds": %d, "last": "%s", '
            '"fired": %d, "planned": %d, "duty_left_half_cycles": %d, "duty_wait_s": %d, "selected": "%s", "inputs": %d, '
            '"failure": "%s"}'
        ) % (
            words.STATE_NAMES[self.state],
            words.REASON_NAMES[self.reason],
            words.WAY_OUT[self.reason],
            500000000 // self.lock.half_us if self.lock.locked() else 0,
            self.welds,
            words.ENDING_NAMES[self.ending],
            self.fired,
            self.plan.planned,
            (self.duty.limit - self.duty.used) // 100,
            self.duty.seconds_until(self.plan.cost),
            self.store.selected,
            self.inputs,
            self.failure,
        )

    # -- looking -------------------------------------------------------------------------------------------------

    def _watch_mains(self, now_ms: int) -> None:
        if self.stalled:
            # What the meter kept is from before: lock to the mains anew.
            self.stalled = False
            for _ in range(METERED):
                self.driver.crossing_us()
            self.lock.reset(now_ms)
        for _ in range(METERED):
            length_us = self.driver.crossing_us()
            if length_us == 0:
                break
            self.lock.edge(length_us, now_ms)
        self.lock.check(now_ms)

    def _watch_pedal(self, inputs: int, now_ms: int) -> None:
        pedal = inputs & words.PEDAL
        if pedal != self.pedal:
            self.pedal = pedal
            self.pedal_ms = now_ms
        elif not pedal and self._pedal_steady(now_ms) and not self.armed():
            self.fresh = True

    def _pedal_steady(self, now_ms: int) -> bool:
        return elapsed(now_ms, self.pedal_ms) >= STEADY_MS

    def _watch_switch(self, now_ms: int) -> None:
        seen = self.driver.conduction()
        if seen & words.CONDUCTING:
            self.conducted = True
        closed = self.state == words.SQUEEZE and self._may_be_fed(now_ms)
        if closed and seen & words.BLOCKING:
            self.blocked = True
        # Without the mains behind it the sense shows what it shows of a current.
        quiet = closed or (self.state == words.HOLD and self.drives == 1)
        if seen != words.CONDUCTING or not quiet or self.paused:
            self.blocked_ms = now_ms
        if self.config.CONDUCTION_SENSE and words.WELD <= self.state and self.state <= words.OFF:
            self.curve.look(self.driver, self.lock.half_us)

    def _wants_contactor(self) -> int:
        """1 from an accepted pedal to the end of hold; where the hand is the force not longer than the pedal is held."""
        if self.state == words.SQUEEZE or self.state == words.WELD:
            return 1
        if self.state != words.HOLD:
            return 0
        if self.config.RELEASE_STOPS and not self.pedal:
            return 0
        return 1

    def _may_be_fed(self, now_ms: int) -> bool:
        """In the squeeze: the contactor has had its time to close, and its mirror contact does not say otherwise."""
        if self.inputs & words.CONTACTOR_OPEN:
            return False
        return elapsed(now_ms, self.since_ms) >= self.config.CONTACTOR_CLOSES_MS

    def _contactor_trouble(self, inputs: int, now_ms: int) -> int:
        """What the mirror contact says against the pulse train."""
        if not self.config.MIRROR_CONTACT:
            return words.NO_REASON
        if self.state == words.SQUEEZE or self.state == words.WELD:
            late = self.state == words.WELD or elapsed(now_ms, self.since_ms) > self.config.CONTACTOR_CLOSES_MS
            return words.CONTACTOR_NOT_SHUT if late and inputs & words.CONTACTOR_OPEN else words.NO_REASON
        if self.state != words.HOLD and not inputs & words.CONTACTOR_OPEN:
            if elapsed(now_ms, self.driven_ms) > self.config.CONTACTOR_OPENS_MS:
                return words.CONTACTOR_SHUT
        return words.NO_REASON

    def _trouble(self, inputs: int, now_ms: int) -> int:
        """The reason to lock out that stands now, if any."""
        if inputs & words.MEMORY_BAD:
            return words.MEMORY_DAMAGED  # the bit stays, and so does the lockout
        if inputs & words.STOP_OPEN:
            return words.STOP_CIRCUIT_OPEN
        if inputs & words.HOT:
            return words.OVER_TEMPERATURE
        contactor = self._contactor_trouble(inputs, now_ms)
        if contactor:
            return contactor
        if elapsed(now_ms, self.blocked_ms) > SHORTED_MS:
            return words.SWITCH_SHORTED
        if self.state == words.WELD and self.lock.noisy_under_current(self.done > 0):
            return words.EXTRA_EDGES
        if self.armed():
            if self.config.CURRENT_SENSE and self.ammeter.fault:
                return self.ammeter.fault
            return words.NO_REASON  # the firing hardware judges single edges by itself
        if self.lock.noisy():
            return words.EXTRA_EDGES
        if self.lock.out_of_band(now_ms):
            return words.OUT_OF_BAND
        return words.NO_REASON

    # -- acting --------------------------------------------------------------------------------------------------

    def _enter(self, state: int, now_ms: int) -> None:
        self.state = state
        self.since_ms = now_ms

    def _start(self, inputs: int, now_ms: int) -> None:
        self.lock.reset(now_ms)
        self.duty.begin(now_ms, self.driver.rested_ms())
        self.pedal = inputs & words.PEDAL
        self.pedal_ms = now_ms
        self.fresh = False
        self.blocked_ms = now_ms
        self.driven_ms = now_ms
        self.stalled = True
        whole = self.store.start()
        self._take_schedule()
        self.failure = failure.kept(self.driver)
        if not whole:
            self._lock_out(words.SETTINGS_DAMAGED, now_ms)
        elif self.store.lockout in words.LASTING:
            self._lock_out(self.store.lockout, now_ms)
        elif self.failure:
            self._lock_out(words.PROGRAM_FAILED, now_ms)
        elif inputs & words.WATCHDOG:
            self._lock_out(words.WATCHDOG_RESTART, now_ms)
        elif self.pedal:
            self._lock_out(words.STUCK_PEDAL, now_ms)
        else:
            self._enter(words.WAITING_FOR_MAINS, now_ms)

    def _remember(self) -> None:
        """Store what the lockout is for, one copy a step, so that the watchdog is fed in between."""
        if self.store.lockout != self.reason and self.remembered != self.reason:
            self.remembered = self.reason  # tried once: a flash that fails is not worn out
            self.store.hold(self.reason)
            self.remembering = UNDER_WAY
        if self.remembering == UNDER_WAY:
            self.stalled = True
            self.remembering = self.store.store_on()

    def _take_schedule(self) -> None:
        """Weld with what is selected; with nothing where the settings are damaged."""
        self.correction.reset()
        self.plan = Plan(self.store.rows(self.store.selected), self.config.NOMINAL_HALF_US)

    def _weigh(self) -> None:
        """Let the last weld correct the next. Nothing is under way, so that there is time and room for it."""
        self.unweighed = False
        if not self.config.CORRECT_PERMILLE:
            return
        name = self.store.selected
        came = words.KEPT_NOT_COMPLETED
        if self.ending == words.COMPLETED and self.reason == words.NO_REASON and self.fired == self.plan.planned:
            came = self.correction.weigh(self.plan, self.curve, self.ammeter.expelled)
        if came == words.CORRECTED:
            rows, came = self.correction.rows(self.store.rows(name), self.store.whole(name))
            self.plan = Plan(rows, self.config.NOMINAL_HALF_US)
        self.last_welds.weighed(came)

    def _storing(self, now_ms: int) -> None:
        """One copy a step, so that the watchdog is fed in between. The pedal must be seen open again before the next weld."""
        self.stalled = True
        outcome = self.store.store_on()
        if outcome == UNDER_WAY:
            return
        if outcome == FAILED:
            self.line.refuse(words.STORAGE, "storage failing: nothing was changed")
        else:
            self.line.reply(self.requests.stored())
        self._take_schedule()
        if self.reason in words.LASTING and not self.store.lockout:
            self.reason = self.remembered = words.NO_REASON  # it was cleared
            self.was_locked_out = False
        self._enter(words.LOCKED_OUT if self.was_locked_out else words.WAITING_FOR_MAINS, now_ms)

    def _ready(self, now_ms: int) -> None:
        if not self.lock.locked():
            self._enter(words.WAITING_FOR_MAINS, now_ms)
        elif not self.duty.allows(self.plan.cost):
            self._lock_out(words.DUTY, now_ms)
        elif self.pedal and not self.fresh and elapsed(now_ms, self.pedal_ms) > STUCK_MS:
            self._lock_out(words.STUCK_PEDAL, now_ms)
        elif self.config.MIRROR_CONTACT and not self.inputs & words.CONTACTOR_OPEN:
            pass  # it is still opening after the last weld, or a lockout comes
        elif self.pedal and self.fresh and self._pedal_steady(now_ms):
            self.fresh = False
            self.blocked = False
            self.welds += 1
            self.ending = words.NEVER
            self.fired = 0
            self.tries = 0
            squeeze_ms = self.plan.unfired_ms("squeeze", self.lock.half_us)
            self.squeeze_ms = max(squeeze_ms, self.config.CONTACTOR_CLOSES_MS)
            self.asked_ms = now_ms
            self.plan.begin()
            if self.config.CURRENT_SENSE:
                planned = not self.store.selected.startswith(words.SHOT_NAME)
                self.ammeter.begin(self.driver, now_ms, planned)
            self._enter(words.SQUEEZE, now_ms)

    def _squeeze(self, inputs: int, now_ms: int) -> None:
        if not self.pedal:
            self._end(words.RELEASED, now_ms)
        elif not self.lock.locked():
            self._lock_out(words.MAINS_LOST, now_ms)
        elif elapsed(now_ms, self.asked_ms) > self.squeeze_ms + WAIT_MS:
            self._end(words.FAULT, now_ms)  # however the waits below begin anew
        elif self.paused:
            self.since_ms = now_ms  # the contactor may have dropped: it gets its time once more
            self.blocked = False
        elif not self.lock.present(now_ms):
            pass  # either the mains is back at once, or the lock will be lost
        elif not self.plan.ready():
            self.plan.fill(self.driver, self.lock.half_us, self.positive)
        elif elapsed(now_ms, self.since_ms) >= self.squeeze_ms:
            if self.config.CONDUCTION_SENSE and not self.blocked:
                pass  # no gate before the switch was seen to block the mains; else a lockout comes
            elif inputs & words.FORCE or not self.config.FORCE_SWITCH:
                self._fire(now_ms)
            elif elapsed(now_ms, self.since_ms) > self.squeeze_ms + FORCE_WAIT_MS:
                self._end(words.NO_FORCE, now_ms)

    def _fire(self, now_ms: int) -> None:
        if self.driver.start(self.plan.count, self.lock.half_us, self.positive):
            if self.tries == 0:
                self.duty.charge(self.plan.cost)
            self.tries += 1
            self.lock.begin_weld()
            self.curve.begin(self.plan.rows, self.plan.first_row, self.lock.half_us)
            self.ammeter.fire(self.plan.rows, self.plan.first_row)
            self.done = 0
            self.conducted = False
            self.progress_ms = now_ms
            self._enter(words.WELD, now_ms)

    def _weld(self, inputs: int, now_ms: int) -> None:
        done = self.driver.done()
        if done != self.done:
            self.done = done
            self.progress_ms = now_ms
        if not self.pedal and self.config.RELEASE_STOPS:
            self._end(words.RELEASED, now_ms)
        elif self.config.FORCE_SWITCH and not inputs & words.FORCE:
            self._end(words.NO_FORCE, now_ms)
        elif self.paused:
            self._end(words.FAULT, now_ms)
        elif done == self.plan.count:
            self._finish(words.COMPLETED)
            if self.state == words.WELD:
                self._enter(words.HOLD, now_ms)
        elif self.curve.fault:
            self._lock_out(self.curve.fault, now_ms)
        elif self.config.EXPULSION_ENDS and self.ammeter.expelled:
            self._end(words.EXPELLED, now_ms)
        elif self.config.CONDUCTION_SENSE and done >= PROVE_HALF_CYCLES and not self.conducted:
            self._lock_out(words.NO_CONDUCTION, now_ms)
        elif elapsed(now_ms, self.progress_ms) > STALL_MS:
            # Not tried again over a gate that does not go low: `_finish` tells of it.
            if done == 0 and self.tries < START_TRIES and self.lock.present(now_ms) and self.driver.off():
                self._fire(now_ms)
            else:
                self._lock_out(words.MAINS_LOST, now_ms)

    def _finish(self, ending: int) -> None:
        """Make the gate safe and take stock: what was fired, and on which polarity the next weld starts."""
        low = self.driver.off()
        done = self.driver.done()
        last = -1
        self.fired = 0
        for i in range(done):
            if self.driver.fired(i):
                self.fired += 1
                last = i
        if last >= 0:
            self.positive = 1 ^ self.positive ^ (last & 1)
        self._note(ending)
        if not low:
            self.state = words.LOCKED_OUT
            self.reason = words.GATE_STUCK

    def _note(self, ending: int) -> None:
        """The weld has ended so."""
        self.ending = ending
        permille = self.correction.permille if self.config.CORRECT_PERMILLE else 0
        self.last_welds.add(ending, self.plan.planned, self.fired, self.duty.used // 100, self.duty.seconds, permille)
        self.curve.ended(self.last_welds.count)
        self.unweighed = True

    def _end(self, ending: int, now_ms: int) -> None:
        """End a weld early, and rest for the off time."""
        # In hold and off the ending stays as it is: the current is out, and a stop cannot make that weld any shorter.
        if self.state == words.WELD:
            self._finish(ending)
        elif self.state == words.SQUEEZE:
            self._note(ending)
        if self.state != words.LOCKED_OUT:
            self._enter(words.OFF, now_ms)

    def _lock_out(self, reason: int, now_ms: int) -> None:
        # In hold and off the ending stays as it is, as in `_end`.
        if self.state == words.WELD:
            self._finish(words.STOPPED if reason == words.STOP_CIRCUIT_OPEN else words.FAULT)
        elif self.state == words.SQUEEZE:
            self._note(words.STOPPED if reason == words.STOP_CIRCUIT_OPEN else words.FAULT)
        if self.state != words.LOCKED_OUT:
            self.reason = reason
        if not self.driver.off():
            self.reason = words.GATE_STUCK
        self.acknowledged = False
        self._enter(words.LOCKED_OUT, now_ms)

    def _locked_out(self, inputs: int, trouble: int, now_ms: int) -> None:
        if inputs & words.STOP_OPEN:
            self.acknowledged = True
        if self.reason in words.LASTING:
            self._remember()
            return
        if self.reason == words.GATE_STUCK:
            return  # only the isolator and a repair end this
        if self.reason == words.SETTINGS_DAMAGED:
            return  # nothing is known of what should be welded
        if self.reason in ACKNOWLEDGED and not self.acknowledged:
            return
        if trouble:
            self.reason = trouble  # what stands now is told, so that the way out is the right one
            return
        if self.reason == words.MAINS_LOST and not self.lock.locked():
            return
        if self.reason == words.DUTY and not self.duty.allows(self.plan.cost):
            return
        if not self.pedal and self._pedal_steady(now_ms):
            if self.failure:
                failure.forget(self.driver)
                self.failure = ""
                self.stalled = True
            self.reason = words.NO_REASON
            self._enter(words.WAITING_FOR_MAINS, now_ms)
