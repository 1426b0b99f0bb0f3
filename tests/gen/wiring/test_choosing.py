"""The parts that are chosen: each within its bounds, whatever the machine, and said where nothing will do."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from gen.boards import boards
from gen.ranges import Figure
from gen.wiring.choice import Yours
from gen.wiring.power_parts import conductor_gauge, inrush_figure
from gen.wiring.signal_parts import conduction_sense, detector
from gen.wiring.upgrade import upgrade
from tests.support.machines import known_welder, make_welder
from tests.support.wiring.upgrade_machines import MACHINES, chosen, sheet_of


def test_yours_is_judged_at_the_limit() -> None:
    """What the welder file gives of the switch, one step either side of what suits."""
    part = chosen(known_welder()).part("switch")
    limits = {mine.what: mine.limit for mine in part.yours}
    assert set(limits) == {"rated current", "surge current"}
    for above in (0.999, 1.001):
        values = {
            "rated_current_A": limits["rated current"] * above,
            "surge_current_A": limits["surge current"] * above,
        }
        judged = chosen(known_welder(switch=values)).part("switch").yours
        assert [mine.enough for mine in judged] == [above > 1] * 2
    assert Yours("to air", 1.0, 1.0, "K/W", at_most=True).enough
    assert not Yours("to air", 1.01, 1.0, "K/W", at_most=True).enough


def test_what_is_not_enough_is_gathered() -> None:
    """A switch too small for the inrush, and a heat sink too small for the pace, are reported together."""
    small = known_welder(switch={"surge_current_A": 60}, heat_sink={"K_per_W": 30})
    assert [text.split(":")[0] for text in chosen(small).not_enough] == ["switch", "heat sink"]
    assert chosen(known_welder()).not_enough == ()


def test_a_faster_pace_wants_a_better_heat_sink_until_the_plate_holds_it() -> None:
    """The board's duty guard holds the machine to its plate, so past it the sink need not get better."""
    sinks = [chosen(known_welder(), pace).sink.K_per_W for pace in (0.5, 1, 2, 60, 120)]
    assert all(sink is not None for sink in sinks)
    assert sinks[0] > sinks[1] > sinks[2] > sinks[3] == sinks[4]  # type: ignore[operator]


def test_no_heat_sink_is_made_up() -> None:
    """Where the case would be too hot on any sink, it is said; no negative resistance is sold."""
    hot = known_welder(switch={"case_to_sink_K_per_W": 5})
    choice = chosen(hot)
    assert choice.sink.K_per_W is None
    assert choice.part("heat sink").fit.startswith("None will do")
    assert "None will do" in sheet_of(hot).html


@pytest.mark.parametrize("voltage_V", [100, 120, 208, 230, 240, 400, 480])
@pytest.mark.parametrize("frequency_Hz", [50, 60])
def test_chosen_values_hold_anywhere(voltage_V: int, frequency_Hz: int) -> None:
    """On every mains: the bounds that the parts are chosen by are kept, and the voltages stand in order."""
    choice = chosen(make_welder(mains={"voltage_V": voltage_V, "frequency_Hz": frequency_Hz}))
    peak_V = voltage_V * 2**0.5
    assert 1.1 * voltage_V <= choice.varistor_V <= 1.25 * voltage_V
    assert peak_V * 1.1 * 2 <= choice.switch.off_state_V
    assert choice.varistor_V * 2.7 <= choice.switch.off_state_V
    assert (voltage_V * 1.1 / 2) ** 2 / choice.detector.each_ohm <= choice.detector.each_rated_W / 2
    assert peak_V * 1.1 / (2 * choice.detector.each_ohm) <= 0.010
    assert choice.detector.pull_ohm <= 8200
    assert peak_V * 1.1 / choice.snubber.ohm <= 10
    assert choice.one_shot_ms.low < choice.one_shot_ms.high == 12
    assert 0 < choice.detector.offset_rise_us.low < choice.detector.offset_rise_us.high < 1000
    assert choice.switch.i2t_A2s * 0.75 >= 5 * choice.load.half_cycle_i2t_A2s / 0.6


