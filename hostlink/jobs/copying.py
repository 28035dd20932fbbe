"""The host copy while somebody types at the board: kept current from every line that passes by.

A line is taken over only when the board took it without a word; what it complained of is not in
its memory. The copy may lack what is typed at the board's own keyboard, and says so.
"""

from __future__ import annotations

from hostlink.archive import Archive, Board
from hostlink.board.captures import Tally
from hostlink.board.dialogue import read_listed
from hostlink.board.profile import Profile
from hostlink.jobs.attaching import last_program
from hostlink.jobs.material import content_of
from hostlink.listing import Line, Listing, to_bytes


class HostCopy:
    """What we believe one board's memory holds: line number to line, and the archive's record."""

    def __init__(self, archive: Archive, board: Board, profile: Profile) -> None:
        self._archive = archive
        self._board = board
        self._profile = profile
        held = archive.host_copy(board.uuid)
        text = held.content.text if held is not None else ""
        self.lines: dict[int, Line] = Listing.from_text(text).numbered()

    def stored(self, typed: str) -> None:
        """A numbered line was typed, and the board took it."""
        line = Line.from_text(typed)
        if line.number is None:
            return
        self.lines.pop(line.number, None)
        if line.text:
            self.lines[line.number] = line
            self.lines = dict(sorted(self.lines.items()))
        self._note(proven=False)

    def listed(self, answer: str) -> None:
        """The whole program was listed once: not a proof, but newer than what we had."""
        listed = read_listed(answer, self._profile)
        if not listed.strays:
            self.lines = dict(listed.lines)
            self._note(proven=False)

    def proven(self, lines: dict[int, Line]) -> None:
        """The board was read back, and holds these lines."""
        self.lines = dict(sorted(lines.items()))
        self._note(proven=True)

    def captured(self, result: Tally) -> None:
        """The board was captured."""
        self.proven(result.lines)

    def emptied(self) -> None:
        """Memory was cleared on purpose, after it was rescued."""
        self.lines = {}
        self._note(proven=False)

    def lost(self) -> str:
        """The board restarted: keep what the copy holds in the archive; the spec it is kept as.

        "" where nothing was known to be there.
        """
        if not self.lines:
            return ""
        spec = last_program(self._archive, self._board)
        self.emptied()
        return spec

    def _note(self, *, proven: bool) -> None:
        listing = Listing(tuple(self.lines.values()))
        charset = self._profile.rules.form.charset
        content = content_of(listing, to_bytes(listing.text(), charset), charset, self._profile)
        self._archive.set_host_copy(
            self._board.uuid, content, proven=proven, may_lack_edits=not proven
        )
