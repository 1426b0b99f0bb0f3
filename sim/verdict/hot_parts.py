"""The hot parts of a machine: thermal network, losses in one weld, and limit of each."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import groupby, pairwise

from gen.machine.tables import OneElectrode
from gen.machine.welder import Welder
from gen.roots import root
from sim.core.impulse import Swing
from sim.core.weld_current import WeldCurrents
from sim.thermal import (
    COPPER,
    CUCR1,
    CUCR1ZR,
    FURNACE_H,
    LARSON_MILLER_C,
    Cooling,
    Cycle,
    Electrode,
    Forecast,
    FosterTerm,
    LinearNetwork,
    Mass,
    Material,
    OnState,
    PowerProfile,
    Segment,
    Winding,
    at_its_own_mean,
    electrode_network,
    equilibrium,
    equilibrium_course,
    equilibrium_mean_degC,
    fastest_safe_pace,
    forecast,
    rest_after_burst_s,
    softened,
    switch_network,
    time_to_limit_s,
    winding_networks,
)
from sim.thermal.network import Array
from sim.verdict.finding import Severity

CASE_LIMIT_C = 85.0  # common practice, no source: rated currents are given at 70 to 90
COPPER_OF_MASS = 0.3  # winding's share of a transformer's mass, the rest is core; common practice, no source
SLICES = 6  # slices of a half-cycle's loss, which the junction follows
DAYS_WELDS = 1000  # a day's welds, after which a face is dressed; common practice, no source
_MOST_WELDS = 10**6  # reported; more are as good as endless
MATERIALS = {"Cu-ETP": COPPER, "CuCr1": CUCR1, "CuCr1Zr": CUCR1ZR}


@dataclass(frozen=True)
class HotPart:
    """One part under one weld repeated at a pace."""

    name: str
    called: str
    """Its name at the beginning of a sentence."""
    network: LinearNetwork
    """The network; if its time constant is a range, with the shortest, which has the highest peak."""
    profile: PowerProfile
    output: str
    limit_C: float
    source: str
    advice: str
    severity: Severity = "refuse"
    by_mean: bool = False
    """Whether the limit is of the mean, not of the peak."""
    slow: LinearNetwork | None = None
    """The network with the longest time constant, which needs the longest rest; None if the constant is known."""
    meaning: str = ""
    """The meaning of its temperature."""
    remade: Callable[[float], HotPart] | None = None
    """The part at another pace; None where neither network nor limit depends on the pace."""

    def outlook(self, welds_per_minute: float, welds: int) -> Forecast:
        """After `welds` welds from cold, a minute later, and in endless work."""
        return forecast(self.network, self.profile, 60 / welds_per_minute, max(1, welds), self.output)

    def for_ever(self, welds_per_minute: float) -> Cycle:
        """The cycle that endless work repeats."""
        return equilibrium(self.network, self.profile, 60 / welds_per_minute, self.output)

    def fastest(self, least_period_s: float) -> float:
        """The most welds a minute that never pass the limit; 0 for none."""
        if self.by_mean:  # a mean rises in proportion to the pace
            period_s = max(least_period_s, self.profile.end_s)
            mean_C = equilibrium_mean_degC(self.network, self.profile, period_s, self.output)
            ambient_C = self.network.ambient_degC
            most = (self.limit_C - ambient_C) / (mean_C - ambient_C) if mean_C > self.limit_C else 1.0
            return max(0.0, most) * 60 / period_s
        return fastest_safe_pace(self.network, self.profile, self.limit_C, self.output, least_period_s)

    def rest_s(self, welds_per_minute: float, welds: int) -> float:
        """The rest after `welds` welds at this pace before one more is safe."""
        network = self.slow or self.network
        return rest_after_burst_s(network, self.profile, 60 / welds_per_minute, welds, self.limit_C, self.output)

    def time_to_limit_s(self, welds_per_minute: float) -> float:
        """Time at this pace until the limit is passed; inf: never."""
        return time_to_limit_s(self.network, self.profile, 60 / welds_per_minute, self.limit_C, self.output)


def hot_parts(currents: WeldCurrents, welder: Welder, welds_per_minute: float) -> tuple[HotPart, ...]:
    """The parts for which the welder file has enough figures. Currents are at the upper end of their range."""
    found = (
        junction_part(currents, welder),
        case_part(currents, welder),
        winding_part(currents, welder),
        electrode_part(currents, welder, welds_per_minute),
        electrode_peak_part(currents, welder, welds_per_minute),
    )
    return tuple(part for part in found if part is not None)


def junction_part(currents: WeldCurrents, welder: Welder) -> HotPart | None:
    """The hotter junction of the switch; None where its thermal impedance is not known."""
    switch = welder.switch
    if not switch.foster:
        return None
    on_state = _on_state(welder)

    def losses(swing: Swing, linear: float, square: float) -> tuple[float, float]:
        mean_A = linear * abs(swing.charge_C) / currents.half_s * currents.scale
        loss = on_state.threshold_V * mean_A + on_state.slope_ohm * square * (swing.primary_rms_A * currents.scale) ** 2
        return (loss, 0.0) if swing.positive else (0.0, loss)

    return HotPart(
        "junction",
        "The hotter junction of the switch",
        _on_its_sink(welder),
        _sliced(currents, losses),
        "junction_1" if currents.settled.swings[-1].positive else "junction_2",
        switch.junction_limit_C,
        "switch.junction_limit_C, its data sheet",
        "Fit a larger switch or heat sink, or weld more slowly.",
    )


def case_part(currents: WeldCurrents, welder: Welder) -> HotPart:
    """The case of the switch."""
    on_state = _on_state(welder)

    def losses(swing: Swing) -> tuple[float, float]:
        mean_A = abs(swing.charge_C) / currents.half_s * currents.scale
        loss = on_state.loss_W(mean_A, swing.primary_rms_A * currents.scale)
        return (loss, 0.0) if swing.positive else (0.0, loss)

    return HotPart(
        "case",
        "The case of the switch",
        _on_its_sink(welder),
        _profile(currents, losses),
        "case",
        CASE_LIMIT_C,
        "common practice, no source",
        "Fit a larger heat sink or a fan, or weld more slowly.",
        "caution",
    )


def _on_state(welder: Welder) -> OnState:
    return OnState(welder.switch.on_state_V, welder.switch.on_state_slope_mohm / 1000)


def _on_its_sink(welder: Welder) -> LinearNetwork:
    switch, sink = welder.switch, welder.heat_sink
    cooling = Cooling(switch.case_to_sink_K_per_W, sink.K_per_W, sink.J_per_K, welder.ambient.temperature_C)
    # Without a ladder the junction is not judged. The case needs one, here with a junction that follows at once.
    return switch_network([FosterTerm(*term) for term in switch.foster or ((1e-6, 1e-3),)], cooling)


def _profile(currents: WeldCurrents, inputs: Callable[[Swing], tuple[float, ...]]) -> PowerProfile:
    """Each half-cycle with the input of the swings that begin in it, constant over the half-cycle."""
    first = currents.settled.swings[0].half_cycle
    return PowerProfile(
        tuple(
            Segment(
                (half_cycle - first) * currents.half_s,
                currents.half_s,
                tuple(sum(parts) for parts in zip(*map(inputs, swings), strict=True)),
            )
            for half_cycle, swings in groupby(currents.settled.swings, lambda swing: swing.half_cycle)
        )
    )


def _sliced(currents: WeldCurrents, inputs: Callable[[Swing, float, float], tuple[float, ...]]) -> PowerProfile:
    """Each swing's heat as half a sine from its start to its end, with the swing's charge and RMS.

    `inputs` takes a swing and the factors of its mean current and of its mean square over the half-cycle.

    A repeated swing may end a little after the next one begins. It is cut there, with its whole loss.
    """
    swings = currents.settled.swings
    starts_s = [(s.half_cycle - swings[0].half_cycle + s.start_deg / 180) * currents.half_s for s in swings]
    edges = [math.pi * n / SLICES for n in range(SLICES + 1)]
    shares = [  # of the integral of a half sine, and of its square
        ((math.cos(a) - math.cos(b)) / 2, ((b - a) - (math.sin(2 * b) - math.sin(2 * a)) / 2) / math.pi)
        for a, b in pairwise(edges)
    ]
    segments = []
    for swing, start_s, next_s in zip(swings, starts_s, [*starts_s[1:], math.inf], strict=True):
        length_s = (swing.end_deg - swing.start_deg) / 180 * currents.half_s
        slice_s = min(length_s, next_s - start_s) / SLICES
        stretch = currents.half_s / slice_s
        for n, (linear, square) in enumerate(shares):
            segments.append(Segment(start_s + n * slice_s, slice_s, inputs(swing, stretch * linear, stretch * square)))
    return PowerProfile(tuple(segments))


def winding_part(currents: WeldCurrents, welder: Welder) -> HotPart:
    """The primary winding, calibrated at the rating plate."""
    t = welder.transformer
    plate = Winding(
        welder.rated_current_A,
        t.rating_duty_percent / 100,
        t.insulation_class,
        welder.ambient.temperature_C,
        *_winding_time(welder),
    )
    profile = _profile(currents, lambda s: ((s.primary_rms_A * currents.scale) ** 2,))
    networks = winding_networks(plate)
    return HotPart(
        "winding",
        "The winding",
        networks[0],
        profile,
        "winding",
        plate.limit_degC,
        f"class {t.insulation_class}, calibrated at the plate (IEC 60076-11 rise, from memory)",
        "Weld more slowly, or with less current.",
        slow=networks[-1],
    )


def _winding_time(welder: Welder) -> tuple[Mass | None, float | None]:
    """Mass and time constant, as far as the file gives them. A measured time constant takes precedence over the mass."""
    t, machine = welder.transformer, welder.machine
    if "winding_time_constant_min" in t.model_fields_set:
        return None, 60 * t.winding_time_constant_min
    if t.mass_kg is None or machine.loop_resistance is None:  # the windings' own resistance is not known
        return None, None
    loss_W = welder.rated_current_A**2 * machine.leakage_resistance.middle * t.rating_duty_percent / 100
    if loss_W <= 0:
        return None, None
    return Mass(COPPER_OF_MASS * t.mass_kg, (1 - COPPER_OF_MASS) * t.mass_kg, loss_W), None


def electrode_part(currents: WeldCurrents, welder: Welder, welds_per_minute: float) -> HotPart | None:
    """The mean of an electrode's face; None where electrodes or turns ratio are not known."""
    if welder.electrodes is None or currents.turns is None:
        return None
    share = currents.assumed.joint_share
    face = max(_faces(currents, welder, welds_per_minute, share), key=lambda f: f.cycle.mean_degC / f.softening_C)
    return HotPart(
        "electrode-heat",
        "An electrode's face",
        face.network,
        face.profile,
        "face",
        face.softening_C,
        f"softening of {face.material.name} (ISO 5182, from memory); {share:.0%} of the joint's heat in each, assumed",
        "The faces soften and mushroom: weld more slowly, use CuCr1Zr, a shorter or thicker electrode, or cool it.",
        "caution",
        by_mean=True,
        remade=_remaker(electrode_part, currents, welder),
    )


