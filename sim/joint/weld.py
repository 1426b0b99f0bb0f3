"""One weld of a joint over time: the circuit's current, heat, melting, setdown, and the end."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from sim.joint.field import Diverged, current, even, heated
from sim.joint.metals import Array
from sim.joint.sites import Site, SiteMeasures

Amperes = Callable[[float], float]  # RMS current by the joint's resistance in ohm

AMBIENT_C = 20.0
_BOILS_C = 2900.0  # iron boils at 2860, from memory; a weld that hot would fly apart, so the simulation ends
_TRIES = 12
_HARDLY_OHM = 2e-4


@dataclass(frozen=True)
class Span:
    """A part of the schedule with one firing delay, or without current."""

    length_s: float
    amperes: Amperes | None
    """The current; None without current."""


@dataclass(frozen=True)
class Stepping:
    """The time stepping of a weld."""

    rise_K: float = 80.0
    """Intended rise of the hottest cell in a step. A step with more than 2.5 times this is repeated, shorter."""
    least: int = 40
    """Least number of steps."""
    first_s: float = 4e-4
    """Length of the first step."""

    def finer(self, times: float) -> Stepping:
        """Steps that are shorter by this factor."""
        return Stepping(self.rise_K / times, round(self.least * times), self.first_s / times)


STEPPING = Stepping()


@dataclass(frozen=True, eq=False)
class Picture:
    """The joint at one instant."""

    time_s: float
    site: Site
    at_C: Array
    """Temperature of each cell."""


@dataclass(frozen=True, eq=False)
class WeldCourse:
    """A weld over time. Arrays and `measures` have one value a step."""

    time_s: Array
    """End of each step."""
    current_A: Array
    ohm: Array
    """Resistance between the electrodes."""
    measures: tuple[SiteMeasures, ...]
    pictures: tuple[Picture, ...]
    supplied_J: float
    """Heat that the current made."""
    lost_J: float
    """Heat that left the mesh."""
    moved_J: float
    """Heat content of the metal pressed aside."""
    balance: float
    """Heat that is not accounted for, over heat supplied."""
    steps: int
    boiled: bool = False
    """Whether the weld ended early because the joint boiled."""

    def of(self, name: str) -> Array:
        """The measure of this name over time."""
        return np.array([getattr(each, name) for each in self.measures])

    @property
    def setdown_m(self) -> float:
        """The setdown at the end."""
        return self.measures[-1].setdown_m

    @property
    def nugget_m(self) -> float:
        """The greatest nugget diameter."""
        return float(self.of("nugget_m").max())

    @property
    def joint_C(self) -> float:
        """The greatest mean temperature of the faying surface."""
        return float(self.of("joint_C").max())

    def reached_s(self, name: str, value: float) -> float:
        """The time at which a measure first reached `value`, interpolated between steps; infinite where it never did."""
        found = self.of(name)
        over = np.flatnonzero(found >= value)
        if len(over) == 0:
            return float("inf")
        k = int(over[0])
        if k == 0:
            return float(self.time_s[0])
        part = (value - found[k - 1]) / (found[k] - found[k - 1])
        return float(self.time_s[k - 1] + part * (self.time_s[k] - self.time_s[k - 1]))


@dataclass
class _Log:
    time_s: list[float] = field(default_factory=list)
    current_A: list[float] = field(default_factory=list)
    ohm: list[float] = field(default_factory=list)
    measures: list[SiteMeasures] = field(default_factory=list)
    pictures: list[Picture] = field(default_factory=list)


def welded(
    site: Site,
    spans: Sequence[Span],
    stepping: Stepping | None = None,
    *,
    until: Callable[[SiteMeasures], bool] | None = None,
    pictures_s: Sequence[float] = (),
) -> WeldCourse:
    """The weld of `spans`, from cold. It ends early once `until` holds. Raises Diverged if the solution does not settle."""
    stepping = stepping or STEPPING
    warmth = even(site.metal, site.mesh.cells, AMBIENT_C)
    begun_J = float((warmth.enthalpy_J_m3 * site.mesh.volume_m3).sum())
    log, now_s, given, lost, moved, boiled = _Log(), 0.0, 0.0, 0.0, 0.0, False
    guess: Array | None = None
    felt_A = 0.0
    step_s, ended = stepping.first_s, False
    wanted = sorted(pictures_s)
    longest_s = sum(span.length_s for span in spans) / stepping.least
    for span in spans:
        end_s = now_s + span.length_s
        step_s = min(stepping.first_s if now_s == 0 else step_s, span.length_s)
        # A contact uses the smoothed current of the steps before, or resistance and current would oscillate. The first value
        # is the current of a joint with little resistance.
        if span.amperes is None or felt_A == 0:
            felt_A = span.amperes(_HARDLY_OHM) if span.amperes else 0.0
        while now_s < end_s - 1e-9 and not ended:
            mesh, share = site.mesh, site.share
            contact = site.contact(warmth.at_C, felt_A)
            if guess is not None and len(guess) != mesh.cells:
                guess = None
            flow = current(mesh, site.metal.resistivity_ohm_m(warmth.at_C), contact, guess)
            guess = flow.volts
            ohm = flow.ohm * share
            amperes = span.amperes(ohm) if span.amperes else 0.0
            felt_A = math.sqrt(felt_A * amperes)
            watts = flow.cell_ohm * (amperes * share) ** 2
            for _ in range(_TRIES):
                step_s = min(step_s, end_s - now_s)
                step = heated(mesh, site.metal, warmth, watts, step_s, contact)
                rise = float(np.abs(step.warmth.at_C - warmth.at_C).max())
                if rise <= 2.5 * stepping.rise_K:
                    break
                step_s *= max(0.2, stepping.rise_K / rise)
            else:
                raise Diverged(f"after {now_s:.3g} s the temperatures rise too fast to be followed")
            given += flow.ohm * (amperes * share) ** 2 * step_s
            lost += (step.lost_W + flow.held_ohm * (amperes * share) ** 2) * step_s
            warmth, now_s = step.warmth, now_s + step_s
            before = float((warmth.enthalpy_J_m3 * mesh.volume_m3).sum())
            site, warmth = site.deformed(warmth, step_s)
            moved += before - float((warmth.enthalpy_J_m3 * site.mesh.volume_m3).sum())
            measures = site.measured(warmth.at_C)
            boiled = not measures.core_C < _BOILS_C
            log.time_s.append(now_s)
            log.current_A.append(amperes)
            log.ohm.append(ohm)
            log.measures.append(measures)
            while wanted and now_s >= wanted[0] - 1e-9:
                log.pictures.append(Picture(now_s, site, warmth.at_C))
                wanted.pop(0)
            step_s = min(step_s * min(1.4, max(0.5, stepping.rise_K / max(rise, 1e-6))), longest_s)
            ended = boiled or (until is not None and until(measures))
    if wanted:
        log.pictures.append(Picture(now_s, site, warmth.at_C))  # it ended early
    stored = float((warmth.enthalpy_J_m3 * site.mesh.volume_m3).sum()) - begun_J
    balance = abs(given - lost - moved - stored) / max(given, 1e-9)
    return WeldCourse(
        np.array(log.time_s),
        np.array(log.current_A),
        np.array(log.ohm),
        tuple(log.measures),
        tuple(log.pictures),
        given / site.share,
        lost / site.share,
        moved / site.share,
        balance,
        len(log.time_s),
        boiled,
    )


def steady(amperes: float) -> Amperes:
    """A constant current, independent of the joint's resistance, as in the tables."""
    return lambda _: amperes
