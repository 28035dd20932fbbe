"""What a running program prints, reported row by row."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from hostlink.errors import RefusedError
from hostlink.jobs.board_rows import BoardRows
from hostlink.jobs.events import Emit, InputTyped, RowOpen, RowPrinted
from hostlink.jobs.files import TakenError, is_there, write_new
from hostlink.link.pacing import Pacing
from hostlink.listing import to_text
from hostlink.sentences import PRINTED_ABOVE
from hostlink.words import safe


def need_new_file(path: Path | None) -> None:
    """Raise TakenError, before a program is run, if the file for its output exists."""
    if path is not None and is_there(path):
        raise TakenError(
            f"{path} already exists.", kept="Nothing was run.", advice="Name a new file."
        )


def write_printed(path: Path, rows: Iterable[str]) -> None:
    """Write what a program printed to a new file, control characters as escapes.

    Raises RefusedError if it cannot be written.
    """
    text = "".join(f"{safe(row)}\n" for row in rows)
    try:
        write_new(path, text.encode(), replace=False)
    except RefusedError as error:
        raise error.but(kept=f"The program did run; {PRINTED_ABOVE}.") from error


class RunOutput:
    """Reports what a program prints, row by row as it comes. `rows`: all finished rows.

    answer_rows: rows such as OK that the board itself adds at the end; they are not output.
    """

    def __init__(
        self, charset: str, emit: Emit, pacing: Pacing, answer_rows: tuple[str, ...]
    ) -> None:
        self.rows: list[str] = []
        self._answer_rows = answer_rows
        self._aside: list[str] = []  # rows that the board may have added itself
        self._charset = charset
        self._emit = emit
        self._cut = BoardRows(charset, self._ended, render=str, prompt=pacing.direct_end, longest=0)
        self._cut.begin(swallow_end=pacing.echo)

    def close(self, *, at_prompt: bool) -> None:
        """End the output. at_prompt: the program ended, so the board has added its own rows.

        Each of those counts once, from the end; equal rows before it were printed by the program.
        """
        self._cut.close()
        own = set(self._answer_rows) if at_prompt else set()
        printed: list[str] = []
        for row in reversed(self._aside):
            if row.strip() in own:
                own.discard(row.strip())
            else:
                printed.insert(0, row)
        self._aside.clear()
        self._print(printed)

    def take(self, data: bytes) -> None:
        """Take bytes from the board and report the rows that they finish."""
        self._cut.take(data)
        partial = self._cut.partial
        if partial and any(row.startswith(partial.strip()) for row in self._answer_rows):
            partial = ""  # not shown while it may become a row that the board adds itself
        self._emit(RowOpen(partial))

    def typing(self, answer: bytes) -> None:
        """Report an answer that is about to be typed."""
        self._emit(InputTyped(to_text(answer, self._charset)))

    def _ended(self, row: str) -> None:
        if row.strip() in self._answer_rows:
            self._aside.append(row)
            return
        self._print([*self._aside, row])
        self._aside.clear()

    def _print(self, rows: list[str]) -> None:
        for row in rows:
            self.rows.append(row)
            self._emit(RowPrinted(row))