def electrode_peak_part(currents: WeldCurrents, welder: Welder, welds_per_minute: float) -> HotPart | None:
    """The peak of an electrode's face; None where electrodes or turns ratio are not known.

    Its limit is the lower of two peaks of a course of the same shape: the one that softens the face after `DAYS_WELDS`
    welds, and the one that melts it with the largest share of the joint's heat.
    """
    if welder.electrodes is None or currents.turns is None:
        return None
    share, most = currents.assumed.joint_share, max(currents.assumed.joint_share, currents.assumed.most_joint_share)
    face, hottest = max(
        zip(*(_faces(currents, welder, welds_per_minute, s) for s in (share, most)), strict=True),
        key=lambda pair: pair[0].cycle.peak_degC / pair[0].softening_C,
    )
    ambient_C, melting_C = face.network.ambient_degC, face.material.melting_degC
    peak_C, hottest_C = (f.cycle.peak_degC for f in (face, hottest))
    to_melting = (melting_C - ambient_C) / (hottest_C - ambient_C)
    lasts = _welds_words(face.welds_until_soft())
    advice = f"The face softens and mushrooms, after {lasts}; with {most:.0%} of the joint's heat in each it peaks at"
    advice += f" {hottest_C:.0f} degC, and {face.material.name} melts at {melting_C:g}."
    return HotPart(
        "electrode-peak",
        "An electrode's face",
        face.network,
        face.profile,
        "face",
        ambient_C + (peak_C - ambient_C) * min(to_melting, face.bearable()),
        f"soft after {DAYS_WELDS} welds, a day's work (common practice, no source): softening of {face.material.name}, "
        f"{face.softening_C:g} degC for {FURNACE_H:g} h (ISO 5182), as time at temperature after Larson and Miller, with "
        f"{LARSON_MILLER_C:g}, from memory; {share:.0%} of the joint's heat in each, assumed, and for melting {most:.0%}",
        f"{advice} Use CuCr1Zr, less current, a shorter weld or a larger face.",
        "refuse" if to_melting < 1 else "caution",
        meaning=f"soft after {lasts}",
        remade=_remaker(electrode_peak_part, currents, welder),
    )


