"""Miswirings, and the step that is for each: kinds that a step without power finds, and one of each newer kind.

No source outside: ours.
"""

from __future__ import annotations

FOUND_BY = {
    "missing: XE.bar to XB.PE": "0 V to protective earth",
    "missing: A1.gate to R8.1": "Pull-downs",
    "missing: V1.A to R3.1": "Snubber",
    "bridged: Q1.1 and Q1.2": "Contacts that must be open",
    "bridged: K1.1 and K1.2": "Contacts that must be open",
    "missing: D3.K to A1.5V": "Leads of the board's supply",
    "bridged: D3.A and D3.K": "Two feeds of the board apart",
    "bridged: S1.11 and S1.12": "Stop cuts contactor and gate stage",
    "swapped: Q0.L and Q0.N": "Line where it belongs",
    "missing: K1.21 to R14.1": "Mirror contact",
    "bridged: K1.21 and K1.22": "Mirror contact",
    "swapped: K1.A2 and K1.21": "Mirror contact",
    "swapped: A1.mirror and A1.detector": "Pull-ups",
    "wrong pin: A1.mirror on a free one": "Pull-ups",
    "missing: A1.3V3 to R20.1": "Pull-ups",
    "missing: R12.1 to R22.2": "Pull-ups",
    "missing: R14.1 to R24.2": "Pull-ups",
}
