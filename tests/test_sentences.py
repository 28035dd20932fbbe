"""A sentence that two files say is made once: in hostlink/sentences.py, or in one of the two."""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

HOSTLINK = Path(__file__).parent.parent / "hostlink"
_RUN = 5  # words; shorter runs are the language's own: "at the end of"
_NAMES = (
    "the program in its memory",
    "the program on the board",
    "blanks outside quotes and remarks",
    "is not in the archive",
)
"""What is spoken of, in sentences that say different things of it."""
_FORMS = re.compile("must be (a whole number|true or false|text in quotes|a list of|a table of)")
"""What a value is to be, in a profile and in a practice kind: the two readers share no code."""
_FORGOTTEN = re.compile(r"\{[A-Z_]{3,}\}")  # the name of a sentence, put into none
_GAP = "\n"  # stands for what an f-string puts in
_SQL = re.compile(r"\b(SELECT|CREATE|CASE WHEN)\b")


def texts_of(source: str) -> Iterator[str]:
    """Yield the texts of a module, but for its docstrings; a gap stands for what is put in."""
    tree = ast.parse(source)
    nodes = list(ast.walk(tree))
    inner = {id(part) for node in nodes if isinstance(node, ast.JoinedStr) for part in node.values}
    inner |= {id(node.value) for node in nodes if isinstance(node, ast.Expr)}
    for node in nodes:
        if id(node) in inner:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value
        elif isinstance(node, ast.JoinedStr):
            yield "".join(
                str(getattr(part, "value", "")) if isinstance(part, ast.Constant) else _GAP
                for part in node.values
            )


def runs_of(text: str) -> Iterator[str]:
    """Yield each run of words that lies within one clause of a text."""
    if _SQL.search(text):
        return
    for clause in re.split(rf"[.;:?!(){_GAP}]", text.lower()):
        words = re.findall(r"[a-z'’-]+", clause)
        for at in range(len(words) - _RUN + 1):
            yield " ".join(words[at : at + _RUN])


def test_no_run_of_five_words_is_written_in_two_files() -> None:
    """What is said in two places drifts apart; each file says only what is its own."""
    said: dict[str, set[str]] = defaultdict(set)
    for path in sorted(HOSTLINK.rglob("*.py")):
        for text in texts_of(path.read_text("utf-8")):
            for run in runs_of(text):
                said[run].add(path.relative_to(HOSTLINK).as_posix())
    twice = {run: sorted(files) for run, files in said.items() if len(files) > 1}
    assert all(twice.pop(name, None) for name in _NAMES)  # a name that is used once goes
    assert {run: files for run, files in twice.items() if not _FORMS.fullmatch(run)} == {}


def test_a_run_that_is_written_twice_is_found() -> None:
    """The texts of an f-string count, docstrings do not, and neither does a run across a gap."""
    source = '"""The board was touched."""\nx = f"{y}: it was {n} not touched by it"'
    assert list(texts_of(source)) == [f"{_GAP}: it was {_GAP} not touched by it"]
    assert list(runs_of("Stop: the board was not touched by us.")) == [
        "the board was not touched",
        "board was not touched by",
        "was not touched by us",
    ]


def test_no_text_shows_the_name_of_a_sentence_in_place_of_it() -> None:
    """A text that names one of hostlink/sentences.py in braces has to be an f-string."""
    shown = {
        path.relative_to(HOSTLINK).as_posix(): text
        for path in sorted(HOSTLINK.rglob("*.py"))
        for text in texts_of(path.read_text("utf-8"))
        if _FORGOTTEN.search(text)
    }
    assert shown == {}
