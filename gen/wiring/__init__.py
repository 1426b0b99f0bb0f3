"""The upgrade's hardware: how its parts are chosen (`choosing`), and how they are wired (`sheet`, `interface`)."""

from gen.wiring.broken_parts import BrokenPart, broken_parts
from gen.wiring.choice import Choice, Chosen
from gen.wiring.choosing import Warmth, WeldSimulated, chosen_for
from gen.wiring.interface.stripboard import strip_size

__all__ = ["BrokenPart", "Choice", "Chosen", "Warmth", "WeldSimulated", "broken_parts", "chosen_for", "strip_size"]
