"""Transient nodal analysis of stages of the interface board, for many draws of the parts' spreads at once.

The unknowns are the nets' voltages; sources are nets of known voltage. Each step is an implicit Euler step, solved by
Newton's method with a bounded step. The models are those of textbooks: exponential junctions, the square law of MOSFETs, the
Ebers-Moll transistor. A comparator's output is a resistor to 0 V, controlled by its inputs within a few millivolts. A
coupler's output is a current that follows its diode's with one time constant.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from gen.wiring.interface.components import Component
from gen.wiring.interface.spread import Draws, Reals

THERMAL_V = 0.02585
EMISSION = {"signal diode": 1.8, "rectifier diode": 1.8, "Schottky diode": 1.05}
LED_EMISSION = 2.0
ZENER_SLOPE_V = 0.05  # in which a Zener diode's current grows e-fold, beyond 1 mA at its voltage
ZENER_AT_A = 0.001
SINK_OHM, STEER_V = 60.0, 0.002  # resistance of a comparator's low output, and input range of its transition
COUPLER_KNEE_V = 0.15
GROUND = "0V"

_LEAK_S = 1e-10  # from every net to 0 V
_LONGEST_NEWTON, _DAMPED_FROM, _SETTLED_V = 200, 80, 1e-6
_SHORTEST_S = 1e-7


@dataclass(frozen=True)
class Source:
    """A net's voltage: `scale` (one a draw, or one for all) times the `shape`, points (s, V) joined by straight lines.

    With `sine_Hz`: `scale` times a sine.
    """

    scale: Reals
    shape: tuple[tuple[float, float], ...] = ((0.0, 1.0),)
    sine_Hz: float = 0.0

    def at(self, time_s: float) -> Reals:
        """The voltage at this time, V, one a draw."""
        if self.sine_Hz:
            return np.asarray(self.scale * math.sin(2 * math.pi * self.sine_Hz * time_s), dtype=np.float64)
        times, volts = zip(*self.shape)
        return np.asarray(self.scale * np.interp(time_s, times, volts), dtype=np.float64)


def times_after(events: Sequence[float], end_s: float, longest_s: float, shortest_s: float = 5e-7) -> Reals:
    """Instants to solve at: close together after each event, then farther apart, up to `longest_s`."""
    found = [0.0]
    for begin, until in zip((0.0, *events), (*events, end_s)):
        step, now = shortest_s, begin
        while now + step < until:
            now += step
            found.append(now)
            step = min(1.3 * step, longest_s)
        found.append(until)
    return np.array(sorted(set(found)))


class Nodal:
    """The solver: parts, with one draw of their values a row. `voltage(net)` is that of the last instant solved."""

    def __init__(self, components: Iterable[Component], draws: Draws, sources: Mapping[str, Source]) -> None:
        self._parts = tuple(components)
        self._draws, self._sources = draws, sources
        self._number = max((len(values) for values in draws.values()), default=1)
        lights = [f"{part.name}.light" for part in self._parts if part.generic in ("coupler", "two-way coupler")]
        nets = dict.fromkeys(net for part in self._parts for _, net in part.pins if net)
        self._free = [net for net in nets if net != GROUND and net not in sources] + lights
        order = [*self._free, GROUND, *sources]
        self._at = {net: n for n, net in enumerate(order)}
        size = len(order)
        self._conductance = np.zeros((self._number, size, size))
        self._capacitance = np.zeros((self._number, size, size))
        for n in range(len(self._free)):
            self._conductance[:, n, n] = _LEAK_S
        for part in self._parts:
            self._linear(part)
        self._bends = [part for part in self._parts if part.generic in _BENT]
        self._volts = np.zeros((self._number, size))
        self._looked_at: dict[tuple[str, ...], Reals] = {}

    def voltage(self, net: str) -> Reals:
        """Volts of a net, one a draw."""
        return self._volts[:, self._at[net]].copy()

    def settle(self) -> None:
        """Solve the steady state with the sources at their initial voltages, from discharged capacitors."""
        for step_s in np.geomspace(1e-8, 1e3, 23):
            self._step(0.0, float(step_s))

    def run(self, times: Reals, nets: Sequence[str]) -> dict[str, Reals]:
        """Solve at `times` (rising, from 0): the voltages of `nets`, one row an instant, one column a draw."""
        self.settle()
        found = {net: np.empty((len(times), self._number)) for net in nets}
        for row, time_s in enumerate(times):
            if row:
                self._advance(float(times[row - 1]), float(time_s))
            for net in nets:
                found[net][row] = self._volts[:, self._at[net]]
        return found

    def _advance(self, before_s: float, time_s: float) -> None:
        """One step, or where Newton's method does not settle two of half its length."""
        try:
            self._step(time_s, time_s - before_s)
        except ArithmeticError:
            if time_s - before_s < _SHORTEST_S:
                raise
            middle_s = (before_s + time_s) / 2
            self._advance(before_s, middle_s)
            self._advance(middle_s, time_s)

    def value(self, part: Component, key: str = "value") -> Reals | float:
        """A value of a part, one a draw where it has a spread."""
        drawn = self._draws.get(f"{part.name}.{key}")
        if drawn is not None:
            return drawn
        return float(part.value or 0.0)

    def _linear(self, part: Component) -> None:
        if part.generic == "resistor":
            self._stamp(self._conductance, part.net("1"), part.net("2"), 1 / self.value(part))
        elif part.generic in ("film capacitor", "ceramic capacitor"):
            self._stamp(self._capacitance, part.net("1"), part.net("2"), self.value(part))
        elif part.generic == "electrolytic capacitor":
            self._stamp(self._capacitance, part.net("+"), part.net("-"), self.value(part))
        elif part.generic in ("coupler", "two-way coupler"):
            light = f"{part.name}.light"
            self._stamp(self._conductance, light, GROUND, 1.0)
            self._stamp(self._capacitance, light, GROUND, self.value(part, "lag_s"))

    def _stamp(self, matrix: Reals, one: str, other: str, size: Reals | float) -> None:
        a, b = self._at[one], self._at[other]
        matrix[:, a, a] += size
        matrix[:, b, b] += size
        matrix[:, a, b] -= size
        matrix[:, b, a] -= size

    def _step(self, time_s: float, step_s: float) -> None:
        """One implicit step. Raises ArithmeticError where Newton's method does not settle."""
        before = self._volts
        volts = before.copy()
        for net, source in self._sources.items():
            volts[:, self._at[net]] = source.at(time_s)
        size = len(self._free)
        held = self._conductance + self._capacitance / step_s
        charged = np.einsum("nij,nj->ni", self._capacitance, before) / step_s
        self._looked_at = {}
        for turn in range(_LONGEST_NEWTON):
            before_looks = dict(self._looked_at)
            slopes = held.copy()
            currents = np.einsum("nij,nj->ni", held, volts) - charged
            for part in self._bends:
                _BENT[part.generic](self, part, volts, currents, slopes)
            change = -np.linalg.solve(slopes[:, :size, :size], currents[:, :size, None])[:, :, 0]
            moved = [np.abs(looks - before_looks.get(key, np.inf)).max() for key, looks in self._looked_at.items()]
            most = max([np.abs(change).max(initial=0.0), *moved])
            volts[:, :size] += change if turn < _DAMPED_FROM else change / 2  # two MOSFETs in series may swing else
            if most < _SETTLED_V:
                self._volts = volts
                return
        raise ArithmeticError(f"no solution at {time_s:g} s")

    # Nonlinear parts. Each adds its currents out of its nets, and their slopes.

    def _branch(self, ends: tuple[str, str], current: Reals, slope: Reals, currents: Reals, slopes: Reals) -> None:
        """A current from one net to the other that depends on the voltage between them."""
        a, b = (self._at[end] for end in ends)
        currents[:, a] += current
        currents[:, b] -= current
        slopes[:, a, a] += slope
        slopes[:, a, b] -= slope
        slopes[:, b, a] -= slope
        slopes[:, b, b] += slope

    def _steered(
        self, ends: tuple[str, str], current: Reals, by: Iterable[tuple[str, Reals]], currents: Reals, slopes: Reals
    ) -> None:
        """A current from one net to the other with its slope by each of several nets' voltages."""
        a, b = (self._at[end] for end in ends)
        currents[:, a] += current
        currents[:, b] -= current
        for net, slope in by:
            slopes[:, a, self._at[net]] += slope
            slopes[:, b, self._at[net]] -= slope

    def _junction(
        self,
        name: str,
        ends: tuple[str, str],
        saturation_A: Reals | float,
        emission: float,
        state: tuple[Reals, Reals, Reals],
    ) -> tuple[Reals, Reals]:
        volts, currents, slopes = state
        across = volts[:, self._at[ends[0]]] - volts[:, self._at[ends[1]]]
        current, slope = self._exponential(("junction", name, *ends), across, saturation_A, emission * THERMAL_V)
        self._branch(ends, current, slope, currents, slopes)
        return current, slope

    def _exponential(
        self, name: tuple[str, ...], across: Reals, saturation_A: Reals | float, scale_V: float
    ) -> tuple[Reals, Reals]:
        """A junction's current and slope, evaluated where a step towards `across` may end and extended by its tangent.

        The limiting is that of Nagel's SPICE2 (1975), from memory. It keeps Newton's method from overshooting.
        """
        critical = scale_V * np.log(scale_V / (math.sqrt(2) * np.asarray(saturation_A)))
        old = self._looked_at.get(name)
        if old is None:
            look = np.minimum(across, critical)
        else:
            far = (across > critical) & (np.abs(across - old) > 2 * scale_V)
            risen = np.where(
                old > 0,
                np.where(
                    across > old - scale_V,
                    old + scale_V * np.log(np.maximum(1 + (across - old) / scale_V, 1e-9)),
                    critical,
                ),
                scale_V * np.log(np.maximum(across / scale_V, 1e-9)),
            )
            look = np.where(far, risen, across)
        self._looked_at[name] = look
        grown = np.exp(np.minimum(look / scale_V, 100.0))
        slope = saturation_A * grown / scale_V
        return saturation_A * (grown - 1) + slope * (across - look), slope

    def _diode(self, part: Component, volts: Reals, currents: Reals, slopes: Reals) -> None:
        ends = part.net("A"), part.net("K")
        self._junction(
            part.name, ends, self.value(part, "saturation_A"), EMISSION[part.generic], (volts, currents, slopes)
        )

    def _zener(self, part: Component, volts: Reals, currents: Reals, slopes: Reals) -> None:
        ends = part.net("A"), part.net("K")
        self._junction(part.name, ends, 1e-12, 1.0, (volts, currents, slopes))
        beyond = volts[:, self._at[ends[1]]] - volts[:, self._at[ends[0]]] - self.value(part)
        current, slope = self._exponential(("zener", part.name), beyond, ZENER_AT_A, ZENER_SLOPE_V)
        self._branch((ends[1], ends[0]), current + ZENER_AT_A, slope, currents, slopes)

    def _led(self, part: Component, volts: Reals, currents: Reals, slopes: Reals) -> None:
        ends = part.net("A"), part.net("K")
        self._junction(part.name, ends, self.value(part, "saturation_A"), LED_EMISSION, (volts, currents, slopes))

    def _coupler(self, part: Component, volts: Reals, currents: Reals, slopes: Reals) -> None:
        """Light follows the diodes' current. The transistor passes that current as far as its voltage allows."""
        both = part.generic == "two-way coupler"
        first, second = (part.net("1"), part.net("2")) if both else (part.net("A"), part.net("K"))
        ways = ((first, second), (second, first)) if both else ((first, second),)
        light, transfer = f"{part.name}.light", self.value(part, "transfer")
        for ends in ways:
            state = volts, currents, slopes
            current, slope = self._junction(part.name, ends, self.value(part, "saturation_A"), LED_EMISSION, state)
            by = ((ends[0], transfer * slope), (ends[1], -transfer * slope))
            self._steered((GROUND, light), transfer * current, by, currents, slopes)
        c, e = part.net("C"), part.net("E")
        across = np.maximum(volts[:, self._at[c]] - volts[:, self._at[e]], -COUPLER_KNEE_V)
        glow = volts[:, self._at[light]]
        open_share = 1 - np.exp(-across / COUPLER_KNEE_V)
        slope = glow * np.exp(-across / COUPLER_KNEE_V) / COUPLER_KNEE_V
        self._steered((c, e), glow * open_share, ((light, open_share), (c, slope), (e, -slope)), currents, slopes)

    def _mosfet(self, part: Component, volts: Reals, currents: Reals, slopes: Reals) -> None:
        """The square law, symmetrical in drain and source. A P-MOSFET is an N-MOSFET with signs reversed."""
        sign = 1.0 if part.generic == "N-MOSFET" else -1.0
        gate, drain, source = (part.net(pin) for pin in ("G", "D", "S"))
        d, s = (sign * volts[:, self._at[net]] for net in (drain, source))
        turned = d < s
        over = sign * volts[:, self._at[gate]] - np.minimum(d, s) - self.value(part, "threshold_V")
        across, steep = np.abs(d - s), self.value(part, "slope_A_per_V2")
        on, saturated = over > 0, across >= over
        current = np.where(saturated, 0.5 * over**2, (over - across / 2) * across) * on * steep
        by_gate = np.where(saturated, over, across) * on * steep
        by_drain = np.where(saturated, 0.0, over - across) * on * steep
        # The lower of the two ends is the source. Its voltage enters both `over` and `across`.
        high = np.where(turned, -current, current) * sign
        to_d = np.where(turned, by_gate + by_drain, by_drain)
        to_s = -np.where(turned, by_drain, by_gate + by_drain)
        to_g = np.where(turned, -by_gate, by_gate)
        self._steered((drain, source), high, ((gate, to_g), (drain, to_d), (source, to_s)), currents, slopes)

    def _bipolar(self, part: Component, volts: Reals, currents: Reals, slopes: Reals) -> None:
        """The Ebers-Moll model in transport form, reverse gain 1. An NPN is a PNP with signs reversed."""
        sign = 1.0 if part.generic == "PNP transistor" else -1.0
        e, b, c = (part.net(pin) for pin in ("E", "B", "C"))
        saturation, gain = self.value(part, "saturation_A"), self.value(part, "gain")
        ve, vb, vc = (sign * volts[:, self._at[net]] for net in (e, b, c))
        forward, forward_slope = self._exponential(("forward", part.name), ve - vb, saturation, THERMAL_V)
        back, back_slope = self._exponential(("back", part.name), vc - vb, saturation, THERMAL_V)
        self._branch((e, b), sign * forward / gain, forward_slope / gain, currents, slopes)
        self._branch((c, b), sign * back, back_slope, currents, slopes)
        by = ((e, forward_slope), (c, -back_slope), (b, back_slope - forward_slope))
        self._steered((e, c), sign * (forward - back), by, currents, slopes)

    def _comparator(self, part: Component, volts: Reals, currents: Reals, slopes: Reals) -> None:
        for out, minus, plus in (("1", "2", "3"), ("7", "6", "5")):
            if not part.net(out):
                continue
            o, m, p = part.net(out), part.net(minus), part.net(plus)
            for net in (m, p):
                currents[:, self._at[net]] -= self.value(part, "bias_A")
            steer = volts[:, self._at[m]] - volts[:, self._at[p]] + self.value(part, "offset_V")
            bend = np.tanh(steer / STEER_V)
            by_out = 0.5 * (1 + bend) / SINK_OHM
            current = by_out * volts[:, self._at[o]]
            by_in = 0.5 * (1 - bend**2) / STEER_V * volts[:, self._at[o]] / SINK_OHM
            self._steered((o, GROUND), current, ((m, by_in), (p, -by_in), (o, by_out)), currents, slopes)


_BENT = {
    "signal diode": Nodal._diode,
    "rectifier diode": Nodal._diode,
    "Schottky diode": Nodal._diode,
    "Zener diode": Nodal._zener,
    "phototriac coupler": Nodal._led,
    "coupler": Nodal._coupler,
    "two-way coupler": Nodal._coupler,
    "N-MOSFET": Nodal._mosfet,
    "P-MOSFET": Nodal._mosfet,
    "PNP transistor": Nodal._bipolar,
    "NPN transistor": Nodal._bipolar,
    "dual comparator": Nodal._comparator,
}
