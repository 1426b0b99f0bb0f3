"""What is tried on each stage of the interface board: its parts, what drives them, and the figures that come of it.

A trial is told to both solvers, and each of them reads its own voltages; only the reading of a figure off a curve is shared.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from gen.current import scale_of
from gen.machine.supply import second_is_live
from gen.machine.welder import FREQUENCY_BAND, Welder
from gen.measured.course import COUPLER_LATE_US
from gen.wiring.arithmetic import LOGIC_OF_SUPPLY, MAINS_OF_NOMINAL
from gen.wiring.choice import Choice
from gen.wiring.interface import Component, interface_for
from gen.wiring.interface.contactor_stage import TRAIN_GONE_MS, held_ms
from gen.wiring.interface.gate_stage import SUPPLY_SPREAD, SUPPLY_V, one_shot
from gen.wiring.interface.input_stages import contacts_read, inputs_stage
from gen.wiring.interface.nodal import Nodal, Source, times_after
from gen.wiring.interface.spread import Between, Draws, Reals, spreads
from gen.wiring.signal_parts import DRIVE_LIMIT_MS, LONGEST_GATE_MARGIN, longest_gate_ms
from gen.words import GATE_END_DEG
from tests.support.machines import known_welder

PIN_V = Between(3.1, 3.4)  # of a pin that is high, data sheets, from memory
ON_A = 0.001  # a coupler's diode below it fires nothing: a tenth of what it may need
FIRES_A = 0.010
COIL_ON_V = 18.0
START_S = 0.002


@dataclass(frozen=True)
class StageTrial:
    """`scales`: the sources' ranges by net; `shapes`: their course, points or a sine's hertz. `figures`: name to value."""

    components: tuple[Component, ...]
    scales: dict[str, Between]
    shapes: dict[str, tuple[tuple[float, float], ...] | float]
    nets: tuple[str, ...]
    times: Reals
    figures: Callable[[Reals, dict[str, Reals], Draws], dict[str, Reals]]
    spares: dict[str, Between]  # what spreads besides the parts: thresholds of pins

    def spread(self) -> dict[str, Between]:
        """Everything that is drawn."""
        return spreads(self.components) | {f"{net}.volts": scale for net, scale in self.scales.items()} | self.spares

    def sources(self, draws: Draws) -> dict[str, Source]:
        """What drives the parts, for these draws."""
        found = {}
        for net, shape in self.shapes.items():
            volts = draws[f"{net}.volts"]
            found[net] = Source(volts, sine_Hz=shape) if isinstance(shape, float) else Source(volts, shape)
        return found

    def ours(self, draws: Draws) -> dict[str, Reals]:
        """The figures by our own solver, one a draw."""
        curves = Nodal(self.components, draws, self.sources(draws)).run(self.times, self.nets)
        return self.figures(self.times, curves, draws)


SUPPLY = Between(SUPPLY_V * (1 - SUPPLY_SPREAD), SUPPLY_V * (1 + SUPPLY_SPREAD))


def steps(levels: Sequence[tuple[float, float]], ramp_s: float = 1e-6) -> tuple[tuple[float, float], ...]:
    """(From when, level): a course of levels with steep ramps."""
    points = [(0.0, levels[0][1])]
    for (_, before), (when, level) in zip(levels, levels[1:]):
        points += [(when, before), (when + ramp_s, level)]
    return tuple(points)


def last_above(times: Reals, curve: Reals, limit: float) -> Reals:
    """When a curve was last above the limit, by straight lines between its points; one a column; 0 where never."""
    found = np.zeros(curve.shape[1])
    for n in range(curve.shape[1]):
        above = np.flatnonzero(curve[:, n] > limit)
        if not len(above):
            continue
        k = int(above[-1])
        found[n] = times[k]
        if k + 1 < len(times):
            share = (curve[k, n] - limit) / (curve[k, n] - curve[k + 1, n])
            found[n] += share * (times[k + 1] - times[k])
    return found


def gate_parts(welder: Welder, choice: Choice) -> tuple[Component, ...]:
    """The one-shot and the couplers' diodes; what lies beyond the insulation is open."""
    interface = interface_for(welder, choice.detector)
    gate, isolation = interface.stage("gate"), interface.stage("isolation")
    assert gate is not None
    assert isolation is not None
    leds = [part for part in isolation.components if part.generic == "phototriac coupler"]
    dark = [
        replace(led, pins=tuple((pin, "" if pin in ("T1", "T2") else net) for pin, net in led.pins)) for led in leds
    ]
    return (*gate.components, *dark)


