"""Temperatures of the switch, the transformer's winding and the electrodes under a schedule at a pace.

Each part is a `LinearNetwork`, and a weld is a `PowerProfile` over its inputs. `answers` computes temperatures and paces:

    network = switch_network(ladder, cooling)
    weld = alternating(0.0, 0.01, [on_state.loss_W(mean_A, rms_A)] * 40)
    forecast(network, weld, period_s=3.0, welds=20, output="junction_2").equilibrium.peak_degC
    fastest_safe_pace(network, weld, limit_degC=110, output="junction_2")
"""

from sim.thermal.answers import (
    Cycle,
    Forecast,
    cyclic_state,
    equilibrium,
    equilibrium_course,
    equilibrium_mean_degC,
    fastest_safe_pace,
    forecast,
    nth_cycle,
    rest_after_burst_s,
    state_after,
    time_to_limit_s,
)
from sim.thermal.electrode import (
    Electrode,
    Holder,
    at_its_own_mean,
    electrode_network,
)
from sim.thermal.materials import (
    COPPER,
    CUCR1,
    CUCR1ZR,
    FURNACE_H,
    LARSON_MILLER_C,
    LOW_CARBON_STEEL,
    Material,
    log_softening_h,
    softened,
)
from sim.thermal.network import LinearNetwork, NodeRow, PowerProfile, Segment, row_network
from sim.thermal.switch import (
    Cooling,
    FosterTerm,
    OnState,
    alternating,
    alternating_slices,
    foster_network,
    loss_slices,
    switch_network,
)
from sim.thermal.winding import Mass, Winding, winding_networks

__all__ = [
    "COPPER",
    "CUCR1",
    "CUCR1ZR",
    "FURNACE_H",
    "LARSON_MILLER_C",
    "LOW_CARBON_STEEL",
    "Cooling",
    "Cycle",
    "Electrode",
    "Forecast",
    "FosterTerm",
    "Holder",
    "LinearNetwork",
    "Mass",
    "Material",
    "NodeRow",
    "OnState",
    "PowerProfile",
    "Segment",
    "Winding",
    "alternating",
    "alternating_slices",
    "at_its_own_mean",
    "cyclic_state",
    "electrode_network",
    "equilibrium",
    "equilibrium_course",
    "equilibrium_mean_degC",
    "fastest_safe_pace",
    "forecast",
    "foster_network",
    "log_softening_h",
    "loss_slices",
    "nth_cycle",
    "rest_after_burst_s",
    "row_network",
    "softened",
    "state_after",
    "switch_network",
    "time_to_limit_s",
    "winding_networks",
]
