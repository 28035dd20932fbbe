"""The review of the text in the editor: at once, or of a long text aside, so that no key waits."""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hostlink.errors import HostlinkError

if TYPE_CHECKING:
    from hostlink.app.desk.sheet_pane import SheetPane
    from hostlink.listing import Review, Rules

_LARGE = 20_000  # characters; larger texts are reviewed only after a pause in typing
_TURN_S = 0.0005  # that a key waits for the review, each time that the app waits for anything
PAUSE_S = 0.7  # longer than between two keys of most typists


@dataclass(frozen=True, slots=True)
class _Asked:
    """What a review is made of. silenced: rules that the program's note silences."""

    text: str
    rules: Rules
    silenced: frozenset[str]

    def review(self) -> Review:
        """Review and measure the text."""
        from hostlink.listing import Listing, review

        with _uncollected() if len(self.text) > _LARGE else nullcontext():
            listing = Listing.from_text(self.text)
            return review(listing, self.rules, deep=True, silenced=self.silenced)


@contextmanager
def _uncollected() -> Iterator[None]:
    """Keep the garbage collector away from what is made here: reference counts free it.

    The collector would look at all of it again and again, between two keys: 0.1 s for 5,000 lines.
    """
    gc.collect(1)
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


class Reviewing:
    """Reviews the text of one pane. take: called with each review that was made aside."""

    def __init__(self, pane: SheetPane, take: Callable[[Review], object]) -> None:
        self._pane = pane
        self._give = take
        self._is_busy = False
        self._is_asked_again = False
        self._last: tuple[_Asked, Review] | None = None

    @property
    def takes_long(self) -> bool:
        """Return whether the text is reviewed aside after it was changed."""
        return len(self._pane.editor.text) > _LARGE

    def now(self) -> Review:
        """Review the text, unless that was done since anything changed."""
        asked = self._asked()
        if self._last is None or self._last[0] != asked:
            self._last = asked, asked.review()
        return self._last[1]

    def begin(self) -> None:
        """Review the text in a thread, one text at a time; asked meanwhile, once more after it."""
        from hostlink.app.aside import aside

        self._is_asked_again = self._is_busy
        if self._is_busy:
            return
        self._is_busy = True
        asked = self._asked()

        def work() -> Review:
            turn_s = sys.getswitchinterval()
            sys.setswitchinterval(_TURN_S)
            try:
                return asked.review()
            finally:
                sys.setswitchinterval(turn_s)
                self._is_busy = False

        def done(checked: Review) -> None:
            if asked == self._asked():
                self._last = asked, checked
                self._give(checked)
            elif self._is_asked_again:  # else somebody types, and asks after a pause
                self.begin()

        aside(self._pane.app, work, done)

    def _asked(self) -> _Asked:
        rules = self._pane.app.boards.profile.rules
        return _Asked(self._pane.editor.text, rules, self._silenced())

    def _silenced(self) -> frozenset[str]:
        """Return the review rules that the program's note silences."""
        from hostlink.listing.finding import silenced_in

        name = self._pane.noted_program
        try:
            return silenced_in(self._pane.app.archive.program(name).note) if name else frozenset()
        except HostlinkError:  # the archive cannot be read just now: nothing is silent then
            return frozenset()
