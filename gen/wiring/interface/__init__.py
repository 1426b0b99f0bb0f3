"""The interface board between timer board and power side, drawn, proven and laid out to its last part.

`interface_for` is its one entry: the stages with every part, as one frozen value. From it come the schematic
(`drawing`), the stripboard (`stripboard`), the net list that KiCad reads (`kicad`), and the calculations (`nodal`).
"""

from gen.wiring.interface.components import BoardStage, Component, Interface, nets_of
from gen.wiring.interface.machine import interface_for

__all__ = ["BoardStage", "Component", "Interface", "interface_for", "nets_of"]