def frozen_pin(welder: Welder, choice: Choice) -> StageTrial:
    """The pin rises and stays high: how long the gate current lasts."""
    parts = gate_parts(welder, choice)

    def figures(times: Reals, curves: dict[str, Reals], draws: Draws) -> dict[str, Reals]:
        current = (curves["GO"] - curves["FIRE"]) / draws["R38.value"]
        return {"length_ms": 1000 * (last_above(times, current, ON_A) - START_S)}

    return StageTrial(
        parts,
        {"24E": SUPPLY, "GATE": PIN_V},
        {"24E": ((0.0, 1.0),), "GATE": steps([(0, 0), (START_S, 1)])},
        ("GO", "FIRE"),
        times_after((START_S, START_S + 1e-6), START_S + 0.0125, 5e-5, 2e-6),
        figures,
        {},
    )


def two_gates(welder: Welder, choice: Choice, gate_s: float, gap_s: float) -> StageTrial:
    """The longest gate twice, with the shortest time between them: the current at the end of each, and after it."""
    parts = gate_parts(welder, choice)
    second = START_S + gate_s + gap_s
    ends = START_S + gate_s, second + gate_s
    pin = [(0.0, 0.0), (START_S, 1.0), (ends[0], 0.0), (second, 1.0), (ends[1], 0.0)]

    def figures(times: Reals, curves: dict[str, Reals], draws: Draws) -> dict[str, Reals]:
        current = (curves["GO"] - curves["FIRE"]) / draws["R38.value"]

        def at(when: float) -> Reals:
            return np.array([np.interp(when, times, column) for column in current.T])

        held = [at(when) for when in (START_S + 50e-6, ends[0] - 1e-5, second + 50e-6, ends[1] - 1e-5)]
        return {
            "least_mA": 1000 * np.min(held, axis=0),
            "after_mA": 1000 * np.max([at(end + 50e-6) for end in ends], axis=0),
        }

    events = [when + ramp for when, _ in pin[1:] for ramp in (0, 1e-6)]
    return StageTrial(
        parts,
        {"24E": SUPPLY, "GATE": PIN_V},
        {"24E": ((0.0, 1.0),), "GATE": steps(pin)},
        ("GO", "FIRE"),
        times_after(events, ends[1] + 2e-4, 1e-4),
        figures,
        {},
    )


# Of 10 W to 2 W: 58 to 288 ohm, even about its middle.
COIL = Component("K1", "resistor", (("1", "COIL"), ("2", "0V")), "coil", 173.0, 0.66)


def train(welder: Welder, choice: Choice, *, ends_high: bool) -> StageTrial:
    """A train of slow, late and fast edges that then ends: whether it holds the coil throughout, and for how long after."""
    stage = interface_for(welder, choice.detector).stage("contactor")
    assert stage is not None
    gaps = [0.017, 0.017, 0.037, 0.005, 0.005, *(() if ends_high else (0.005,))]
    when, edges = START_S, [(0.0, 0.0)]
    for n in range(len(gaps) + 1):
        edges.append((when, float(n % 2 == 0)))
        when += gaps[n] if n < len(gaps) else 0.0
    last = edges[-1][0]

    def figures(times: Reals, curves: dict[str, Reals], draws: Draws) -> dict[str, Reals]:
        held = (times > START_S + 2e-3) & (times < last)
        return {
            "least_V": curves["COIL"][held].min(axis=0),
            "after_ms": 1000 * (last_above(times, curves["COIL"], COIL_ON_V) - last),
            "rest_V": curves["COIL"][-1],
        }

    return StageTrial(
        (*stage.components, COIL),
        {"24E": SUPPLY, "PULSE": PIN_V},
        {"24E": ((0.0, 1.0),), "PULSE": steps(edges)},
        ("COIL",),
        np.unique(
            np.concatenate(
                (
                    times_after([at + ramp for at, _ in edges[1:] for ramp in (0, 1e-6)], last + 0.001, 1e-3, 1e-6),
                    np.arange(last + 0.00125, last + 0.038, 2.5e-4),
                    np.arange(last + 0.0381, last + 0.062, 1e-4),
                )
            )
        ),
        figures,
        {},
    )


