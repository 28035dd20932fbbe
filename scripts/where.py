"""Say which lines of hostlink make a sentence: `scripts/where.py "the words, as on the screen"`.

A sentence on the screen may be composed of several texts, with names and numbers put in; each text
that has three words in a row of it is told, the one with most of its words first. A few words in a
row are enough. Any Python runs this.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
GAP = "\n"  # stands for what an f-string puts in
_FEWEST, _MOST_TOLD = 3, 5
_WORD = re.compile(r"[\w'’-]+")


def texts_of(source: str, *, docs: bool = False) -> Iterator[tuple[int, str]]:
    """Yield the line and the text of each string in a module; docs: docstrings too."""
    nodes = list(ast.walk(ast.parse(source)))
    inner = {id(part) for node in nodes if isinstance(node, ast.JoinedStr) for part in node.values}
    if not docs:
        inner |= {id(node.value) for node in nodes if isinstance(node, ast.Expr)}
    for node in nodes:
        if id(node) in inner:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.lineno, node.value
        elif isinstance(node, ast.JoinedStr):
            parts = [part.value if isinstance(part, ast.Constant) else GAP for part in node.values]
            yield node.lineno, "".join(map(str, parts))


def _words(text: str) -> str:
    return " ".join(["", *_WORD.findall(text.lower()), ""])


def _shared(seen: str, runs: list[str]) -> int:
    """Return how many words of `seen` are all the runs of a text between its gaps, or in one."""
    if any(seen in run for run in runs):
        return seen.count(" ") - 1
    return sum(run.count(" ") - 1 for run in runs) if all(run in seen for run in runs) else 0


@cache
def _all_texts() -> list[tuple[str, str, list[str]]]:
    """Return "file:line", text and runs of each string, and of each line of a profile or kind."""
    found = []
    for path in sorted([*ROOT.glob("hostlink/**/*.py"), *ROOT.glob("hostlink/**/*.toml")]):
        source = path.read_text("utf-8")
        lines = enumerate(source.splitlines(), 1)
        texts: Iterable[tuple[int, str]] = (each for each in lines if each[1][:1] != "#")
        if path.suffix == ".py":  # the help of a command is its docstring
            texts = texts_of(source, docs=path.parent.name == "commands")
        for line, text in texts:
            runs = [run for run in map(_words, text.split(GAP)) if run.strip()]
            if runs:
                found.append((f"{path.relative_to(ROOT).as_posix()}:{line}", text, runs))
    return found


def where(sentence: str) -> list[str]:
    """Return "file:line  text" for the texts that a sentence is made of, best first."""
    seen = _words(sentence)
    found = []
    for place, text, runs in _all_texts():
        shared = _shared(seen, runs)
        if shared >= min(_FEWEST, seen.count(" ") - 1):
            shown = " ".join(text.replace(GAP, " … ").split())
            found.append((-shared, len(text), f"{place}  {shown[:80]}"))
    return [row for _, _, row in sorted(found)[:_MOST_TOLD]]


if __name__ == "__main__":
    rows = where(" ".join(sys.argv[1:]))
    print("\n".join(rows) or "No text has three words of it in a row: name others of it.")
    sys.exit(not rows)
