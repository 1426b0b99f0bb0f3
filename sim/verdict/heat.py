"""Checks of heat at the pace asked: junction, case, winding, electrode; and how hot each is now, soon and for ever."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

from gen.machine.welder import Welder
from gen.table import TimingTable
from sim.core.impulse import Swing
from sim.core.weld_current import Stress
from sim.thermal import (
    COPPER,
    CUCR1,
    CUCR1ZR,
    Cooling,
    Cycle,
    Electrode,
    Forecast,
    FosterTerm,
    LinearNetwork,
    Mass,
    OnState,
    PowerProfile,
    Segment,
    Winding,
    at_its_own_mean,
    electrode_network,
    equilibrium,
    fastest_safe_pace,
    forecast,
    rest_after_burst_s,
    switch_network,
    time_to_limit_s,
    winding_networks,
)
from sim.verdict.finding import Finding, Severity, judged

CASE_LIMIT_C = 85.0  # common practice, no source: rated currents are given at 70 to 90
COPPER_OF_MASS = 0.3  # of a transformer's mass is winding, the rest core; common practice, no source
SLICES = 6  # of a half-cycle, each with its own share of the loss, for the junction that follows it
MELTED_C = 1083.0
MATERIALS = {"Cu-ETP": COPPER, "CuCr1": CUCR1, "CuCr1Zr": CUCR1ZR}


@dataclass(frozen=True)
class HotPart:
    """One part under one weld repeated at a pace. `limit_C` is of its peak, or with `by_mean` of its mean.

    Where its time constant is a range `network` is the quick end, which peaks highest, and `slow` the one that rests longest.
    """

    name: str
    network: LinearNetwork
    profile: PowerProfile
    output: str
    limit_C: float
    source: str
    advice: str
    severity: Severity = "refuse"
    by_mean: bool = False
    slow: LinearNetwork | None = None

    def outlook(self, welds_per_minute: float, welds: int) -> Forecast:
        """After `welds` welds from cold, a minute later, and for ever."""
        return forecast(self.network, self.profile, 60 / welds_per_minute, max(1, welds), self.output)

    def for_ever(self, welds_per_minute: float) -> Cycle:
        """The cycle that endless work repeats."""
        return equilibrium(self.network, self.profile, 60 / welds_per_minute, self.output)

    def fastest(self, least_period_s: float) -> float:
        """Welds a minute that may go on for ever; 0: not one."""
        if self.by_mean:  # a mean rises in proportion to the pace
            period_s = max(least_period_s, self.profile.end_s)
            mean_C = equilibrium(self.network, self.profile, period_s, self.output).mean_degC
            ambient_C = self.network.ambient_degC
            most = (self.limit_C - ambient_C) / (mean_C - ambient_C) if mean_C > self.limit_C else 1.0
            return max(0.0, most) * 60 / period_s
        return fastest_safe_pace(self.network, self.profile, self.limit_C, self.output, least_period_s)

    def rest_s(self, welds_per_minute: float, welds: int) -> float:
        """Rest after that many welds at that pace before one more is safe."""
        network = self.slow or self.network
        return rest_after_burst_s(network, self.profile, 60 / welds_per_minute, welds, self.limit_C, self.output)

    def time_to_limit_s(self, welds_per_minute: float) -> float:
        """Time at this pace until the limit is passed; inf: never."""
        return time_to_limit_s(self.network, self.profile, 60 / welds_per_minute, self.limit_C, self.output)


def hot_parts(stress: Stress, welder: Welder, welds_per_minute: float) -> tuple[HotPart, ...]:
    """The parts that the welder file tells enough about. Currents are taken at the upper end of their range."""
    return (*_switch(stress, welder), *_winding(stress, welder), *_electrode(stress, welder, welds_per_minute))


def heat_findings(
    parts: tuple[HotPart, ...], table: TimingTable, welds_per_minute: float, *, advise: bool = True
) -> list[Finding]:
    """Each part's temperature at equilibrium against its limit. A pace that leaves no time for the weld is another check's.

    Without `advise` no slower pace is searched for, which takes longer than all the rest.
    """
    weld_s = (table.half_cycles - table.time_of("off")) * 0.5 / table.frequency_Hz
    findings = []
    for part in parts:
        pace = min(welds_per_minute, 60 / weld_s)
        final = part.for_ever(pace)
        figure = final.mean_degC if part.by_mean else final.peak_degC
        fastest = part.fastest(weld_s) if advise and figure > part.limit_C else 0.0
        slower = f" It holds for ever at {_floored(fastest):g} welds a minute." if fastest >= 0.1 else ""
        findings.append(
            replace(
                judged(
                    part.name,
                    figure,
                    part.limit_C,
                    "degC for ever at this pace",
                    part.source,
                    part.advice + slower,
                    otherwise=part.severity,
                    digits=1,
                ),
                conditions=("mean" if part.by_mean else "peak",),
                zero=part.network.ambient_degC,
            )
        )
    return findings


def _floored(pace: float) -> float:
    """A pace that may be typed: not faster, in tenths."""
    return math.floor(10 * pace) / 10


def _profile(stress: Stress, inputs: Callable[[Swing], tuple[float, ...]]) -> PowerProfile:
    """Each swing as a half-cycle of constant input, in its own place."""
    first = stress.settled.swings[0].half_cycle
    return PowerProfile(
        tuple(Segment((s.half_cycle - first) * stress.half_s, stress.half_s, inputs(s)) for s in stress.settled.swings)
    )


def _switch(stress: Stress, welder: Welder) -> tuple[HotPart, ...]:
    switch = welder.switch
    on_state = OnState(switch.on_state_V, switch.on_state_slope_mohm / 1000)

    def losses(swing: Swing) -> tuple[float, float]:
        mean_A = abs(swing.charge_C) / stress.half_s * stress.scale
        loss = on_state.loss_W(mean_A, swing.primary_rms_A * stress.scale)
        return (loss, 0.0) if swing.positive else (0.0, loss)

    profile = _profile(stress, losses)
    cooling = Cooling(
        switch.case_to_sink_K_per_W, welder.heat_sink.K_per_W, welder.heat_sink.J_per_K, welder.ambient.temperature_C
    )
    # Without a ladder the junction is not judged; one that follows at once serves to reach the case.
    ladder = [FosterTerm(*term) for term in switch.foster or ((1e-6, 1e-3),)]
    network = switch_network(ladder, cooling)
    case = HotPart(
        "case",
        network,
        profile,
        "case",
        CASE_LIMIT_C,
        "common practice, no source",
        "Fit a larger heat sink or a fan, or weld more slowly.",
        "caution",
    )
    if not switch.foster:
        return (case,)
    hotter = "junction_1" if stress.settled.swings[-1].positive else "junction_2"
    junction = HotPart(
        "junction",
        network,
        _sliced(stress, on_state),
        hotter,
        switch.junction_limit_C,
        "switch.junction_limit_C, its data sheet",
        "Fit a larger switch or heat sink, or weld more slowly.",
    )
    return junction, case


def _sliced(stress: Stress, on_state: OnState) -> PowerProfile:
    """Each swing's loss where it falls: as half a sine from its start to its end, with the charge and RMS that it has."""
    first = stress.settled.swings[0].half_cycle
    edges = [math.pi * n / SLICES for n in range(SLICES + 1)]
    shares = [  # of the integral of a half sine, and of its square
        ((math.cos(a) - math.cos(b)) / 2, ((b - a) - (math.sin(2 * b) - math.sin(2 * a)) / 2) / math.pi)
        for a, b in pairwise(edges)
    ]
    segments = []
    for swing in stress.settled.swings:
        start_s = (swing.half_cycle - first + swing.start_deg / 180) * stress.half_s
        slice_s = (swing.end_deg - swing.start_deg) / 180 * stress.half_s / SLICES
        charge_C = abs(swing.charge_C) * stress.scale
        squares_A2s = (swing.primary_rms_A * stress.scale) ** 2 * stress.half_s
        for n, (linear, square) in enumerate(shares):
            loss_W = (on_state.threshold_V * linear * charge_C + on_state.slope_ohm * square * squares_A2s) / slice_s
            inputs = (loss_W, 0.0) if swing.positive else (0.0, loss_W)
            segments.append(Segment(start_s + n * slice_s, slice_s, inputs))
    return PowerProfile(tuple(segments))


