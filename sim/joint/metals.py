"""Metals from cold to molten: resistivity, heat conductivity, enthalpy and flow stress. Temperatures are in degC.

All values are from memory; each metal names its source. tests/outside/test_joint_metals.py checks them against sources that
were not used here: measured fits, the law of Wiedemann and Franz, Shida's formula for hot steel.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sim.thermal import COPPER, CUCR1, CUCR1ZR

Array = NDArray[np.float64]
Table = tuple[tuple[float, ...], tuple[float, ...]]  # temperatures in degC, and the values at them
MetalName = Literal["low_carbon_steel", "stainless_steel", "copper", "CuCr1", "CuCr1Zr", "brass", "nickel"]

KELVIN = 273.15
GAS_J_MOLK = 8.314
STEP_C = 5.0  # step of the interpolated tables
HOTTEST_C = 4000.0  # end of the interpolated tables
TABOR = 3.0  # hardness over flow stress (Tabor, The Hardness of Metals, 1951)
# Forge welding temperature over solidus, both in kelvins (common practice, no source; about 1050 degC for steel).
FORGE_SHARE = 0.75
_LEAST_MPA = 0.5  # flow stress of mush and liquid, above 0 so that it can be divided by


@dataclass(frozen=True)
class HotFlow:
    """Flow stress by Zener and Hollomon: rate exp(Q / R T) = A sinh(alpha stress)^n (Sellars and Tegart 1966).

    A follows from one known flow stress.
    """

    activation_kJ_mol: float
    """The activation energy Q."""
    power: float
    """The exponent n."""
    alpha_per_MPa: float
    at_degC: float
    """Temperature of the known flow stress."""
    at_MPa: float
    """The known flow stress, at 1 /s."""
    cold_MPa: float
    """Flow stress of the cold metal as delivered, which is the upper limit."""
    source: str
    """The source of the hot values, with what is from memory."""

    @property
    def log_a(self) -> float:
        """Natural logarithm of A in 1/s."""
        heat = self.activation_kJ_mol * 1e3 / GAS_J_MOLK / (self.at_degC + KELVIN)
        return heat - self.power * math.log(math.sinh(self.alpha_per_MPa * self.at_MPa))

    def stress_MPa(self, at_C: Array | float, rate_per_s: Array | float) -> Array:
        """Flow stress at this strain rate."""
        heat = self.activation_kJ_mol * 1e3 / GAS_J_MOLK / (np.asarray(at_C) + KELVIN)
        root = np.exp((np.log(rate_per_s) + heat - self.log_a) / self.power)
        return np.clip(np.arcsinh(root) / self.alpha_per_MPa, _LEAST_MPA, self.cold_MPa)

    def rate_per_s(self, at_C: Array | float, stress_MPa: Array | float) -> Array:
        """Strain rate under this stress. The upper limit `cold_MPa` is not applied."""
        heat = self.activation_kJ_mol * 1e3 / GAS_J_MOLK / (np.asarray(at_C) + KELVIN)
        push = np.log(np.sinh(np.minimum(np.maximum(self.alpha_per_MPa * np.asarray(stress_MPa), 1e-9), 30.0)))
        return np.asarray(np.exp(np.minimum(self.log_a - heat + self.power * push, 50.0)))


@dataclass(frozen=True)
class Metal:
    """The properties of one metal."""

    name: str
    density_kg_m3: float
    resistivity_ohm_m: Table
    conductivity_W_mK: Table
    heat_J_kgK: Table
    """Specific heat, including the heat of solid transformations."""
    solidus_degC: float
    liquidus_degC: float
    latent_J_kg: float
    """Heat of fusion, taken up evenly from solidus to liquidus."""
    flow: HotFlow
    young_GPa: float
    """Young's modulus at room temperature."""
    source: str

    @cached_property
    def grid_C(self) -> Array:
        """Temperatures of the interpolated tables."""
        return np.arange(0.0, HOTTEST_C + STEP_C / 2, STEP_C)

    @cached_property
    def resistivity(self) -> Array:
        """Resistivity at each of `grid_C`, ohm m."""
        return np.interp(self.grid_C, *self.resistivity_ohm_m)

    @cached_property
    def conductivity(self) -> Array:
        """Heat conductivity at each of `grid_C`, W/(m K)."""
        return np.interp(self.grid_C, *self.conductivity_W_mK)

    @cached_property
    def enthalpy_J_m3(self) -> Array:
        """Enthalpy over that at 0 degC at each of `grid_C`. It rises throughout."""
        heat = np.interp(self.grid_C, *self.heat_J_kgK)
        melting = np.clip((self.grid_C - self.solidus_degC) / (self.liquidus_degC - self.solidus_degC), 0, 1)
        sensible = np.concatenate(([0.0], np.cumsum((heat[1:] + heat[:-1]) / 2 * STEP_C)))
        return self.density_kg_m3 * (sensible + self.latent_J_kg * melting)

    @property
    def melting_degC(self) -> float:
        """The mean of solidus and liquidus."""
        return (self.solidus_degC + self.liquidus_degC) / 2

    @property
    def forge_degC(self) -> float:
        """The temperature at which it welds to itself under force without melting."""
        return FORGE_SHARE * (self.solidus_degC + KELVIN) - KELVIN

    def hardness_Pa(self, at_C: Array | float, rate_per_s: float = 1.0) -> Array:
        """Hot indentation hardness: three times the flow stress (Tabor)."""
        return TABOR * 1e6 * self.flow.stress_MPa(at_C, rate_per_s)


