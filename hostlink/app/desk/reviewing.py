"""Review the text in the editor at once, or a long text in the background, so that no key waits."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from hostlink.app.aside import aside
from hostlink.app.review_process import LARGE, Asked, ReviewProcess
from hostlink.errors import HostlinkError

if TYPE_CHECKING:
    from hostlink.app.desk.sheet_pane import SheetPane
    from hostlink.listing import Review

PAUSE_S = 0.7  # longer than between two keys of most typists


class Reviewing:
    """Reviews the text of one pane. take: called with each review made in the background."""

    def __init__(self, pane: SheetPane, take: Callable[[Review], object]) -> None:
        self._pane = pane
        self._give = take
        self._is_busy = False
        self._is_asked_again = False
        self._process = ReviewProcess()
        self._last: tuple[Asked, Review] | None = None

    @property
    def takes_long(self) -> bool:
        """Return whether the text is so long that changes are reviewed in the background."""
        return len(self._pane.editor.text) > LARGE

    def now(self) -> Review:
        """Return the review of the text, made anew only if something has changed."""
        asked = self._asked()
        if self._last is None or self._last[0] != asked:
            self._last = asked, asked.review()
        return self._last[1]

    def begin(self) -> None:
        """Review the text in the background, or once more after a review that is under way."""
        self._is_asked_again = self._is_busy
        if self._is_busy:
            return
        self._is_busy = True
        asked = self._asked()

        def work() -> Review:
            try:
                return self._process.review(asked)
            finally:
                self._is_busy = False

        def done(checked: Review) -> None:
            if asked == self._asked():
                self._last = asked, checked
                self._give(checked)
            elif self._is_asked_again:  # else the user is typing, and a pause begins it again
                self.begin()

        aside(self._pane.app, work, done)

    def close(self) -> None:
        """End the process that reviews long texts."""
        self._process.close()

    def _asked(self) -> Asked:
        rules = self._pane.app.boards.profile.rules
        return Asked(self._pane.editor.text, rules, self._silenced())

    def _silenced(self) -> frozenset[str]:
        """Return the review rules that the program's note silences."""
        from hostlink.listing.finding import silenced_in

        name = self._pane.noted_program
        try:
            return silenced_in(self._pane.app.archive.program(name).note) if name else frozenset()
        except HostlinkError:  # the archive cannot be read now: silence nothing
            return frozenset()
