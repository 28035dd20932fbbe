"""Mutation testing: change one thing in a module, run its tests, and see whether any fails.

    scripts/start.py --python scripts/mutate.py hostlink/link/sender.py --tests tests/link

Each mutant stands in a copy of the project, so nothing here is changed. A mutant that no test
notices survives: it is printed with its place, what stood there and what stood there instead, and
either a test is missing or the change makes no difference. Run by hand; it takes the time of the
tests once for each mutant. Exit status 1 where one survives.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

SEED = 7
ROOT = Path(__file__).resolve().parent.parent
COPIED = ("hostlink", "tests", "library", "scripts", "pyproject.toml", "README.md", "DEVELOPERS.md")
_OTHER: dict[type[ast.AST], type[ast.AST]] = {
    ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE,
    ast.GtE: ast.Gt, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
    ast.And: ast.Or, ast.Or: ast.And, ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.FloorDiv,
    ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Break: ast.Continue, ast.Continue: ast.Break,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One change. was, now: the statement's first row before and after it."""

    line: int
    was: str
    now: str
    source: str


def mutants(source: str) -> Iterator[Mutant]:
    """Every change that is tried, one at a time, in the order of the source."""
    tree = ast.parse(source)
    count = sum(1 for _ in _places(tree))
    for number in range(count):
        changed = copy.deepcopy(tree)
        for at, (node, change) in enumerate(_places(changed)):
            if at == number:
                line = getattr(node, "lineno", 0)
                before = _statement(changed, line)
                was = ast.unparse(before)
                change()
                ast.fix_missing_locations(changed)
                now = ast.unparse(before)
                break
        yield Mutant(line, *_difference(was, now), ast.unparse(changed))


def _difference(was: str, now: str) -> tuple[str, str]:
    """The first rows that differ."""
    for old, new in zip(was.split("\n"), now.split("\n"), strict=False):
        if old != new:
            return old.strip(), new.strip()
    return was.strip().split("\n")[-1], now.strip().split("\n")[-1]


def _statement(tree: ast.AST, line: int) -> ast.stmt:
    """The innermost statement around a line."""
    found: ast.stmt | None = None
    for node in ast.walk(tree):
        if isinstance(node, ast.stmt) and node.lineno <= line <= (node.end_lineno or node.lineno):
            inner = found is None or node.lineno >= found.lineno
            found = node if inner else found
    assert found is not None
    return found


def _places(tree: ast.AST) -> Iterator[tuple[ast.AST, object]]:
    """Nodes that can be changed, each with what changes it."""
    skipped = _skipped(tree)
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        yield from ((node, change) for change in _changes(node))


def _skipped(tree: ast.AST) -> set[int]:
    """Docstrings, annotations, decorators and the texts of f-strings are left alone."""
    skipped: set[int] = set()

    def skip(node: ast.AST | None) -> None:
        if node is not None:
            skipped.update(id(each) for each in ast.walk(node))

    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        documented = isinstance(body, list) and body and isinstance(body[0], ast.Expr)
        if documented and isinstance(body[0].value, ast.Constant):
            skip(body[0])
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            skip(node)
        if isinstance(node, ast.FunctionDef):
            skip(node.returns)
            for each in node.decorator_list:
                skip(each)
        if isinstance(node, ast.arg | ast.AnnAssign):
            skip(node.annotation)
        if isinstance(node, ast.JoinedStr):
            skipped.update(id(value) for value in node.values if isinstance(value, ast.Constant))
        if isinstance(node, ast.ClassDef):
            for each in node.decorator_list:
                skip(each)
    return skipped


def _changes(node: ast.AST) -> list[object]:
    """What can be changed in one node."""
    if isinstance(node, ast.Compare):
        return [
            lambda at=at, op=op: node.ops.__setitem__(at, _OTHER[type(op)]())  # type: ignore[misc]
            for at, op in enumerate(node.ops)
            if type(op) in _OTHER
        ]
    if isinstance(node, ast.BoolOp | ast.BinOp | ast.AugAssign) and type(node.op) in _OTHER:
        return [lambda: setattr(node, "op", _OTHER[type(node.op)]())]
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        return [lambda: setattr(node, "op", ast.UAdd())]
    if isinstance(node, ast.Constant):
        return _constant(node)
    if isinstance(node, ast.Return) and node.value is not None and not _is_none(node.value):
        return [lambda: setattr(node, "value", ast.Constant(None))]
    if isinstance(node, ast.If | ast.While | ast.IfExp):
        return [lambda: setattr(node, "test", ast.UnaryOp(ast.Not(), node.test))]
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
        return [lambda: setattr(node, "value", ast.Constant(None))]
    return []


