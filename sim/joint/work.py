"""What is welded, as the model needs it; what of it nobody knows, with the ranges in which it lies; and one weld of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from statistics import NormalDist
from typing import Literal

import numpy as np

from sim.joint.contact import Contacts
from sim.joint.metals import METALS, Array, MetalName
from sim.joint.rods import DEEPEST, RodCross, overlap_m2
from sim.joint.sheets import SheetStack
from sim.joint.sites import RodSite, SheetSite, Site, SiteMeasures
from sim.joint.weld import STEPPING, Span, Stepping, WeldCourse, welded

ElectrodeName = Literal["copper", "CuCr1", "CuCr1Zr"]


@dataclass(frozen=True)
class Work:
    """Two or three sheets, two crossed rods or a rod on a flat bar, under two alike electrodes; lengths in m.

    `face_m`: diameter of the electrode's face on sheets; `dome_m`: its radius, infinite where it is flat. `strip`: half of the
    width over which each electrode touches its round rod, over the rod's diameter; `along`: over what length, in diameters.
    `flat_m`: of a rod on a flat bar the bar's width; `rods_m` is then the rod's diameter and the bar's thickness, and an
    electrode touches the bar over its face.
    """

    metal: MetalName
    force_N: float
    sheets_m: tuple[float, ...] = ()
    rods_m: tuple[float, float] | None = None
    electrode: ElectrodeName = "CuCr1Zr"
    face_m: float = 0.006
    dome_m: float = math.inf
    strip: tuple[float, float] = (0.25, 0.25)
    along: float = 1.0
    flat_m: float | None = None

    @property
    def thin_m(self) -> float:
        """Of sheets and rods the thinnest; of a rod on a flat bar the rod."""
        if self.flat_m is not None and self.rods_m:
            return self.rods_m[0]
        return min(self.sheets_m or self.rods_m or ())

    @property
    def bearing_m2(self) -> float:
        """Area of work under the electrode that bears on the least; of a dome, that of its whole face."""
        if self.rods_m is None:
            return math.pi / 4 * self.face_m**2
        rods = [2 * strip * d * self.along * d for strip, d in zip(self.strip, self.rods_m, strict=True)]
        return min(rods) if self.flat_m is None else min(rods[0], math.pi / 4 * self.face_m**2)

    @property
    def cross(self) -> RodCross:
        """The rods, or the rod and the bar. ValueError for sheets."""
        if self.rods_m is None:
            raise ValueError("sheets do not cross")
        metal, electrode, (first, second) = METALS[self.metal], METALS[self.electrode], self.rods_m
        strip, along = self.strip, (self.along * first, self.along * second)
        if self.flat_m is not None:
            # A round face as a square of its area.
            square = min(math.sqrt(math.pi) / 2 * self.face_m, self.flat_m)
            strip, along = (self.strip[0], square / 2 / second), (along[0], square)
        return RodCross(self.rods_m, metal, electrode, strip, along, self.flat_m)

    def setdown_m(self, share: float) -> float:
        """What setdown is as good as this share of the thinner rod of two crossed ones.

        A rod on a flat bar touches along a line and need not sink so far: as far as its patch is that of two such rods.
        """
        return float(np.interp(share, *self._setdowns)) if self.flat_m is not None else share * self.thin_m

    def setdown_share(self, setdown_m: Array) -> Array:
        """The share of which `setdown_m` is."""
        if self.flat_m is None:
            return setdown_m / self.thin_m
        shares, setdowns = self._setdowns
        return np.interp(setdown_m, setdowns, shares)

    @property
    def _setdowns(self) -> tuple[Array, Array]:
        d, cross = self.thin_m, self.cross
        shares, deep = np.linspace(0, DEEPEST, 161), np.linspace(0, DEEPEST * d, 801)
        areas = [overlap_m2((d, d), float(share) * d) for share in shares]
        return shares, np.interp(areas, [cross.patch_m2(float(each)) for each in deep], deep)


@dataclass(frozen=True)
class Fineness:
    """Cells to the radius of what touches and through the thinnest sheet; to the radius of the thinner rod; and of the steps."""

    across: int = 16
    through: int = 12
    rods: int = 6
    stepping: Stepping = STEPPING

    def times(self, times: float) -> Fineness:
        """Finer by this, cells and steps."""
        across, through, rods = (round(times * each) for each in (self.across, self.through, self.rods))
        return Fineness(across, through, rods, self.stepping.finer(times))


USED = Fineness()
COARSE = Fineness(12, 8, 4)  # where many welds are wanted: several per cent of setdown and nugget


def site_of(work: Work, contacts: Contacts, fineness: Fineness = USED) -> Site:
    """The joint under its force, cold."""
    metal, electrode = METALS[work.metal], METALS[work.electrode]
    if work.rods_m:
        return RodSite.begun(work.cross, contacts, work.force_N, fineness.rods)
    touch_m = work.face_m + contacts.spread * work.thin_m
    body_m = max(0.0127, 1.6 * work.face_m)
    stack = SheetStack(work.sheets_m, metal, electrode, work.face_m, touch_m, body_m=body_m, dome_m=work.dome_m)
    return SheetSite.begun(stack, contacts, work.force_N, fineness.across, fineness.through)


def one_weld(
    work: Work,
    spans: Sequence[Span],
    contacts: Contacts | None = None,
    fineness: Fineness = USED,
    *,
    until: Callable[[SiteMeasures], bool] | None = None,
    pictures_s: Sequence[float] = (),
) -> WeldCourse:
    """One weld from cold. Raises Diverged where it did not settle."""
    site = site_of(work, contacts or Contacts(), fineness)
    return welded(site, spans, fineness.stepping, until=until, pictures_s=pictures_s)


@dataclass(frozen=True)
class Factors:
    """What nobody knows exactly, each as a factor on what was taken, with the range in which it lies nine times in ten.

    All but `own` are judgements from memory of what such things scatter by; none is fitted. `own` is the model's own error,
    told as current: the rows that its constants were fitted to, each computed with the constants that the others choose, make
    what their table has at a current within this factor of the table's nine times in ten, by Student's t (python -m
    tests.campaigns.joint_rows fit). A nugget that no current makes as wide, since it is wider than what touches, is left out.
    """

    film: float = 1.0
    breaks: float = 1.0
    flow: float = 1.0
    force: float = 1.0
    current: float = 1.0
    face: float = 1.0
    spread: float = 1.0
    along: float = 1.0
    own: float = 1.0

    @property
    def amperes(self) -> float:
        """On the current: what flows, and the model's own error."""
        return self.current * self.own


