"""The netlist of the upgrade for one machine and its board: parts, wires, and the purpose of each."""

from __future__ import annotations

from gen.boards import Board
from gen.machine.supply import second_is_live
from gen.machine.welder import Welder
from gen.user_files import Wrong, written
from gen.wiring.choice import Choice
from gen.wiring.contradictions import check_protections
from gen.wiring.interface import Interface, interface_for
from gen.wiring.interface.input_stages import contacts_read
from gen.wiring.interface.machine import DRAWINGS
from gen.wiring.netlist import Connection, Kind, Net, Netlist, Part, chain, star
from gen.wiring.power_parts import conductor_current_A, conductor_gauge

# Terminals of the contacts that the board reads: the one wired to the board, and the one on 0 V.
TERMINALS = {
    "stop": ("S1.21", "S1.22"),
    "pedal": ("S2.1", "S2.2"),
    "over_temperature": ("B2.1", "B2.2"),
    "force": ("S3.1", "S3.2"),
    "mirror": ("K1.21", "K1.22"),
}

COIL_CLAMP = "two-way suppressor diode (TVS), 33 V stand-off, at the coil; never a plain diode"


def wired_roles(welder: Welder) -> tuple[str, ...]:
    """The board's roles that this machine uses, in the order of the drawing."""
    left = [*(contact.role for contact in contacts_read(welder)), "detector"]
    left += ["conduction"] if welder.board.conduction_sense else []
    left += ["primary_current"] if welder.current_sense is not None else []
    return (*left, "gate", "contactor")


def upgrade(welder: Welder, board: Board, choice: Choice) -> Netlist:
    """The whole netlist. Raises Wrong where the machine's switch must not be wired to a transformer."""
    check_protections(welder)
    kind = welder.switch.kind
    if kind == "zero_cross_relay":
        allowed = "allowed: before a transformer, scr_pair, triac or random_phase_relay; see `weldbeat choose`"
        raise Wrong("switch.kind", written(kind), allowed)
    parts = (*_mains_parts(welder, choice), *_low_parts(welder, choice), *_board_parts(welder, board))
    return Netlist(parts, (*_mains_nets(welder, choice), *_low_nets(welder)))


def to_be_fitted(welder: Welder) -> tuple[str, ...]:
    """Protections that the welder file's [protection] does not name. The sheet draws them nevertheless."""
    p = welder.protection
    missing = (
        (p.isolator, "isolator, lockable"),
        (p.contactor, "contactor that drops when the board's pulse train ends"),
        (p.stop_cuts_gate_supply, "stop contact in the gate supply"),
        (p.stop_cuts_contactor, "stop contact in the contactor's coil"),
        (p.over_temperature_contact, "over-temperature contact on the winding"),
        (p.gate_drive not in (None, "direct"), "gate drive that ends by itself within 12 ms"),
        (
            p.secondary_earthed or p.residual_current_device,
            "secondary earthed at one point, or a residual-current device",
        ),
    )
    return tuple(what for there, what in missing if not there)


def earths_secondary(welder: Welder) -> bool:
    """Whether the secondary's earth is drawn: not where the machine relies on a residual-current device alone."""
    return welder.protection.secondary_earthed or not welder.protection.residual_current_device


def second_conductor(welder: Welder) -> str:
    """Terminal and wire marker of the supply's second conductor: N for a neutral, LB for a live conductor."""
    return "LB" if second_is_live(welder.mains) else "N"


def _second_fuse(welder: Welder) -> Part:
    """The part in the control feed's second conductor: a fuse where it is live, a link where it is the neutral.

    A blown fuse in a neutral would leave the feed live.
    """
    if second_is_live(welder.mains):
        return Part("F3", "small fuse", "1 A time-lag, as F2: this conductor is live too", mains=("1", "2"))
    return Part("F3", "link", "a link and no fuse, since this conductor is the neutral", mains=("1", "2"), link=True)


def _supply_words(welder: Welder) -> str:
    b = welder.breaker
    breaker = (
        "circuit breaker: see its label" if b is None else f"circuit breaker {b.characteristic or ''}{b.rating_A:g} A"
    )
    rcd = "residual-current device" if welder.protection.residual_current_device else "no residual-current device named"
    rcd += ", type A" if welder.protection.residual_current_device else ""
    return f"{welder.mains.voltage_V:g} V, {welder.mains.frequency_Hz} Hz; {breaker}; {rcd}"