def _welds_words(welds: float) -> str:
    """A number of welds to two digits; it is not known any better."""
    if welds > _MOST_WELDS:
        return "more than a million welds"
    return "one weld" if welds < 2 else f"{float(f'{welds:.2g}'):.0f} welds"


def _remaker(
    make: Callable[[WeldCurrents, Welder, float], HotPart | None], currents: WeldCurrents, welder: Welder
) -> Callable[[float], HotPart]:
    def remade(welds_per_minute: float) -> HotPart:
        part = make(currents, welder, welds_per_minute)
        assert part is not None, "the same file had enough figures before"
        return part

    return remade


@dataclass(frozen=True, eq=False)
class _Face:
    """An electrode's face over one period of endless work."""

    material: Material
    network: LinearNetwork
    profile: PowerProfile
    period_s: float

    @property
    def softening_C(self) -> float:
        """Softening temperature in a furnace; inf for a metal that has none."""
        return self.material.softening_degC or math.inf

    @cached_property
    def cycle(self) -> Cycle:
        return equilibrium(self.network, self.profile, self.period_s, "face")

    @cached_property
    def course(self) -> tuple[Array, Array]:
        return equilibrium_course(self.network, self.profile, self.period_s, "face")

    def welds_until_soft(self, scale: float = 1.0) -> float:
        """Welds until the face is soft, with its rise above ambient multiplied by `scale`."""
        ambient_C = self.network.ambient_degC
        times_s, course_C = self.course
        done = softened(self.softening_C, times_s, ambient_C + scale * (course_C - ambient_C))
        return 1 / done if done > 0 else math.inf

    def bearable(self) -> float:
        """The factor of the rise with which the face is soft after `DAYS_WELDS`."""

        def too_long(scale: float) -> float:
            return math.log(self.welds_until_soft(scale) / DAYS_WELDS)

        low, high = 0.0, 1.0
        while too_long(high) > 0:
            low, high = high, 2 * high
        return root(too_long, low, high)