@pytest.mark.parametrize("voltage_V", [120, 230, 400])
@pytest.mark.parametrize("open_current_A", [None, 0.3, 0.9, 3.0])
def test_the_snubber_holds_with_open_electrodes(voltage_V: int, open_current_A: float | None) -> None:
    """From half to twice the idle current, mains a tenth high: half of the off-state voltage is kept, or what would is said.

    The series circuit of core, resistor and capacitor is stepped here by SciPy, without our sum; the switch lets go at its
    holding current.
    """
    transformer = {"open_current_A": open_current_A} if open_current_A else {}
    welder = make_welder(mains={"voltage_V": voltage_V}, transformer=transformer)
    choice = chosen(welder)
    ohm, farad = choice.snubber.ohm, choice.snubber.farad
    step_V = voltage_V * 2**0.5 * 1.1
    idle_A = (open_current_A / 2, open_current_A * 2) if open_current_A else (0.01 * 20, 0.1 * 20)
    worst_V = 0.0
    for amperes in idle_A:
        henry, let_go_A = voltage_V / (2 * math.pi * 50 * amperes), welder.switch.holding_current_A

        def rates(_: float, state: np.ndarray, henry: float = henry) -> list[float]:
            return [(step_V - ohm * state[0] - state[1]) / henry, state[0] / farad]

        end_s = 2 * math.pi * math.sqrt(henry * farad)
        found = solve_ivp(rates, (0, end_s), [-let_go_A, 0], max_step=end_s / 2000)
        worst_V = max(worst_V, float((found.y[1] + ohm * found.y[0]).max()))
    said = next(step.result for step in choice.part("snubber").steps if step.what.endswith("electrodes open"))
    assert float(said.removesuffix(" V")) == pytest.approx(worst_V, rel=5e-3)
    held = worst_V <= choice.switch.off_state_V / 2 * 1.001
    assert held == (not any("No snubber keeps" in note for note in choice.part("snubber").notes))
    if voltage_V < 400:
        assert held
    if not held:
        assert any("fit thyristors of 2200 V off-state" in note for note in choice.part("snubber").notes)


def test_the_gate_drive_sold_is_the_one_drawn() -> None:
    """Each drive that a welder file can name is chosen, and the drawing's isolator is that one."""
    for drive, words in (
        ("one_shot", "Phototriac coupler"),
        ("capacitor", "Phototriac coupler"),
        ("pulse_transformer", "Pulse transformer"),
        (None, "Phototriac coupler"),
    ):
        welder = make_welder(protection={"gate_drive": drive})
        part = chosen(welder).part("gate drive")
        assert words in part.fit
        assert ("hototriac" in part.fit) != (drive == "pulse_transformer")
        assert not (drive == "pulse_transformer" and any("phototriac" in step.source for step in part.steps))
        drawn = sheet_of(welder).netlist.part("U2")
        assert drawn is not None
        assert drawn.description == part.fit


def test_what_cuts_off_is_named_by_its_standard() -> None:
    """IEC 60947-3 AC-23A, 60947-5-1 Annex K, 60947-4-1 Annex F and type A (from memory), at the part and on the sheet."""
    welder = known_welder()
    choice = chosen(welder)
    assert "IEC 60947-3" in choice.part("isolator").fit
    assert "AC-23A" in choice.part("isolator").fit
    assert "Annex K" in choice.part("emergency stop").steps[0].source
    assert any("60947-4-1 Annex F" in note for note in choice.part("contactor").notes)
    assert choice.part("residual-current device").fit.startswith("Residual-current device type A")
    html = sheet_of(welder).html
    for words in ("AC-23A", "direct opening action", "mirror contact"):
        assert words in html, words
    making_A = choice.load.inrush_peak_A.high / 2**0.5 / 10
    rated_A = float(choice.part("isolator").steps[-1].result.split()[2])
    assert rated_A >= max(making_A, choice.load.working_rms_A.high, 20)


def test_a_residual_current_device_is_asked_for_with_its_reason() -> None:
    """Where the secondary is off earth; at a socket outlet of 32 A or less and not above it."""

    def asked(**tables: dict[str, object]) -> str:
        return chosen(known_welder(**tables)).part("residual-current device").steps[1].working

    assert "the secondary is not earthed" in asked(
        protection={"secondary_earthed": False, "residual_current_device": True}
    )
    assert "the secondary is not earthed" not in asked()
    assert "socket outlet" in asked(breaker={"rating_A": 32})
    assert "socket outlet" not in asked(breaker={"rating_A": 32.1})


def test_a_triac_gets_a_gentler_snubber() -> None:
    """Its rise at turn-off is held to half of what its data sheet allows, where parts can."""
    gentle = chosen(make_welder(switch={"kind": "triac", "commutating_dv_dt_V_per_us": 10}))
    ordinary = chosen(make_welder())
    assert gentle.snubber.ohm < ordinary.snubber.ohm
    steepest = next(step for step in gentle.part("snubber").steps if step.what == "steepest rise")
    assert float(steepest.result.split()[0]) <= 5
    assert not any("No snubber" in note for note in ordinary.part("snubber").notes)
    # Gentle enough under load, it rings too far with open electrodes: that is said.
    assert any("No snubber keeps both" in note for note in gentle.part("snubber").notes)
    hopeless = chosen(make_welder(switch={"kind": "triac", "commutating_dv_dt_V_per_us": 0.5}))
    assert any("fit the pair of thyristors" in note for note in hopeless.part("snubber").notes)


