"""Check the logic of a program: control flow, loops, variables, and single lines."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from hostlink.listing.finding import Finding, at_place
from hostlink.listing.parse import Line, Listing
from hostlink.listing.reading import Reader
from hostlink.listing.reviewing.flow import Flow, Node, flow_of, remark_words
from hostlink.listing.reviewing.line_checks import check_line
from hostlink.listing.reviewing.variables import uses
from hostlink.listing.rules import Rules
from hostlink.words import capital, lines_named


def soundness(listing: Listing, rules: Rules) -> list[Finding]:
    """Return findings about the logic of a program. Never raises on any text."""
    reader = Reader(rules.language)
    flow = flow_of(listing, reader)
    words = [
        found for node in flow.nodes.values() for found in check_line(node.line, reader, rules)
    ]
    strange = {found.line_at for found in words if found.rule == "unknown-word"}
    return [
        *_unreachable(flow),
        *_subroutines(flow),
        *_into_remarks(flow, reader),
        *_loops(flow, reader),
        *_never_set(flow, reader, strange),
        *words,
    ]


def _unreachable(flow: Flow) -> Iterator[Finding]:
    """Yield one finding for each run of unreachable lines, ignoring remarks between them."""
    dead = {node.line.number for node in flow.unreachable()}
    run: list[Node] = []
    for node in (*flow.nodes.values(), None):
        if node is not None and node.line.number in dead:
            run.append(node)
        elif run and (node is None or not node.passive):
            first, last = run[0].line, run[-1].line
            alone = first is last
            what = f"Line {first.number}" if alone else f"Lines {first.number} to {last.number}"
            yield at_place(
                *(first, 0, "unreachable-line"),
                f"{what} cannot be reached: nothing leads there.",
                "Remove what is not needed, or add the missing jump.",
            )
            run = []


def _subroutines(flow: Flow) -> Iterator[Finding]:
    if not flow.certain:
        return
    returning, main = flow.returning(), flow.main()
    for number, node in flow.nodes.items():
        for call in node.references:
            if call.word == "GOSUB" and call.target in flow.nodes and call.target not in returning:
                yield at_place(
                    *(node.line, call.start, "subroutine-without-return"),
                    f"GOSUB {call.target}: nothing there leads to a RETURN.",
                    "End the subroutine with RETURN, or use GOTO.",
                )
        if node.returns and number in main:
            yield at_place(
                *(node.line, node.line.text.upper().find("RETURN"), "return-without-gosub"),
                "The program can get to this RETURN without a GOSUB.",
                "Put END or a GOTO in front of the subroutine.",
            )


def _into_remarks(flow: Flow, reader: Reader) -> Iterator[Finding]:
    remarks = remark_words(reader.language)
    only = {
        number
        for number, node in flow.nodes.items()
        if (spans := reader.spans(node.line.text)) and spans[0].word in remarks
    }
    jumping = [
        number
        for number, node in flow.nodes.items()
        if any(jump.use == "jump" and jump.target in only for jump in node.references)
    ]
    if jumping:
        lead = "leads" if len(jumping) == 1 else "lead"
        yield Finding(
            *(0, None, 0, "jump-into-remark"),
            message=f"{capital(lines_named(jumping))} {lead} to lines that are only remarks.",
            advice="The program runs, but removing the remarks would break these jumps.",
            severity="advice",
        )


@dataclass(frozen=True, slots=True)
class _Turn:
    """A FOR or a NEXT: its line, its index in the text, its variable ("" for a bare NEXT)."""

    word: str
    line: Line
    start: int
    variable: str


def _turns(flow: Flow, reader: Reader) -> list[_Turn]:
    found: list[_Turn] = []
    for node in flow.nodes.values():
        for statement in reader.statements(node.line.text):
            for place, span in enumerate(statement):
                first = place == 0 or statement[place - 1].word in ("THEN", "ELSE")
                if span.word not in ("FOR", "NEXT") or not first:
                    continue  # as in OPEN "FILE" FOR INPUT
                names = [s for s in statement[place + 1 :] if s.kind == "name"]
                if span.word == "FOR":
                    names = names[:1]
                if names:
                    found += [_Turn(span.word, node.line, n.start, n.text.upper()) for n in names]
                elif span.word == "NEXT":
                    found.append(_Turn("NEXT", node.line, span.start, ""))
    return found


def _loops(flow: Flow, reader: Reader) -> Iterator[Finding]:
    """Yield findings about FOR without NEXT, NEXT without FOR, and loops that overlap."""
    turns = _turns(flow, reader)
    begun = {turn.variable for turn in turns if turn.word == "FOR"}
    ended = {turn.variable for turn in turns if turn.word == "NEXT"}
    for turn in turns:
        if turn.word == "FOR" and turn.variable not in ended and "" not in ended:
            yield at_place(
                *(turn.line, turn.start, "for-without-next"),
                f"FOR {turn.variable}: no NEXT {turn.variable} ends it.",
                f"Add NEXT {turn.variable} after what is to be repeated.",
            )
        elif turn.word == "NEXT" and (turn.variable not in begun if turn.variable else not begun):
            yield at_place(
                *(turn.line, turn.start, "next-without-for"),
                f"NEXT {turn.variable}".rstrip() + " ends no FOR.",
                "Add the FOR, or correct the variable.",
                "error",
            )
    names = [(turn.word, turn.variable) for turn in turns]
    if len(names) == len(set(names)) and "" not in ended:
        yield from _crossed(turns)


def _crossed(turns: list[_Turn]) -> Iterator[Finding]:
    """Yield findings about overlapping loops; valid only with one FOR and NEXT per variable."""
    open_loops: list[_Turn] = []
    for turn in turns:
        if turn.word == "FOR":
            open_loops.append(turn)
            continue
        place = next((i for i, held in enumerate(open_loops) if held.variable == turn.variable), -1)
        if place < 0:
            continue
        if place < len(open_loops) - 1:
            inner = open_loops[-1]
            yield at_place(
                *(turn.line, turn.start, "crossed-loops"),
                f"NEXT {turn.variable} is inside the loop over {inner.variable}, which began "
                f"in line {inner.line.number} after the loop over {turn.variable}.",
                "End the inner loop first.",
            )
        del open_loops[place]


def _never_set(flow: Flow, reader: Reader, strange: set[int]) -> Iterator[Finding]:
    """Yield a finding for each variable never set. strange: rows whose unknown words may set it."""
    found = [
        (node.line, use) for node in flow.nodes.values() for use in uses(node.line.text, reader)
    ]
    known = {use.name for line, use in found if use.sets or line.at in strange}
    for line, use in found:
        if use.name not in known:
            known.add(use.name)
            yield at_place(
                *(line, use.start, "variable-never-set"),
                f"{use.name.rstrip('(')} is used and never given a value.",
                "Set it first, or correct the name; many boards take it as 0.",
            )
