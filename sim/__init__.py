"""The welder that is not there: mains, detector, gate, switch, load and person, with the emitted files in charge."""
