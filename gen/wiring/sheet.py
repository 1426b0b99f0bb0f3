"""The wiring sheet: one self-contained HTML file of pages that print on A4 and on Letter."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from gen.boards import Board, Erratum
from gen.cautions import AT_THE_PARTS, AT_THE_RULES, AT_THE_WIRES, CAUTIONS
from gen.machine.field import keep_away
from gen.machine.supply import second_is_live
from gen.machine.welder import Welder
from gen.ranges import shown
from gen.templates import html_templates
from gen.wiring.canvas import DrawnPage
from gen.wiring.choice import Choice
from gen.wiring.interface.gate_stage import one_shot
from gen.wiring.low_drawing import OUTPUTS, SIGNALS, low_pages
from gen.wiring.mains_drawing import Taps, mains_pages
from gen.wiring.netlist import Netlist
from gen.wiring.power_parts import CONDUCTORS, conductor_current_A
from gen.wiring.signal_parts import DRIVE_LIMIT_MS
from gen.wiring.upgrade import earths_secondary, to_be_fitted, upgrade

DRAWING_FILES = (
    "supply-and-earth.svg", "switch-and-transformer.svg", "contacts.svg", "detector-and-computer.svg", "gate-and-contactor.svg",
)  # fmt: skip

SHEET_CAUTION = (
    "This sheet is a proposal and no certified design. It does not know your machine, your wiring or your local code. "
    "A capacitor may hold its charge after isolating: wait, and measure before touching."
)


@dataclass(frozen=True)
class Sheet:
    """The wiring sheet: its netlist, its drawings as (file name, SVG), and the document as HTML."""

    netlist: Netlist
    drawings: tuple[tuple[str, str], ...]
    html: str


def wiring_sheet(welder: Welder, board: Board, choice: Choice) -> Sheet:
    """Make the whole sheet. Same machine, same bytes. Raises Wrong where the machine's switch must not be wired."""
    netlist = upgrade(welder, board, choice)
    pages = drawn_pages(welder, board, netlist)
    environment = html_templates("gen.wiring")
    html = environment.get_template("sheet.html.j2").render(
        welder=welder,
        board=board,
        drawings=[(page.title, Markup(page.svg)) for page in pages],
        wires={side: [w for w in netlist.wires if w.side == side and not w.track] for side in ("mains", "low")},
        tracks=(
            ("mains: keep them apart from all others", [w for w in netlist.wires if w.track and w.side == "mains"]),
            ("signals and 24 V", [w for w in netlist.wires if w.track and w.side == "low"]),
        ),
        american=american(welder),
        own_gauge=lambda gauge: _of_country(gauge, american(welder)),
        parts=(
            ("mains side, and on both sides", [part for part in netlist.parts if part.mains]),
            ("low-voltage side", [part for part in netlist.parts if not part.mains and not part.on_board]),
            ("low-voltage side of the interface board", [p for p in netlist.parts if not p.mains and p.on_board]),
        ),
        rules=rules(welder, board, choice, netlist),
        fitted=to_be_fitted(welder),
        supply=_supply(welder),
        supply_pins=(
            ("5 V in", board.supply_pins.in_5V),
            ("3.3 V out", board.supply_pins.out_3V3),
            ("0 V", board.supply_pins.ground),
        ),
        pins=[(role, pin, f"A1.{role}" in _joined(netlist)) for role, pin in board.pins.items()],
        errata=[(erratum, _answer(welder, erratum)) for erratum in board.errata if erratum.roles],
        amperes=shown(conductor_current_A(welder, choice.load)),
        conductors=CONDUCTORS,
        cautions=(*CAUTIONS, SHEET_CAUTION),
        of_wiring=(*AT_THE_WIRES, SHEET_CAUTION),
        of_rules=AT_THE_RULES,
        of_parts=AT_THE_PARTS,
        field=field.sentences if (field := keep_away(welder)) is not None else (),
    )
    return Sheet(netlist, tuple((f"{page.name}.svg", page.svg) for page in pages), html)


def drawn_pages(welder: Welder, board: Board, netlist: Netlist) -> tuple[DrawnPage, ...]:
    """The drawings in order. Raises ValueError where a terminal of the netlist is in none of them, or in two."""
    taps = Taps(tuple(welder.transformer.taps or ()), welder.transformer.tap or "")
    pages = (*mains_pages(netlist, taps, OUTPUTS, SIGNALS), *low_pages(netlist, board))
    drawn = sorted(terminal for page in pages for terminal in page.terminals)
    wanted = sorted(terminal for net in netlist.nets for terminal in net.terminals)
    if drawn != wanted:
        wrong = sorted({t for t in (*drawn, *wanted) if drawn.count(t) != wanted.count(t)})
        raise ValueError(f"not drawn once: {', '.join(wrong)}")
    return pages


def _supply(welder: Welder) -> str:
    """Whether the second conductor is live or neutral, and how that is known."""
    what = "LB is a second live conductor." if second_is_live(welder.mains) else "N is a neutral."
    if welder.mains.voltage_to_earth_V is not None:
        return what
    return f"{what} That is taken from voltage and frequency: give mains.voltage_to_earth_V to be sure."


def american(welder: Welder) -> bool:
    """Whether wires are named by North American practice: by the breaker's standard, or by 60 Hz if none is named."""
    if welder.breaker is not None and welder.breaker.standard in ("IEC 60898-1", "UL 489"):
        return welder.breaker.standard == "UL 489"
    return welder.mains.frequency_Hz == 60


