"""The interface board's document: schematics, parts, stripboards and test points in one HTML file."""

from __future__ import annotations

from dataclasses import dataclass, replace

from gen.cautions import CAUTIONS
from gen.machine.welder import Welder
from gen.ranges import shown
from gen.templates import html_templates
from gen.wiring.canvas import DrawnPage
from gen.wiring.choice import DetectorValues
from gen.wiring.interface.components import Interface
from gen.wiring.interface.contactor_stage import releases
from gen.wiring.interface.drawing import stage_pages
from gen.wiring.interface.gate_stage import one_shot
from gen.wiring.interface.input_stages import WETTING_OHM
from gen.wiring.interface.kicad import kicad_netlist
from gen.wiring.interface.machine import FIRST_DRAWING, interface_for
from gen.wiring.interface.meter import MeterPoint, meter_points
from gen.wiring.interface.strip_drawing import board_svg, places
from gen.wiring.interface.stripboard import (
    COUPLER_HOLES,
    HOLES,
    PITCH_MM,
    STRIPS,
    TRIMMED_MM,
    StripLayout,
    boards,
    check_size,
)

INTERFACE_CAUTION = (
    "Mains wiring and protective earth are for a licensed electrician under your local code. Isolate, lock off, wait until "
    "capacitors are empty, and measure before touching. This board replaces neither the emergency stop nor the isolator."
)


@dataclass(frozen=True)
class DrawnBoard:
    """A stripboard: its layout, both sides as SVG, and the place of each part."""

    layout: StripLayout
    component_svg: str
    copper_svg: str
    places: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class InterfacePages:
    """The document's contents: schematic pages, boards, meter points, requirements, and the net list for KiCad."""

    interface: Interface
    drawings: tuple[DrawnPage, ...]
    boards: tuple[DrawnBoard, ...]
    points: tuple[MeterPoint, ...]
    duties: tuple[str, ...]
    build: tuple[str, ...]
    kicad: str
    html: str

    @property
    def svgs(self) -> tuple[tuple[str, str], ...]:
        """(File name, SVG) of every drawing."""
        drawn = [(f"{page.name}.svg", page.svg) for page in self.drawings]
        for board in self.boards:
            drawn += [
                (f"board-{board.layout.name}-component.svg", board.component_svg),
                (f"board-{board.layout.name}-copper.svg", board.copper_svg),
            ]
        return tuple(drawn)


def interface_pages(
    welder: Welder, detector: DetectorValues, size: tuple[int, int] = (STRIPS, HOLES)
) -> InterfacePages:
    """Draw the interface of this machine. `size`: strips and holes of the stripboard on hand.

    Raises Wrong where a board does not fit that size.
    """
    interface = interface_for(welder, detector)
    layouts = boards(interface)
    check_size(layouts, *size)
    drawn = tuple(
        DrawnBoard(
            layout,
            board_svg(layout, interface, copper=False),
            board_svg(layout, interface, copper=True),
            places(layout),
        )
        for layout in layouts
    )
    pages = InterfacePages(
        interface,
        stage_pages(interface.stages, FIRST_DRAWING),
        drawn,
        meter_points(interface, detector, welder.mains.frequency_Hz),
        _duties(welder, detector),
        _build(layouts),
        kicad_netlist(interface),
        "",
    )
    template = html_templates("gen.wiring").get_template("interface.html.j2")
    return replace(
        pages, html=template.render(welder=welder, pages=pages, cautions=CAUTIONS, caution=INTERFACE_CAUTION)
    )


def _duties(welder: Welder, detector: DetectorValues) -> tuple[str, ...]:
    """The requirements on the stages, with all tolerances at their worst."""
    rise, fall = detector.offset_rise_us, detector.offset_fall_us
    shot, held = one_shot(welder).length_ms, releases()
    return (
        f"Gate: the current ends at the pin's fall, and {shot.text} after its rise at the latest. With the pin held high "
        "there is one pulse and no second. A new rise begins a new pulse.",
        "Gate: two transistors are in series, one held by the one-shot and one by the pin. No single fault of this board "
        "fires while the pin is low.",
        f"Contactor: the coil is released {held.coil.text} after the last edge at the pin. No static level holds it.",
        f"Contactor: two switches are in series. Q43 alone releases the coil after {held.by_comparator.text}, Q44 alone after "
        f"{held.by_transistor.text}. No single part, shorted or open, holds the coil (with R45 open it is held for 0.2 s).",
        "Contactor: nothing reports that one of the two switches has failed. Commissioning tests each by itself (KM, then COIL): "
        "repeat that step after each repair.",
        f"Detector: the edges come {rise.low:.0f} to {rise.high:.0f} us (rise) and {fall.low:.0f} to {fall.high:.0f} us (fall) "
        "from the crossing.",
        f"Contacts: {3300 / WETTING_OHM:.1f} mA at 3.3 V flow through each closed contact. Ask for contacts that work with so "
        "little (gold-plated, or of several points), for the mirror contact too: many ask for 5 mA at 17 V (makers' data, "
        "from memory).",
        "Gate and coil are fed from 24E, behind the stop contact and the over-temperature contact.",
    )


def _build(layouts: tuple[StripLayout, ...]) -> tuple[str, ...]:
    """The building instructions, in working order."""
    apart_mm = COUPLER_HOLES * PITCH_MM - 2 * TRIMMED_MM
    band = next((layout.band for layout in layouts if layout.band), None)
    found = [
        "Print at 100 %, and hold a ruler against the 50 mm line. Each strip has its net's name; count strips from the top.",
        "Cut the strips where a cross is, then fit links, then parts. Look along each cut and between strips with a lens.",
        "A part between neighbouring strips stands on one end. Sleeve a lead that passes over other strips on the mains board.",
        "The drawing shows a transistor's leads in one order. Makers differ: read the data sheet and bend the leads to fit.",
        "Solder pins of one name are joined by a lead, from board to board. Twist each lead with one of 0V.",
    ]
    if band is not None:
        found += [
            f"Mains board: peel off all strips in holes {band[0] + 1} to {band[1] + 1}, and each strip that is dotted. Trim "
            f"the copper to {TRIMMED_MM:g} mm around the couplers' pins: {shown(apart_mm)} mm stay between mains and low "
            "voltage. Couplers with their leads formed to 10.16 mm. No slot, no flux, no lacquer in place of distance.",
            "Mains board: in a box of its own or behind a cover, on spacers that do not conduct, its leads tied down.",
        ]
    return tuple(found)