def _table(at: Sequence[float], values: Sequence[float], scale: float = 1.0) -> Table:
    return tuple(float(t) for t in at), tuple(scale * v for v in values)


def _kelvins(at_K: Sequence[float], values: Sequence[float], scale: float = 1.0) -> Table:
    return _table([t - KELVIN for t in at_K], values, scale)


_LOW_CARBON = (
    "British Iron and Steel Research Association, Physical Constants of Some Commercial Steels at Elevated Temperatures (1953), "
    "0.06 to 0.08 % carbon, as the metals handbooks print it; liquid iron: Smithells; from memory"
)
_INCROPERA = "Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, table A.1 (from memory)"

LOW_CARBON_STEEL = Metal(
    name="low-carbon steel",
    density_kg_m3=7860,
    resistivity_ohm_m=_table(
        [0, 100, 200, 300, 400, 500, 600, 700, 750, 800, 900, 1000, 1100, 1200, 1300, 1490, 1525, 2500],
        [13.2, 19.0, 26.3, 35.2, 45.8, 58.4, 73.4, 90.5, 100, 108.1, 113, 116.5, 119.3, 122, 124.4, 127, 136, 145],
        1e-8,
    ),
    conductivity_W_mK=_table(
        [0, 100, 200, 300, 400, 500, 600, 700, 750, 800, 900, 1000, 1100, 1200, 1300, 1500, 2500],
        [59.5, 57.8, 53.2, 49.4, 45.6, 41.0, 36.8, 33.1, 30.5, 28.5, 27.6, 27.6, 28.5, 29.7, 30.5, 32, 38],
    ),
    heat_J_kgK=_table(
        [0, 75, 175, 275, 375, 475, 575, 675, 725, 775, 875, 1000, 1500, 2500],
        [460, 482, 523, 557, 599, 662, 749, 846, 1432, 950, 735, 650, 690, 825],
    ),
    solidus_degC=1490,
    liquidus_degC=1525,
    latent_J_kg=260e3,
    flow=HotFlow(
        312,
        5.0,
        0.012,
        1000,
        100,
        600,
        "312 kJ/mol: Sellars 1980, C-Mn steels; 100 MPa at 1000 degC and 1 /s; from memory",
    ),
    young_GPa=210,
    source=_LOW_CARBON,
)
STAINLESS_STEEL = Metal(
    name="304 stainless steel",
    density_kg_m3=7900,
    resistivity_ohm_m=_table(
        [0, 20, 100, 200, 400, 600, 800, 1000, 1127, 1400, 1455, 2500],
        [70, 72, 77.6, 85, 97.6, 107.2, 114.1, 119.6, 122.5, 127.5, 131, 140],
        1e-8,
    ),
    conductivity_W_mK=_kelvins(
        [273, 300, 400, 600, 800, 1000, 1200, 1500, 1728, 2773], [14.4, 14.9, 16.6, 19.8, 22.6, 25.4, 28, 31.7, 29, 35]
    ),
    heat_J_kgK=_kelvins(
        [273, 300, 400, 600, 800, 1000, 1200, 1500, 1728, 2773], [470, 477, 515, 557, 582, 611, 640, 682, 720, 790]
    ),
    solidus_degC=1400,
    liquidus_degC=1455,
    latent_J_kg=272e3,
    flow=HotFlow(400, 4.5, 0.012, 1000, 190, 650, "McQueen and Ryan 2002: 304, about 400 kJ/mol; from memory"),
    young_GPa=195,
    source=f"Ho and Chu, CINDAS report 45 (1977), resistivity; {_INCROPERA}",
)
_COPPER_K = [273, 293, 400, 500, 600, 700, 800, 900, 1000, 1100, 1200, 1300, 1357, 1360, 2000, 3000]
_COPPER_UOHM_CM = [
    1.543,
    1.678,
    2.402,
    3.09,
    3.792,
    4.514,
    5.262,
    6.041,
    6.858,
    7.717,
    8.626,
    9.592,
    10.17,
    21.0,
    26.5,
    35,
]
_COPPER_CONDUCTS = [401, 400, 393, 386, 379, 373, 366, 359, 352, 346, 339, 332, 328, 160, 180, 180]
_COPPER_HEAT = _kelvins(
    [273, 300, 400, 600, 800, 1000, 1200, 1357, 3000], [384, 385, 397, 417, 433, 451, 480, 500, 495]
)


