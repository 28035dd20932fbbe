"""Describe a rule of rewriting: what it finds, what it writes instead, and why.

A rule knows no kind of board. It asks the two languages whether it applies, so that a new kind of
board needs no new rule.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from hostlink.listing.adapting.clauses import Clause, with_operators
from hostlink.listing.rules import Language

COMPARISON_AS_NUMBER = "a comparison used as a number"
COMPARISON_NEEDED = "this board needs a comparison after IF"
PLAIN_JUMP_NEEDED = "a jump needs a plain line number"
WHOLE = "FNQ"
"""A user-defined function that drops the fraction of a number toward zero."""


@dataclass(frozen=True, slots=True)
class Pair:
    """The language that a listing is written in, and the one to write it in.

    rows_stay_open: whether a PRINT of the listing keeps its row open for the next one.
    positive: the variables of the listing that are never negative. lines: its line numbers.
    following: the number of the next line, 0 for none, -1 if the present line has several
    statements. spare: a name that no variable has, or "". renamed: the first two characters of
    names that the target does not take, each with its new letter; empty if letters are lacking.
    """

    source: Language
    target: Language
    rows_stay_open: bool = False
    positive: frozenset[str] = frozenset()
    lines: tuple[int, ...] = ()
    following: int = -1
    spare: str = ""
    renamed: tuple[tuple[str, str], ...] = ()

    @property
    def both(self) -> Language:
        """Return the source's language with the functions of both, to read partly changed lines."""
        functions = dict.fromkeys((*self.source.functions, *self.target.functions))
        return with_operators(replace(self.source, functions=tuple(functions)))


Apply = Callable[[Clause, Clause | None, Pair], list[Clause] | None]


@dataclass(frozen=True, slots=True)
class Rewrite:
    """One rule.

    found, written: an example. why: the end of the sentence "CHANGE, because ...".
    apply: takes a clause and the one before it, and returns the clauses to write instead, or None
    if the rule does not apply. exact: whether the program shows exactly what it showed.
    """

    name: str
    found: str
    written: str
    why: str
    apply: Apply
    exact: bool = True


def rewrites(
    name: str, found: str, written: str, why: str, *, exact: bool = True
) -> Callable[[Apply], Rewrite]:
    """Make a rule of the decorated function. Parameters: see `Rewrite`."""
    return lambda apply: Rewrite(name, found, written, why, apply, exact)
