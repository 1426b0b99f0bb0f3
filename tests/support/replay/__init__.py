"""Recorded runs for the replay under MicroPython."""