def _copper(name: str, ohm_m: float, conducts: float, softening: tuple[float, float], source: str) -> Metal:
    """A copper alloy. Its resistivity exceeds that of copper by the same amount at every temperature (Matthiessen's rule)."""
    more = ohm_m * 1e8 - 1.678
    less = 400 - conducts
    return Metal(
        name=name,
        density_kg_m3=8900,
        resistivity_ohm_m=_kelvins(_COPPER_K, [each + more for each in _COPPER_UOHM_CM], 1e-8),
        conductivity_W_mK=_kelvins(_COPPER_K, [max(150.0, each - less) for each in _COPPER_CONDUCTS]),
        heat_J_kgK=_COPPER_HEAT,
        solidus_degC=1075,
        liquidus_degC=1084,
        latent_J_kg=205e3,
        flow=HotFlow(210, 5.0, 0.03, softening[0], softening[1], 250 if softening[0] < 700 else 400, source),
        young_GPa=120,
        source=f"Matula, J. Phys. Chem. Ref. Data 8 (1979), and {_INCROPERA}; {source}",
    )


BRASS = Metal(
    name="brass (37 % zinc)",
    density_kg_m3=8440,
    resistivity_ohm_m=_table(
        [0, 20, 200, 400, 600, 800, 900, 920, 1500, 2500], [6.3, 6.4, 8.3, 10.4, 12.5, 14.8, 16, 36, 40, 45], 1e-8
    ),
    conductivity_W_mK=_kelvins([273, 300, 400, 600, 1173, 1193, 2773], [106, 110, 137, 149, 150, 80, 80]),
    heat_J_kgK=_kelvins([273, 300, 400, 600, 1173, 2773], [378, 380, 395, 425, 480, 490]),
    solidus_degC=902,
    liquidus_degC=920,
    latent_J_kg=168e3,
    flow=HotFlow(190, 4.5, 0.03, 700, 60, 400, "60 MPa at 700 degC and 1 /s, from memory, rough"),
    young_GPa=105,
    source=f"CuZn37, Copper Development Association data sheets (resistivity, melting), {_INCROPERA} (cartridge brass)",
)
NICKEL = Metal(
    name="nickel",
    density_kg_m3=8900,
    resistivity_ohm_m=_kelvins(
        [273, 300, 400, 500, 600, 631, 700, 800, 1000, 1200, 1400, 1700, 1728, 1740, 2773],
        [6.16, 7.2, 11.8, 17.7, 25.5, 28.3, 32.1, 35.5, 41.4, 46.4, 51, 57, 57.5, 85, 95],
        1e-8,
    ),
    conductivity_W_mK=_kelvins(
        [273, 300, 400, 600, 800, 1000, 1200, 1500, 1728, 1740, 2773],
        [94, 90.7, 80.2, 65.6, 67.6, 71.8, 76.2, 82.6, 87, 60, 65],
    ),
    heat_J_kgK=_kelvins(
        [273, 300, 400, 600, 650, 800, 1000, 1200, 1500, 2773], [430, 444, 485, 592, 560, 530, 562, 594, 616, 700]
    ),
    solidus_degC=1450,
    liquidus_degC=1458,
    latent_J_kg=295e3,
    flow=HotFlow(290, 5.0, 0.015, 1000, 100, 450, "100 MPa at 1000 degC and 1 /s, from memory, rough"),
    young_GPa=205,
    source=f"Laubitz 1976 (resistivity) and {_INCROPERA}",
)
METALS: dict[MetalName, Metal] = {
    "low_carbon_steel": LOW_CARBON_STEEL,
    "stainless_steel": STAINLESS_STEEL,
    "copper": _copper("copper", 1.678e-8, 400, (600, 100), f"{COPPER.name}, annealed"),
    "CuCr1": _copper("CuCr1", CUCR1.resistivity_ohm_m, CUCR1.conductivity_W_per_mK, (700, 110), CUCR1.source),
    "CuCr1Zr": _copper("CuCr1Zr", CUCR1ZR.resistivity_ohm_m, CUCR1ZR.conductivity_W_per_mK, (700, 120), CUCR1ZR.source),
    "brass": BRASS,
    "nickel": NICKEL,
}