def _mains_parts(welder: Welder, choice: Choice) -> tuple[Part, ...]:
    p, d, s = welder.protection, choice.detector, choice.snubber
    each = f"{d.each_ohm / 1000:g} kohm {d.each_rated_W:g} W"
    square = welder.detector.kind == "square"
    parts = [
        Part("Q0", "supply", _supply_words(welder), mains=("L", second_conductor(welder), "PE")),
        Part(
            "Q1",
            "isolator",
            f"{choice.part('isolator').fit}; within reach",
            mains=("1", "2", "3", "4"),
            fitted=p.isolator,
        ),
        Part(
            "Q2",
            "control isolator",
            "as Q1, 16 A, next to it: feeds detector and 24 V supply without the power circuit",
            mains=("1", "2", "3", "4"),
        ),
        Part("F1", "semiconductor fuse", choice.part("fuse").fit, mains=("1", "2")),
        Part("F2", "small fuse", "1 A time-lag, for the small wires", mains=("1", "2")),
        _second_fuse(welder),
        Part("RV1", "varistor", choice.part("varistor").fit, mains=("1", "2")),
        Part(
            "K1",
            "contactor",
            choice.part("contactor").fit,
            mains=("1", "2", "3", "4"),
            low=("A1", "A2", *(("21", "22") if p.mirror_contact else ())),
            fitted=p.contactor,
        ),
        Part(
            "T1",
            "welding transformer",
            f"{welder.transformer.rating_kVA:g} kVA, as it is",
            mains=("1", "2", "X1", "X2", "core"),
        ),
        Part("E1", "electrode", "upper arm", mains=("1",)),
        Part("E2", "electrode", "lower arm", mains=("1",)),
        Part("R3", "snubber resistor", f"{s.ohm:g} ohm {s.rated_W:g} W, pulse-proof", mains=("1", "2")),
        Part("C1", "snubber capacitor", f"{s.farad * 1e6:.3g} uF, class X1", mains=("1", "2")),
        Part("R4", "bleeder", "1 Mohm, 350 V or more (two in series above 260 V)", mains=("1", "2")),
        Part("R1", "detector resistor", each, mains=("1", "2"), on_board=True),
        Part("R2", "detector resistor", each, mains=("1", "2"), on_board=True),
        Part(
            "U1",
            "detector coupler",
            "phototransistor coupler" + ("" if square else ", two diodes back to back"),
            mains=("A", "K"),
            low=("C", "E"),
            on_board=True,
        ),
        Part("XE", "earth bar", "one bar, one screw a conductor", mains=("bar",)),
        Part("XB", "link", "0 V to protective earth, at this one point", mains=("PE",), low=("0V",), link=True),
        Part("EN", "enclosure", "metal, its door too", mains=("PE",)),
        Part("H1", "heat sink", choice.part("heat sink").fit, mains=("PE",)),
        Part(
            "G1",
            "24 V supply",
            f"24 V DC from {welder.mains.voltage_V:g} V, isolated to SELV/PELV, for coil, gate drive and board",
            mains=("L", "N"),
            low=("+", "0V"),
        ),
    ]
    if earths_secondary(welder):
        parts.append(
            Part(
                "XS",
                "link",
                "secondary to protective earth, at one point and nowhere else",
                mains=("X2", "PE"),
                link=True,
            )
        )
    if square:
        parts.append(Part("D1", "diode", "small signal, across U1's diode", mains=("A", "K"), on_board=True))
    if welder.board.conduction_sense:
        parts += [
            Part("R5", "sense resistor", each, mains=("1", "2"), on_board=True),
            Part("R6", "sense resistor", each, mains=("1", "2"), on_board=True),
            Part("U3", "sense coupler", "two diodes back to back", mains=("1", "2"), low=("C", "E"), on_board=True),
        ]
    return (*parts, *_switch_parts(welder, choice))


def _switch_parts(welder: Welder, choice: Choice) -> tuple[Part, ...]:
    kind, fit = welder.switch.kind, choice.part("switch").fit
    if kind == "random_phase_relay":
        return (
            Part("V1", "relay, any phase", "turns on at any phase; surge and I2t as the pair", ("1", "2"), ("+", "-")),
        )
    drive = choice.part("gate drive").fit
    if kind == "triac":
        return (
            Part("V1", "triac", "RMS, surge and I2t as the pair; see its limits in `weldbeat choose`", ("2", "1", "G")),
            Part("U2", "gate isolator", drive, _triac_gate(welder), ("A", "K"), on_board=True),
        )
    return (
        Part("V1", "thyristor", fit, ("A", "K", "G")),
        Part("V2", "thyristor", "the other half of the module", ("A", "K", "G")),
        Part("U2", "gate isolator", drive, ("K2", "G2", "G1", "K1"), ("A", "K"), on_board=True),
    )


