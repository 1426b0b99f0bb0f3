"""The miswirings that no step of a commissioning finds, each with the reason why nothing in a walk can tell."""

from __future__ import annotations

_INPUTS = (("stop", 10), ("pedal", 11), ("over_temperature", 12), ("force", 13), ("mirror", 14))

_BY_REASON: dict[str, tuple[str, ...]] = {
    "a level is the same without its filter's capacitor: only noise tells": (
        *(f"missing: A1.{role} to C{n}.1" for role, n in _INPUTS),
        *(f"missing: A1.GND to C{n}.2" for _, n in _INPUTS),
    ),
    "a clamp does nothing until a lead touches 24 V": (
        *(f"missing: A1.{role} to D{n}.A" for role, n in _INPUTS),
        *(f"missing: A1.3V3 to D{n}.K" for _, n in _INPUTS),
    ),
    "a level is the same without the filter's series resistor: only noise and a wrong lead tell": tuple(
        f"bridged: R{n}.1 and R{n}.2" for _, n in _INPUTS
    ),
    "the two ends are one and the same to the circuit: of a contact, of the coil or of the primary": (
        "swapped: Q1.1 and Q1.2",
        "swapped: Q2.1 and Q2.2",
        "swapped: Q2.3 and Q2.4",
        "swapped: K1.1 and K1.2",
        "swapped: K1.3 and K1.4",
        "swapped: K1.A1 and K1.A2",
        "swapped: K1.21 and K1.22",
        "swapped: S1.11 and S1.12",
        "swapped: S1.21 and S1.22",
        "swapped: T1.1 and T1.2",
        "reversed: G1.L and G1.N",
        "reversed: XS.X2 and XS.PE",
    ),
    "upstream of the isolator: an electrician's test of the outlet": ("bridged: Q0.N and Q0.PE",),
    "what a fuse protects from is not made for a test": ("bridged: F3.1 and F3.2",),
    "the snubber's capacitance is the same without its resistor: only the switch's stress tells": (
        "bridged: R3.1 and R3.2",
    ),
    "the coupler sees the mains through the other resistor; the offset moves, which this bench's detector leaves out": (
        "bridged: R1.1 and R1.2",
        "bridged: R2.1 and R2.2",
    ),
    "each output's current returns through the other's gate: both thyristors fire all the same": (
        "swapped: U2.G2 and U2.G1",
    ),
    "the shell of the board's own USB socket is its ground": ("bridged: A1.GND and A1.USB",),
}

NOT_FOUND = {name: reason for reason, names in _BY_REASON.items() for name in names}
"""The reason by the miswiring's name."""