class Properties:
    """Properties of cells of several metals. `which`: the index of each cell's metal in `metals`."""

    def __init__(self, metals: Sequence[Metal], which: NDArray[np.int64]) -> None:
        self.metals = tuple(metals)
        self._which = which
        self._members = [np.flatnonzero(which == n) for n in range(len(self.metals))]
        self._resistivity = np.array([metal.resistivity for metal in self.metals])
        self._conductivity = np.array([metal.conductivity for metal in self.metals])
        self._enthalpy = np.array([metal.enthalpy_J_m3 for metal in self.metals])

    def _at(self, tables: Array, at_C: Array) -> Array:
        place = np.clip(at_C / STEP_C, 0.0, tables.shape[1] - 1.001)
        low = place.astype(np.int64)
        part = place - low
        return np.asarray(tables[self._which, low] * (1 - part) + tables[self._which, low + 1] * part)

    def resistivity_ohm_m(self, at_C: Array) -> Array:
        return self._at(self._resistivity, at_C)

    def conductivity_W_mK(self, at_C: Array) -> Array:
        return self._at(self._conductivity, at_C)

    def enthalpy_J_m3(self, at_C: Array) -> Array:
        return self._at(self._enthalpy, at_C)

    def slope_J_m3K(self, at_C: Array) -> Array:
        """Slope of the enthalpy over temperature, over one step of the tables."""
        low = np.clip(at_C / STEP_C, 0.0, self._enthalpy.shape[1] - 2).astype(np.int64)
        return np.asarray((self._enthalpy[self._which, low + 1] - self._enthalpy[self._which, low]) / STEP_C)

    def temperature_C(self, enthalpy_J_m3: Array) -> Array:
        """The inverse of `enthalpy_J_m3`."""
        found = np.empty_like(enthalpy_J_m3)
        for metal, members in zip(self.metals, self._members, strict=True):
            found[members] = np.interp(enthalpy_J_m3[members], metal.enthalpy_J_m3, metal.grid_C)
        return found
