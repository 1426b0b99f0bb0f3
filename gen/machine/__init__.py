"""The welder file (`Welder`) and the machine derived from it (`Machine`): supply, loop, breaker, electrodes."""

from gen.machine.derived import Machine, Tap
from gen.machine.electrodes import Change, compared
from gen.machine.welder import WELDER_FILE, Welder, read_welder

__all__ = ["WELDER_FILE", "Change", "Machine", "Tap", "Welder", "compared", "read_welder"]
