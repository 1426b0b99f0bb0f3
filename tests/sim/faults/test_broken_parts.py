"""Every part of interface board and power drawing, broken: each has its entry, and each entry is what the circuit does.

Outside: the modes of ISO 13849-2, Annex D, for discrete parts, from memory.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from gen.boards import boards
from gen.cli.faults import parts_json, parts_lines
from gen.commissioning import steps
from gen.job import Job, read_job
from gen.machine.welder import Welder
from gen.wiring.broken_parts import MODES, STAGE_PARTS, BrokenPart, broken_parts
from gen.wiring.interface import Component, interface_for
from gen.wiring.interface.nodal import Nodal, Source, times_after
from gen.wiring.interface.spread import Reals, middle, spreads
from gen.wiring.upgrade import upgrade
from sim.faults.catalogue import ALL_FAULTS, FAULTS, PART_FAULTS
from sim.faults.consequences import CONSEQUENCES
from sim.faults.part_runs import BrokenMachine, PartRow, bounds_of, break_machine, break_parts
from tests.support.cli.command_line import PROTECTION, WELDER, replaced, typed
from tests.support.cli.json_samples import SHORT, keeps_to_schema
from tests.support.machines import known_welder
from tests.support.wiring.broken_parts import at_rest, breaks
from tests.support.wiring.interface_trials import COIL, gate_parts
from tests.support.wiring.interface_trials import steps as course
from tests.support.wiring.upgrade_machines import MACHINES, chosen

BOARD = boards()["pico"]


def job_in(folder: Path, protection: str = PROTECTION) -> Job:
    (folder / "welder.toml").write_text(replaced(WELDER, PROTECTION, protection))
    (folder / "job.toml").write_text(SHORT)
    return read_job(folder / "job.toml", folder / "welder.toml")


def parts_of(welder: Welder) -> tuple[BrokenPart, ...]:
    return broken_parts(welder, BOARD, chosen(welder))


@pytest.fixture(scope="module")
def broken(tmp_path_factory: pytest.TempPathFactory) -> BrokenMachine:
    """The machine with all its hardware and no sense, each part broken, once for all tests that read it."""
    job = job_in(tmp_path_factory.mktemp("shop"))
    keys = [step.key for step in steps(job.welder, BOARD) if not step.lacking]
    return break_machine(job, parts_of(job.welder), keys, 0)


def row_of(machine: BrokenMachine, name: str, mode: str) -> PartRow:
    """The row that holds this part broken so."""
    (row,) = [row for row in machine.rows if any((part.name, part.mode) == (name, mode) for part in row.parts)]
    return row


def worst_of(job: Job, name: str) -> PartRow:
    """The one row of a shorted part on another machine."""
    some = [part for part in parts_of(job.welder) if (part.name, part.mode) == (name, "shorted")]
    (row,) = break_parts(job, some, (), 0)
    return row


@pytest.mark.parametrize("machine", MACHINES)
def test_every_part_has_an_entry_for_each_of_its_modes(machine: str) -> None:
    """Walks the parts of the board and of the drawing on every shape of machine; all entries are known consequences."""
    welder = known_welder(**MACHINES[machine])
    choice = chosen(welder)
    netlist = upgrade(welder, BOARD, choice)
    found = broken_parts(welder, BOARD, choice)
    modes = {name: {part.mode for part in found if part.name == name} for name in {part.name for part in found}}
    fed = welder.protection.gate_drive not in (None, "direct")
    for stage in interface_for(welder, choice.detector).stages:
        if (stage.name in ("gate", "isolation") and not fed) or (
            stage.name == "contactor" and not welder.protection.contactor
        ):
            continue
        for part in stage.components:
            assert part.generic == "pin" or modes[part.name] == set(MODES), part.name
    for drawn in netlist.parts:
        if drawn.fitted and not drawn.on_board and (drawn.name != "D2" or welder.protection.contactor):
            assert "open" in modes[drawn.name], drawn.name
            assert drawn.link or drawn.name in ("XE", "EN", "H1") or modes[drawn.name] == set(MODES), drawn.name
    assert {part.consequence for part in found} <= CONSEQUENCES.keys()


def test_every_consequence_names_what_there_is() -> None:
    """Its fault is in a catalogue, its steps are in the walk, and what nobody simulates or sees says why."""
    keys = {step.key for step in steps(known_welder(force={"source": "air", "force_switch": True}), BOARD)}
    assert not FAULTS.keys() & PART_FAULTS.keys()
    for key, consequence in CONSEQUENCES.items():
        assert not consequence.plays or consequence.plays in ALL_FAULTS, key
        assert set(consequence.steps) <= keys, key
        assert consequence.plays or consequence.unseen, key


def curve(
    parts: Sequence[Component], pin: Source, pin_net: str, nets: tuple[str, ...], times: Reals
) -> dict[str, Reals]:
    sources = {"24E": Source(np.array([24.0])), pin_net: pin}
    found = Nodal(parts, middle(spreads(parts)), sources).run(times, nets)
    return {net: volts[:, 0] for net, volts in found.items()}


# What the solver cannot tell: its pin and its supply give any current, and its parts bear any.
NO_LIMIT = {("R8", "shorted"), ("C32", "shorted"), ("R37", "shorted"), ("R38", "shorted")}


def test_the_table_of_the_gate_is_what_the_circuit_solver_finds() -> None:
    """A pin that rises, falls, rises and stays: no light after the second rise is no gate, light at its end no end."""
    welder = known_welder()
    levels = ((0.0, 0.0), (0.002, 1.0), (0.007, 0.0), (0.012, 1.0))
    pin = Source(np.array([3.3]), course(levels))
    times = times_after([at + ramp for at, _ in levels[1:] for ramp in (0, 1e-6)], 0.027, 1e-3, 5e-6)
    looked_at = 0
    for one in breaks(gate_parts(welder, chosen(welder))):
        name, how = one.name.split(maxsplit=1)
        if name not in STAGE_PARTS["gate"] or how not in ("open", "shorted") or (name, how) in NO_LIMIT:
            continue
        volts = curve(one.components, pin, "GATE", ("FIRE", "FIRE0"), times)
        lit = [np.interp(at, times, volts["FIRE"] - volts["FIRE0"]) > 0.9 for at in (0.0125, 0.026)]
        shown = "no-gate" if not lit[0] else "no-end" if lit[1] else ""
        said = STAGE_PARTS["gate"][name][MODES.index(how)]
        assert shown == (said if said in ("no-gate", "no-end") else ""), one.name
        looked_at += 1
    assert looked_at == 20


# R44 shorted: the diodes to 0 V then keep KN at two junctions, below the threshold for ever.
HELD_AT_REST = {("R44", "shorted"), ("R45", "open"), ("R46", "shorted"), ("R47", "open"), ("R49", "open")}


def test_what_holds_the_coil_with_its_pin_still_is_in_the_table() -> None:
    """Resistors, by the circuit solver at rest; the table may hold more (what holds it only after a train), never less.

    Capacitors and diodes of the pump hold nothing, which has its test beside the stage.
    """
    welder = known_welder()
    stage = interface_for(welder, chosen(welder).detector).stage("contactor")
    assert stage is not None
    found = set()
    for one in breaks((*stage.components, COIL)):
        name, how = one.name.split(maxsplit=1)
        if name.startswith("R") and how in ("open", "shorted"):
            for volts in (0.0, 3.3):
                try:
                    rest_V = at_rest(one.components, {"24E": 24.0, "PULSE": volts}, "COIL")
                except ArithmeticError:  # an output tied to its own input swings
                    continue
                found |= {(name, how)} if rest_V > 1.0 else set()
    assert found >= HELD_AT_REST
    for name, how in found:
        assert STAGE_PARTS["contactor"][name][MODES.index(how)] == "held", (name, how)


def test_a_shorted_switch_is_ended_by_the_contactor(broken: BrokenMachine) -> None:
    row = row_of(broken, "V1", "shorted")
    assert row.worst is not None
    assert (row.over_run > 0, row.lasts, row.by_hand, row.worst.ended_by) == (True, False, False, "contactor")


def test_a_held_or_welded_contactor_is_told_by_its_mirror_contact(broken: BrokenMachine) -> None:
    for name in ("Q43", "K1"):
        row = row_of(broken, name, "shorted")
        assert row.notices == "board"
        assert all("contactor stayed closed" in o.did for o in row.outcomes if o.noticed_after is not None)


def test_a_one_shot_without_end_is_found_by_its_commissioning_step_alone(broken: BrokenMachine) -> None:
    row = row_of(broken, "Q33", "shorted")
    assert (row.notices, "gate-stands" in row.steps) == ("step", True)


def test_a_shorted_pedal_circuit_makes_one_weld_and_needs_the_person(broken: BrokenMachine) -> None:
    """A capacitor across the pedal's pin looks as a foot does: the table ends that weld, and no second follows."""
    row = row_of(broken, "C11", "shorted")
    assert row is row_of(broken, "S2", "shorted")
    assert (row.notices, row.over_run) == ("person", broken.bounds.table)


