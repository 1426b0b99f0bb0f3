"""The board as a net list for KiCad (S-expressions, export version E), for laying out a printed board.

Pad numbers are those of common packages (TO-92, DIP, DO-41). Footprints are those of KiCad's libraries, from memory. Check
each before ordering a board: makers differ in the order of a transistor's leads.
"""

from __future__ import annotations

from gen.wiring.interface.components import Component, Generic, Interface

_TWO = {"1": "1", "2": "2"}
_DIODE = {"K": "1", "A": "2"}
_TO92 = {"S": "1", "G": "2", "D": "3"}

# Pad of each pin, and the footprint.
PACKAGES: dict[Generic, tuple[dict[str, str], str]] = {
    "resistor": (_TWO, "Resistor_THT:R_Axial_DIN0207_L6.3mm_D2.5mm_P10.16mm_Horizontal"),
    "film capacitor": (_TWO, "Capacitor_THT:C_Rect_L7.2mm_W2.5mm_P5.00mm_FKS2_FKP2_MKS2_MKP2"),
    "ceramic capacitor": (_TWO, "Capacitor_THT:C_Disc_D5.0mm_W2.5mm_P5.00mm"),
    "electrolytic capacitor": ({"+": "1", "-": "2"}, "Capacitor_THT:CP_Radial_D6.3mm_P2.50mm"),
    "signal diode": (_DIODE, "Diode_THT:D_DO-35_SOD27_P7.62mm_Horizontal"),
    "rectifier diode": (_DIODE, "Diode_THT:D_DO-41_SOD81_P10.16mm_Horizontal"),
    "Schottky diode": (_DIODE, "Diode_THT:D_DO-41_SOD81_P10.16mm_Horizontal"),
    "Zener diode": (_DIODE, "Diode_THT:D_DO-41_SOD81_P10.16mm_Horizontal"),
    "suppressor": (_DIODE, "Diode_THT:D_DO-15_P12.70mm_Horizontal"),
    "N-MOSFET": (_TO92, "Package_TO_SOT_THT:TO-92_Inline"),
    "P-MOSFET": ({"G": "1", "D": "2", "S": "3"}, "Package_TO_SOT_THT:TO-220-3_Vertical"),
    "NPN transistor": ({"C": "1", "B": "2", "E": "3"}, "Package_TO_SOT_THT:TO-92_Inline"),
    "PNP transistor": ({"C": "1", "B": "2", "E": "3"}, "Package_TO_SOT_THT:TO-92_Inline"),
    "dual comparator": ({str(n): str(n) for n in range(1, 9)}, "Package_DIP:DIP-8_W7.62mm"),
    "coupler": ({"A": "1", "K": "2", "E": "3", "C": "4"}, "Package_DIP:DIP-4_W10.16mm"),
    "two-way coupler": ({"1": "1", "2": "2", "E": "3", "C": "4"}, "Package_DIP:DIP-4_W10.16mm"),
    "phototriac coupler": ({"A": "1", "K": "2", "T1": "4", "T2": "6"}, "Package_DIP:DIP-6_W10.16mm"),
    "pulse transformer": ({"P1": "1", "P2": "2", "S1": "3", "S2": "4", "S3": "5", "S4": "6"}, ""),
    "5 V converter": ({"IN": "1", "0V": "2", "5V": "3"}, "Package_SIP:SIP-3_P2.54mm"),
    "pin": (_TWO, "Connector_Pin:Pin_D1.0mm_L10.0mm"),
}


def kicad_netlist(interface: Interface) -> str:
    """The file's text. Same board, same bytes: the file has no date."""
    components = "\n".join(_component(part) for part in interface.components)
    nets = "\n".join(
        _net(number, name, pins, interface) for number, (name, pins) in enumerate(sorted(interface.nets.items()), 1)
    )
    return (
        '(export (version "E")\n'
        '  (design (source "interface board") (date "") (tool "weldbeat"))\n'
        f"  (components\n{components})\n"
        f"  (nets\n{nets}))\n"
    )


def _component(part: Component) -> str:
    value = part.value_text or part.generic
    lines = (
        f"    (comp (ref {_quoted(part.name)})",
        f"      (value {_quoted(value)})",
        f"      (footprint {_quoted(PACKAGES[part.generic][1])})",
        f"      (fields (field (name {_quoted('Asked for')}) {_quoted(part.asked)})))",
    )
    return "\n".join(lines)


def _net(number: int, name: str, pins: frozenset[str], interface: Interface) -> str:
    nodes = []
    for pin in sorted(pins):
        part, _, terminal = pin.partition(".")
        pad = PACKAGES[interface.part(part).generic][0][terminal]
        nodes.append(f"      (node (ref {_quoted(part)}) (pin {_quoted(pad)}) (pinfunction {_quoted(terminal)}))")
    return f"    (net (code {_quoted(str(number))}) (name {_quoted(name)})\n" + "\n".join(nodes) + ")"


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