def _constant(node: ast.Constant) -> list[object]:
    if isinstance(node.value, bool):
        return [lambda: setattr(node, "value", not node.value)]
    if isinstance(node.value, int | float):
        return [lambda: setattr(node, "value", node.value + 1)]
    if isinstance(node.value, str | bytes) and node.value:
        return [lambda: setattr(node, "value", node.value[:0])]
    return []


def _is_none(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and node.value is None


# --- running the tests ---------------------------------------------------------------------------


class Bench:
    """Copies of the project to try mutants in, one for each worker."""

    def __init__(self, module: Path, tests: Sequence[str], workers: int, folder: Path) -> None:
        self._module = module
        self._tests = list(tests)
        self._free: SimpleQueue[Path] = SimpleQueue()
        for number in range(workers):
            place = folder / str(number)
            place.mkdir()
            for name in COPIED:
                source = ROOT / name
                if source.is_dir():
                    shutil.copytree(source, place / name, ignore=shutil.ignore_patterns("*.pyc"))
                elif source.exists():
                    shutil.copy(source, place / name)
            self._free.put(place)
        self._longest_s = 600.0

    def baseline(self, source: str) -> float:
        """Seconds of the tests on the module as it is. Raises RuntimeError where they fail."""
        began = time.monotonic()
        if self.notices(ast.unparse(ast.parse(source))):
            raise RuntimeError("the tests fail without any mutant")
        seconds = time.monotonic() - began
        self._longest_s = 3 * seconds + 20
        return seconds

    def notices(self, source: str) -> bool:
        """Whether a test fails, or does not end, with the module's source replaced."""
        place = self._free.get()
        try:
            (place / self._module).write_text(source, encoding="utf-8")
            command = [sys.executable, "-B", "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider"]
            try:
                ran = subprocess.run(
                    [*command, *self._tests],
                    cwd=place,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                    timeout=self._longest_s,
                    check=False,
                    env={**os.environ, "PYTHONPATH": str(place)},
                )
            except subprocess.TimeoutExpired:
                return True
            return ran.returncode != 0
        finally:
            self._free.put(place)


def some(all_of: list[Mutant], most: int) -> list[Mutant]:
    """All mutants, or so many of them, drawn by a fixed seed and in the order of the source."""
    if len(all_of) <= most:
        return all_of
    drawn = sorted(random.Random(SEED).sample(range(len(all_of)), most))
    return [all_of[at] for at in drawn]


def survivors(
    module: Path, tests: Sequence[str], workers: int, most: int
) -> tuple[list[Mutant], int]:
    """Mutants that no test notices, and how many were tried."""
    source = (ROOT / module).read_text(encoding="utf-8")
    every = list(mutants(source))
    tried = some(every, most)
    with tempfile.TemporaryDirectory(prefix="hostlink-mutate-") as name:
        bench = Bench(module, tests, workers, Path(name))
        seconds = bench.baseline(source)
        print(
            f"{module}: {len(tried)} of {len(every)} mutants, {seconds:.1f} s for the tests",
            file=sys.stderr,
        )
        with ThreadPoolExecutor(workers) as pool:
            noticed = list(pool.map(lambda mutant: bench.notices(mutant.source), tried))
    return [mutant for mutant, dead in zip(tried, noticed, strict=True) if not dead], len(tried)


def main(arguments: Sequence[str] | None = None) -> int:
    """Try every mutant; the survivors as a table."""
    parser = argparse.ArgumentParser(prog="mutate.py", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("module", type=Path, help="a file of the package, from the project's root")
    parser.add_argument("--tests", nargs="+", required=True, metavar="PATH", help="what to run")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1, metavar="N")
    parser.add_argument(
        "--most", type=int, default=1_000_000, metavar="N", help="try so many, drawn by a seed"
    )
    parser.add_argument("--list", action="store_true", help="only list the mutants")
    options = parser.parse_args(arguments)
    if options.list:
        for mutant in mutants((ROOT / options.module).read_text(encoding="utf-8")):
            print(f"{options.module}:{mutant.line}  {mutant.was}  ->  {mutant.now}")
        return 0
    alive, tried = survivors(options.module, options.tests, max(1, options.workers), options.most)
    for mutant in alive:
        print(f"{options.module}:{mutant.line}  {mutant.was}  ->  {mutant.now}")
    print(
        f"{options.module}: {tried - len(alive)} of {tried} mutants noticed, {len(alive)} survive"
    )
    return 1 if alive else 0


if __name__ == "__main__":
    sys.exit(main())