def _faces(currents: WeldCurrents, welder: Welder, welds_per_minute: float, share: float) -> list[_Face]:
    """The face of each different electrode, with this share of the joint's heat in each."""
    assert welder.electrodes is not None
    upper, lower = welder.electrodes.pair
    return [
        _face(e, currents, welder, welds_per_minute, share) for e in ([upper] if upper == lower else [upper, lower])
    ]


@lru_cache(maxsize=4)
def _face_losses(currents: WeldCurrents, work_ohm: float, turns: float) -> PowerProfile:
    """The heat from the joint into a face, and the face's squared current, during one weld. Computed once for all paces."""

    def inputs(swing: Swing, _: float, square: float) -> tuple[float, float]:
        primary_A2 = square * (swing.secondary_rms_A * currents.scale) ** 2
        return work_ohm * primary_A2, primary_A2 * turns**2

    return _sliced(currents, inputs)


def _face(e: OneElectrode, currents: WeldCurrents, welder: Welder, welds_per_minute: float, share: float) -> _Face:
    """One electrode's face, with its resistance at its mean temperature in endless work."""
    turns = currents.turns
    assert turns is not None
    face_mm = e.face_mm
    cone_mm = min((e.diameter_mm - face_mm) / 2, 0.5 * e.length_mm)
    material = MATERIALS[e.alloy]
    electrode = Electrode(
        material,
        e.diameter_mm / 1e3,
        e.length_mm / 1e3,
        face_mm / 1e3,
        cone_mm / 1e3,
        ambient_degC=welder.ambient.temperature_C,
    )
    # The work's resistance is referred to the primary, as the current is.
    profile = _face_losses(currents, share * welder.machine.work_resistance.middle, turns)
    period_s = max(60 / welds_per_minute, profile.end_s)
    try:
        settled = at_its_own_mean(electrode, profile, period_s)
    except ArithmeticError:  # it heats without end: judged with the resistance at melting
        settled = replace(electrode, mean_degC=material.melting_degC)
    return _Face(material, electrode_network(settled), profile, period_s)
