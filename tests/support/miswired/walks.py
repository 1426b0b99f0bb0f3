"""A commissioning walked on a machine that is wired wrong: which step says so."""

from __future__ import annotations

import functools
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

import gen.commissioning.board
import gen.link.client
import gen.link.ports
from gen.boards import boards
from gen.firmware import FirmwareBundle, render
from gen.machine.welder import read_welder
from gen.schedule import read_schedule
from gen.timing import compile_schedule
from gen.wiring.netlist import Netlist
from gen.wiring.upgrade import upgrade
from tests.support.cli.command_line import SCHEDULE, WELDER, replaced, typed
from tests.support.judged_once import judge_once
from tests.support.link.commission_bench import CommissionBench, Person
from tests.support.link.hidden_truth import Truth
from tests.support.miswired.circuit import Circuit
from tests.support.miswired.miswirings import Miswiring, miswirings
from tests.support.wiring.upgrade_machines import chosen

# Everything that can be fitted, so that everything can be wired wrong.
MACHINE = replaced(
    replaced(WELDER, 'source = "foot_lever"', 'source = "air"\nforce_switch = true'),
    "[protection]",
    "[protection]\nresidual_current_device = true",
)


@dataclass(frozen=True)
class Found:
    """What came of one miswiring: `by` is the step that failed, "" where the walk came to its end; `words`: what was said."""

    miswiring: Miswiring
    by: str
    words: str


@contextmanager
def machine(folder: Path) -> Iterator[MiswiredWalks]:
    """The machine's files in a folder, which is stood in; verdicts on shots are made once, since no wire changes them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        Path("welder.toml").write_text(MACHINE)
        Path("job.toml").write_text(SCHEDULE)
        patch.setattr(gen.link.ports, "READ_S", 0.002)
        judge_once(patch, {})
        yield MiswiredWalks(patch)


class MiswiredWalks:
    """Walks on one machine."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self._patch = patch
        welder, board = read_welder(Path("welder.toml")), boards()["pico"]
        table = compile_schedule(read_schedule(Path("job.toml")), welder, board, Path("job.toml"))
        self._bundle: FirmwareBundle = render(table, welder, board)
        self.netlist: Netlist = upgrade(welder, board, chosen(welder))

    @functools.cached_property
    def miswirings(self) -> tuple[Miswiring, ...]:
        return miswirings(self.netlist)

    @functools.cached_property
    def right(self) -> Circuit:
        """The machine wired as its sheet says, after a whole walk on it. Fails where that does not pass."""
        circuit = Circuit(self.netlist)
        by, words = self._walked(circuit)
        assert by == "", words
        return circuit

    def found(self, miswiring: Miswiring) -> Found:
        """Walk on the machine as it is then wired; not at all where nothing that a walk asks would be answered otherwise."""
        circuit = Circuit(self.netlist, miswiring.links)
        if circuit.answers_as(self.right):
            return Found(miswiring, "", "")
        return Found(miswiring, *self._walked(Circuit(self.netlist, miswiring.links)))

    def _walked(self, circuit: Circuit) -> tuple[str, str]:
        for kept in Path().glob("records.sqlite*"):
            os.remove(kept)
        Path("welder.toml").write_text(MACHINE)  # a walk to the end writes readings to it
        with CommissionBench(self._bundle, Truth(), {}, circuit=circuit) as bench:
            self._patch.setattr(gen.commissioning.board, "time", bench)
            self._patch.setattr(gen.link.client, "time", bench)
            person = Person(bench)
            outcome = typed(["commission", bench.port], person, person.said)
        if outcome.code == 0:
            return "", ""
        told = " ".join(outcome.out.split())
        titles = re.findall(r"^Step \d+ of \d+: (.*)$", outcome.out, re.MULTILINE)
        if outcome.code == 2:
            return "no answer from the board", outcome.err.strip()
        return titles[-1], told.rpartition("FAILED: ")[2]