def _of_country(gauge: str, in_america: bool) -> str:
    """The half of "mm2 / AWG" that the owner's country uses."""
    metric, slash, awg = gauge.partition(" / ")
    return (awg if in_america else metric) if slash else gauge


def _joined(netlist: Netlist) -> frozenset[str]:
    return frozenset(terminal for net in netlist.nets for terminal in net.terminals)


def _answer(welder: Welder, erratum: Erratum) -> str:
    """The parts of this wiring that an erratum of the chip's pins demands."""
    pulls = {"detector": "R7", "gate": "R8", "contactor": "R9"}
    if welder.detector.kind == "pulse":
        pulls["detector"] = "U1 (it drives the pin low itself)"
    there = [pulls[role] for role in erratum.roles if role in pulls]
    return f"Drawn for it: {', '.join(there)}." if there else ""


def rules(welder: Welder, board: Board, choice: Choice, netlist: Netlist) -> tuple[str, ...]:
    """Requirements that the drawings do not show. They name only parts of the netlist."""
    across = [part.name for part in netlist.parts if part.mains and part.low and not part.link]
    d, sense = choice.detector, welder.board.conduction_sense
    gate = board.pins["gate"]
    read = ", before every gate"
    secondary = (
        "The secondary is earthed at one point (XS) and nowhere else: part of the welding current would flow through a second."
        if earths_secondary(welder)
        else "The secondary is not earthed: the residual-current device, tested each month, protects in its place."
    )
    drive = f"the one-shot of {one_shot(welder).length_ms.text} runs out"
    found = [
        "Stop (S1) and the over-temperature contact (B1) break the 24 V of the gate stage and of the contactor's coil "
        f"themselves. The board only reads them: S1 by its second contact{read}, and B2 next to B1. "
        "Both are closed at rest; an open or broken lead stops.",
        f"The gate current ends within {DRIVE_LIMIT_MS:g} ms of the pin's rise, however long the pin stays high: {drive}.",
        f"From power-up until the program sets it the gate pin is: {gate.at_boot}. R8 holds it low then, R9 the contactor's.",
        "K1 is held by pulses: the board turns the pin over at every step of its program, each 17 ms at rest and 5 ms in a "
        "weld. A3 passes edges only, so a pin that stands still, high or low, drops K1.",
        "D2 is a suppressor that clamps both ways, or a diode in series with a 36 V Zener. With a plain diode the coil's current "
        "dies away by itself, and K1 opens several times later (makers' notes, from memory). A3's output stands 80 V or more.",
        "The detector stands on the two conductors that feed the transformer, before the contactor.",
        "Detector and 24 V supply have their own isolator (Q2): with Q1 off alone they stay live. Lock off both; a label at Q1 "
        "says so (IEC 60204-1, from memory).",
        _detector_rule(welder, board, choice),
        secondary,
        "Protective earth goes to every metal part on a conductor of its own, from one bar (XE). 0 V is bonded to it at one "
        "point (XB), so that a fault from the mains to the low-voltage side trips the breaker.",
        f"The snubber passes some milliamperes: with Q1 and K1 closed T1 and the electrodes count as live. "
        f"R4 empties C1 ({choice.snubber.farad * 1e6:.3g} uF) within seconds of isolating.",
        "5 V goes to the board's supply input (VSYS, VIN or 5V on its header) and never to its USB socket.",
        "While the welder is live the computer is connected through the USB isolator (A4) only.",
        "Gate leads: each twisted with its cathode's, short, apart from the welding cables. Leads of pedal, stop and "
        "contacts: twisted and shielded, filtered at the board. The board half a metre or more from the throat, in a metal box.",
        f"Mains and low-voltage wires run apart, and cross at right angles. {', '.join(across[:-1])} and {across[-1]} are the "
        f"only parts on both sides: {choice.part('insulation').steps[0].result}, reinforced.",
        f"The external pulls at detector, gate and contactor are {d.pull_ohm / 1000:g} kohm.",
    ]
    if welder.force.source != "air":
        adjacent = ", which is why its pin is the one after that of the stop" if board.follows.get("pedal") else ""
        found.append(
            "Releasing the pedal removes the force, so the pedal (S2) ends the weld in two ways: the program reads its pin, and "
            f"the firing hardware reads it before every gate{adjacent}. A program that hangs gives no further gate."
        )
    if sense:
        what, how = choice.part("conduction sense").steps[1].what, choice.part("conduction sense").steps[1].result
        found.append(
            "The conduction sense is low while the switch blocks, except around each zero crossing, where there is no voltage "
            f"to see. C15 must stay small: the board times the end of each current ({what} {how})."
        )
    return tuple(found)


def _detector_rule(welder: Welder, board: Board, choice: Choice) -> str:
    rise, fall = choice.detector.offset_rise_us, choice.detector.offset_fall_us
    band = (
        f"Its edges come {rise.low:.0f} to {rise.high:.0f} us (rise) and {fall.low:.0f} to {fall.high:.0f} us (fall) from "
        "the crossing: measure them."
    )
    if welder.detector.kind == "pulse":
        own = "R7 lifts it then: a pull-up of its own, against the board's pull-down"
        return f"U1 holds the pin low but near each crossing, {own}. {band}"
    pulled = "; the board pulls the pin down itself, so one that only pulls to ground needs a pull-up of its own"
    own = pulled if board.family == "rp2" else ""
    return f"U1 lifts the pin in the positive half-cycle, R7 lets it fall{own}. {band}"
