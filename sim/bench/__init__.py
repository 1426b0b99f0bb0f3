"""The bench: mains, detector, pedal, switch, load, protection and the board that runs the emitted files."""
