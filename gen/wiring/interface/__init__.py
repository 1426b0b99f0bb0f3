"""The interface board between timer board and power side, complete to the last part.

`interface_for` is its entry. It returns every part by stage, as one frozen value. The schematic (`drawing`), the stripboard
(`stripboard`), the net list for KiCad (`kicad`) and the calculations (`nodal`) are made from that value.
"""

from gen.wiring.interface.components import BoardStage, Component, Interface, nets_of
from gen.wiring.interface.machine import interface_for

__all__ = ["BoardStage", "Component", "Interface", "interface_for", "nets_of"]