def _triac_gate(welder: Welder) -> tuple[str, ...]:
    """The gate isolator's terminals.

    A phototriac feeds the gate from the triac's far end. A pulse transformer supplies the gate current itself.
    """
    return ("G", "1") if welder.protection.gate_drive == "pulse_transformer" else ("2", "G", "1")


def _low_parts(welder: Welder, choice: Choice) -> tuple[Part, ...]:
    p = welder.protection
    cuts = p.stop_cuts_gate_supply and p.stop_cuts_contactor
    interface = interface_for(welder, choice.detector)
    fed = p.gate_drive not in (None, "direct")

    def fitted(name: str, title: str, *terminals: str) -> Part:
        """A part of the interface board, with the description of the board's own parts list."""
        return Part(name, title, interface.part(name).asked, low=terminals or ("1", "2"), on_board=True)

    parts = [
        Part("S1", "stop", choice.part("emergency stop").fit, low=("11", "12", "21", "22"), fitted=cuts),
        Part(
            "B1",
            "over-temperature",
            choice.part("insulation").steps[-1].result,
            low=("1", "2"),
            fitted=p.over_temperature_contact,
        ),
        Part(
            "B2",
            "over-temperature",
            "a second one next to it, for the board",
            low=("1", "2"),
            fitted=p.over_temperature_contact,
        ),
        Part("S2", "pedal", "normally open contact", low=("1", "2")),
        fitted("G2", "converter", "IN", "0V", "5V"),
        fitted("D3", "diode", "A", "K"),
        Part("D2", "coil clamp", COIL_CLAMP, low=("1", "2")),
        Part(
            "A2",
            "gate stage",
            _stage_words(interface, "gate"),
            low=("IN", "SUP", "0V", "OUT", "RET"),
            on_board=True,
            fitted=fed,
        ),
        Part(
            "A3",
            "contactor stage",
            _stage_words(interface, "contactor"),
            low=("IN", "SUP", "0V", "OUT"),
            on_board=True,
            fitted=p.contactor,
        ),
        Part(
            "A4",
            "USB isolator",
            "2.5 kV or more, full speed; never a plain cable while the welder is live",
            low=("B", "H"),
        ),
        Part("PC", "computer", "yours", low=("USB",)),
        fitted("R7", "detector pull"),
        fitted("R8", "gate pull-down"),
        fitted("R9", "contactor pull-down"),
    ]
    for contact in contacts_read(welder):
        n, name = contact.number, contact.role.replace("_", " ")
        parts += [
            fitted(f"R{10 + n}", f"filter, {name}"),
            fitted(f"C{10 + n}", f"filter, {name}"),
            fitted(f"R{20 + n}", f"pull-up, {name}"),
            fitted(f"D{10 + n}", f"clamp, {name}", "A", "K"),
        ]
    if welder.force.force_switch:
        parts.append(Part("S3", "force switch", "closes when the force is there", low=("1", "2")))
    if welder.board.conduction_sense:
        parts += [
            fitted("R15", "sense pull-up"),
            fitted("C15", "sense capacitor"),
            fitted("R16", "averaged copy"),
            fitted("C16", "averaged copy"),
        ]
    if welder.current_sense is not None:
        ratio = f"{welder.current_sense.turns:g} : 1, closed over one lead of the primary alone"
        parts += [
            Part("T3", "current transformer", ratio, low=("1", "2")),
            Part(
                "A5",
                "current stage",
                _stage_words(interface, "current"),
                low=("CT", "MID", "3V3", "0V", "OUT"),
                on_board=True,
            ),
        ]
    return tuple(parts)


def _stage_words(interface: Interface, name: str) -> str:
    """A stage's title, its purpose, and the drawing that shows its parts."""
    stage = interface.stage(name)
    assert stage is not None
    where = f"drawing {DRAWINGS[name]}" if name in DRAWINGS else "its drawing"
    return f"{stage.title}. {stage.job} Its parts: {where} (`weldbeat wiring --interface`)"


def _board_parts(welder: Welder, board: Board) -> tuple[Part, ...]:
    roles = wired_roles(welder)
    return (
        Part(
            "A1",
            "timer board",
            f"{board.title} ({board.chip}), half a metre or more from the throat",
            low=(*roles, "5V", "3V3", "GND", "USB"),
            on_board=True,
        ),
    )


def _power(welder: Welder, choice: Choice, iec: str, nec: str) -> Kind:
    return Kind(conductor_gauge(conductor_current_A(welder, choice.load)), iec, nec, heavy=True)


