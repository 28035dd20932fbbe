"""The host copy while somebody types at the board: kept current from every line that passes by.

Rules:
1. A line is taken over only when the board took it without a word; what it complained of is not in
   its memory.
2. The copy may lack what is typed at the board's own keyboard, and says so.
3. It knows the revision that it began as for as long as lines are changed, so that a save makes the
   next one; a memory that was emptied, or took in another program, is no revision's next one.
"""

from __future__ import annotations

import contextlib

from hostlink.archive import Archive, Board, Content, Revision
from hostlink.archive import HostCopy as Kept
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.reading import read_listing
from hostlink.board.profile.model import Profile
from hostlink.errors import ArchiveError
from hostlink.jobs.listing_source import content_of
from hostlink.jobs.session.attaching import last_program
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
        self._began_as = _began_as(archive, held)

    def answered(self, line: str, answer: str) -> None:
        """Take over what an entered line did. answer: what the board said to it, "" for nothing."""
        command = self._profile.commands.list
        if Line.from_text(line).number is not None:
            if not answer:
                self.stored(line)
        elif command and line.strip().upper() == command.upper():
            self.listed(answer)

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
        listed = read_listing(answer, self._profile)
        if not listed.strays:
            self.lines = dict(listed.lines)
            self._note(proven=False)

    def proven(self, lines: dict[int, Line]) -> None:
        """The board was read back, and holds these lines."""
        self.lines = dict(sorted(lines.items()))
        self._note(proven=True)

    def captured(self, result: Capture) -> None:
        """The board was captured."""
        self.lines = dict(sorted(result.lines.items()))
        self._note(proven=result.is_proven)

    def replaced(self, result: Capture) -> None:
        """The board was captured after something that may have put another program there."""
        self._began_as = None
        self.captured(result)

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
        self._began_as = self._revision_of(content)
        self._archive.set_host_copy(
            self._board.uuid,
            content,
            proven=proven,
            may_lack_edits=not proven,
            revision=self._began_as,
        )

    def _revision_of(self, content: Content) -> Revision | None:
        """The revision that this is, or that it was changed from."""
        if not self.lines:
            return None
        same = [one for one in self._archive.holds(content) if isinstance(one, Revision)]
        began = self._began_as
        if began is None:
            return same[0] if same else None
        return next((one for one in same if one.program == began.program), began)


def _began_as(archive: Archive, held: Kept | None) -> Revision | None:
    """The revision that the archive's copy began as; None where there is none any more."""
    if held is None or not held.revision:
        return None
    with contextlib.suppress(ArchiveError):
        item = archive.revision(held.revision)
        return item if isinstance(item, Revision) else None
    return None
