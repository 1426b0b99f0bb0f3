"""Every mutant of a source file: what the operators of cosmic-ray make of it, which are passed over, and which may survive."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator, operator_names

# Operators that are left out whole, with the reason.
LEFT_OUT = {
    "VariableReplacer": "puts a random number in the place of a name: another mutant at each run",
    "VariableInserter": "inserts a name with a random sign: another mutant at each run",
    "ReplaceComparisonOperator_Is_Eq": "asks of a type or None what `is` asks: no class here has an equality of its own",
    "ReplaceComparisonOperator_IsNot_NotEq": "asks of a type or None what `is not` asks",
}
IN_ANNOTATION = "within an annotation: MicroPython throws it away"
IN_TYPE_CHECKING = "within `if TYPE_CHECKING`: read by mypy alone"
OF_STATES = "`is` for `==` beside a state, a reason or an ending: small integers are one object each"
NOT_PYTHON = "no Python any more"
SAME = "reads the same to Python"

# Survivors that are expected wherever they stand, by what the operator changes there; each is tried all the same.
INITIAL = "an initial value in `__init__`: written anew before it is read, or any will do"
OTHER_ONE = "of 0 and 1 the other one"
SMALL = "small integers are one object each"
BITS = "`|` joins bits that do not overlap"
ADDRESS = "a base whose last bits are 0, and an offset within them"

# The node of parso that these operators look at; all others look at any. Only for speed.
_NODE_TYPES = {"ReplaceBinaryOperator": "operator", "ReplaceComparisonOperator": "comparison"}
_IDENTITY = ("ReplaceComparisonOperator_Eq_Is", "ReplaceComparisonOperator_NotEq_IsNot")

MODULE = "module"
Place = tuple[int, int]  # line from 1, column from 0
Rule = tuple[str, tuple[str, ...], Place, Place]  # reason, operators, begin and end


@dataclass(frozen=True)
class Mutation:
    """One change to one file, not yet made. `path` is below firmware_templates.

    `within` is its number among those of this operator in its function, from 0; `silent`: why it can change nothing;
    `rule`: why it may survive, by what stands there; "" each for no reason.
    """

    path: str
    function: str  # with its class; MODULE outside of any
    operator: str
    occurrence: int
    within: int
    number: int
    source_digest: str
    silent: str
    rule: str

    @property
    def key(self) -> str:
        """Names the mutation for as long as its file stays as it is."""
        return f"{self.path} {self.source_digest} {self.operator} {self.occurrence}"


@dataclass(frozen=True)
class Mutant:
    """A mutation made. `line` as it stands in the source, `becomes` what it turns into, blanks run together."""

    text: str
    line: str
    becomes: str


def targets(templates: Path) -> list[str]:
    """The files that run on a board, below `templates`: the application, and the drivers with what they share."""
    shared = [
        file for file in (templates / "drivers").glob("*.py") if file.name != "interface.py"
    ]  # read by tools only
    found = [*(templates / "app").glob("*.py"), *shared, *(templates / "drivers").glob("*/driver.py")]
    return sorted(file.relative_to(templates).as_posix() for file in found)


def mutations(templates: Path, path: str) -> list[Mutation]:
    """All mutations of a file."""
    source = (templates / path).read_text(encoding="utf-8")
    digest = sha256(source.encode()).hexdigest()[:12]
    tree = ast.parse(source)
    silent, functions, beside_states = list(_silent(tree)), list(_functions(tree)), list(_beside_states(tree))
    rules = list(_rules(tree))
    found: list[Mutation] = []
    before = Counter[tuple[str, str]]()
    for operator, occurrence, place in _occurrences(source):
        reason = next((reason for reason, begin, end in silent if begin <= place < end), "")
        if operator in _IDENTITY and any(begin <= place < end for begin, end in beside_states):
            reason = OF_STATES
        rule = next((why for why, names, begin, end in rules if operator in names and begin <= place < end), "")
        function = ".".join(name for name, first, last in functions if first <= place[0] <= last) or MODULE
        within = before[function, operator]
        before[function, operator] += 1
        found.append(Mutation(path, function, operator, occurrence, within, place[0], digest, reason, rule))
    return found


def mutant(templates: Path, mutation: Mutation) -> Mutant | str:
    """The mutated file; or why there is none that differs."""
    source = (templates / mutation.path).read_text(encoding="utf-8")
    text = mutate_code(source, _operator(mutation.operator), mutation.occurrence)
    try:
        if ast.dump(ast.parse(text)) == ast.dump(ast.parse(source)):
            return SAME
    except SyntaxError:
        return NOT_PYTHON
    pairs = zip(source.split("\n"), text.split("\n"), strict=True)
    line, becomes = next((" ".join(old.split()), " ".join(new.split())) for old, new in pairs if old != new)
    return Mutant(text, line, becomes)


@cache
def _operator(name: str) -> Any:
    return get_operator(f"core/{name}")()


def _occurrences(source: str) -> Iterator[tuple[str, int, Place]]:
    """Operator, occurrence and place of each mutation, counted as mutate_code counts them."""
    nodes = list(ast_nodes(get_ast(source)))
    places: dict[str, list[Place]] = {}
    for full_name in sorted(operator_names()):
        name = full_name.removeprefix("core/")
        if name in LEFT_OUT:
            continue
        kind = name.split("_")[0]
        # A binary operator stands in the same places, whatever is put there. Only for speed.
        replaced = name.rpartition("_")[0] if kind == "ReplaceBinaryOperator" else name
        if replaced not in places:
            node_type = _NODE_TYPES.get(kind)
            looked_at = [node for node in nodes if node_type in (None, node.type)]
            places[replaced] = [begin for node in looked_at for begin, _ in _operator(name).mutation_positions(node)]
        for occurrence, place in enumerate(places[replaced]):
            yield name, occurrence, place


def _silent(tree: ast.Module) -> Iterator[tuple[str, Place, Place]]:
    """What never runs on a board: reason, begin and end."""
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            yield IN_TYPE_CHECKING, (node.body[0].lineno, 0), (node.body[-1].end_lineno or 0, 1 << 20)
        for annotation in (getattr(node, "annotation", None), getattr(node, "returns", None)):
            if annotation is not None:
                begin = annotation.lineno, annotation.col_offset
                yield IN_ANNOTATION, begin, (annotation.end_lineno, annotation.end_col_offset)


def _beside_states(tree: ast.Module) -> Iterator[tuple[Place, Place]]:
    """Where a comparison with a constant of words.py has its operator: from its left side's end to the constant."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare) and len(node.ops) == 1 and _is_of("words", node.comparators[0]):
            yield _between(node.left, node.comparators[0])


