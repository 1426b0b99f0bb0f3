"""The welder file and what follows from it: its tables, the machine that they describe, supply, loop, breaker, electrodes.

`Welder` is the file; `Machine` is what follows from it.
"""

from gen.machine.derived import Machine, Tap
from gen.machine.electrodes import Change, compared
from gen.machine.welder import WELDER_FILE, Welder, read_welder

__all__ = ["WELDER_FILE", "Change", "Machine", "Tap", "Welder", "compared", "read_welder"]
