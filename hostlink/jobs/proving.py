"""Prove that a rewritten listing does the same: run it and its original, and compare."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from hostlink.errors import RefusedError
from hostlink.jobs.listing_source import Material, shipped_as
from hostlink.listing import Listing
from hostlink.listing.adapting.adapt import Adapted
from hostlink.sentences import cannot_run
from hostlink.words import capital

if TYPE_CHECKING:
    from hostlink.practice.kind import BoardKind
    from hostlink.practice.walk import Walk

SEEDS = (1, 2, 3)
"""The seeds of the random numbers with which a program with RND is run."""

OWN = "\x1f"
"""Stands for a blank that the board itself adds, where two outputs are compared."""

DEPENDS_ON_FREE = "what it prints depends on the board's free memory"

_MOST = (200_000, 800_000)
"""Statements that the original and the result may run; the result may need more of them."""

_ROOM = 60_000
"""Bytes of program memory in which any listing fits."""

_NO_BLANK = re.compile(f"[^ {OWN}]")
_NUMBER = re.compile(r"-?(?:\d+\.?\d*|\.\d+)(?:E[+-]?\d+)?")

Alike = Literal["same", "columns", "numbers", "other"]
_WAYS: tuple[Alike, ...] = ("other", "numbers", "columns")
Result = Literal["proven", "open", "differs"]


@dataclass(frozen=True, slots=True)
class Proof:
    """How the original and the result compare when both run.

    why: of "proven", how far they agree; of "open", why that is not known; else how they differ.
    """

    result: Result
    why: str

    @property
    def says(self) -> str:
        """Return the proof as a sentence."""
        return f"{_SAYS[self.result]}{self.why}."

    @property
    def unproven(self) -> str:
        """Return the doubt to keep with the result in the archive, "" if there is none."""
        return f"it was not compared with its original: {self.why}" if self.result == "open" else ""


_SAYS: dict[Result, str] = {
    "proven": "Proven: both were run and printed the same",
    "open": "Not proven: ",
    "differs": "Do not use the result: ",
}


def inputs_of(material: Material) -> Sequence[str] | None:
    """Return the answers to a shipped program's questions; None for any other listing."""
    shipped = shipped_as(material)
    return None if shipped is None else shipped.inputs


def prove(
    original: Listing, made: Adapted, kinds: tuple[str, str], inputs: Sequence[str] | None
) -> Proof:
    """Run the original and the result, each on a practice board of its kind, and compare.

    kinds: the names of both profiles. inputs: the lines for INPUT, None if there are none.
    """
    from hostlink.practice.kind_file import find_kind, kind_names

    if made.needs:
        return Proof("open", "it needs what this board lacks")
    missing = [kind for kind in kinds if kind not in kind_names()]
    if missing:
        return Proof("open", f"there is no practice board of the kind {missing[0]}")
    if made.asks_free:
        return Proof("open", DEPENDS_ON_FREE)
    boards = find_kind(kinds[0]), find_kind(kinds[1])
    return prove_by_running((original, made.listing), boards, inputs)


def prove_by_running(
    listings: tuple[Listing, Listing],
    boards: tuple[BoardKind, BoardKind],
    inputs: Sequence[str] | None,
) -> Proof:
    """Run an original and the result, each on its board, and compare what they print.

    inputs: the lines for INPUT, None if there are none.
    """
    texts = (listings[0].text(), listings[1].text())
    seeds = SEEDS if "RND" in texts[0].upper() else SEEDS[:1]
    found: set[Alike] = set()
    for seed in seeds:
        try:
            runs = _runs(texts, boards, inputs or (), seed)
            first = next(runs)
        except RefusedError as error:
            return Proof("open", error.what.removesuffix("."))
        if first.ended == "input" and inputs is None:
            return Proof("open", "the program asks for input, and no answers are known")
        try:
            second = next(runs)
        except RefusedError as error:
            return Proof("differs", f"it does not run. {error.what.removesuffix('.')}")
        alike = first.ended == second.ended
        found.add(how_alike(first.output, second.output) if alike else "other")
    if "other" in found:
        return Proof("differs", "it prints something different from the original")
    return Proof("proven", next((words for way, words in _APART.items() if way in found), ""))


_APART: dict[Alike, str] = {
    "numbers": ", apart from blanks beside numbers and between columns",
    "columns": ", apart from how many blanks stand between columns",
}


def _runs(
    texts: tuple[str, str], boards: tuple[BoardKind, BoardKind], inputs: Sequence[str], seed: int
) -> Iterator[Walk]:
    """Yield the run of the original, then that of the result, both with `OWN` blanks."""
    from hostlink.practice.walk import Walk

    lists = [board.language.input_list for board in boards]
    for text, board, taken, most in zip(texts, boards, lists, _MOST, strict=True):
        language = replace(board.language, blank=OWN, asks="", asks_again="")
        walk = Walk(
            text,
            replace(board, language=language),
            inputs if taken == "row" else answers_apart(inputs),
            seed=seed,
            size=_ROOM,
            shown=None if lists[0] == lists[1] else lambda question, _: question,
        )
        yield run_out(walk, most)


def run_out(walk: Walk, most: int = _MOST[0]) -> Walk:
    """Run a program until it ends, or asks when no answer is left; return it.

    most: statements that it may run. Raises RefusedError if it runs more or stops with an error.
    """
    ended = walk.run(most)
    if ended == "statements":
        raise RefusedError(f"The program ran {most:,} statements without ending.")
    if walk.missing:
        raise RefusedError(f"{capital(cannot_run(walk.missing))}.")
    if ended == "error":
        kind = walk.board.kind.name
        raise RefusedError(f"The practice board {kind} stopped the program: {walk.error}")
    return walk


def answers_apart(inputs: Sequence[str]) -> list[str]:
    """Return the answers split at commas, for a board that takes one number per row."""
    return [number for line in inputs for number in line.split(",")]


def how_alike(first: str, second: str) -> Alike:
    """Return how far two outputs agree, "other" if they do not.

    Only blanks that a board adds itself, which are `OWN` here, may differ: their number in front of
    a column ("columns") and those beside a number ("numbers"), unless they alone separate two
    numbers; a minus sign separates them too.
    """
    rows, others = (text.rstrip("\n").split("\n") for text in (first, second))
    if len(rows) != len(others):
        return "other"
    found = {each for pair in zip(rows, others, strict=True) for each in _rows_alike(*pair)}
    return next((way for way in _WAYS if way in found), "same")


def _rows_alike(first: str, second: str) -> Iterator[Alike]:
    """Yield how two rows agree at each gap that differs; "other" if their characters differ."""
    (characters, gaps), (others, other_gaps) = _gaps(first), _gaps(second)
    if characters != others:
        yield "other"
        return
    inside = [False] * (len(characters) + 1)
    for number in _NUMBER.finditer(characters):
        inside[number.start() : number.end()] = [True] * len(number[0])
    for at, (gap, other) in enumerate(zip(gaps, other_gaps, strict=True)):
        before, behind = at > 0 and inside[at - 1], inside[at]
        if gap.replace(OWN, " ") == other.replace(OWN, " "):
            continue
        if before and behind and not gap:
            yield "numbers" if OWN in other or characters[at] == "-" else "other"
        elif before and behind and not other:
            yield "other"
        elif before or behind:
            yield "numbers"
        else:
            yield "columns" if gap and other and OWN in gap + other else "other"


def _gaps(row: str) -> tuple[str, list[str]]:
    """Return the characters of a row that are not blanks, and the blanks around them."""
    gaps = _NO_BLANK.split(row)
    return "".join(_NO_BLANK.findall(row)), gaps
