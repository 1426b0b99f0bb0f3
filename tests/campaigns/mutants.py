"""Mutants of the emitted application and the drivers: `python -m tests.campaigns.mutants RESULTS [--only PATH] [--again]`.

Makes every change to firmware_templates/app and the families' driver.py that the operators of cosmic-ray (a kept mutation
tool) can make, and runs chosen tests against each. RESULTS is a file of JSON lines: an interrupted run goes on where it
stopped, and what has changed since is tried anew. `--only` takes paths below firmware_templates that begin so; `--again`
tries once more what had survived; `--sample N` takes N by lot, in one process, without trying the unchanged files beforehand.

mutants.toml beside it says which tests run, and lists the known survivors with their reasons; mutant_making.py has rules for
those that are expected wherever they stand. Exit 1 where one survives that neither knows, or where the list holds one that
does not survive.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from fnmatch import fnmatch
from functools import cache
from hashlib import sha256
from pathlib import Path

from tests.campaigns.mutant_making import LEFT_OUT, Mutation, mutations, targets
from tests.campaigns.mutant_trying import CAUGHT, SURVIVED, TIMED_OUT, Trial, Worker

ROOT = Path(__file__).parents[2]
TEMPLATES = ROOT / "firmware_templates"
SETTINGS = Path(__file__).with_suffix(".toml")
WORKERS = 2
SEED = 1

Name = tuple[str, str, str, int]  # file, function, operator, and its number among those of the operator there


@dataclass(frozen=True)
class Settings:
    """The tests of each file, and the known survivors with their reasons."""

    tests: dict[str, list[list[str]]]
    known: dict[Name, str]


def settings() -> Settings:
    content = tomllib.loads(SETTINGS.read_text(encoding="utf-8"))
    tests = {}
    for path in targets(TEMPLATES):
        fitting = [groups for pattern, groups in content["tests"].items() if fnmatch(path, pattern)]
        if not fitting:
            raise SystemExit(f"{SETTINGS.name}: no tests for {path}")
        tests[path] = fitting[0]
    return Settings(tests, dict(_known(content["known"])))


def _known(reasons: dict[str, list[str]]) -> Iterator[tuple[Name, str]]:
    """The survivors that the list names, with their reasons. A place: file, function, operator, numbers; without numbers all."""
    for reason, places in reasons.items():
        for place in places:
            yield from ((name, reason) for name in named(place))


def named(place: str) -> list[Name]:
    """What a place on the list names."""
    path, function, operator, *numbers = place.split(" ")
    names = [name_of(mutation) for mutation in of_file(path)]
    return [it for it in names if it[:3] == (path, function, operator) and (not numbers or str(it[3]) in numbers)]


@cache
def of_file(path: str) -> list[Mutation]:
    """All mutations of a file below firmware_templates."""
    return mutations(TEMPLATES, path)


def name_of(mutation: Mutation) -> Name:
    return mutation.path, mutation.function, mutation.operator, mutation.within


def kept(file: Path) -> dict[str, Trial]:
    """Trials of earlier runs by the mutation's key."""
    if not file.is_file():
        return {}
    found = {}
    for line in file.read_text(encoding="utf-8").splitlines():
        content = json.loads(line)
        trial = Trial(Mutation(**content.pop("mutation")), **content)
        found[trial.mutation.key] = trial
    return found


def written(trial: Trial) -> str:
    return json.dumps({**trial.__dict__, "mutation": trial.mutation.__dict__}) + "\n"


def lottery(mutation: Mutation) -> bytes:
    """The lot of a mutation, which edits elsewhere in its file leave as it is."""
    name = f"{SEED} {' '.join(str(part) for part in name_of(mutation))}"
    return sha256(name.encode()).digest()


# -- in a worker ---------------------------------------------------------------------------------------------------------

_worker: Worker


def _begin(folder: Path, tests: dict[str, list[list[str]]], measured: bool) -> None:
    global _worker
    _worker = Worker(ROOT, folder, tests)
    if measured:
        _worker.prepare()


def _try(mutation: Mutation) -> Trial:
    return _worker.trial(mutation)


# -- the run -------------------------------------------------------------------------------------------------------------


