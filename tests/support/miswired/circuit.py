"""The upgrade's circuit solved as it is wired: which pins read what, whether the coil is held, whether a gate reaches the switch.

Parts are what their data sheets say in a line each (common practice, no source); what joins them is the netlist, with or
without a mistake in it. Nodal analysis of resistances, sources and things that conduct or not, one polarity of the mains at a
time (Nilsson and Riedel, Electric Circuits, chapter 4): no transients but those of the two one-shots, which the bench keeps.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np

from gen.wiring.netlist import Netlist, Part

Load = Literal["none", "heater", "open", "shorted", "work"]
Link = tuple[str, str]

OFF_S, LEAK_S = 1e-8, 1e-9  # of what does not conduct, and of everything to earth
MAINS_PEAK_V = 325.0
PINS_BREAK_V, FEED_BREAKS_V = 4.2, 6.5  # of a 3.3 V chip and of its regulator, above their ratings
BREAKER_A, FUSE_A, SMALL_FUSE_A, RESIDUAL_A = 400.0, 300.0, 5.0, 0.030
COIL_V, DROPS_V = 17.0, 2.4
TURNS = 100.0
PRIMARY_OHM: dict[str, float] = {"heater": 53.0, "none": 1e9}
GATE_OHM = 330.0  # across gate and cathode, as the interface board has it
WORK_OHM = {"open": 1e6, "shorted": 1e-4, "work": 3e-4}  # between the electrodes
INPUTS = ("stop", "pedal", "over_temperature", "force", "conduction", "detector", "mirror")


@dataclass(frozen=True)
class Setting:
    """What hands, program and mains are doing. `off`: terminals whose lead is taken off; `joined`: touched together."""

    power: bool = False
    """Q1 closed."""
    control: bool = False
    """Q2 closed."""
    pedal: bool = False
    stop: bool = False
    force: bool = False
    pulled: bool = False
    """The contactor's contacts are closed."""
    positive: bool = True
    gate: bool = False
    """The level of the board's gate pin."""
    turn: bool = False
    """The level of its contactor pin."""
    pulse: bool = False
    """The gate stage's one-shot runs."""
    train: bool = False
    """The contactor stage has seen edges lately."""
    carrying: bool = False
    """The switch has been turned on in this half-cycle."""
    load: Load = "open"
    usb: bool = True
    off: frozenset[str] = frozenset()
    joined: frozenset[Link] = frozenset()

    def __hash__(self) -> int:
        return self._hash

    @cached_property
    def _hash(self) -> int:
        return hash(tuple(getattr(self, field.name) for field in fields(self)))


@dataclass(frozen=True)
class Seen:
    """What the circuit does in a setting."""

    levels: tuple[tuple[str, bool], ...]
    """Of the board's inputs, by role."""
    alive: bool
    """The board is fed, and none of its pins has been destroyed."""
    broken: tuple[str, ...]
    """Parts that this has ended: fuses, breaker, the board."""
    coil: bool
    gate_in: bool
    """The gate stage sees its input high."""
    train_in: bool
    fires: bool
    """The gates turn the switch on in this polarity, and current flows through the load."""
    talks: bool
    """The computer's cable reaches the board."""
    load_A: float
    volts: Mapping[str, float] = field(compare=False, hash=False, default_factory=dict)

    def level(self, role: str) -> bool:
        return dict(self.levels)[role]


@dataclass
class _Branch:
    """From `a` to `b`: conducts `on` or `off` siemens against `volts`, as its state says."""

    a: str
    b: str
    on: complex
    volts: float = 0.0
    state: bool = True
    off: complex = OFF_S
    wants: Callable[[_Branch, _Solved], bool] | None = None
    """What its state should be, where it is no plain resistance."""
    name: str = ""

    @property
    def siemens(self) -> complex:
        return self.on if self.state else self.off


class _Solved:
    def __init__(self, nodes: Mapping[str, int], v: np.ndarray) -> None:
        self._nodes, self._v = nodes, v

    def __getitem__(self, terminal: str) -> float:
        return float(self._v[self._nodes[terminal]].real)

    def across(self, branch: _Branch) -> float:
        return self[branch.a] - self[branch.b]

    def current(self, branch: _Branch) -> float:
        """From a to b."""
        volts = branch.volts if branch.state else 0.0
        return (self.across(branch) - volts) * branch.siemens.real


