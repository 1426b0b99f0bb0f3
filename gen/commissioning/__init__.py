"""Commissioning: the numbered steps from unpowered to the first weld, their limits, the walk through them and the record."""
