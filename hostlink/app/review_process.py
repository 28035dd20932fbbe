"""Reviews long texts in a process of its own: in a thread of the app's, each key would wait for it.

Run as a module, this file is that process. It reads what to review from stdin and answers on
stdout, both pickled, until stdin ends; it ends when the app ends, however that happens.
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

    from hostlink.listing import Review, Rules


LARGE = 20_000  # characters; larger texts are reviewed only after a pause in typing


@dataclass(frozen=True, slots=True)
class Asked:
    """What a review is made of. silenced: rules that the program's note silences."""

    text: str
    rules: Rules
    silenced: frozenset[str]

    def review(self) -> Review:
        """Review and measure the text."""
        from hostlink.listing import Listing, review

        with uncollected() if len(self.text) > LARGE else nullcontext():
            listing = Listing.from_text(self.text)
            return review(listing, self.rules, deep=True, silenced=self.silenced)


class ReviewProcess:
    """The process, started when it is first needed. Used by one thread at a time."""

    def __init__(self) -> None:
        self._process: Popen[bytes] | None = None

    def review(self, asked: Asked) -> Review:
        """Review a text in the process; where there can be none, in this thread."""
        import pickle

        try:
            if self._process is None:
                self._process = _started()
            stdin, stdout = self._process.stdin, self._process.stdout
            if stdin is None or stdout is None:  # both are pipes
                raise EOFError
            pickle.dump(asked, stdin)
            stdin.flush()
            with uncollected():
                checked: Review = pickle.load(stdout)
        except (OSError, EOFError, ValueError, pickle.UnpicklingError):
            self.close()
            return asked.review()
        return checked

    def close(self) -> None:
        """End the process; a review under way is then made by the thread that waits for it."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            with suppress(OSError), process:  # what was not sent any more is lost
                pass


def _started() -> Popen[bytes]:
    """Start the process, with no folder of the user's among those that Python imports from."""
    import os
    from subprocess import DEVNULL, PIPE, Popen

    return Popen(
        [sys.executable, "-P", "-m", __name__],
        stdin=PIPE,
        stdout=PIPE,
        stderr=DEVNULL,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )


def _serve() -> None:
    """Review each text that comes, behind whatever else the computer has to do."""
    import os
    import pickle

    if sys.platform != "win32":
        os.nice(10)
    while True:
        try:
            asked: Asked = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        pickle.dump(asked.review(), sys.stdout.buffer, pickle.HIGHEST_PROTOCOL)
        sys.stdout.buffer.flush()


if __name__ == "__main__":
    _serve()
