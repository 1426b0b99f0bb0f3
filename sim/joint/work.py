"""The input of the joint's model: work, cells and steps, the ranges of uncertain values; and the call for one weld."""

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
    """Two or three sheets, two crossed rods or a rod on a flat bar, under two equal electrodes. Lengths are in m."""

    metal: MetalName
    force_N: float
    sheets_m: tuple[float, ...] = ()
    """Thickness of each sheet; empty for rods."""
    rods_m: tuple[float, float] | None = None
    """Diameters of crossed rods, or the diameter of a rod and the thickness of its flat bar; None for sheets."""
    electrode: ElectrodeName = "CuCr1Zr"
    face_m: float = 0.006
    """Diameter of the electrode's face on sheets and on a flat bar."""
    dome_m: float = math.inf
    """Radius of a domed face; infinite for a flat one."""
    strip: tuple[float, float] = (0.25, 0.25)
    """Half of the width over which each electrode touches its round rod, over the rod's diameter."""
    along: float = 1.0
    """Length over which an electrode touches its round rod, over the rod's diameter."""
    flat_m: float | None = None
    """Width of the flat bar; None without one."""

    @property
    def thin_m(self) -> float:
        """Thickness of the thinnest sheet, or diameter of the thinner rod; of a rod on a flat bar that of the rod."""
        if self.flat_m is not None and self.rods_m:
            return self.rods_m[0]
        return min(self.sheets_m or self.rods_m or ())

    @property
    def bearing_m2(self) -> float:
        """Area of the smaller contact of electrode and work, m2; for a dome that of its whole face."""
        if self.rods_m is None:
            return math.pi / 4 * self.face_m**2
        rods = [2 * strip * d * self.along * d for strip, d in zip(self.strip, self.rods_m, strict=True)]
        return min(rods) if self.flat_m is None else min(rods[0], math.pi / 4 * self.face_m**2)

    @property
    def cross(self) -> RodCross:
        """The rods, or the rod and the bar. Raises ValueError for sheets."""
        if self.rods_m is None:
            raise ValueError("sheets do not cross")
        metal, electrode, (first, second) = METALS[self.metal], METALS[self.electrode], self.rods_m
        strip, along = self.strip, (self.along * first, self.along * second)
        if self.flat_m is not None:
            # A round face is modelled as a square of equal area.
            square = min(math.sqrt(math.pi) / 2 * self.face_m, self.flat_m)
            strip, along = (self.strip[0], square / 2 / second), (along[0], square)
        return RodCross(self.rods_m, metal, electrode, strip, along, self.flat_m)

    def setdown_m(self, share: float) -> float:
        """The setdown in m that corresponds to a share of the thinner rod's diameter.

        A rod on a flat bar touches along a line, so it needs less setdown: that at which its patch has the area of the patch of
        two crossed rods with this share.
        """
        return float(np.interp(share, *self._setdowns)) if self.flat_m is not None else share * self.thin_m

    def setdown_share(self, setdown_m: Array) -> Array:
        """The share that corresponds to each setdown; the inverse of `setdown_m`."""
        if self.flat_m is None:
            return setdown_m / self.thin_m
        shares, setdowns = self._setdowns
        return np.interp(setdown_m, setdowns, shares)

    @property
    def _setdowns(self) -> tuple[Array, Array]:
        """Shares of two crossed rods, and the setdowns of a rod on a flat bar with patches of the same areas."""
        d, cross = self.thin_m, self.cross
        shares, deep = np.linspace(0, DEEPEST, 161), np.linspace(0, DEEPEST * d, 801)
        areas = [overlap_m2((d, d), float(share) * d) for share in shares]
        return shares, np.interp(areas, [cross.patch_m2(float(each)) for each in deep], deep)


@dataclass(frozen=True)
class Fineness:
    """The number of cells, and the time stepping."""

    across: int = 16
    """Cells to the radius of the contacts of sheets."""
    through: int = 12
    """Cells to the thinnest sheet."""
    rods: int = 6
    """Cells to the radius of the thinner rod."""
    stepping: Stepping = STEPPING

    def finer(self, times: float) -> Fineness:
        """So many times as many cells and steps."""
        across, through, rods = (round(times * each) for each in (self.across, self.through, self.rods))
        return Fineness(across, through, rods, self.stepping.finer(times))


