"""An import inside a function must save something: what the module's own imports load anyway
belongs at its top."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
FILES = sorted((ROOT / "hostlink").rglob("*.py"))


def module_name(file: Path) -> str:
    return ".".join(file.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@cache
def trees() -> dict[str, ast.Module]:
    """Return the parsed modules by name, read when a test asks, not when tests are collected."""
    return {module_name(file): ast.parse(file.read_text(encoding="utf-8")) for file in FILES}


def targets(node: ast.AST) -> Iterator[str]:
    """Yield the modules that an import statement loads, with the packages they lie in."""
    names: list[str] = []
    if isinstance(node, ast.Import):
        names = [each.name for each in node.names]
    elif isinstance(node, ast.ImportFrom) and node.module:
        inner = [f"{node.module}.{each.name}" for each in node.names]
        names = [node.module, *(name for name in inner if name in trees())]
    for name in names:
        parts = name.split(".")
        yield from (".".join(parts[:end]) for end in range(1, len(parts) + 1))


def at_top(body: list[ast.stmt]) -> Iterator[ast.stmt]:
    """Yield the statements that run when a module is loaded, imports for types left out."""
    for node in body:
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test):
            continue
        yield node
        for inner in ("body", "orelse", "finalbody"):
            if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                yield from at_top(getattr(node, inner, []))


@cache
def direct(module: str) -> frozenset[str]:
    tree = trees().get(module)
    return frozenset(name for node in (at_top(tree.body) if tree else ()) for name in targets(node))


def loaded_with(module: str) -> set[str]:
    """Return all modules that are loaded once this one is."""
    parts = module.split(".")
    found: set[str] = set()
    left = [".".join(parts[:end]) for end in range(1, len(parts) + 1)]
    while left:
        name = left.pop()
        if name not in found:
            found.add(name)
            left += direct(name)
    return found


def useless_in(module: str) -> list[str]:
    """Return the imports inside functions that load nothing new."""
    there = loaded_with(module)
    return [
        f"line {node.lineno}: {ast.unparse(node)}"
        for function in ast.walk(trees()[module])
        if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef)
        for node in ast.walk(function)
        if isinstance(node, ast.Import | ast.ImportFrom) and set(targets(node)) <= there
    ]


def test_an_import_inside_a_function_saves_something() -> None:
    """It loads at least one module that loading the file does not load already."""
    useless = {module: useless_in(module) for module in trees()}
    assert {module: found for module, found in useless.items() if found} == {}
