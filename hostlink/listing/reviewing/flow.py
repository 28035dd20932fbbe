"""Analyse the control flow of a program: sequence, jumps, calls and returns.

Only the text is used: a condition may go either way. A jump to a line that is computed at run time
may go anywhere, so a program with one has no lines that are known to be unreachable.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from hostlink.listing.parse import Line, Listing
from hostlink.listing.reading import Reader
from hostlink.listing.reviewing.jumps import Reference
from hostlink.listing.reviewing.references import references
from hostlink.listing.rules import Language

_LEAVES = frozenset(("GOTO", "RETURN", "END", "STOP", "RUN", "NEW"))
_LASTING = frozenset(("DATA", "DEF", "DIM", "OPTION"))  # these count wherever they stand


@dataclass(slots=True)
class Node:
    """A line in the flow.

    falls: whether execution may continue with the next line. jumps: lines that it may go to.
    calls: lines that it may call. returns: whether it contains RETURN. passive: a remark, DATA, END
    or the like, which need not be reached. lasting: whether it holds DATA or the like, which counts
    although it is not reached. opens, closes: whether it holds FOR, or NEXT. worked_out: whether it
    has a computed jump.
    """

    line: Line
    references: tuple[Reference, ...]
    jumps: list[int] = field(default_factory=list)
    calls: list[int] = field(default_factory=list)
    falls: bool = True
    returns: bool = False
    passive: bool = False
    lasting: bool = False
    opens: bool = False
    closes: bool = False
    worked_out: bool = False


@dataclass(frozen=True, slots=True)
class Flow:
    """A program as nodes in line order. entries: where it can be started.

    certain: whether there is no computed jump.
    """

    nodes: Mapping[int, Node]
    entries: tuple[int, ...]
    certain: bool

    def unreachable(self) -> list[Node]:
        """Return the unreachable lines in order; none if the program has a computed jump.

        Every line with NEXT counts as reachable from a FOR, whose body some boards may skip.
        """
        if not self.certain:
            return []
        ends = tuple(number for number, node in self.nodes.items() if node.closes)
        reached = self._from(
            self.entries, lambda node: (*node.jumps, *node.calls, *(ends if node.opens else ()))
        )
        return [n for number, n in self.nodes.items() if number not in reached and not n.passive]

    def removable(self) -> list[Line]:
        """Return the unreachable lines that hold no DATA or the like and that no line names."""
        dead = {n.line.number: n for n in self.unreachable() if not n.lasting}

        def named(number: int) -> list[int]:
            found = [r for r in self.nodes[number].references if r.use not in ("from", "to")]
            return [r.target for r in found if r.target is not None and r.target in dead]

        kept = _spread([number for number in self.nodes if number not in dead], named)
        return [node.line for number, node in dead.items() if number not in kept]

    def main(self) -> frozenset[int]:
        """Return the lines that can be reached without a call."""
        return self._from(self.entries, lambda node: node.jumps)

    def returning(self) -> frozenset[int]:
        """Return the lines from which a RETURN can be reached, treating calls as completed."""
        numbers = list(self.nodes)
        back: dict[int, list[int]] = {number: [] for number in numbers}
        for place, (number, node) in enumerate(self.nodes.items()):
            if node.falls and place + 1 < len(numbers):
                back[numbers[place + 1]].append(number)
            for target in node.jumps:
                if target in back:
                    back[target].append(number)
        starts = [number for number, node in self.nodes.items() if node.returns]
        return _spread(starts, lambda number: back[number])

    def _from(
        self, starts: Iterable[int], onward: Callable[[Node], Iterable[int]]
    ) -> frozenset[int]:
        numbers = list(self.nodes)
        after = dict(itertools.pairwise(numbers))

        def leads_to(number: int) -> list[int]:
            node = self.nodes[number]
            found = [target for target in onward(node) if target in self.nodes]
            if node.falls and number in after:
                found.append(after[number])
            return found

        return _spread([start for start in starts if start in self.nodes], leads_to)


def flow_of(listing: Listing, reader: Reader) -> Flow:
    """Return the control flow of a program and of the direct commands in its listing."""
    language = reader.language
    nodes = {number: _node(line, reader) for number, line in listing.numbered().items()}
    loose = [
        reference
        for line in listing
        if line.number is None
        for reference in references(line.text, language)
    ]
    entries = [*list(nodes)[:1], *(r.target for r in loose if r.target is not None)]
    anywhere = any(r.target is None and r.use != "from" for r in loose)
    certain = not anywhere and not any(node.worked_out for node in nodes.values())
    return Flow(nodes, tuple(entries), certain)


def _node(line: Line, reader: Reader) -> Node:
    node = Node(line, references(line.text, reader.language))
    for reference in node.references:
        if reference.use in ("from", "to"):
            continue
        if reference.target is None:
            node.worked_out = True
        elif reference.word == "GOSUB":
            node.calls.append(reference.target)
        elif reference.use == "jump" or reference.word == "RUN":
            node.jumps.append(reference.target)
    _walk(node, reader)
    return node


def _walk(node: Node, reader: Reader) -> None:
    """Set whether execution can pass a line, whether it returns, and whether it is passive.

    If the language has CONT, execution can pass a STOP.
    """
    conditional = False
    words: list[str] = []
    remarks = remark_words(reader.language)
    for statement in reader.statements(node.line.text):
        chosen = False
        for span in statement:
            words.append(span.word or span.kind)
            if span.word == "IF":
                conditional = True
            elif span.word == "ON":
                chosen = True
            elif span.word == "RETURN":
                node.returns = True
            goes_on = span.word == "STOP" and "CONT" in reader.language.statements
            if span.word in _LEAVES and not (conditional or chosen or goes_on):
                node.falls = False
    first = words[0] if words else ""
    node.passive = first in remarks or first in _LASTING or words == ["END"]
    node.lasting = not _LASTING.isdisjoint(words)
    node.opens, node.closes = "FOR" in words, "NEXT" in words


def remark_words(language: Language) -> frozenset[str]:
    """Return the words that begin a remark, in capitals without inner blanks."""
    return frozenset(word.upper().replace(" ", "") for word in language.remarks)


def _spread(starts: Iterable[int], leads_to: Callable[[int], Iterable[int]]) -> frozenset[int]:
    """Return everything that can be reached from the starting points."""
    seen = set(starts)
    todo = list(seen)
    while todo:
        for target in leads_to(todo.pop()):
            if target not in seen:
                seen.add(target)
                todo.append(target)
    return frozenset(seen)
