"""One name means one thing: no public class or function of that name stands in two modules."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

HOSTLINK = Path(__file__).parent.parent / "hostlink"


def test_no_public_name_is_given_twice() -> None:
    """Commands are left out: each has the name of the job that it calls."""
    places: dict[str, list[str]] = defaultdict(list)
    for path in sorted(HOSTLINK.rglob("*.py")):
        where = path.relative_to(HOSTLINK).as_posix()
        if where.startswith("cli/commands/"):
            continue
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.ClassDef | ast.FunctionDef) and not node.name.startswith("_"):
                places[node.name].append(where)
    assert len(places) > 1000
    assert {name: found for name, found in places.items() if len(found) > 1} == {}
