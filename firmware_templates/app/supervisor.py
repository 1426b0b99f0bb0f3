"""The weld timer's state machine, from the pedal to the end of off time.

`step(now_ms)` reads all inputs once, changes the state where needed, and returns the time of the next call. A late call
may delay a reaction. It cannot add a firing, because the firing hardware has its half-cycles from the start.
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

STEADY_MS = 20  # a pedal contact has stopped bouncing after this time without a change
STUCK_MS = 30000  # a pedal that is still closed this long after the weld is stuck
FORCE_WAIT_MS = 2000  # the longest wait for the force switch, after squeeze
WAIT_MS = 5000  # the longest wait for everything, after squeeze; only steps that come late again and again reach it
STALL_MS = 60  # without a half-cycle reported for this long, the firing hardware has stopped
START_TRIES = 3  # an edge may fall between reading the detector and starting
SHORTED_MS = 60  # the switch is shorted if it only conducts for this long, no gate given and the contactor closed
PAUSE_MS = 50  # after a longer gap between steps the contactor may have opened; it must not close under a gate
PROVE_HALF_CYCLES = 4  # conduction must have been seen after this many fired

# Reasons that end only after a press of stop.
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

METERED = 8  # a driver keeps at most this many half-cycles

IDLE_WAKE_MS = 17  # no multiple of a half-cycle, so that the steps do not sample one phase of the mains
ARMED_WAKE_MS = 5


class Supervisor:
    """State of the timer. main.py and the simulator read the attributes; only this class writes them."""

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
        self.correction_due = False  # a weld has ended, and has not yet updated the correction
        self.requests = Requests(config, self.store, self.last_welds, self.curve, self.duty, self._status)
        self.line = Line(driver, config.STOP_LINE, self._answer)
        self.state = words.STARTING
        self.reason = words.NO_REASON
        self.ending = words.NEVER
        self.welds = 0  # accepted pedals since start
        self.fired = 0  # half-cycles of the last weld that had a gate
        self.since_ms = 0  # start of this state
        self.squeeze_ms = 0
        self.accepted_ms = 0  # time at which the pedal was accepted
        self.positive = 1  # polarity of the next weld's first half-cycle
        self.tries = 0  # starts of the firing hardware in this weld
        self.done = 0  # half-cycles of this weld that have passed
        self.progress_ms = 0  # time of the last change of `done`
        self.last_step_ms = 0
        self.paused = False  # the gap since the last step exceeds PAUSE_MS
        self.inputs = 0  # bits read from the driver in this step
        self.pedal = 0
        self.pedal_ms = 0  # time of its last change
        self.pedal_opened = False  # the pedal was seen open after the last weld
        self.acknowledged = False  # stop was opened after the lockout began
        self.conducted = False  # the switch was seen to conduct in this weld
        self.blocked = False  # it was seen to block with the contactor closed for this weld
        self.blocked_ms = 0  # since then it has only conducted while it should block
        self.contactor_on = 0  # 1: the last step gave the contactor a pulse
        self.contactor_on_ms = 0  # time of the last pulse
        self.was_locked_out = False  # the state after storing is locked out again
        self.lockout_storing = STORED
        self.lockout_tried = words.NO_REASON  # last reason whose storing was tried
        self.flash_written = False  # the last step wrote flash, and the program stood still
        self.failure = ""  # text of the error that ended the previous run
        self.begun_with = words.NO_REASON  # lockout by which this run began, until it is acknowledged
        self.maintain = 0  # 1: restart without the application

    def armed(self) -> bool:
        """True from an accepted pedal to the end of off time."""
        return words.SQUEEZE <= self.state and self.state <= words.OFF

    def step(self, now_ms: int) -> int:
        """Read the inputs, act, and return the time of the next call, on the same clock."""
        inputs = self.driver.inputs()
        self.paused = elapsed(now_ms, self.last_step_ms) > PAUSE_MS
        self.last_step_ms = now_ms
        self.inputs = inputs
        self._watch_mains(now_ms)
        self._watch_pedal(inputs, now_ms)
        self._watch_switch(now_ms)
        if self.config.CURRENT_SENSE and self.armed():
            self.ammeter.look(self.driver, self.lock.half_us, now_ms)
        if self.correction_due and not self.armed():
            self._correct_next()
        stop_line = self.line.poll(self.armed())
        if self.state == words.STARTING:
            self._start(inputs, now_ms)
        self.duty.check(now_ms)  # after `_start`, since it counts every second from its start
        trouble = self._trouble(inputs, now_ms)
        if self.state == words.STORING:
            self._storing(now_ms)
        elif self.state == words.LOCKED_OUT:
            self._locked_out(inputs, trouble, now_ms)
        elif trouble:
            self._lock_out(trouble, now_ms)
        elif self.maintain:
            pass  # nothing starts before the restart
        elif stop_line and self.armed():
            self._end(words.STOPPED, now_ms)
        elif self.state == words.WAITING_FOR_MAINS:
            if self.lock.locked():
                self.pedal_opened = False  # a pedal pressed before the board was ready must be released
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
        self.contactor_on = self._wants_contactor()
        if self.contactor_on:
            self.contactor_on_ms = now_ms
        self.driver.alive(self.contactor_on)
        return after(now_ms, ARMED_WAKE_MS if self.armed() else IDLE_WAKE_MS)

    # -- the serial line -----------------------------------------------------------------------------------------

    def _answer(self, method: str, params: "dict[str, Any]") -> str:
        """Answer a request, and perform the action that it wants. Raises Refused."""
        result, wanted = self.requests.answer(method, params, self._may_change())
        if wanted == STORE:
            self.was_locked_out = self.state == words.LOCKED_OUT
            self.state = words.STORING
        elif wanted == RESTART:
            self.maintain = 1
        return result

    def _may_change(self) -> int:
        """The level of change allowed: none unless idle, and no settings while the stored ones are damaged."""
        if self.state != words.READY and self.state != words.WAITING_FOR_MAINS and self.state != words.LOCKED_OUT:
            return NO_CHANGE
        return MAINTENANCE if self.reason == words.SETTINGS_DAMAGED else SETTINGS

    def _status(self) -> str:
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

    # -- inputs -------------------------------------------------------------------------------------------------

    def _watch_mains(self, now_ms: int) -> None:
        if self.flash_written:
            # The half-cycles that the driver kept are from before the write: lock to the mains again.
            self.flash_written = False
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
            self.pedal_opened = True

    def _pedal_steady(self, now_ms: int) -> bool:
        return elapsed(now_ms, self.pedal_ms) >= STEADY_MS

    def _watch_switch(self, now_ms: int) -> None:
        seen = self.driver.conduction()
        if seen & words.CONDUCTING:
            self.conducted = True
        closed = self.state == words.SQUEEZE and self._may_be_fed(now_ms)
        if closed and seen & words.BLOCKING:
            self.blocked = True
        # With the contactor open the sense reads the same as under current: count only while it is closed.
        quiet = closed or (self.state == words.HOLD and self.contactor_on == 1)
        if seen != words.CONDUCTING or not quiet or self.paused:
            self.blocked_ms = now_ms
        if self.config.CONDUCTION_SENSE and words.WELD <= self.state and self.state <= words.OFF:
            self.curve.look(self.driver, self.lock.half_us)

    def _wants_contactor(self) -> int:
        """1 from an accepted pedal to the end of hold; under hand force only while the pedal is held."""
        if self.state == words.SQUEEZE or self.state == words.WELD:
            return 1
        if self.state != words.HOLD:
            return 0
        if self.config.RELEASE_STOPS and not self.pedal:
            return 0
        return 1

    def _may_be_fed(self, now_ms: int) -> bool:
        """In squeeze: whether the contactor has had time to close, and its mirror contact does not report it open."""
        if self.inputs & words.CONTACTOR_OPEN:
            return False
        return elapsed(now_ms, self.since_ms) >= self.config.CONTACTOR_CLOSES_MS

    def _contactor_trouble(self, inputs: int, now_ms: int) -> int:
        """The lockout reason if the mirror contact contradicts the pulse train, else NO_REASON."""
        if not self.config.MIRROR_CONTACT:
            return words.NO_REASON
        if self.state == words.SQUEEZE or self.state == words.WELD:
            late = self.state == words.WELD or elapsed(now_ms, self.since_ms) > self.config.CONTACTOR_CLOSES_MS
            return words.CONTACTOR_NOT_SHUT if late and inputs & words.CONTACTOR_OPEN else words.NO_REASON
        if self.state != words.HOLD and not inputs & words.CONTACTOR_OPEN:
            if elapsed(now_ms, self.contactor_on_ms) > self.config.CONTACTOR_OPENS_MS:
                return words.CONTACTOR_SHUT
        return words.NO_REASON

    def _trouble(self, inputs: int, now_ms: int) -> int:
        """The lockout reason of a fault that is present now, else NO_REASON."""
        if inputs & words.MEMORY_BAD:
            return words.MEMORY_DAMAGED  # the bit stays set, so the lockout stays
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
            return words.NO_REASON  # while armed the firing hardware judges single edges
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
        self.pedal_opened = False
        self.blocked_ms = now_ms
        self.contactor_on_ms = now_ms
        self.flash_written = True
        whole = self.store.start()
        self._take_schedule()
        self.failure = failure.kept(self.driver)
        if self.failure:
            self.begun_with = words.PROGRAM_FAILED
        elif inputs & words.WATCHDOG:
            self.begun_with = words.WATCHDOG_RESTART
        if not whole:
            self._lock_out(words.SETTINGS_DAMAGED, now_ms)
        elif self.store.lockout in words.LASTING:
            self._lock_out(self.store.lockout, now_ms)
        elif self.begun_with:
            self._lock_out(self.begun_with, now_ms)
        elif self.pedal:
            self._lock_out(words.STUCK_PEDAL, now_ms)
        else:
            self._enter(words.WAITING_FOR_MAINS, now_ms)

    def _store_lockout(self) -> None:
        """Store the lockout's reason, one copy a step, so that the watchdog is fed in between."""
        if self.store.lockout != self.reason and self.lockout_tried != self.reason:
            self.lockout_tried = self.reason  # only once, to spare a flash that fails
            self.store.hold(self.reason)
            self.lockout_storing = UNDER_WAY
        if self.lockout_storing == UNDER_WAY:
            self.flash_written = True
            self.lockout_storing = self.store.store_on()

    def _take_schedule(self) -> None:
        """Load the selected schedule, or an empty one if the settings are damaged."""
        self.correction.reset()
        self.plan = Plan(self.store.rows(self.store.selected), self.config.NOMINAL_HALF_US)

    def _correct_next(self) -> None:
        """Correct the next weld by the last one's current. It runs when idle: it takes long, and allocates."""
        self.correction_due = False
        if not self.config.CORRECT_PERMILLE:
            return
        name = self.store.selected
        outcome = words.KEPT_NOT_COMPLETED
        if self.ending == words.COMPLETED and self.reason == words.NO_REASON and self.fired == self.plan.planned:
            outcome = self.correction.update(self.plan, self.curve, self.ammeter.expelled)
        if outcome == words.CORRECTED:
            rows, outcome = self.correction.rows(self.store.rows(name), self.store.whole(name))
            self.plan = Plan(rows, self.config.NOMINAL_HALF_US)
        self.last_welds.set_correction(outcome)

    def _storing(self, now_ms: int) -> None:
        """Write one copy a step, so that the watchdog is fed in between. Then the pedal must be seen open again."""
        self.flash_written = True
        outcome = self.store.store_on()
        if outcome == UNDER_WAY:
            return
        if outcome == FAILED:
            self.line.refuse(words.STORAGE, "storage failing: nothing was changed")
        else:
            self.line.reply(self.requests.stored())
        self._take_schedule()
        if self.reason in words.LASTING and not self.store.lockout:
            self.lockout_tried = words.NO_REASON  # it was cleared
            self.reason = self.begun_with  # the lockout that lasted had hidden this one
            self.was_locked_out = self.reason != words.NO_REASON
            self.acknowledged = False
        self._enter(words.LOCKED_OUT if self.was_locked_out else words.WAITING_FOR_MAINS, now_ms)

    def _ready(self, now_ms: int) -> None:
        if not self.lock.locked():
            self._enter(words.WAITING_FOR_MAINS, now_ms)
        elif not self.duty.allows(self.plan.cost):
            self._lock_out(words.DUTY, now_ms)
        elif self.pedal and not self.pedal_opened and elapsed(now_ms, self.pedal_ms) > STUCK_MS:
            self._lock_out(words.STUCK_PEDAL, now_ms)
        elif self.config.MIRROR_CONTACT and not self.inputs & words.CONTACTOR_OPEN:
            pass  # it is still opening after the last weld; if it stays closed, a lockout follows
        elif self.pedal and self.pedal_opened and self._pedal_steady(now_ms):
            self.pedal_opened = False
            self.blocked = False
            self.welds += 1
            self.ending = words.NEVER
            self.fired = 0
            self.tries = 0
            squeeze_ms = self.plan.unfired_ms("squeeze", self.lock.half_us)
            self.squeeze_ms = max(squeeze_ms, self.config.CONTACTOR_CLOSES_MS)
            self.accepted_ms = now_ms
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
        elif elapsed(now_ms, self.accepted_ms) > self.squeeze_ms + WAIT_MS:
            self._end(words.FAULT, now_ms)  # even if the waits below keep starting again
        elif self.paused:
            self.since_ms = now_ms  # the contactor may have opened: wait for it again
            self.blocked = False
        elif not self.lock.present(now_ms):
            pass  # the mains returns at once, or the lock is lost
        elif not self.plan.ready():
            self.plan.fill(self.driver, self.lock.half_us, self.positive)
        elif elapsed(now_ms, self.since_ms) >= self.squeeze_ms:
            if self.config.CONDUCTION_SENSE and not self.blocked:
                pass  # no gate before the switch was seen to block; if it does not, a lockout follows
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
            # With a gate that stays high it does not start again; `_finish` reports the gate.
            if done == 0 and self.tries < START_TRIES and self.lock.present(now_ms) and self.driver.off():
                self._fire(now_ms)
            else:
                self._lock_out(words.MAINS_LOST, now_ms)

    def _finish(self, ending: int) -> None:
        """Turn the gate off, count the half-cycles fired, and set the polarity of the next weld."""
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
        self._weld_ended(ending)
        if not low:
            self.state = words.LOCKED_OUT
            self.reason = words.GATE_STUCK

    def _weld_ended(self, ending: int) -> None:
        """Record the ending of a weld."""
        self.ending = ending
        permille = self.correction.permille if self.config.CORRECT_PERMILLE else 0
        self.last_welds.add(ending, self.plan.planned, self.fired, self.duty.used // 100, self.duty.seconds, permille)
        self.curve.ended(self.last_welds.count)
        self.correction_due = True

    def _end(self, ending: int, now_ms: int) -> None:
        """End a weld early, and go to off."""
        # In hold and off the ending stays: the current has ended, so a stop does not shorten the weld.
        if self.state == words.WELD:
            self._finish(ending)
        elif self.state == words.SQUEEZE:
            self._weld_ended(ending)
        if self.state != words.LOCKED_OUT:
            self._enter(words.OFF, now_ms)

    def _lock_out(self, reason: int, now_ms: int) -> None:
        # In hold and off the ending stays, as in `_end`.
        if self.state == words.WELD:
            self._finish(words.STOPPED if reason == words.STOP_CIRCUIT_OPEN else words.FAULT)
        elif self.state == words.SQUEEZE:
            self._weld_ended(words.STOPPED if reason == words.STOP_CIRCUIT_OPEN else words.FAULT)
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
            self._store_lockout()
            return
        if self.reason == words.GATE_STUCK:
            return  # only a repair ends this
        if self.reason == words.SETTINGS_DAMAGED:
            return  # there is no schedule to weld with
        if self.reason in ACKNOWLEDGED and not self.acknowledged:
            return
        if trouble:
            self.reason = trouble  # report the present fault, so that the way out fits it
            return
        if self.reason == words.MAINS_LOST and not self.lock.locked():
            return
        if self.reason == words.DUTY and not self.duty.allows(self.plan.cost):
            return
        if not self.pedal and self._pedal_steady(now_ms):
            if self.failure:
                failure.forget(self.driver)
                self.failure = ""
                self.flash_written = True
            self.reason = self.begun_with = words.NO_REASON
            self._enter(words.WAITING_FOR_MAINS, now_ms)
