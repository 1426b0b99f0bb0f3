"""The magnetic field of the secondary loop, and how far off it falls to the reference levels of ICNIRP.

Biot and Savart for a rectangle of thin conductors, at the greatest secondary current that the machine can draw.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

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
    return max(flux_density_T(corners, current_A, place) for place in _places(corners, distance_m))


def flux_density_T(corners: Sequence[Point], current_A: float, at: Point) -> float:
    """Magnitude at a point, of a closed polygon of straight thin conductors.

    Biot and Savart of a finite straight conductor (textbook): B = mu0 I / 4 pi (a x b) (|a| + |b|) / (|a| |b| (|a| |b| + a . b)),
    a and b from the point to the conductor's ends.
    """
    total = [0.0, 0.0, 0.0]
    for start, end in zip(corners, (*corners[1:], corners[0]), strict=True):
        a = [s - p for s, p in zip(start, at, strict=True)]
        b = [e - p for e, p in zip(end, at, strict=True)]
        long_a, long_b = math.hypot(*a), math.hypot(*b)
        dot = sum(x * y for x, y in zip(a, b, strict=True))
        share = (long_a + long_b) / (long_a * long_b * (long_a * long_b + dot))
        cross = (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])
        total = [t + c * share for t, c in zip(total, cross, strict=True)]
    return MU_0 * current_A / (4 * math.pi) * math.hypot(*total)


def _places(corners: Sequence[Point], distance_m: float) -> Iterator[Point]:
    """Points around each side at that distance from it, and from no other conductor less."""
    sides = list(zip(corners, (*corners[1:], corners[0]), strict=True))
    length_m, gap_m, _ = corners[2]
    for start, along, half_m in ((corners[0], 0, gap_m / 2), (corners[0], 1, length_m / 2)):
        # Quarters of the loop are alike, and above and below its plane. The ridge between two sides is looked at too.
        angles = [math.pi * n / _AROUND for n in range(_AROUND + 1)]
        angles += [math.acos(-half_m / distance_m)] if half_m < distance_m else []
        for n in range(_ALONG):
            foot = (length_m, gap_m)[along] / 2 * n / (_ALONG - 1)
            for angle in angles:
                outward, above = -math.cos(angle) * distance_m, math.sin(angle) * distance_m
                place = (foot, start[1] + outward, above) if along == 0 else (start[0] + outward, foot, above)
                if all(_from_side(place, side) >= distance_m * (1 - 1e-9) for side in sides):
                    yield place


def _from_side(place: Point, side: tuple[Point, Point]) -> float:
    start, end = side
    along = [e - s for s, e in zip(start, end, strict=True)]
    to = [p - s for s, p in zip(start, place, strict=True)]
    share = sum(a * t for a, t in zip(along, to, strict=True)) / sum(a * a for a in along)
    foot = [s + a * min(1.0, max(0.0, share)) for s, a in zip(start, along, strict=True)]
    return math.dist(place, foot)