def test_every_current_ends_inside_its_bound(broken: BrokenMachine) -> None:
    assert broken.safe
    assert all(row.released <= row.bound for row in broken.rows)


def test_without_contactor_the_person_ends_it_and_without_isolator_nobody(tmp_path: Path) -> None:
    bare = '[protection]\ngate_drive = "one_shot"\nsecondary_earthed = true\n'
    job = job_in(tmp_path, bare + "isolator = true\n")
    row = worst_of(job, "V1")
    assert (row.notices, row.within, row.bound) == ("person", True, bounds_of(job).person)
    job = job_in(tmp_path, bare)
    row = worst_of(job, "V1")
    assert (row.notices, row.within, row.lasts) == ("person", False, True)
    machine = BrokenMachine(row.parts, (row,), bounds_of(job))
    text = "\n".join(parts_lines(machine))
    assert "These need a person" in text
    assert "Nothing that the welder file names" in text
    assert not machine.safe


def test_the_table_names_every_part_and_keeps_to_screen_and_schema(broken: BrokenMachine) -> None:
    lines = parts_lines(broken)
    assert max(len(line) for line in lines) <= 80
    text = " ".join(lines)
    assert all(f" {part.name} " in text for part in broken.parts)
    told = keeps_to_schema("faults", json.loads(json.dumps(parts_json(broken, 0))))
    assert sum(len(row["parts"]) for row in told["consequences"]) == told["ways"] == len(broken.parts)


def test_parts_and_a_replay_are_one_or_the_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job_in(tmp_path)
    monkeypatch.chdir(tmp_path)
    outcome = typed(["faults", "job.toml", "--parts", "--replay", "0"])
    assert (outcome.code, outcome.err.count("\n")) == (2, 1)
    assert "--parts" in outcome.err