def _winding(stress: Stress, welder: Welder) -> tuple[HotPart, ...]:
    t = welder.transformer
    plate = Winding(
        welder.rated_current_A,
        t.rating_duty_percent / 100,
        t.insulation_class,
        welder.ambient.temperature_C,
        *_winding_time(welder),
    )
    profile = _profile(stress, lambda s: ((s.primary_rms_A * stress.scale) ** 2,))
    networks = winding_networks(plate)
    return (
        HotPart(
            "winding",
            networks[0],
            profile,
            "winding",
            plate.limit_degC,
            f"class {t.insulation_class}, calibrated at the plate (IEC 60076-11 rise, from memory)",
            "Weld more slowly, or with less current.",
            slow=networks[-1],
        ),
    )


def _winding_time(welder: Welder) -> tuple[Mass | None, float | None]:
    """Mass and time constant, as far as the file gives them: a measured time constant goes before one from the mass."""
    t, machine = welder.transformer, welder.machine
    if "winding_time_constant_min" in t.model_fields_set:
        return None, 60 * t.winding_time_constant_min
    if t.mass_kg is None or machine.loop_resistance is None:  # the windings' own resistance is not known
        return None, None
    loss_W = welder.rated_current_A**2 * machine.leakage_resistance.middle * t.rating_duty_percent / 100
    if loss_W <= 0:
        return None, None
    return Mass(COPPER_OF_MASS * t.mass_kg, (1 - COPPER_OF_MASS) * t.mass_kg, loss_W), None


