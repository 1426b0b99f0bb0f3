"""Metals of electrodes, windings and work, at 20 degC unless said."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Material:
    """`softening_degC`: held there for two hours, hardness falls by at most 15 % (ISO 5182). None: no electrode.

    melting_degC: where it begins to melt.
    """

    name: str
    resistivity_ohm_m: float
    temperature_coefficient_per_K: float
    density_kg_per_m3: float
    specific_heat_J_per_kgK: float
    conductivity_W_per_mK: float
    softening_degC: float | None
    melting_degC: float
    source: str

    def resistivity_at_ohm_m(self, temperature_degC: float) -> float:
        """Linear in temperature from 20 degC."""
        return self.resistivity_ohm_m * (1 + self.temperature_coefficient_per_K * (temperature_degC - 20))

    @property
    def heat_J_per_m3K(self) -> float:
        return self.density_kg_per_m3 * self.specific_heat_J_per_kgK

    @property
    def diffusivity_m2_per_s(self) -> float:
        return self.conductivity_W_per_mK / self.heat_J_per_m3K


COPPER = Material(
    name="Cu-ETP",
    resistivity_ohm_m=1.7241e-8,
    temperature_coefficient_per_K=0.00393,
    density_kg_per_m3=8890,
    specific_heat_J_per_kgK=385,
    conductivity_W_per_mK=394,
    softening_degC=150,
    melting_degC=1083,
    source="IACS annealed copper; handbook 390 to 400 W/(m K), 8890 to 8960 kg/m3; softening ISO 5182 and "
    "melting, from memory",
)

# The slope of resistivity in K is taken to be copper's own (Matthiessen's rule), hence the smaller coefficient.
CUCR1 = Material(
    name="CuCr1",
    resistivity_ohm_m=1 / 44e6,
    temperature_coefficient_per_K=1.7241e-8 * 0.00393 * 44e6,
    density_kg_per_m3=8900,
    specific_heat_J_per_kgK=380,
    conductivity_W_per_mK=320,
    softening_degC=475,
    melting_degC=1075,
    source="44 MS/m (least), softening ISO 5182 and melting (the eutectic, 1076), from memory; the rest as for CuCr1Zr, "
    "assumed; coefficient by "
    "Matthiessen's rule",
)
CUCR1ZR = Material(
    name="CuCr1Zr",
    resistivity_ohm_m=1 / 43e6,
    temperature_coefficient_per_K=1.7241e-8 * 0.00393 * 43e6,
    density_kg_per_m3=8900,
    specific_heat_J_per_kgK=380,
    conductivity_W_per_mK=320,
    softening_degC=500,
    melting_degC=1070,
    source="43 MS/m (least), softening ISO 5182 and melting (data sheets, 1070 to 1080), from memory; 8.9 g/cm3, "
    "380 J/(kg K), 320 W/(m K) a public data "
    "sheet of CW106C; coefficient by Matthiessen's rule",
)

LOW_CARBON_STEEL = Material(
    name="low-carbon steel",
    resistivity_ohm_m=1.4e-7,
    temperature_coefficient_per_K=0.005,
    density_kg_per_m3=7850,
    specific_heat_J_per_kgK=480,
    conductivity_W_per_mK=50,
    softening_degC=None,
    melting_degC=1500,
    source="handbook values, from memory; resistivity and specific heat rise more than linearly: good to some 300 degC",
)