# The model's own error as a factor on the current, see `Factors`: of rods and of sheets from 0.6 mm up, and of thinner sheets,
# where it is that of the only such row.
OWN, OWN_THIN = 1.10, 1.67
THIN_SHEET_M = 0.6e-3
RANGES = Factors(film=2.5, breaks=1.4, flow=1.25, force=1.10, current=1.06, face=1.12, spread=1.6, along=1.4, own=OWN)


def ranges_of(work: Work) -> Factors:
    """Of this work."""
    thin = bool(work.sheets_m) and work.thin_m < THIN_SHEET_M
    return replace(RANGES, own=OWN_THIN) if thin else RANGES


def drawn(count: int, seed: int, ranges: Factors = RANGES) -> tuple[Factors, ...]:
    """`count` sets of factors, each log-normal, spread evenly over its range (a Latin hypercube)."""
    rng = np.random.default_rng(seed)
    names = [each.name for each in fields(Factors)]
    columns = {}
    for name in names:
        places = (rng.permutation(count) + rng.random(count)) / count
        columns[name] = np.exp(_normal(places) / 1.645 * math.log(getattr(ranges, name)))
    return tuple(Factors(**{name: float(columns[name][n]) for name in names}) for n in range(count))


def _normal(places: Array) -> Array:
    law = NormalDist()
    return np.array([law.inv_cdf(float(place)) for place in places])


def under(work: Work, contacts: Contacts, factors: Factors) -> tuple[Work, Contacts]:
    """The work and its contacts under these factors, but for the current's."""
    changed = replace(
        contacts,
        film_ohm_m2=contacts.film_ohm_m2 * factors.film,
        breaks_K=contacts.breaks_K * factors.breaks,
        constraint=contacts.constraint * factors.flow,
        spread=contacts.spread * factors.spread,
    )
    return (
        replace(
            work,
            force_N=work.force_N * factors.force,
            face_m=work.face_m * factors.face,
            strip=(min(0.4, work.strip[0] * factors.along), min(0.4, work.strip[1] * factors.along)),
            along=work.along * factors.along,
        ),
        changed,
    )