def crossings(welder: Welder, choice: Choice) -> StageTrial:
    """One cycle of the mains: the pin's edges, against the true crossings."""
    stage = interface_for(welder, choice.detector).stage("detector")
    assert stage is not None
    peak_V, f = welder.mains.voltage_V * math.sqrt(2), float(welder.mains.frequency_Hz)
    neutral = "CLB" if second_is_live(welder.mains) else "CN"
    half_s = 0.5 / f

    def figures(times: Reals, curves: dict[str, Reals], draws: Draws) -> dict[str, Reals]:
        limit = draws["pin.threshold"] * draws["3V3.volts"]
        above = curves["DET"] - limit
        square = welder.detector.kind == "square"
        near = (half_s * 0.5, half_s * 1.5), (half_s * 1.5, half_s * 2.5)
        rise_in, fall_in = (near[1], near[0]) if square else (near[0], near[0])
        return {
            "rise_us": 1e6 * (_passes(times, above, rise_in, 1) - (2 * half_s if square else half_s)),
            "fall_us": 1e6 * (_passes(times, above, fall_in, -1) - half_s),
        }

    coarse, near = np.arange(0, 2.1 * half_s, 2e-4), (0.95 * half_s, 1.05 * half_s, 1.95 * half_s, 2.05 * half_s)
    coarse = coarse[(coarse < near[0]) | ((coarse > near[1]) & (coarse < near[2]))]
    fine = [*np.arange(near[0], near[1], 5e-6), *np.arange(near[2], near[3], 5e-6)]
    return StageTrial(
        stage.components,
        {"CL": Between(peak_V * MAINS_OF_NOMINAL[0], peak_V * MAINS_OF_NOMINAL[1]), "3V3": Between(3.2, 3.4)},
        {"CL": f, "3V3": ((0.0, 1.0),), neutral: ((0.0, 0.0),)},
        ("DET",),
        np.unique(np.array([*coarse, *fine])),
        figures,
        {f"{neutral}.volts": Between(0.0, 0.0), "pin.threshold": Between(*LOGIC_OF_SUPPLY)},
    )


def _passes(times: Reals, above: Reals, window: tuple[float, float], sign: int) -> Reals:
    """When a curve passes 0 inside a window, upwards (1) or downwards (-1)."""
    inside = np.flatnonzero((times > window[0]) & (times < window[1]))
    found = np.full(above.shape[1], np.nan)
    for n in range(above.shape[1]):
        column = sign * above[inside, n]
        at = np.flatnonzero((column[:-1] < 0) & (column[1:] >= 0))
        if len(at):
            k = inside[at[0]]
            share = above[k, n] / (above[k, n] - above[k + 1, n])
            found[n] = times[k] + share * (times[k + 1] - times[k])
    return found


def end_of_current(welder: Welder, choice: Choice, share: float) -> StageTrial:
    """Voltage comes back across the switch, `share` of the mains' peak: from then until the pin falls."""
    stage = interface_for(welder, choice.detector).stage("sense")
    assert stage is not None
    peak_V = welder.mains.voltage_V * math.sqrt(2) * share

    def figures(times: Reals, curves: dict[str, Reals], draws: Draws) -> dict[str, Reals]:
        above = curves["COND"] - draws["pin.threshold"] * draws["3V3.volts"]
        return {"late_us": 1e6 * (_passes(times, above, (START_S / 2, times[-1]), -1) - START_S)}

    return StageTrial(
        stage.components,
        {"L3": Between(peak_V * MAINS_OF_NOMINAL[0], peak_V * MAINS_OF_NOMINAL[1]), "3V3": Between(3.2, 3.4)},
        {"L3": steps([(0, 0), (START_S, 1)]), "3V3": ((0.0, 1.0),), "L4": ((0.0, 0.0),)},
        ("COND",),
        np.unique(np.append(times_after((), START_S, 5e-4), np.arange(START_S, START_S + 8e-5, 5e-7))),
        figures,
        {"L4.volts": Between(0.0, 0.0), "pin.threshold": Between(*LOGIC_OF_SUPPLY)},
    )


# What lies at a contact's filter besides its parts: the contact itself and the pull-up inside the board's pin (30 to 50 kohm:
# STM32F405 data sheet, table 44; 50 to 80 kohm: RP2040 and RP2350, from memory). A contact is a MOSFET to the solvers.
OWN_PULL_OHM, OWN_PULL_SPREAD = 55_000.0, 0.46


def contact_parts(lead: str, pin: str) -> tuple[Component, ...]:
    """A contact, closed while net HAND is high, and a board's pin with its own pull-up."""
    return (
        Component(f"S_{lead}", "N-MOSFET", (("G", "HAND"), ("D", lead), ("S", "0V")), "contact"),
        Component(f"R_{pin}", "resistor", (("1", "3V3"), ("2", pin)), "the pin's own", OWN_PULL_OHM, OWN_PULL_SPREAD),
    )


CONTACTS_READ = contacts_read(
    known_welder(force={"source": "air", "force_switch": True}, protection={"mirror_contact": True})
)


