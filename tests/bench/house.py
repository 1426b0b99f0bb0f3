"""Figures of the house: how large it is, how its modules hang together, how far one command reaches, what commands cost.

One command, `python -m tests.bench.house [ROOT] [--times N]`. It reads the tree at ROOT (this one unless given) as text,
and runs that tree's commands on the worked example. Seconds are of one machine, the best of N runs: on the clock, and of
processor, which a busy machine lengthens less.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

ROOT = Path(__file__).parents[2]
PRODUCTION = ("gen", "sim", "firmware_templates", "boards")
MANY_ARGUMENTS = 7

# Runs in a fresh interpreter: a command of the tree on its path, with each file noted in which a function was called.
ENTERED = """
import inspect, json, sys
entered = set()
def note(frame, event, argument):
    if event == "call" and frame.f_code.co_flags & inspect.CO_OPTIMIZED:  # neither a module's body nor a class's
        entered.add(frame.f_code.co_filename)
sys.argv = ["weldbeat", *sys.argv[1:]]
from gen.cli import main
sys.setprofile(note)
try:
    main()
finally:
    sys.setprofile(None)
    print(json.dumps(sorted(entered)))
"""
MAIN = "from gen.cli import main; main()"


def python_files(root: Path, folders: tuple[str, ...]) -> dict[str, ast.Module]:
    """Every Python file under `folders`, parsed, by its path from `root`."""
    paths = sorted(path for folder in folders for path in (root / folder).rglob("*.py"))
    return {path.relative_to(root).as_posix(): ast.parse(path.read_text(encoding="utf-8")) for path in paths}


def lines_of(root: Path, files: dict[str, ast.Module]) -> int:
    return sum((root / path).read_text(encoding="utf-8").count("\n") for path in files)


def module_name(path: str) -> str:
    return path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")


def imported(path: str, tree: ast.Module, modules: set[str]) -> set[str]:
    """The modules of the tree that one file imports, at its top or in a function; not those for the type checker alone."""
    package = module_name(path).split(".") if path.endswith("__init__.py") else module_name(path).split(".")[:-1]
    found: set[str] = set()
    blocks = (node for node in ast.walk(tree) if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test))
    for_types = {id(inner) for block in blocks for node in block.body for inner in ast.walk(node)}
    for node in ast.walk(tree):
        if id(node) in for_types:
            continue
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            origin = ".".join([*base, *([node.module] if node.module else [])])
            for name in node.names:
                inner = f"{origin}.{name.name}"
                found.add(inner if inner in modules else origin)
    return (found & modules) - {module_name(path)}


def import_graph(files: dict[str, ast.Module]) -> dict[str, set[str]]:
    modules = {module_name(path) for path in files}
    return {module_name(path): imported(path, tree, modules) for path, tree in files.items()}


def longest_chain(graph: dict[str, set[str]]) -> list[str]:
    """The longest chain of modules of which each imports the next. A ring of imports raises graphlib.CycleError."""

    @cache
    def chain(module: str) -> list[str]:
        return [module, *max((chain(below) for below in sorted(graph[module])), key=len, default=[])]

    for module in TopologicalSorter(graph).static_order():  # the lowest first, so that nothing recurses deep
        chain(module)
    return max((chain(module) for module in sorted(graph)), key=len)


def with_one_importer(graph: dict[str, set[str]]) -> list[str]:
    counted = Counter(below for found in graph.values() for below in found)
    return sorted(module for module in graph if counted[module] == 1)


def with_many_arguments(files: dict[str, ast.Module]) -> Iterator[str]:
    for path, tree in files.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                given = node.args
                everything = [*given.posonlyargs, *given.args, *given.kwonlyargs]
                named = [it.arg for it in everything if it.arg not in ("self", "cls")]
                if len(named) >= MANY_ARGUMENTS:
                    yield f"{path}:{node.lineno} {node.name} ({len(named)})"


def class_names_twice(files: dict[str, ast.Module]) -> list[str]:
    names = Counter(node.name for tree in files.values() for node in ast.walk(tree) if isinstance(node, ast.ClassDef))
    return sorted(name for name, times in names.items() if times > 1)


def run(root: Path, folder: Path, code: str, *command: str) -> str:
    environment = {**os.environ, "PYTHONPATH": str(root)}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)  # as a user's Python, which compiles each file once
    ran = subprocess.run(
        [sys.executable, "-c", code, *command], cwd=folder, env=environment, capture_output=True, text=True, check=True
    )
    return ran.stdout


def files_entered(root: Path, demo: Path) -> list[str]:
    """Files of the tree in which `weldbeat simulate` calls a function. What was emitted counts once, as one thing."""
    entered = json.loads(run(root, demo, ENTERED, "simulate", SCHEDULE).splitlines()[-1])
    found = set()
    for name in entered:
        if name.startswith("<firmware "):
            found.add("the emitted application")
        elif Path(name).is_relative_to(root) and Path(name).relative_to(root).parts[0] in PRODUCTION:
            found.add(Path(name).relative_to(root).as_posix())
    return sorted(found)


SCHEDULE = "boot-scraper.toml"
COMMANDS = {
    "weldbeat simulate": ("simulate", SCHEDULE),
    "weldbeat simulate --report": ("simulate", SCHEDULE, "--report", "report-again.html"),
    "weldbeat build": ("build", SCHEDULE, "-o", "firmware-again"),
    "weldbeat demo": ("demo", "demo-again"),
}


def computing_s() -> float:
    """Seconds that finished child processes kept a processor busy; 0 on Windows, which does not tell."""
    spent = os.times()
    return spent.children_user + spent.children_system


def seconds_of(root: Path, demo: Path, times: int) -> Iterator[tuple[str, float, float]]:
    """Least seconds of each command on the clock and on the processor, a process of its own every time."""
    for name, command in COMMANDS.items():
        taken = []
        for _ in range(times):
            with tempfile.TemporaryDirectory() as written:
                here = [f"{written}/{it}" if it.endswith(("-again", "-again.html")) else it for it in command]
                begun, before = time.perf_counter(), computing_s()
                run(root, demo, MAIN, *here)
                taken.append((time.perf_counter() - begun, computing_s() - before))
        yield name, min(clock for clock, _ in taken), min(processor for _, processor in taken)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("root", nargs="?", type=Path, default=ROOT, help="the tree to look at")
    parser.add_argument("--times", type=int, default=5, help="runs of each command; 0 leaves the seconds out")
    parser.add_argument("--names", action="store_true", help="also the names behind each count")
    given = parser.parse_args()
    root = given.root.resolve()
    production, tests = python_files(root, PRODUCTION), python_files(root, ("tests",))
    graph = import_graph(production)
    with tempfile.TemporaryDirectory() as folder:
        demo = Path(folder) / "demo"
        run(root, Path(folder), MAIN, "demo", "demo")
        counts = {
            "modules imported by one other only": with_one_importer(graph),
            "longest import chain": longest_chain(graph),
            "files entered by `weldbeat simulate`": files_entered(root, demo),
            f"functions with {MANY_ARGUMENTS} arguments or more": list(with_many_arguments(production)),
            "class names defined twice": class_names_twice(production),
        }
        print(f"files: {len(production)} production, {len(tests)} tests")
        print(f"lines: {lines_of(root, production)} production, {lines_of(root, tests)} tests")
        for what, names in counts.items():
            print(f"{what}: {len(names)}")
            if given.names:
                print("".join(f"    {name}\n" for name in names), end="")
        if given.times:
            for name, clock, processor in seconds_of(root, demo, given.times):
                print(f"{name}: {clock:.2f} s, {processor:.2f} s of processor")


if __name__ == "__main__":
    main()
