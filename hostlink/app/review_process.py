"""Review long texts in a process of its own, since each key would wait for a thread of the app.

The process runs `serve_reviews`. It reads what to review from stdin and answers on stdout, both
pickled, until stdin ends; so it ends with the app, however that ends.
"""

from __future__ import annotations

import sys
from contextlib import nullcontext, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from hostlink.app.collector import uncollected

if TYPE_CHECKING:
    from subprocess import Popen

    from hostlink.listing import Finding, Listing, Review, Rules
    from hostlink.listing.measure import Standing


LARGE = 20_000  # characters; larger texts are reviewed only after a pause in typing


@dataclass(frozen=True, slots=True)
class Asked:
    """The input of a review. silenced: rules that the program's note silences."""

    text: str
    rules: Rules
    silenced: frozenset[str]

    def review(self) -> Review:
        """Review and measure the text."""
        from hostlink.listing import Listing, review

        with uncollected() if len(self.text) > LARGE else nullcontext():
            listing = Listing.from_text(self.text)
            return review(listing, self.rules, deep=True, silenced=self.silenced)


@dataclass(frozen=True, slots=True)
class ReviewAnswer:
    """A review without the lines, which the app has: unpickling them would block every thread.

    columns: of the ledger's rows, all but the first. Fields as of Review and Ledger.
    """

    findings: tuple[Finding, ...]
    columns: tuple[tuple[int, ...], tuple[int, ...], tuple[Standing, ...]]
    total: int
    limit: int
    silenced: int

    @classmethod
    def from_review(cls, review: Review) -> ReviewAnswer:
        """Return a review without its lines."""
        ledger = review.ledger
        columns = (
            tuple(row.cost for row in ledger.rows),
            tuple(row.so_far for row in ledger.rows),
            tuple(row.standing for row in ledger.rows),
        )
        return cls(review.findings, columns, ledger.total, ledger.limit, review.silenced)

    def of(self, listing: Listing) -> Review:
        """Return the complete review. listing: the one that was reviewed."""
        from hostlink.listing import Review
        from hostlink.listing.measure import Ledger, LedgerRow

        rows = tuple(map(LedgerRow, listing, *self.columns))
        return Review(self.findings, Ledger(rows, self.total, self.limit), self.silenced)


class ReviewProcess:
    """The process, started when it is first needed. Used by one thread at a time."""

    def __init__(self) -> None:
        self._process: Popen[bytes] | None = None

    def review(self, asked: Asked) -> Review:
        """Review a text in the process, or in this thread if there can be no process."""
        import pickle

        from hostlink.listing import Listing

        try:
            if self._process is None:
                self._process = _started()
            stdin, stdout = self._process.stdin, self._process.stdout
            if stdin is None or stdout is None:  # both are pipes
                raise EOFError
            pickle.dump(asked, stdin)
            stdin.flush()
            listing = Listing.from_text(asked.text)  # while the process reviews it
            answer: ReviewAnswer = pickle.load(stdout)
        except (OSError, EOFError, ValueError, pickle.UnpicklingError):
            self.close()
            return asked.review()
        with uncollected():
            return answer.of(listing)

    def close(self) -> None:
        """End the process; a thread that waits for a review then makes it itself."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            with suppress(OSError), process:  # what was not yet sent is lost
                pass


def _started() -> Popen[bytes]:
    """Start the process, with no folder of the user's among those that Python imports from."""
    import os
    from subprocess import DEVNULL, PIPE, Popen

    return Popen(
        [sys.executable, "-P", "-c", f"from {__name__} import serve_reviews; serve_reviews()"],
        stdin=PIPE,
        stdout=PIPE,
        stderr=DEVNULL,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )


def serve_reviews() -> None:
    """Review each text that comes, in this process, at the lowest priority."""
    import os
    import pickle

    if sys.platform != "win32":
        os.nice(10)
    while True:
        try:
            asked: Asked = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        answer = ReviewAnswer.from_review(asked.review())
        pickle.dump(answer, sys.stdout.buffer, pickle.HIGHEST_PROTOCOL)
        sys.stdout.buffer.flush()