def contact_moves() -> StageTrial:
    """Each of five contacts opens, and closes 3 ms later: levels at the pin, how late it follows, current of the contact."""
    parts = inputs_stage(CONTACTS_READ).components
    parts += tuple(part for contact in CONTACTS_READ for part in contact_parts(contact.lead, contact.marker))
    opened, closed = START_S, START_S + 0.003

    def figures(times: Reals, curves: dict[str, Reals], draws: Draws) -> dict[str, Reals]:
        found: dict[str, list[Reals]] = {}
        for contact in CONTACTS_READ:
            pin, supply = curves[contact.marker], draws["3V3.volts"]
            above = pin - draws["pin.threshold"] * supply
            wetting = (supply - curves[contact.lead][0]) / draws[f"R{20 + contact.number}.value"]
            each = {
                "closed_V": pin[times <= opened].max(axis=0),
                "open_V": pin[np.flatnonzero(times <= closed)[-1]],
                "opens_ms": 1000 * (_passes(times, above, (opened, closed), 1) - opened),
                "closes_ms": 1000 * (_passes(times, above, (closed, times[-1]), -1) - closed),
                "wetting_mA": 1000 * wetting,
            }
            for name, value in each.items():
                found.setdefault(name, []).append(value)
        return {
            "closed_V": np.max(found["closed_V"], axis=0),
            "open_V": np.min(found["open_V"], axis=0),
            "opens_ms": np.max(found["opens_ms"], axis=0),
            "closes_ms": np.max(found["closes_ms"], axis=0),
            "wetting_mA": np.min(found["wetting_mA"], axis=0),
        }

    return StageTrial(
        parts,
        {"3V3": Between(3.2, 3.4), "HAND": Between(11.0, 13.0)},
        {"3V3": ((0.0, 1.0),), "HAND": steps([(0, 1), (opened, 0), (closed, 1)])},
        tuple(net for contact in CONTACTS_READ for net in (contact.lead, contact.marker)),
        np.append(0.0, times_after((1e-6, 0.003, 0.003 + 1e-6), 0.0055, 2e-5, 1e-5) + opened),
        figures,
        {"pin.threshold": Between(*LOGIC_OF_SUPPLY)},
    )


@dataclass(frozen=True)
class Claim:
    """What must hold of a figure in every draw, and how far the two solvers may be apart."""

    figure: str
    low: float
    high: float
    apart: float


# A pin reads low below 0.8 V and high above 2.0 V: STM32F405 data sheet, table 44 (TTL), and RP2040 and RP2350, from memory.
# The filter is later than the contact by less than an eighth of a half-cycle, ours. A gold contact wants 1 mA: from memory.
CONTACT_CLAIMS = (
    Claim("closed_V", 0.0, 0.8, 0.01),
    Claim("open_V", 2.0, 3.5, 0.01),
    Claim("opens_ms", 0.05, 1.2, 0.03),
    Claim("closes_ms", 0.05, 1.2, 0.03),
    Claim("wetting_mA", 1.0, 2.0, 0.01),
)


def claims(welder: Welder, choice: Choice) -> dict[str, tuple[StageTrial, tuple[Claim, ...]]]:
    """Every trial on a machine with a square detector, a thyristor pair and a conduction sense, with what must hold.

    The bounds: a gate drive's 12 ms; 60 ms for the train and 37 ms for a step that comes 20 ms late after 17; the
    detector's band of the wiring sheet; the coupler's lateness that gen.measured allows for at each end of a current; the levels
    of a pin. And the closed forms that the sheet prints, within a step of the solver.
    """
    longest_ms = longest_gate_ms(welder)
    f = welder.mains.frequency_Hz
    gap_s = (180 - GATE_END_DEG + scale_of(welder).full_deg) / 360 / f / FREQUENCY_BAND[1]
    rise, fall = choice.detector.offset_rise_us, choice.detector.offset_fall_us
    held = Claim("least_V", COIL_ON_V, 30.0, 0.2), Claim("rest_V", -0.01, 0.1, 0.05)
    after = (
        Claim("after_ms", 37.0, TRAIN_GONE_MS, 0.3),
        Claim("after_ms", held_ms().low - 0.5, held_ms().high + 0.5, 0.3),
    )
    stated = one_shot(welder).length_ms
    return {
        "frozen pin": (
            frozen_pin(welder, choice),
            (
                Claim("length_ms", longest_ms * LONGEST_GATE_MARGIN, DRIVE_LIMIT_MS, 0.12),
                Claim("length_ms", stated.low - 0.1, stated.high + 0.1, 0.12),
            ),
        ),
        "two gates": (
            two_gates(welder, choice, longest_ms / 1000, gap_s),
            (Claim("least_mA", 1000 * FIRES_A, 25.0, 0.1), Claim("after_mA", -0.01, 1000 * ON_A, 0.05)),
        ),
        "train that ends high": (train(welder, choice, ends_high=True), (*held, *after)),
        "train that ends low": (train(welder, choice, ends_high=False), (*held, *after)),
        "crossings": (
            crossings(welder, choice),
            (Claim("rise_us", rise.low, rise.high, 5.0), Claim("fall_us", fall.low, fall.high, 5.0)),
        ),
        "end of a current": (
            end_of_current(welder, choice, 0.1),
            (Claim("late_us", COUPLER_LATE_US.low, COUPLER_LATE_US.high, 2.0),),
        ),
        "contacts": (contact_moves(), CONTACT_CLAIMS),
    }
