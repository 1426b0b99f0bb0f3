"""What could not be judged at all, for want of data in the welder file."""

from __future__ import annotations

from sim.verdict.evidence import PacedJob
from sim.verdict.finding import Finding


def not_judged(run: PacedJob) -> Finding | None:
    """Checks left out because the welder file does not tell enough."""
    welder = run.welder
    missing = {
        "switch-current": ("switch.rated_current_A", welder.switch.rated_current_A),
        "switch-surge": ("switch.surge_current_A", welder.switch.surge_current_A),
        "junction": ("switch.foster", welder.switch.foster),
        "electrode-heat": (
            "electrodes and transformer.open_secondary_V",
            welder.electrodes if welder.machine.in_use.turns_ratio else None,
        ),
    }
    left_out = {name: key for name, (key, value) in missing.items() if value is None}
    if not left_out:
        return None
    keys = ", ".join(f"{key} for {name}" for name, key in left_out.items())
    return Finding(
        "not-judged",
        "caution",
        len(left_out),
        0,
        "checks left out",
        "the welder file",
        f"Nothing is known about these: give {keys}.",
    )