def _electrode(stress: Stress, welder: Welder, welds_per_minute: float) -> tuple[HotPart, ...]:
    e = welder.electrodes
    if e is None or stress.turns is None:
        return ()
    face_mm = e.face_diameter_mm or (2 * e.groove_radius_mm if e.groove_radius_mm else 0.5 * e.diameter_mm)
    cone_mm = min((e.diameter_mm - face_mm) / 2, 0.5 * e.length_mm)
    electrode = Electrode(
        MATERIALS[e.alloy],
        e.diameter_mm / 1e3,
        e.length_mm / 1e3,
        face_mm / 1e3,
        cone_mm / 1e3,
        ambient_degC=welder.ambient.temperature_C,
    )
    work_ohm = welder.machine.work_resistance.middle  # referred to the primary, as the current is

    share = stress.assumed.joint_share

    def inputs(swing: Swing) -> tuple[float, float]:
        primary_A2 = (swing.secondary_rms_A * stress.scale) ** 2
        return share * work_ohm * primary_A2, primary_A2 * (stress.turns or 0) ** 2

    profile = _profile(stress, inputs)
    period_s = max(60 / welds_per_minute, profile.end_s)
    try:
        settled = at_its_own_mean(electrode, profile, period_s)
    except ArithmeticError:  # it runs away: judged with the resistance of copper about to melt
        settled = replace(electrode, mean_degC=MELTED_C)
    softening = settled.material.softening_degC or math.inf
    return (
        HotPart(
            "electrode-heat",
            electrode_network(settled),
            profile,
            "face",
            softening,
            f"softening of {e.alloy} (ISO 5182, from memory); {share:.0%} of the joint's heat in each, assumed",
            "The faces soften and mushroom: weld more slowly, use CuCr1Zr, a shorter or thicker electrode, or cool it.",
            "caution",
            by_mean=True,
        ),
    )


def not_judged(welder: Welder) -> Finding | None:
    """Checks left out because the welder file does not tell enough."""
    missing = {
        "switch-current": ("switch.rated_current_A", welder.switch.rated_current_A),
        "switch-surge": ("switch.surge_current_A", welder.switch.surge_current_A),
        "junction": ("switch.foster", welder.switch.foster),
        "electrode-heat": (
            "electrodes and transformer.open_secondary_V",
            welder.electrodes if welder.machine.in_use.turns_ratio else None,
        ),
    }
    left_out = {name: key for name, (key, value) in missing.items() if value is None}
    if not left_out:
        return None
    keys = ", ".join(f"{key} for {name}" for name, key in left_out.items())
    return Finding(
        "not-judged",
        "caution",
        len(left_out),
        0,
        "checks left out",
        "the welder file",
        f"Nothing is known about these: give {keys}.",
    )