def _rules(tree: ast.Module) -> Iterator[Rule]:
    """Where a survivor is expected."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and node.name == "__init__":
            for statement in node.body:
                value = getattr(statement, "value", None)
                if isinstance(statement, ast.Assign | ast.AnnAssign) and isinstance(value, ast.Constant):
                    end = value.end_lineno or 0, value.end_col_offset or 0
                    yield INITIAL, ("NumberReplacer", "ReplaceFalseWithTrue"), (value.lineno, value.col_offset), end
        elif isinstance(node, ast.Compare) and len(node.ops) == 1:
            sides = (node.left, node.comparators[0])
            if not any(isinstance(side, ast.Constant) and isinstance(side.value, str) for side in sides):
                yield SMALL, _IDENTITY, *_between(*sides)
        elif isinstance(node, ast.BinOp):
            span = _between(node.left, node.right)
            if isinstance(node.left, ast.Constant) and node.left.value == 1:
                yield OTHER_ONE, _exchanged("Sub", "BitXor", "RShift"), *span
            if isinstance(node.op, ast.BitOr):
                yield BITS, _exchanged("BitOr", "BitXor", "Add"), *span
            if _is_of("stm", node.left) and _is_of("stm", node.right):
                yield ADDRESS, _exchanged("Add", "BitOr", "BitXor"), *span


def _exchanged(*operators: str) -> tuple[str, ...]:
    """The names for each of some binary operators in another's place."""
    return tuple(f"ReplaceBinaryOperator_{a}_{b}" for a in operators for b in operators if a != b)


def _is_of(module: str, node: ast.expr) -> bool:
    """True for a name of a module."""
    return isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == module


def _between(left: ast.expr, right: ast.expr) -> tuple[Place, Place]:
    """Where an operator stands."""
    return (left.end_lineno or 0, left.end_col_offset or 0), (right.lineno, right.col_offset)


def _functions(tree: ast.Module) -> Iterator[tuple[str, int, int]]:
    """Classes and functions, outer ones first: name, first and last line."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name, node.lineno, node.end_lineno or 0