def _diode(a: str, k: str, volts: float, ohm: float, name: str = "") -> _Branch:
    def wants(branch: _Branch, v: _Solved) -> bool:
        return v.current(branch) > 0 if branch.state else v.across(branch) > volts

    return _Branch(a, k, 1 / ohm, volts, False, wants=wants, name=name)


def ohm_of(text: str) -> float:
    """The first resistance in a part's description, ohm."""
    found = re.search(r"([\d.]+) (M|k)?ohm", text)
    assert found, text
    return float(found[1]) * {"M": 1e6, "k": 1e3, None: 1.0}[found[2]]


def farad_of(text: str) -> float:
    """The first capacitance in a part's description, farad."""
    found = re.search(r"([\d.]+) (u|n|p)F", text)
    assert found, text
    return float(found[1]) * {"u": 1e-6, "n": 1e-9, "p": 1e-12}[found[2]]


class Circuit:
    """A netlist with the links that somebody really made."""

    def __init__(self, netlist: Netlist, links: Iterable[Link] | None = None, *, residual_device: bool = True) -> None:
        self.netlist = netlist
        self.links = tuple(links) if links is not None else tuple((w.start, w.end) for w in netlist.wires)
        self._residual_device = residual_device
        self._seen: dict[tuple[Setting, frozenset[str]], Seen] = {}
        self._metered: dict[tuple[Any, ...], object] = {}
        self._joints: dict[tuple[frozenset[str], frozenset[Link]], Mapping[str, int]] = {}
        self.parts: dict[str, Part] = {part.name: part for part in netlist.parts}

    @cached_property
    def terminals(self) -> tuple[str, ...]:
        return tuple(t for p in self.netlist.parts for t in (*p.terminals("mains"), *p.terminals("low")))

    def _nodes(self, setting: Setting) -> Mapping[str, int]:
        """The node of each terminal. A terminal whose lead is off stands alone; its lead does not: it is "t'"."""
        key = (setting.off, setting.joined)  # nothing else of a setting joins or parts terminals
        if key not in self._joints:
            self._joints[key] = self._joined(setting)
        return self._joints[key]

    def _joined(self, setting: Setting) -> dict[str, int]:
        parent: dict[str, str] = {}

        def root(t: str) -> str:
            while parent.setdefault(t, t) != t:
                parent[t] = parent[parent[t]]
                t = parent[t]
            return t

        for t in self.terminals:
            root(t)
        for one, other in self.links:
            ends = [f"{t}'" if t in setting.off else t for t in (one, other)]
            parent[root(ends[0])] = root(ends[1])
        for one, other in setting.joined:
            parent[root(one)] = root(other)
        numbers: dict[str, int] = {}
        return {t: numbers.setdefault(root(t), len(numbers)) for t in list(parent)}

    # -- what a setting does -------------------------------------------------------------------------------------

    def look(self, setting: Setting, broken: frozenset[str] = frozenset()) -> Seen:
        """Everything at once; the same setting is solved once."""
        key = (setting, broken)
        if key not in self._seen:
            self._seen[key] = self._look(setting, broken)
        return self._seen[key]

    def _look(self, setting: Setting, broken: frozenset[str]) -> Seen:
        nodes = self._nodes(setting)
        branches = self._branches(setting, broken)
        v = self._solve(nodes, branches)
        by_name = {b.name: b for b in branches if b.name}

        def amperes(name: str) -> float:
            return abs(v.current(by_name[name])) if name in by_name else 0.0

        # A breaker is slower than any fuse behind it, which is slower than a residual-current device.
        ended = []
        ended += ["Q0"] if self._residual_device and amperes("earth") > RESIDUAL_A else []
        if not ended:
            ended += ["F1"] if amperes("F1") > FUSE_A else []
            ended += [f for f in ("F2", "F3") if amperes(f) > SMALL_FUSE_A]
        ended += ["Q0"] if not ended and amperes("Q0") > BREAKER_A else []
        pins = [t for t in self.terminals if t.startswith("A1.") and t not in ("A1.GND", "A1.5V", "A1.USB")]
        feed_V = v["A1.5V"] - v["A1.GND"]
        if any(abs(v[t] - v["A1.GND"]) > PINS_BREAK_V for t in pins) or abs(feed_V) > FEED_BREAKS_V:
            ended.append("A1")
        ended += ["A3"] if amperes("A3.OUT") > 1.0 else []
        alive = "A1" not in broken and v["A1.3V3"] - v["A1.GND"] > 2.8
        levels = tuple((t.partition(".")[2], v[t] - v["A1.GND"] > 1.4) for t in pins if t.partition(".")[2] in INPUTS)
        main = sum(abs(v.current(b)) for b in branches if b.name in ("main1", "main2"))
        load_A = abs(v.current(by_name["load"]))
        return Seen(
            levels,
            alive,
            tuple(ended),
            abs(v["K1.A1"] - v["K1.A2"]) > COIL_V,
            v["A2.IN"] - v["A2.0V"] > 1.6,
            v["A3.IN"] - v["A3.0V"] > 1.6,
            main > 0.5 and load_A > 0.1,
            self._talks(nodes),
            float(f"{load_A:.3g}"),
            {t: v[t] for t in nodes},
        )

    def volts(self, one: str, other: str, setting: Setting, broken: frozenset[str] = frozenset()) -> float:
        """What a meter shows from one terminal to another, to a hundredth."""
        found = self.look(setting, broken).volts
        self._metered[("volts", one, other, setting, broken)] = value = round(found[one] - found[other], 2)
        return value

    def ohms(
        self, one: str, other: str, setting: Setting, hertz: float = 0.0, out: frozenset[str] = frozenset()
    ) -> complex:
        """What a meter on two terminals finds with everything off, in two digits: at 0.2 V, so that no junction conducts.

        `out`: fuses that were taken out.
        """
        meter = _Branch(one, other, 1e-3, -0.2)
        across = self._metered_at(meter, setting, hertz, out)
        amperes = (across - meter.volts) * meter.on
        found = complex(-across / amperes) if abs(amperes) > 1e-15 else complex(1e15)
        value = complex(float(f"{found.real:.2g}"), float(f"{found.imag:.2g}"))
        self._metered[("ohms", one, other, setting, hertz, out)] = value
        return value

    def junction_V(self, red: str, black: str, setting: Setting) -> float:
        """What a meter's diode test shows: 2 V behind 1.5 kohm."""
        value = round(abs(self._metered_at(_Branch(black, red, 1 / 1500, -2.0), setting, 0.0, frozenset())), 2)
        self._metered[("junction_V", red, black, setting)] = value
        return value

    def lies_across(self, part: str, one: str, other: str, setting: Setting) -> bool:
        """Whether a part with two terminals is joined to these two, whichever way round."""
        nodes = self._nodes(setting)
        found = self.parts[part]
        ends = {nodes[t] for t in (*found.terminals("mains"), *found.terminals("low"))}
        self._metered[("lies_across", part, one, other, setting)] = value = ends == {nodes[one], nodes[other]}
        return value

    def answers_as(self, other: Circuit) -> bool:
        """Whether this circuit answers all that the other was ever asked as that one did: nothing asked tells them apart."""
        same = all(getattr(self, how)(*asked) == value for (how, *asked), value in list(other._metered.items()))
        return same and all(self.look(*asked) == seen for asked, seen in list(other._seen.items()))

    def _metered_at(self, meter: _Branch, setting: Setting, hertz: float, out: frozenset[str]) -> complex:
        """Volts between the meter's leads."""
        nodes = self._nodes(setting)
        if nodes[meter.a] == nodes[meter.b]:
            return 0j
        v = self._solve(nodes, [*self._branches(setting, out, hertz), meter])
        return complex(v._v[nodes[meter.a]] - v._v[nodes[meter.b]])

    @staticmethod
    def _talks(nodes: Mapping[str, int]) -> bool:
        return nodes["PC.USB"] == nodes["A4.H"] and nodes["A4.B"] == nodes["A1.USB"]

    # -- solving -------------------------------------------------------------------------------------------------

    def _solve(self, nodes: Mapping[str, int], branches: list[_Branch]) -> _Solved:
        for turn in range(200):
            v = self._linear(nodes, branches)
            wrong = [b for b in branches if b.wants is not None and b.wants(b, v) != b.state]
            if not wrong:
                return v
            for branch in wrong if turn < 20 else wrong[turn % len(wrong) :][:1]:
                branch.state = not branch.state
        return v  # what oscillates stays where it is

    def _linear(self, nodes: Mapping[str, int], branches: list[_Branch]) -> _Solved:
        size = max(nodes.values()) + 1
        kind = complex if any(isinstance(b.siemens, complex) for b in branches) else float
        g = np.zeros((size, size), dtype=kind)
        current = np.zeros(size, dtype=kind)
        earth = nodes["XE.bar"]
        g[np.arange(size), np.arange(size)] += LEAK_S
        g[earth, earth] += 1e3
        for b in branches:
            i, j, s = nodes[b.a], nodes[b.b], b.siemens
            if i == j:
                continue
            g[i, i] += s
            g[j, j] += s
            g[i, j] -= s
            g[j, i] -= s
            if b.state and b.volts:
                current[i] += s * b.volts
                current[j] -= s * b.volts
        return _Solved(nodes, np.linalg.solve(g, current))

    # -- the parts -----------------------------------------------------------------------------------------------

    def _branches(self, s: Setting, broken: frozenset[str], hertz: float = 0.0) -> list[_Branch]:
        found: list[_Branch] = []
        for part in self.netlist.parts:
            model = getattr(self, f"_part_{part.name.lower()}", None)
            if model is None and part.name[0] == "R" and part.name != "RV1":
                found.append(_Branch(f"{part.name}.1", f"{part.name}.2", 1 / ohm_of(part.description)))
            elif model is None and part.name[0] == "C":
                siemens = 2j * math.pi * hertz * farad_of(part.description) if hertz else OFF_S
                found.append(_Branch(f"{part.name}.1", f"{part.name}.2", siemens))
            elif model is not None:
                found += model(s, broken, part)
            else:
                raise KeyError(f"no model of part {part.name}")
        return found

    @staticmethod
    def _closed(a: str, b: str, on: bool, ohm: float = 0.002, name: str = "") -> _Branch:
        return _Branch(a, b, 1 / ohm, state=on, name=name)

    def _part_q0(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        peak = MAINS_PEAK_V if s.positive else -MAINS_PEAK_V
        on = "Q0" not in broken and (s.power or s.control)
        if "LB" in part.mains:  # two live conductors, earthed in their middle
            halves = (("Q0.L", "Q0.PE", "Q0"), ("Q0.PE", "Q0.LB", "earth"))
            return [_Branch(a, b, 1 / 0.35, peak / 2, on, name=name) for a, b, name in halves]
        source = _Branch("Q0.L", "Q0.N", 1 / 0.4, peak, on, name="Q0")
        return [source, _Branch("Q0.PE", "Q0.N", 1 / 0.3, state=on, name="earth")]

    def _part_q1(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        return [self._closed("Q1.1", "Q1.2", s.power), self._closed("Q1.3", "Q1.4", s.power)]

    def _part_q2(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        return [self._closed("Q2.1", "Q2.2", s.control), self._closed("Q2.3", "Q2.4", s.control)]

    def _fuse(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        name = part.name
        return [self._closed(f"{name}.1", f"{name}.2", name not in broken, 0.01, name)]

    _part_f1 = _part_f2 = _part_f3 = _fuse

    def _nothing(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        return []

    _part_rv1 = _part_xe = _part_en = _part_h1 = _part_e2 = _part_pc = _part_a4 = _nothing

    def _part_k1(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        coil = _Branch("K1.A1", "K1.A2", 1 / 190)
        poles = [self._closed("K1.1", "K1.2", s.pulled), self._closed("K1.3", "K1.4", s.pulled)]
        mirror = [self._closed("K1.21", "K1.22", not s.pulled)] if "21" in part.low else []
        return [*poles, *mirror, coil]

    def _part_t1(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        """The load on the primary leads; with the transformer the secondary is seen through its turns, in two branches."""
        if s.load in PRIMARY_OHM:
            return [_Branch("T1.1", "T1.2", 1 / PRIMARY_OHM[s.load], name="load")]
        whole = self._secondary_ohm(s)
        return [_Branch("T1.1", "T1.2", 1 / 270 + 1 / (7.5 + TURNS**2 * whole), name="load")]

    def _secondary_ohm(self, s: Setting) -> float:
        nodes = self._nodes(s)
        if nodes["T1.X1"] == nodes["T1.X2"]:
            return 0.0
        reaches = nodes["T1.X1"] == nodes["E1.1"] and nodes["T1.X2"] == nodes["E2.1"]
        return WORK_OHM[s.load] if reaches else 1e6

    def _part_e1(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        winding = _Branch("T1.X1", "T1.X2", 1e4)
        return [winding, _Branch("E1.1", "E2.1", 1 / WORK_OHM.get(s.load, 1e6))]

    def _link(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        names = [*part.terminals("mains"), *part.terminals("low")]
        return [self._closed(names[0], names[1], True)]

    _part_xb = _part_xs = _link

    def _switch(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        n = part.name
        gate = _diode(f"{n}.G", f"{n}.K", 0.8, 10.0, f"gate {n}")
        beside = _Branch(f"{n}.G", f"{n}.K", 1 / GATE_OHM)

        def wants(branch: _Branch, v: _Solved) -> bool:
            triggered = gate.state and v.current(gate) > 0.02
            if branch.state:
                return v.current(branch) > 0 and triggered
            return triggered and v.across(branch) > 2

        main = _Branch(f"{n}.A", f"{n}.K", 1 / 0.02, 1.0, False, wants=wants, name=f"main{n[1]}")
        extra = [_Branch("V1.A", "V1.K", 1 / 0.02)] if s.carrying and n == "V1" else []
        return [gate, beside, main, *extra]

    _part_v1 = _part_v2 = _switch

    def _part_u2(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        led = _diode("U2.A", "U2.K", 1.2, 10.0)

        def lit(branch: _Branch, v: _Solved) -> bool:
            return led.state and v.current(led) > 0.005

        out = [_Branch(f"U2.G{n}", f"U2.K{n}", 1 / 30, 3.0, False, wants=lit) for n in (1, 2)]
        return [led, _Branch("U2.A", "U2.K", 1e-4), *out]

    def _coupler(self, lights: list[_Branch], part: str) -> list[_Branch]:
        def lit(branch: _Branch, v: _Solved) -> bool:
            drive = sum(max(0.0, v.current(led)) for led in lights if led.state)
            return drive > 0.3e-3 and v.across(branch) > 0

        return [*lights, _Branch(f"{part}.C", f"{part}.E", 1 / 200, 0.0, False, wants=lit)]

    def _part_u1(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        return self._coupler([_diode("U1.A", "U1.K", 1.2, 20.0)], "U1")

    def _part_u3(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        return self._coupler([_diode("U3.1", "U3.2", 1.2, 20.0), _diode("U3.2", "U3.1", 1.2, 20.0)], "U3")

    def _part_d1(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        return [_diode("D1.A", "D1.K", 0.7, 1.0)]

    def _part_d2(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        """A diode across the coil, or a clamp for both ways, which does nothing below its voltage."""
        one, other = part.terminals("low")
        return [_diode(one, other, 0.7, 0.1) if one.endswith("A") else _Branch(one, other, OFF_S)]

    def _clamp(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        """From a pin of the board to its supply."""
        return [_diode(f"{part.name}.A", f"{part.name}.K", 0.3, 0.2)]

    _part_d10 = _part_d11 = _part_d12 = _part_d13 = _part_d14 = _clamp

    def _part_d3(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        return [_diode("D3.A", "D3.K", 0.3, 0.2)]

    @staticmethod
    def _supply(
        plus: str, minus: str, volts: float, ohm: float, most_A: float, fed: Callable[[_Solved], bool]
    ) -> list[_Branch]:
        """A source that gives nothing while it is not fed, and once it is asked for more than it can give."""
        tripped = False

        def wants(branch: _Branch, v: _Solved) -> bool:
            nonlocal tripped
            tripped = tripped or (branch.state and -v.current(branch) > most_A)
            back = branch.state and v.current(branch) > 0.001  # somebody else feeds it: its rectifier blocks
            return fed(v) and not tripped and not back

        return [_Branch(plus, minus, 1 / ohm, volts, False, wants=wants)]

    def _part_g1(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        fed = self._supply("G1.+", "G1.0V", 24.0, 0.1, 3.0, lambda v: abs(v["G1.L"] - v["G1.N"]) > 100)
        return [_Branch("G1.L", "G1.N", 1 / 5000), *fed]

    def _part_g2(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        fed = self._supply("G2.5V", "G2.0V", 5.0, 0.05, 1.5, lambda v: v["G2.IN"] - v["G2.0V"] > 8)
        return [_Branch("G2.IN", "G2.0V", 1 / 500), _Branch("G2.5V", "G2.0V", 1 / 2000), *fed]

    def _part_a1(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        usb = s.usb and self._talks(self._nodes(s))
        well = "A1" not in broken
        found = [_Branch("A1.5V", "A1.GND", 1 / 100), _Branch("A1.USB", "A1.GND", 1 / 0.1)]
        found += self._supply("A1.5V", "A1.GND", 4.7, 0.5, 0.5, lambda v: usb)
        found += self._supply("A1.3V3", "A1.GND", 3.3, 0.3, 0.4, lambda v: well and v["A1.5V"] - v["A1.GND"] > 2.8)
        powered = usb or s.control
        for t in part.terminals("low"):
            role = t.partition(".")[2]
            if role in ("gate", "contactor"):
                level = 3.3 if (s.gate if role == "gate" else s.turn) else 0.0
                found.append(_Branch(t, "A1.GND", 1 / 40, level, well and powered, off=1e-7))
            elif role == "detector":
                found.append(_Branch(t, "A1.GND", 1 / 50e3))
            elif role in INPUTS and powered:
                found.append(_Branch(t, "A1.3V3", 1 / 50e3))
        return found

    def _stage_fed(self, stage: str) -> Callable[[_Solved], bool]:
        return lambda v: v[f"{stage}.SUP"] - v[f"{stage}.0V"] > 12

    def _part_a2(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        fed = self._stage_fed("A2")

        def wants(branch: _Branch, v: _Solved) -> bool:
            return s.pulse and fed(v) and v.across(branch) > 0

        def returns(branch: _Branch, v: _Solved) -> bool:
            return v["A2.IN"] - v["A2.0V"] > 1.6 and v.across(branch) > 0

        found = [_Branch("A2.SUP", "A2.OUT", 1 / 400, 0.0, False, wants=wants)]
        found += [_Branch("A2.IN", "A2.0V", 1 / 100e3), _Branch("A2.SUP", "A2.0V", 1 / 5e3)]
        return [*found, _Branch("A2.RET", "A2.0V", 1.0, 0.0, False, wants=returns)] if "RET" in part.low else found

    def _part_a3(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        fed = self._stage_fed("A3")

        def wants(branch: _Branch, v: _Solved) -> bool:
            return s.train and "A3" not in broken and fed(v) and v.across(branch) > 0

        out = _Branch("A3.SUP", "A3.OUT", 1.0, 0.0, False, wants=wants, name="A3.OUT")
        return [_Branch("A3.IN", "A3.0V", 1 / 100e3), _Branch("A3.SUP", "A3.0V", 1 / 5e3), out]

    def _part_t3(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        return [_Branch("T3.1", "T3.2", 1 / 30)]

    def _part_a5(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        """Burden, filter, and the middle of the supply."""
        ends = ("CT", "MID", 33.0), ("CT", "OUT", 1e3), ("3V3", "MID", 1e4), ("MID", "0V", 1e4)
        return [_Branch(f"A5.{one}", f"A5.{other}", 1 / ohm) for one, other, ohm in ends]

    def _part_s1(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        return [self._closed("S1.11", "S1.12", not s.stop), self._closed("S1.21", "S1.22", not s.stop)]

    def _part_s2(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        return [self._closed("S2.1", "S2.2", s.pedal)]

    def _part_s3(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        return [self._closed("S3.1", "S3.2", s.force)]

    def _part_b1(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        return [self._closed("B1.1", "B1.2", True)]

    def _part_b2(self, s: Setting, broken: frozenset[str], part: Part) -> list[_Branch]:
        return [self._closed("B2.1", "B2.2", True)]


def without(setting: Setting, *terminals: str) -> Setting:
    """The same with the leads taken off these terminals."""
    return replace(setting, off=setting.off | set(terminals))


def touched(setting: Setting, lead: str, to: str) -> Setting:
    """The same with the lead of a terminal taken off and held on another."""
    return replace(without(setting, lead), joined=setting.joined | {(f"{lead}'", to)})