def tried(wanted: list[Mutation], tests: dict[str, list[list[str]]], workers: int) -> Iterator[Trial]:
    """The trials, as they come in."""
    tests = {path: groups for path, groups in tests.items() if path in {it.path for it in wanted}}
    context = multiprocessing.get_context("spawn")
    with (
        tempfile.TemporaryDirectory() as folder,
        ProcessPoolExecutor(workers, context, _begin, (Path(folder), tests, workers > 1)) as pool,
    ):
        yield from pool.map(_try, wanted)


def reason_of(mutation: Mutation, known: dict[Name, str]) -> str:
    """Why a mutation may survive; "" where there is none."""
    return known.get(name_of(mutation), "") or mutation.rule


def report(trials: list[Trial], known: dict[Name, str], whole: set[str]) -> int:
    """Print figures, survivors and what is wrong with the list. `whole`: files of which every mutant was tried."""
    for path in sorted({trial.mutation.path for trial in trials}):
        _figures(path, [trial for trial in trials if trial.mutation.path == path], known)
    _figures("all", trials, known)
    survived = [trial for trial in trials if trial.outcome == SURVIVED]
    unknown = [trial for trial in survived if not reason_of(trial.mutation, known)]
    for trial in survived:
        it = trial.mutation
        reason = reason_of(it, known) or "NOT LISTED"
        print(f"\n{it.path}:{it.number}, {it.function}, {it.operator} {it.within}: {reason}")
        print(f"    - {trial.line}\n    + {trial.becomes}")
    alive = {name_of(trial.mutation) for trial in survived}
    stale = [name for name in known if name[0] in whole and name not in alive]
    for path, function, operator, within in stale:
        print(f"\nlisted and no survivor: {path}, {function}, {operator} {within}")
    print(f"\n{len(unknown)} survivors that are not listed, {len(stale)} listed that do not survive")
    return int(bool(unknown or stale))


def _figures(title: str, trials: list[Trial], known: dict[Name, str]) -> None:
    outcomes = Counter(trial.outcome for trial in trials)
    made = sum(outcomes[outcome] for outcome in (CAUGHT, TIMED_OUT, SURVIVED))
    listed = sum(1 for trial in trials if trial.outcome == SURVIVED and reason_of(trial.mutation, known))
    caught = outcomes[CAUGHT] + outcomes[TIMED_OUT]
    share = 100 * caught / max(1, made - listed)
    print(
        f"{title}: {made} made, {outcomes[CAUGHT]} caught, {outcomes[TIMED_OUT]} timed out, {outcomes[SURVIVED]} survived "
        f"({listed} listed as equal), {share:.1f} % of the others caught, {sum(t.seconds for t in trials):.0f} s"
    )


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("results", type=Path)
    parser.add_argument("--only", default="")
    parser.add_argument("--again", action="store_true")
    parser.add_argument("--sample", type=int)
    options = parser.parse_args(arguments)
    given = settings()
    paths = [path for path in targets(TEMPLATES) if path.startswith(options.only)]
    found = [mutation for path in paths for mutation in of_file(path)]
    trials = kept(options.results)
    wanted = [it for it in found if not it.silent]
    if options.sample:
        wanted = sorted(wanted, key=lottery)[: options.sample]
    missing = [it for it in wanted if it.key not in trials or (options.again and trials[it.key].outcome == SURVIVED)]
    print(f"{len(found)} mutations, {len(wanted) - len(missing)} tried before, {len(missing)} to try", flush=True)
    workers = 1 if options.sample else WORKERS
    began = time.monotonic()
    with options.results.open("a", encoding="utf-8") as file:
        for n, trial in enumerate(tried(missing, given.tests, workers), 1):
            trials[trial.mutation.key] = trial
            file.write(written(trial))
            file.flush()
            if n % 100 == 0:
                print(f"{n} of {len(missing)}, {time.monotonic() - began:.0f} s", flush=True)
    for name, reason in LEFT_OUT.items():
        print(f"left out: {name}, which {reason}")
    silent = Counter(it.silent for it in found if it.silent)
    silent.update(trial.by for it in wanted if (trial := trials[it.key]).outcome == "none")
    for reason, number in silent.items():
        print(f"passed over: {number}, {reason}")
    whole = set() if options.sample else {it.path for it in found}
    return report([trials[it.key] for it in wanted], given.known, whole)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