USED = Fineness()
COARSE = Fineness(12, 8, 4)  # for many welds; it changes setdown and nugget by several per cent


def site_of(work: Work, contacts: Contacts, fineness: Fineness = USED) -> Site:
    """The cold joint under its force."""
    metal, electrode = METALS[work.metal], METALS[work.electrode]
    if work.rods_m:
        return RodSite.begun(work.cross, contacts, work.force_N, fineness.rods)
    faying_m = work.face_m + contacts.spread * work.thin_m
    body_m = max(0.0127, 1.6 * work.face_m)
    stack = SheetStack(work.sheets_m, metal, electrode, work.face_m, faying_m, body_m=body_m, dome_m=work.dome_m)
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
    """One weld from cold. It ends early once `until` holds. Raises Diverged if the solution does not settle."""
    site = site_of(work, contacts or Contacts(), fineness)
    return welded(site, spans, fineness.stepping, until=until, pictures_s=pictures_s)


@dataclass(frozen=True)
class Factors:
    """Factors on the uncertain values. In `RANGES` a factor f stands for the 90 % range from 1 / f to f.

    All ranges except that of `model` are judgements of the scatter, from memory; none is fitted.
    """

    film: float = 1.0
    """On `Contacts.film_ohm_m2`."""
    film_decay: float = 1.0
    """On `Contacts.film_decay_K`."""
    flow: float = 1.0
    """On `Contacts.constraint`, and so on the flow stress."""
    force: float = 1.0
    current: float = 1.0
    """On the machine's current."""
    face: float = 1.0
    """On the diameter of the electrode's face."""
    spread: float = 1.0
    """On `Contacts.spread`."""
    along: float = 1.0
    """On the length and width over which an electrode touches a round rod."""
    model: float = 1.0
    """The model's error, as a factor on the current.

    Each row that the constants were fitted to is computed with the constants that the other rows choose. In nine of ten the
    current at which the model computes the table's result is within this factor of the table's, by Student's t (python -m
    tests.campaigns.joint_rows fit). A nugget wider than the faying surface, which no current makes, is left out.
    """

    @property
    def amperes(self) -> float:
        """The factor on the current, model's error included."""
        return self.current * self.model


# The model's error as a factor on the current, see `Factors.model`: for rods and for sheets from 0.6 mm up, and for thinner
# sheets, of which there is one row.
MODEL_ERROR, MODEL_ERROR_THIN = 1.10, 1.67
THIN_SHEET_M = 0.6e-3
RANGES = Factors(
    film=2.5, film_decay=1.4, flow=1.25, force=1.10, current=1.06, face=1.12, spread=1.6, along=1.4, model=MODEL_ERROR
)


def ranges_of(work: Work) -> Factors:
    """The ranges for this work."""
    thin = bool(work.sheets_m) and work.thin_m < THIN_SHEET_M
    return replace(RANGES, model=MODEL_ERROR_THIN) if thin else RANGES


def drawn_factors(count: int, seed: int, ranges: Factors = RANGES) -> tuple[Factors, ...]:
    """`count` draws of the factors. Each factor is log-normal; a Latin hypercube covers its range evenly."""
    rng = np.random.default_rng(seed)
    names = [each.name for each in fields(Factors)]
    columns = {}
    for name in names:
        places = (rng.permutation(count) + rng.random(count)) / count
        columns[name] = np.exp(_normal(places) / 1.645 * math.log(getattr(ranges, name)))
    return tuple(Factors(**{name: float(columns[name][n]) for name in names}) for n in range(count))


def _normal(places: Array) -> Array:
    """The quantiles of the standard normal distribution."""
    law = NormalDist()
    return np.array([law.inv_cdf(float(place)) for place in places])


def with_factors(work: Work, contacts: Contacts, factors: Factors) -> tuple[Work, Contacts]:
    """Work and contacts multiplied by the factors. The factors on the current are left to the caller."""
    changed = replace(
        contacts,
        film_ohm_m2=contacts.film_ohm_m2 * factors.film,
        film_decay_K=contacts.film_decay_K * factors.film_decay,
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
