"""The emitted application with something taken out of it or put in, found by name: a function, a constant, what a condition asks.

Nothing here knows a line of it, so that a protection may be worded anew, or moved to another file, and is still found.
"""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator

from gen.firmware import FirmwareBundle

Change = Callable[[FirmwareBundle], FirmwareBundle]


def never(function: str, *names: str) -> Change:
    """The one condition in `function` ("Class.method") that names all of these never holds."""
    return _conditions(function, names, False)


def always(function: str, *names: str) -> Change:
    """The one condition in `function` that names all of these always holds."""
    return _conditions(function, names, True)


def answers(function: str, expression: str) -> Change:
    """`function` returns this, and does nothing else."""

    def change(found: ast.FunctionDef) -> int:
        found.body = ast.parse(f"return {expression}").body
        return 1

    return _in_function(function, change)


def unset(function: str, name: str) -> Change:
    """`function` sets the variable or attribute `name` no more."""
    return _assignments(function, name, "", None)


def sets(function: str, name: str, expression: str, of: str = "") -> Change:
    """`function` sets the variable or attribute `name` to this; where `of` is given, only what is computed from that."""
    return _assignments(function, name, of, expression)


def begins(function: str, statement: str) -> Change:
    """`function` does this first, after its docstring."""

    def change(found: ast.FunctionDef) -> int:
        found.body[1 if ast.get_docstring(found) else 0 : 0] = ast.parse(statement).body
        return 1

    return _in_function(function, change)


def constant(name: str, value: int) -> Change:
    """The constant `name` of a module of the application, or of config.py, is another."""

    def change(module: ast.Module) -> int:
        number = 0
        for statement in module.body:
            if isinstance(statement, ast.Assign) and name in _names(statement.targets[0]):
                statement.value = ast.Constant(value)
                number += 1
        return number

    return _changed(name, change)


def together(*changes: Change) -> Change:
    """All of these."""

    def change(bundle: FirmwareBundle) -> FirmwareBundle:
        for one in changes:
            bundle = one(bundle)
        return bundle

    return change


def _conditions(function: str, names: tuple[str, ...], holds: bool) -> Change:
    def change(found: ast.FunctionDef) -> int:
        number = 0
        for node in ast.walk(found):
            if isinstance(node, ast.If | ast.IfExp | ast.While) and set(names) <= set(_names(node.test)):
                node.test = ast.Constant(holds)
                number += 1
        return number

    return _in_function(function, change)


def _assignments(function: str, name: str, of: str, expression: str | None) -> Change:
    def change(found: ast.FunctionDef) -> int:
        number = 0
        for node in ast.walk(found):
            if (
                isinstance(node, ast.Assign)
                and name in _last_names(node.targets)
                and (not of or of in _names(node.value))
            ):
                # Without an expression the name takes its own value.
                kept = ast.parse(ast.unparse(node.targets[0]), mode="eval").body
                node.value = kept if expression is None else ast.parse(expression, mode="eval").body
                number += 1
        return number

    return _in_function(function, change)


def _in_function(name: str, change: Callable[[ast.FunctionDef], int]) -> Change:
    def in_module(module: ast.Module) -> int:
        return sum(change(found) for path, found in _functions(module) if path == name)

    return _changed(name, in_module)


def _changed(name: str, change: Callable[[ast.Module], int]) -> Change:
    """A change of the one module in which `change` finds what it is for, just once."""

    def changed(bundle: FirmwareBundle) -> FirmwareBundle:
        files, number = dict(bundle.files), 0
        for path, text in bundle.files.items():
            if path == "config.py" or path.startswith("app/"):
                module = ast.parse(text)
                if here := change(module):
                    files[path] = ast.unparse(ast.fix_missing_locations(module)) + "\n"
                    number += here
        assert number == 1, f"{name}: what is to be changed is there {number} times"
        return FirmwareBundle(files).summed()  # or the board's self-test would tell

    return changed


def _functions(module: ast.Module) -> Iterator[tuple[str, ast.FunctionDef]]:
    for node in module.body:
        if isinstance(node, ast.FunctionDef):
            yield node.name, node
        elif isinstance(node, ast.ClassDef):
            yield from (
                (f"{node.name}.{inner.name}", inner) for inner in node.body if isinstance(inner, ast.FunctionDef)
            )


def _names(node: ast.AST) -> list[str]:
    """Every name and attribute in an expression."""
    found = [inner.id for inner in ast.walk(node) if isinstance(inner, ast.Name)]
    return found + [inner.attr for inner in ast.walk(node) if isinstance(inner, ast.Attribute)]


def _last_names(targets: list[ast.expr]) -> list[str]:
    """What an assignment sets."""
    return [target.attr if isinstance(target, ast.Attribute) else getattr(target, "id", "") for target in targets]
