"""A sentence that two files say is made once: in hostlink/sentences.py, or in one of the two."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from where import GAP, texts_of, where

from hostlink.sentences import CHECK_WIRE, proven

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
_SQL = re.compile(r"\b(SELECT|CREATE|CASE WHEN)\b")


@cache
def all_texts() -> list[tuple[str, str]]:
    """Return each text of hostlink with the file that makes it."""
    return [
        (path.relative_to(HOSTLINK).as_posix(), text)
        for path in sorted(HOSTLINK.rglob("*.py"))
        for _, text in texts_of(path.read_text("utf-8"))
    ]


def runs_of(text: str) -> Iterator[str]:
    """Yield each run of words that lies within one clause of a text."""
    if _SQL.search(text):
        return
    for clause in re.split(rf"[.;:?!(){GAP}]", text.lower()):
        words = re.findall(r"[a-z'’-]+", clause)
        for at in range(len(words) - _RUN + 1):
            yield " ".join(words[at : at + _RUN])


def test_no_run_of_five_words_is_written_in_two_files() -> None:
    """What is said in two places drifts apart; each file says only what is its own."""
    said: dict[str, set[str]] = defaultdict(set)
    for name, text in all_texts():
        for run in runs_of(text):
            said[run].add(name)
    twice = {run: sorted(files) for run, files in said.items() if len(files) > 1}
    assert all(twice.pop(name, None) for name in _NAMES)  # a name that is used once goes
    assert {run: files for run, files in twice.items() if not _FORMS.fullmatch(run)} == {}


def test_a_run_that_is_written_twice_is_found() -> None:
    """The texts of an f-string count, docstrings do not, and neither does a run across a gap."""
    source = '"""The board was touched."""\nx = f"{y}: it was {n} not touched by it"'
    assert list(texts_of(source)) == [(2, f"{GAP}: it was {GAP} not touched by it")]
    assert list(runs_of("Stop: the board was not touched by us.")) == [
        "the board was not touched",
        "board was not touched by",
        "was not touched by us",
    ]


def test_no_text_shows_the_name_of_a_sentence_in_place_of_it() -> None:
    """A text that names one of hostlink/sentences.py in braces has to be an f-string."""
    assert {name: text for name, text in all_texts() if _FORGOTTEN.search(text)} == {}


def test_a_sentence_on_the_screen_leads_to_the_files_that_make_its_parts() -> None:
    """Names and numbers were put in, the start became a capital, and a row ended in the middle."""
    told = where(f"{proven('TIDE@3')}: 34 lines.\n{CHECK_WIRE} Then load\nagain.")
    assert [row.split(":")[0] for row in told[:2]] == ["hostlink/sentences.py"] * 2
    assert where("board, PROVEN")[0] == told[1]
    assert where("xyzzy plugh plover") == []


def test_nearly_every_text_of_hostlink_is_found_by_its_words() -> None:
    """One text in twenty is looked up, with a value put into each gap."""
    words = re.compile(r"(\b[a-z]{2,} ){4}")
    long = [each for each in all_texts() if words.search(each[1])]
    lost = []
    for name, text in long[::20]:
        rows = where(text.replace(GAP, " 7 "))
        if not any(row.startswith(f"hostlink/{name}:") for row in rows):
            lost.append(text)
    assert len(lost) <= 0.03 * len(long[::20])
