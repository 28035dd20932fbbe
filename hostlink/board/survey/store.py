"""Store test lines in an empty program memory with care, and read them from the listing."""

from __future__ import annotations

import dataclasses
import re

from hostlink.board.dialogue.common_words import CLEARING
from hostlink.board.dialogue.learning import find_list_form
from hostlink.board.dialogue.own_rows import is_own, own_rows_in
from hostlink.board.dialogue.reading import refuse_colours
from hostlink.board.survey.bench import Bench
from hostlink.board.survey.findings import AROUND_LISTING, LISTED_SO
from hostlink.errors import RefusedError
from hostlink.words import safe

_LINE = re.compile(r" *-?[0-9]")
_MOST_TIMES = 3
_AGAIN = 2
_STORED_S = 1.0  # time for a board to store a line and answer


class StoresNothing(RefusedError):
    """The board accepts no numbered lines, so nothing can be loaded into it."""


class Store:
    """A program memory without anything of the user's."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench

    def put(self, *lines: str) -> dict[int, str]:
        """Type numbered lines; return what the board answered, by line number."""
        said: dict[int, str] = {}
        dialogue = self.bench.dialogue
        for line in lines:
            core = dialogue.exchange(line)
            number = int(re.match(r" *([0-9]+)", line)[1])  # type: ignore[index]
            if words := dialogue.refusal_in(core.answer):
                said[number] = words
        return said

    def rows(self) -> tuple[str, ...]:
        """Return the rows of the listing on which two readings agree, without the board's own."""
        reading = self.bench.dialogue.read_listing
        rows = self.bench.until_steady(lambda: reading().rows, times=8) or ()
        own = self.bench.profile.commands.answer_rows
        return tuple(row for row in rows if not is_own(row, own))

    def lines(self) -> tuple[str, ...]:
        """Return the rows of the listing that look like lines."""
        return tuple(row for row in self.rows() if _LINE.match(row))

    def clear(self) -> None:
        """Clear the memory. Raises RefusedError if the board does not."""
        self.bench.dialogue.clear()

    # --- what storing shows by itself ---------------------------------------------------------

    def find_storing(self) -> None:
        """Find whether lines are stored and cleared, and the board's own rows around its listing.

        Raises StoresNothing if a numbered line is not listed, RefusedError if the memory cannot be
        cleared.
        """
        self._find_prompt()
        self._find_clearing()
        empty = self.rows()
        said: dict[int, str] = {}
        rows: tuple[str, ...] = ()
        for _ in range(_MOST_TIMES):
            said |= self.put("10 REM A", "20 REM B")
            rows = self.rows()
            if sum(bool(_LINE.match(row)) for row in rows) >= 2:
                break
        else:
            refuse_colours(rows, self.bench.profile)
            words = f'; it answers "{safe(said[10][:60])}"' if said.get(10) else ""
            raise StoresNothing(
                f"The board stores no numbered lines{words}, so nothing can be loaded into it.",
                kept="Its program was not changed.",
            )
        self._find_own_rows(empty, rows)
        shape = find_list_form(rows)
        if shape:
            self.bench.findings.add("listing.list_form", shape, LISTED_SO)
        self.bench.renew()
        self.clear()

    def _find_own_rows(self, empty: tuple[str, ...], rows: tuple[str, ...]) -> None:
        """Find the board's own rows from a listing with test lines and one without."""
        commands = self.bench.profile.commands
        own = own_rows_in(empty, rows, [row for row in rows if _LINE.match(row)])
        refusals = commands.error_words
        own = tuple(row for row in own if not (refusals and row.startswith(refusals)))
        answer_rows = tuple(dict.fromkeys((*commands.answer_rows, *own)))
        if answer_rows != commands.answer_rows:
            self.bench.findings.add("commands.answer_rows", answer_rows, AROUND_LISTING)

    def _find_prompt(self) -> None:
        """Find whether the end of every other answer also follows a stored line.

        A board may report that it is ready after an empty line, but not after a stored one.
        """
        bench = self.bench
        end = bench.heard_talk.prompt
        if not end or not bench.heard_talk.echo:
            return
        answers = []
        for _ in range(_AGAIN):
            bench.type(b"10 REM A")
            answers.append(bench.probe(bench.heard_talk.line_end, first_s=_STORED_S).heard)
        if not all(answers) or any(end in answer for answer in answers):
            return
        says = "it ends answers to direct commands; a line that is stored is only echoed"
        bench.findings.add("talk.prompt", b"", says)
        bench.findings.add("talk.ready", end, says)
        bench.heard_talk = dataclasses.replace(bench.heard_talk, prompt=b"", ready=end)
        bench.renew()

    def _find_clearing(self) -> None:
        """Find the command that clears the memory, by a line that is gone after it."""
        bench, findings = self.bench, self.bench.findings
        asked = dict.fromkeys((bench.profile.commands.clear or "NEW", *CLEARING))
        for command in asked:
            findings.add("commands.clear", command, "a stored line is no longer listed after it")
            bench.renew()
            try:
                self.clear()
                self.put("10 REM A")
                stored = set(self.lines())
                self.clear()
            except RefusedError:
                continue
            # A row beside the lines may begin with a number; the line itself must be gone.
            if not stored or stored - set(self.lines()):
                return
        self.put("10")  # deletes at least the test line
        findings.missing("commands.clear", f"stored lines stay after {', '.join(asked)}")
        raise RefusedError(
            f"The program memory is not cleared by {' or '.join(asked)}.",
            advice="If another command does, name it as clear in the board's profile.",
        )
