"""Every part of interface board and power drawing, broken: each has its entry, and each entry is what the circuit does.

Outside: the modes of ISO 13849-2, Annex D, for discrete parts, from memory.
"""

from __future__ import annotations

import json
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
from gen.wiring.interface.spread import middle, spreads
from gen.wiring.upgrade import upgrade
from sim.faults.catalogue import ALL_FAULTS, FAULTS, PART_FAULTS
from sim.faults.consequences import CONSEQUENCES
from sim.faults.part_runs import BrokenMachine, PartRow, bounds_of, break_machine, break_parts
from tests.support.cli.command_line import PROTECTION, WELDER, replaced, typed
from tests.support.cli.json_samples import SHORT, keeps_to_schema
from tests.support.machines import known_welder
from tests.support.wiring.broken_parts import TRAIN, BrokenTogether, all_at_rest, breaks, gone_ms, together
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


# What the solver cannot tell: its pin and its supply give any current, and its parts bear any.
NO_LIMIT = {("R8", "shorted"), ("C32", "shorted"), ("R37", "shorted"), ("R38", "shorted")}


def test_the_table_of_the_gate_is_what_the_circuit_solver_finds() -> None:
    """A pin that rises, falls, rises and stays: no light after the second rise is no gate, light at its end no end."""
    welder = known_welder()
    levels = ((0.0, 0.0), (0.002, 1.0), (0.007, 0.0), (0.012, 1.0))
    times = times_after([at + ramp for at, _ in levels[1:] for ramp in (0, 1e-6)], 0.027, 1e-3, 5e-6)
    parts = gate_parts(welder, chosen(welder))
    two = {part.name for part in parts if len(part.pins) == 2 and part.name in STAGE_PARTS["gate"]}
    # With R32 open GX floats: it is solved with that part taken away.
    alone = next(one for one in breaks(parts) if one.name == "R32 open")
    some = together(parts, two, leaving={alone.name, *(f"{name} {how}" for name, how in NO_LIMIT)})
    one = BrokenTogether((alone.name,), alone.components, middle(spreads(alone.components)))
    sources = {"24E": Source(np.array([24.0])), "GATE": Source(np.array([3.3]), course(levels))}
    looked_at = 0
    for broken in (some, one):
        volts = Nodal(broken.components, broken.draws, sources).run(times, ("FIRE", "FIRE0"))
        for what, light in zip(broken.names, (volts["FIRE"] - volts["FIRE0"]).T):
            name, how = what.split()
            lit = [np.interp(at, times, light) > 0.9 for at in (0.0125, 0.026)]
            shown = "no-gate" if not lit[0] else "no-end" if lit[1] else ""
            said = STAGE_PARTS["gate"][name][MODES.index(how)]  # type: ignore[arg-type]
            assert shown == (said if said in ("no-gate", "no-end") else ""), what
            looked_at += 1
    assert looked_at == 20


# The parts of the coil's two switches. A shorted R48 or R83 overloads a gate, which the solver's MOSFETs bear.
SWITCHES = ("R44", "R45", "R46", "R47", "R48", "R49", "Q43", "R81", "R82", "R83", "Q44", "Q45")
OVERLOADED = {("R48", "shorted"), ("R83", "shorted")}
LEAD = Component("lead", "resistor", (("1", "24E"), ("2", "KM")), "", 0.1)


def contactor_parts() -> tuple[Component, ...]:
    welder = known_welder()
    stage = interface_for(welder, chosen(welder).detector).stage("contactor")
    assert stage is not None
    return (*stage.components, COIL)


def mode_of(name: str) -> tuple[str, str]:
    """Part and mode of a break such as `R44 open`, `Q43 G off` or `Q43 D-S`."""
    part, *how = name.split()
    return part, "open" if how[-1] in ("open", "off") else "shorted"