def _mains_nets(welder: Welder, choice: Choice) -> tuple[Net, ...]:
    line = _power(welder, choice, "brown", "black")
    other = ("grey", "red") if second_is_live(welder.mains) else ("blue", "white")
    neutral = _power(welder, choice, *other)
    switched = _power(welder, choice, "black", "black")
    small = Kind("1 mm2 / 16 AWG", "red", "red")
    live = second_is_live(welder.mains)
    small_neutral = Kind("1 mm2 / 16 AWG", "red" if live else "blue", "red" if live else "white")
    # These conductors stay live with Q1 off. IEC 60204-1 (5.3.5 and 13.2.4) and NFPA 79 require orange, from memory.
    feed = Kind("1.5 mm2 / 14 AWG", "orange", "orange", "live with Q1 off")
    tap = Kind("1.5 mm2 / 14 AWG", "black", "black", "3 m at most")
    tap_neutral = Kind("1.5 mm2 / 14 AWG", *other, "3 m at most")
    earth = _power(welder, choice, "green-yellow", "green or bare")
    gate = Kind("0.5 mm2 / 20 AWG", "orange", "orange", "gate and cathode twisted")
    secondary = Kind("own arms", "", "", heavy=True)
    square, sense = welder.detector.kind == "square", welder.board.conduction_sense
    second = second_conductor(welder)

    def net(name: str, what: Kind, *links: tuple[Connection, ...]) -> Net:
        return Net(name, "mains", what, tuple(link for some in links for link in some))

    nets = [
        net("L", line, chain("Q0.L", "Q1.1"), chain("Q1.1", "Q2.1", kind=feed)),
        net(second, neutral, chain(f"Q0.{second}", "Q1.3"), chain("Q1.3", "Q2.3", kind=feed)),
        net("CL1", feed, chain("Q2.2", "F2.1")),
        net(f"C{second}1", feed, chain("Q2.4", "F3.1")),
        net("L1", line, star("Q1.2", "F1.1")),
        net(f"{second}1", neutral, star("Q1.4", "K1.3"), star("Q1.4", "RV1.2", kind=tap_neutral)),
        net("L2", line, chain("F1.2", "K1.1"), chain("F1.2", "RV1.1", kind=tap)),
        *_switch_nets(welder, switched, tap, gate),
        net(f"{second}2", neutral, chain("K1.4", "T1.2")),
        net("CL", small, star("F2.2", "G1.L", "R1.1")),
        net(f"C{second}", small_neutral, star("F3.2", "G1.N", "U1.K"), chain("U1.K", "D1.A") if square else ()),
        net("DA", small, chain("R1.2", "R2.1")),
        net("DB", small, chain("R2.2", "U1.A"), chain("U1.A", "D1.K") if square else ()),
        net("SN", tap, chain("R3.2", "C1.1", "R4.1")),
        net("X1", secondary, chain("T1.X1", "E1.1")),
    ]
    bonded = earths_secondary(welder)
    nets.append(net("X2", secondary, chain("T1.X2", "E2.1"), chain("T1.X2", "XS.X2", kind=earth) if bonded else ()))
    rest = ("XS.PE",) if bonded else ()
    nets.append(net("PE", earth, star("XE.bar", "Q0.PE", "EN.PE", "H1.PE", "T1.core", *rest, "XB.PE")))
    if sense:
        nets += [net("SA", small, chain("R5.2", "R6.1")), net("SB", small, chain("R6.2", "U3.1"))]
    return tuple(nets)


def _switch_nets(welder: Welder, switched: Kind, tap: Kind, gate: Kind) -> list[Net]:
    """The nets at the two ends of the switch, of the parts across it, and of its gates."""
    kind, sense = welder.switch.kind, welder.board.conduction_sense
    line, load, gates = {
        "scr_pair": ("V1.A", "V1.K", (("U2.G1", "V1.G", "G1"), ("U2.G2", "V2.G", "G2"))),
        "triac": ("V1.2", "V1.1", (("U2.G", "V1.G", "G"),)),
        "random_phase_relay": ("V1.1", "V1.2", ()),
    }[kind]
    above = [*chain("K1.2", line), *chain(line, "R3.1", kind=tap), *(chain(line, "R5.1", kind=tap) if sense else ())]
    below = [*chain("T1.1", load), *chain(load, "C1.2", "R4.2", kind=tap)]
    below += chain(load, "U3.2", kind=tap) if sense else ()
    if kind == "scr_pair":
        above += [*chain(line, "V2.K"), *chain("V2.K", "U2.K2", kind=gate)]
        below += [*chain(load, "V2.A"), *chain(load, "U2.K1", kind=gate)]
    if kind == "triac":
        above += chain(line, "U2.2", kind=gate) if "2" in _triac_gate(welder) else ()
        below += chain(load, "U2.1", kind=gate)
    return [
        Net("L3", "mains", switched, tuple(above)),
        Net("L4", "mains", switched, tuple(below)),
        *(Net(name, "mains", gate, chain(start, end)) for start, end, name in gates),
    ]


