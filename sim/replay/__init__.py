"""The recorded driver calls of a run, replayed to the same bundle under the real MicroPython."""
