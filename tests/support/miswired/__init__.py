"""Machines that are wired wrong: every miswiring by rule from the netlist, and the circuit solved as it then really is."""