def _low_nets(welder: Welder) -> tuple[Net, ...]:
    dc = Kind("0.75 mm2 / 18 AWG", "dark blue", "blue")
    zero = Kind("0.75 mm2 / 18 AWG", "dark blue, white stripe", "blue, white stripe")
    lead = Kind("0.5 mm2 / 20 AWG", "a shielded pair", "a shielded pair", "twisted, shield to 0 V at A1")
    logic = Kind("0.25 mm2 / 22 AWG", "violet", "violet")
    usb = Kind("USB cable", "", "", "never past the isolator")
    square, sense = welder.detector.kind == "square", welder.board.conduction_sense
    relay = welder.switch.kind == "random_phase_relay"
    contacts = contacts_read(welder)

    def net(name: str, what: Kind, *links: tuple[Connection, ...]) -> Net:
        return Net(name, "low", what, tuple(link for some in links for link in some))

    filters = [f"C{10 + contact.number}.2" for contact in contacts]
    grounds = ["G2.0V", "A2.0V", "A3.0V", *filters, "R8.2", "R9.2"]
    supplied = [pin for contact in contacts for pin in (f"R{20 + contact.number}.1", f"D{10 + contact.number}.K")]
    if square:  # the coupler lifts the pin, and the resistor lets it fall
        grounds.append("R7.2")
        supplied.append("U1.C")
        detector = ("U1.E", "R7.1")
    else:
        grounds.append("U1.E")
        supplied.append("R7.1")
        detector = ("U1.C", "R7.2")
    if sense:
        grounds += ["U3.E", "C15.2", "C16.2"]
        supplied.append("R15.1")
    current = welder.current_sense is not None
    if current:
        grounds.append("A5.0V")
        supplied.append("A5.3V3")
    nets = [
        net("24V", dc, star("G1.+", "S1.11", "G2.IN")),
        net("24S", dc, chain("S1.12", "B1.1")),
        net("24E", dc, chain("B1.2", "A2.SUP", "A3.SUP")),
        net(
            "0V",
            zero,
            star("A1.GND", "G1.0V", *grounds),
            star("A1.GND", *(TERMINALS[contact.role][1] for contact in contacts), kind=lead),
            chain("A3.0V", "K1.A2", "D2.2", kind=dc),
            chain("G1.0V", "XB.0V"),
        ),
        net("5V", logic, chain("G2.5V", "D3.A")),
        net("5B", logic, chain("D3.K", "A1.5V")),
        net("3V3", logic, star("A1.3V3", *supplied)),
        net("DET", logic, star("A1.detector", *detector)),
        net("GATE", logic, star("A1.gate", "R8.1", "A2.IN")),
        net("FIRE", lead, chain("A2.OUT", "V1.+" if relay else "U2.A")),
        net("FIRE0", lead, chain("A2.RET", "V1.-" if relay else "U2.K")),
        net("PULSE", logic, star("A1.contactor", "R9.1", "A3.IN")),
        net("COIL", dc, chain("A3.OUT", "K1.A1", "D2.1")),
        net("USB1", usb, chain("A1.USB", "A4.B")),
        net("USB2", usb, chain("A4.H", "PC.USB")),
    ]
    for contact in contacts:
        n, marker = contact.number, contact.marker
        nets.append(
            net(
                marker + "1",
                lead,
                chain(TERMINALS[contact.role][0], f"R{10 + n}.1"),
                chain(f"R{10 + n}.1", f"R{20 + n}.2", kind=logic),
            )
        )
        filtered = star(f"A1.{contact.role}", f"R{10 + n}.2", f"C{10 + n}.1", f"D{10 + n}.A")
        nets.append(net(marker, logic, filtered))
    if sense:
        nets.append(net("COND", logic, star("A1.conduction", "U3.C", "R15.2", "C15.1", "R16.1")))
        nets.append(net("TS", logic, chain("R16.2", "C16.1")))
    if current:
        nets += [net("CT", lead, chain("T3.1", "A5.CT")), net("MID", lead, chain("T3.2", "A5.MID"))]
        nets.append(net("AMPS", logic, chain("A5.OUT", "A1.primary_current")))
    return tuple(nets)