def test_every_step_names_its_source_and_no_brand() -> None:
    """No formula without a source; nothing but general descriptions."""
    for part in chosen(known_welder(**MACHINES["everything"])).parts:
        assert part.fit
        for step in part.steps:
            assert step.source
            assert step.result


def test_conductors_never_below_their_own_codes_table() -> None:
    """A row is looked up once: nobody finds 4 mm2 beside a gauge of twice the copper."""
    assert conductor_gauge(15) == "1.5 mm2 / 14 AWG"
    assert conductor_gauge(15.1) == "2.5 mm2 / 12 AWG"
    assert conductor_gauge(32) == "6 mm2 / 8 AWG"
    assert conductor_gauge(230) == "95 mm2 / 4/0 AWG"
    assert conductor_gauge(900) == "local code"


def test_no_fuse_fits_a_switch_too_small() -> None:
    """The window between the inrush and the switch closes: the sheet says so instead of naming a fuse that ages or fails."""
    assert "No fuse fits" in chosen(known_welder(switch={"i2t_A2s": 60})).part("fuse").notes[0]
    assert "No fuse fits" not in chosen(known_welder(switch={"i2t_A2s": 5000})).part("fuse").notes[0]


def test_a_breaker_is_not_trusted_below_its_upper_band() -> None:
    """IEC 60898-1: a D40 need not open for two minutes at a short circuit of 441 A, whose one half-cycle the switch bears."""
    weak = {"source_resistance_ohm": 0.52, "source_inductance_mH": 0.01}
    part = chosen(
        known_welder(mains=weak, breaker={"characteristic": "D", "rating_A": 40}, switch={"i2t_A2s": 5000})
    ).part("fuse")
    line = next(line for line in part.steps if line.what == "a circuit breaker in its place")
    assert "does not save the switch" in line.result
    assert "IEC 60269-4" in line.result
    other = chosen(known_welder(breaker={"standard": "other", "characteristic": None})).part("fuse")
    line = next(line for line in other.steps if line.what == "a circuit breaker in its place")
    assert line.result.startswith("does not count")


def test_figures_without_order_are_put_in_order() -> None:
    """A planned start that is already the worst gives a point, not a range turned round."""
    assert inrush_figure(60, 60) == replace(Figure(60, 60, "A", ""), source=inrush_figure(60, 60).source)
    assert (inrush_figure(70, 60).low, inrush_figure(70, 60).high) == (60, 60)


def test_upgrade_uses_the_roles_that_the_firmware_uses() -> None:
    """Roles that the firmware is built without are left open on the sheet."""
    welder = known_welder()
    terminals = {t for net in upgrade(welder, boards()["pico"], chosen(welder)).nets for t in net.terminals}
    assert "A1.force" not in terminals
    assert "A1.conduction" not in terminals
    assert "A1.primary_current" not in terminals


def test_the_one_shot_lets_every_half_cycle_through() -> None:
    """The pin's fall resets it: where the mains is 60 Hz it would otherwise still run when the next gate comes."""
    choice = chosen(make_welder(mains={"frequency_Hz": 60}))
    assert sum((choice.one_shot_ms.low, choice.one_shot_ms.high)) / 2 > 1000 / 120
    assert (
        "is reset by its fall"
        in next(step for step in choice.part("gate drive").steps if step.what == "one-shot").working
    )
    stage = sheet_of(make_welder()).netlist.part("A2")
    assert stage is not None
    assert "is reset by its fall" in stage.description


def test_an_offset_outside_the_band_is_reported() -> None:
    """A square detector's fall comes early: the same lateness for both edges is no detector of this kind."""
    notes = " ".join(
        chosen(make_welder(detector={"offset_rise_us": 100, "offset_fall_us": 300})).part("detector").notes
    )
    assert "detector.offset_fall_us = 300 us, outside the band" in notes
    assert "detector.offset_rise_us" not in notes


def test_the_capacitor_of_the_sense_leaves_the_edge_its_time() -> None:
    """One that bridged the dark of a crossing would swallow the end of a current, which every board times."""
    for name in ("pico", "pyboard"):
        welder = make_welder(board={"name": name, "conduction_sense": True})
        board = boards()[name]
        sense = conduction_sense(welder, board, detector(welder, board)[0])
        assert sense.steps[1].what == "delay at the pin"
        assert float(sense.steps[1].result.split()[2]) < 60
