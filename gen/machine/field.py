"""The magnetic field of the secondary loop, and how far off it falls to the reference levels of ICNIRP.

Biot and Savart for a rectangle of thin conductors, at the greatest secondary current that the machine can draw.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gen.machine.tables import Arms
from gen.machine.welder import Welder
from gen.ranges import shown
from gen.roots import root

MU_0 = 4e-7 * math.pi
# ICNIRP 2010, reference levels of the magnetic flux density at 50 and 60 Hz, RMS, from memory.
PUBLIC_T = 200e-6
WORKER_T = 1e-3
# Of arms that the welder file does not give: common practice, no source.
TYPICAL_ARMS = Arms(length_mm=300, throat_mm=150, diameter_mm=25)

Point = tuple[float, float, float]
Numbers = NDArray[np.float64]

_ALONG, _AROUND = 7, 12  # places along half a side, and directions around it, at which the field is looked for
_FARTHEST_M = 50.0


@dataclass(frozen=True)
class KeepAway:
    """Distances from the nearest conductor of the loop, beyond which the field is nowhere above the levels.

    `current_A`: RMS, the greatest of any tap. `typical`: the welder file gives no arms, and typical ones are taken.
    """

    current_A: float
    length_m: float
    gap_m: float
    typical: bool
    public_m: float
    worker_m: float

    @property
    def sentences(self) -> tuple[str, ...]:
        """The field in sentences: the figures, what they leave out, and what they do not prove."""
        loop = f"{1000 * self.length_m:.0f} by {1000 * self.gap_m:.0f} mm"
        whose = "typical arms, since the welder file has no [arms]" if self.typical else "the arms of the welder file"
        kA = shown(self.current_A / 1000)
        return (
            f"Magnetic field: at {kA} kA, electrodes shorted, it falls to the public's reference level (0.2 mT) "
            f"{_metres(self.public_m)} from arms and electrodes, to that of workers (1 mT) {_metres(self.worker_m)} from them "
            "(ICNIRP 2010, from memory).",
            f"By Biot and Savart for a loop of {loop}, {whose}, and a full sine. The harmonics of phase control and the "
            "transformer's own field are not in it: both add to it.",
            "These distances certify nothing and never clear an implant: whoever has one keeps well away, and asks a doctor and "
            "the implant's maker.",
        )


def _metres(distance_m: float) -> str:
    """Rounded up to whole centimetres."""
    return f"{math.ceil(100 * distance_m - 1e-9) / 100:.2f} m"


def keep_away(welder: Welder) -> KeepAway | None:
    """For this machine; None where no secondary current is known (transformer.open_secondary_V)."""
    currents = [tap.short_secondary.high for tap in welder.machine.taps if tap.short_secondary is not None]
    if not currents:
        return None
    arms = welder.arms or TYPICAL_ARMS
    length_m, gap_m = arms.length_mm / 1000, (arms.throat_mm + arms.diameter_mm) / 1000
    current_A = max(currents)
    public_m, worker_m = (distance_to(level, current_A, length_m, gap_m) for level in (PUBLIC_T, WORKER_T))
    return KeepAway(current_A, length_m, gap_m, welder.arms is None, public_m, worker_m)


def distance_to(level_T: float, current_A: float, length_m: float, gap_m: float) -> float:
    """Metres from the rectangle's nearest conductor to where its field is nowhere above the level."""
    corners = rectangle(length_m, gap_m)

    def excess(log_m: float) -> float:
        return math.log(greatest_T(corners, current_A, math.exp(log_m)) / level_T)

    return math.exp(root(excess, math.log(1e-4), math.log(_FARTHEST_M)))


def rectangle(length_m: float, gap_m: float) -> tuple[Point, ...]:
    """Corners of the loop: arms along x, the gap along y."""
    return (0.0, 0.0, 0.0), (length_m, 0.0, 0.0), (length_m, gap_m, 0.0), (0.0, gap_m, 0.0)


def greatest_T(corners: Sequence[Point], current_A: float, distance_m: float) -> float:
    """The greatest flux density found at this distance from the loop, in its plane and around each conductor."""
    return float(flux_density_T(corners, current_A, _places(corners, distance_m)).max())


def flux_density_T(corners: Sequence[Point], current_A: float, at: ArrayLike) -> Numbers:
    """Magnitude at each point of an array (..., 3), of a closed polygon of straight thin conductors.

    Biot and Savart of a finite straight conductor (textbook): B = mu0 I / 4 pi (a x b) (|a| + |b|) / (|a| |b| (|a| |b| + a . b)),
    a and b from the point to the conductor's ends.
    """
    a = np.asarray(corners) - np.asarray(at, dtype=float)[..., None, :]  # point, side, axis
    b = np.roll(a, -1, axis=-2)
    long_a, long_b = np.linalg.norm(a, axis=-1), np.linalg.norm(b, axis=-1)
    share = (long_a + long_b) / (long_a * long_b * (long_a * long_b + (a * b).sum(axis=-1)))
    total = (np.cross(a, b) * share[..., None]).sum(axis=-2)
    found: Numbers = MU_0 * current_A / (4 * math.pi) * np.linalg.norm(total, axis=-1)
    return found


def _places(corners: Sequence[Point], distance_m: float) -> Numbers:
    """Points around each side at that distance from it, and from no other conductor less."""
    length_m, gap_m, _ = corners[2]
    found = []
    for along, half_m in ((0, gap_m / 2), (1, length_m / 2)):
        # Quarters of the loop are alike, and above and below its plane. The ridge between two sides is looked at too.
        angles = [math.pi * n / _AROUND for n in range(_AROUND + 1)]
        angles += [math.acos(-half_m / distance_m)] if half_m < distance_m else []
        feet = (length_m, gap_m)[along] / 2 * np.arange(_ALONG) / (_ALONG - 1)
        places = np.empty((len(feet), len(angles), 3))
        places[..., along] = feet[:, None]
        places[..., 1 - along] = -distance_m * np.cos(angles)
        places[..., 2] = distance_m * np.sin(angles)
        found.append(places.reshape(-1, 3))
    every = np.concatenate(found)
    return every[(_from_sides(corners, every) >= distance_m * (1 - 1e-9)).all(axis=-1)]


def _from_sides(corners: Sequence[Point], places: Numbers) -> Numbers:
    """The distance of each place from each side."""
    starts = np.asarray(corners)
    along = np.roll(starts, -1, axis=0) - starts
    to = places[:, None, :] - starts
    share = np.clip((to * along).sum(axis=-1) / (along * along).sum(axis=-1), 0, 1)
    found: Numbers = np.linalg.norm(to - share[..., None] * along, axis=-1)
    return found
