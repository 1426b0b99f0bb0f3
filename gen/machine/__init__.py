"""The welder file and what follows from it: its tables, the machine that they describe, supply, loop, breaker, electrodes."""
