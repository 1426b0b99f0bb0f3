"""Protections in the welder file that contradict one another. Nothing is drawn for such a machine."""

from __future__ import annotations

from gen.machine.welder import Welder
from gen.user_files import Wrong, figure, written


def check_protections(welder: Welder) -> None:
    """Raise Wrong for the first protection that another entry of the file rules out."""
    p, kind = welder.protection, welder.switch.kind
    if p.contactor_coil == "ac":
        allowed = 'allowed: "dc", for 24 V; the board feeds the coil direct current, which burns an a.c. coil'
        raise Wrong("protection.contactor_coil", written(p.contactor_coil), allowed)
    if p.stop_cuts_contactor and not p.contactor:
        allowed = "allowed: only with protection.contactor = true; there is no coil to cut"
        raise Wrong("protection.stop_cuts_contactor", written(True), allowed)
    if p.stop_cuts_gate_supply and p.gate_drive == "direct":
        allowed = (
            'allowed: false with protection.gate_drive = "direct", where the pin feeds the gate and no supply does'
        )
        raise Wrong("protection.stop_cuts_gate_supply", written(True), allowed)
    if kind == "random_phase_relay" and p.gate_drive == "pulse_transformer":
        allowed = 'allowed for a relay, which isolates its gate itself: "one_shot", "capacitor" or "direct"'
        raise Wrong("protection.gate_drive", written(p.gate_drive), allowed)
    if p.residual_current_mA is not None and not p.residual_current_device:
        allowed = "allowed: only with protection.residual_current_device = true"
        raise Wrong("protection.residual_current_mA", figure(p.residual_current_mA), allowed)