def test_which_broken_part_leaves_one_switch_of_the_coil_closed_is_in_the_table() -> None:
    """By the circuit solver at rest, as the commissioning measures it: KM, and COIL with a lead from 24E to KM."""
    levels, found = {"24E": 24.0, "PULSE": 0.0}, set()
    for parts, net in ((contactor_parts(), "KM"), ((*contactor_parts(), LEAD), "COIL")):
        volts = all_at_rest(together(parts, SWITCHES), levels, net)
        found |= {mode_of(name) for name, volt in volts.items() if volt > 2.4}
    table = STAGE_PARTS["contactor"]
    said = {(name, mode) for name in SWITCHES for mode, what in zip(MODES, table[name]) if what.startswith("half")}
    assert {(name, mode) for name, mode in said if mode != "drifted"} - OVERLOADED == found


def test_after_a_train_each_broken_part_lets_the_coil_go_when_the_table_says() -> None:
    """Within 60 ms, or 0.3 s where it says that the coil drops late. The pin ends low; without a break it holds 40 ms."""
    some = (
        "R44 shorted",
        "R45 open",
        "R46 shorted",
        "R49 open",
        "R43 shorted",
        "Q43 D-S",
        "Q44 D-S",
        "U5 3-4",
        "R84 open",
    )
    parts = contactor_parts()
    every = together(parts, {name.split()[0] for name in some})
    broken = together(parts, {name.split()[0] for name in some}, leaving=set(every.names) - set(some))
    gone = gone_ms(broken, (*TRAIN, (0.053, 0.0)))
    assert set(gone) == set(some)
    for name, at_ms in gone.items():
        part, mode = mode_of(name)
        late = STAGE_PARTS["contactor"][part][MODES.index(mode)] in ("slow", "half-slow")
        assert at_ms < (300 if late else 60), (name, at_ms)
    assert gone["R84 open"] > 40
    assert gone["R45 open"] > 60


def test_a_shorted_switch_is_ended_by_the_contactor(broken: BrokenMachine) -> None:
    row = row_of(broken, "V1", "shorted")
    assert row.worst is not None
    assert (row.over_run > 0, row.lasts, row.by_hand, row.worst.ended_by) == (True, False, False, "contactor")


def test_a_welded_contactor_is_reported_by_its_mirror_contact(broken: BrokenMachine) -> None:
    row = row_of(broken, "K1", "shorted")
    assert row.notices == "board"
    assert all("contactor stayed closed" in o.did for o in row.outcomes if o.noticed_after is not None)


def test_one_of_the_coils_two_switches_that_stays_closed_is_found_by_its_commissioning_step(
    broken: BrokenMachine,
) -> None:
    row = row_of(broken, "Q43", "shorted")
    assert row is row_of(broken, "Q44", "shorted")
    assert (row.notices, row.steps, row.over_run) == ("step", ("coil-switches",), 0)


def test_a_one_shot_without_end_is_found_by_its_commissioning_step_alone(broken: BrokenMachine) -> None:
    row = row_of(broken, "Q33", "shorted")
    assert (row.notices, "gate-stands" in row.steps) == ("step", True)


def test_a_shorted_pedal_circuit_makes_one_weld_and_needs_the_person(broken: BrokenMachine) -> None:
    """A capacitor across the pedal's pin looks as a foot does: the table ends that weld, and no second follows."""
    row = row_of(broken, "C11", "shorted")
    assert row is row_of(broken, "S2", "shorted")
    assert (row.notices, row.over_run) == ("person", broken.bounds.table)


# Filters of the contacts and detector, by who notices first.
NOTICED = {
    "board": "R10 open, D10 shorted, R12 open, D12 shorted, R14 open, C14 shorted, D14 shorted, R1 open, D1 shorted, R7 shorted",
    "work": "R11 open, D11 shorted, R20 shorted, R21 shorted",
    "step": "C10 shorted, C12 shorted, R20 open, R24 open, R1 shorted, R7 open, D1 open",
    "person": "C11 shorted",
    "nobody": "R10 shorted, C10 open, D10 open, R14 shorted, C14 open, D14 open, R10 drifted, D14 drifted",
}


def test_who_notices_a_broken_filter_or_detector(broken: BrokenMachine) -> None:
    """What the pin then reads is held to the circuit in tests/gen/wiring; nobody notices what no reading changes."""
    for who, parts in NOTICED.items():
        for part in parts.split(", "):
            row = row_of(broken, *part.split())
            assert row.notices == who, part
            assert row.over_run == (broken.bounds.table if who == "person" else 0), part


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
