"""The upgrade as hardware: choosing the parts, and the wiring sheet (gen.wiring.sheet)."""

from gen.wiring.choice import Choice, Chosen
from gen.wiring.choosing import Warmth, WeldSimulated, chosen_for
from gen.wiring.interface.stripboard import strip_size

__all__ = ["Choice", "Chosen", "Warmth", "WeldSimulated", "chosen_for", "strip_size"]
