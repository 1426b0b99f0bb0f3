"""The upgrade as hardware: choosing the parts, the wiring sheet, commissioning."""
