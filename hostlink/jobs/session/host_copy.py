"""The host copy of a board's program, kept up to date from every line typed at the console.

Rules:
1. A line is copied only if the board accepted it without an answer; a rejected line is not in its
   memory.
2. The copy may lack lines typed at the board's own keyboard, and is marked so.
3. While lines are changed, the copy keeps the revision that it began as, so that a save makes the
   next revision. After the memory was cleared or got another program, it has none.
"""

from __future__ import annotations

from hostlink.archive import Archive, Board, Content, Revision
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.reading import read_listing
from hostlink.board.profile.model import Profile
from hostlink.jobs.listing_source import content_of
from hostlink.jobs.session.last_known import copy_of, find_revision, last_program
from hostlink.listing import Line, Listing, to_bytes


class LiveCopy:
    """The lines that a board's memory is believed to hold, also recorded in the archive."""

    def __init__(self, archive: Archive, board: Board, profile: Profile) -> None:
        self._archive = archive
        self._board = board
        self._profile = profile
        held = copy_of(archive, board)
        text = held.content.text if held is not None else ""
        self.lines: dict[int, Line] = Listing.from_text(text).numbered()
        self._began_as = find_revision(archive, held.revision if held is not None else "")

    def answered(self, line: str, answer: str) -> None:
        """Update the copy for an entered line. answer: the board's answer to it, "" for none."""
        command = self._profile.commands.list
        if Line.from_text(line).number is not None:
            if not answer:
                self.stored(line)
        elif command and line.strip().upper() == command.upper():
            self.listed(answer)

    def stored(self, typed: str) -> None:
        """Update the copy for a numbered line that the board accepted."""
        line = Line.from_text(typed)
        if line.number is None:
            return
        self.lines.pop(line.number, None)
        if line.text:
            self.lines[line.number] = line
            self.lines = dict(sorted(self.lines.items()))
        self._note(proven=False)

    def listed(self, answer: str) -> None:
        """Replace the copy by a listing read once (newer, unproven), unless it has stray rows."""
        listed = read_listing(answer, self._profile)
        if not listed.strays:
            self.lines = dict(listed.lines)
            self._note(proven=False)

    def proven(self, lines: dict[int, Line]) -> None:
        """Replace the copy by lines that were read back from the board."""
        self.lines = dict(sorted(lines.items()))
        self._note(proven=True)

    def captured(self, result: Capture) -> None:
        """Replace the copy by a capture."""
        self.lines = dict(sorted(result.lines.items()))
        self._note(proven=result.is_proven)

    def replaced(self, result: Capture) -> None:
        """Replace the copy by a capture of what may be another program."""
        self._began_as = None
        self.captured(result)

    def emptied(self) -> None:
        """Empty the copy after the memory was cleared on purpose."""
        self.lines = {}
        self._note(proven=False)

    def lost(self) -> str:
        """Empty the copy after a restart; return the spec that keeps what it held, or ""."""
        if not self.lines:
            return ""
        spec = "" if self._archive.read_only else last_program(self._archive, self._board)
        self.emptied()
        return spec

    def _note(self, *, proven: bool) -> None:
        listing = Listing(tuple(self.lines.values()))
        charset = self._profile.rules.form.charset
        content = content_of(listing, to_bytes(listing.text(), charset), charset, self._profile)
        self._began_as = self._revision_of(content)
        if self._archive.read_only:
            return
        self._archive.set_host_copy(
            self._board.uuid, content, proven=proven, revision=self._began_as
        )

    def _revision_of(self, content: Content) -> Revision | None:
        """Return the revision that equals the copy, or that it was changed from."""
        if not self.lines:
            return None
        same = [one for one in self._archive.holds(content) if isinstance(one, Revision)]
        began = self._began_as
        if began is None:
            return same[0] if same else None
        return next((one for one in same if one.program == began.program), began)
