"""Keep the text in the editor as a draft while it is typed, and offer drafts left behind."""

from __future__ import annotations

import time
from contextlib import suppress
from dataclasses import replace
from functools import cached_property
from pathlib import Path

from textual.timer import Timer

from hostlink.app.actions.table import way_to
from hostlink.app.aside import aside
from hostlink.app.desk.part import DeskPart
from hostlink.app.drafts import Draft, Drafts, LeftDraft, written_at
from hostlink.app.sentences import NEXT_START_OFFERS
from hostlink.app.sheet import Sheet, open_sheet
from hostlink.errors import HostlinkError, RefusedError
from hostlink.words import plural

_EVERY_S = 1.0  # a killed window loses at most this, and the time that writing takes
_MOST_OF_A_LINE = 40  # characters
_SOON_S = 0.05  # so that keys that come together are written together
_AFTER_START_S = 0.3  # so that keys typed while the app was starting come first


def drafts_folder(settings_file: Path) -> Path:
    """Return the folder of the drafts: beside the settings."""
    return settings_file.parent / "drafts"


class DraftKeeper(DeskPart):
    """Writes the draft of this window, and opens those of windows that are gone."""

    _timer: Timer | None = None
    _written_at = 0.0  # by time.monotonic
    _ended = False
    fault = ""  # why the last draft could not be written

    @cached_property
    def _drafts(self) -> Drafts:
        return Drafts(drafts_folder(self.app.settings_file))

    def begin(self) -> None:
        """Offer the drafts that closed windows left behind, the newest first."""
        self.write()  # what was typed while the app was starting has waited long enough
        if self._drafts.left():
            self.desk.set_timer(_AFTER_START_S, self._offer_at_start)

    def offer_again(self) -> None:
        """Offer all drafts left behind, also those answered with "Not now"."""
        left = self._drafts.left()
        if not left:
            self.app.tell("No closed window has left a draft.")
        self._offer(left)

    def text_changed(self) -> None:
        """Write the draft soon, but not twice within a second."""
        if self._timer is None:
            due_s = self._written_at + _EVERY_S - time.monotonic()
            self._timer = self.desk.set_timer(max(_SOON_S, due_s), self._write_aside)

    def write(self) -> None:
        """Write what is in the editor, or delete the draft if there is nothing to keep."""
        if self._want():
            try:
                self._drafts.settle()
                self._written()
            except RefusedError as error:
                self._not_written(error)

    def _write_aside(self) -> None:
        # In the app's own thread, a slow disk would delay the next key.
        if self._want():
            aside(self.app, self._drafts.settle, self._written, self._not_written, newest="draft")

    def _want(self) -> bool:
        """Note what the draft on disk is to be; return False before the start and after the end."""
        if self._timer is not None:
            self._timer.stop()
            self._timer = None
        if not self.app.begun or self._ended:
            return False
        self._written_at = time.monotonic()
        nothing = not self.sheets.unkept or not self.desk.editor.text.strip()
        self._drafts.want(None if nothing else self._draft())
        return True

    def _written(self, _: None = None) -> None:
        self.fault = ""

    def _not_written(self, error: HostlinkError) -> None:
        before, self.fault = self.fault, str(error)
        if not before:  # told once, not after each word, and without taking the focus
            self.app.tell(self.fault)

    def end(self) -> None:
        """Write the draft for the last time, and leave it to the next window."""
        if self.app.begun:
            self.write()
            self._ended = True  # a late message about a change would take the lock again
            self._drafts.close()

    @property
    def left_words(self) -> str:
        """Return what became of the draft when the app ended by an error, "" without a draft.

        It is not written then, because the error may have come in the middle of a change.
        """
        if not self._drafts.is_kept:
            return ""
        return (
            "The editor's text is kept as a draft, without the last second of typing; "
            f"{NEXT_START_OFFERS}."
        )

    def _draft(self) -> Draft:
        sheet, editor = self.sheets.sheet, self.desk.editor
        row, column = editor.cursor_location
        return Draft(
            text=editor.text,
            name=sheet.name,
            origin=_origin(sheet),
            row=row,
            column=column,
            at=self.app.now().isoformat(timespec="seconds"),
        )

    def _offer_at_start(self) -> None:
        with self.desk.questions.unasked():
            self._offer(self._drafts.left())

    def _offer(self, drafts: list[LeftDraft]) -> None:
        """Offer drafts one by one until one is opened."""
        from hostlink.app.screens.dialogues import Ask

        if not drafts:
            return
        left, *others = drafts

        def answered(answer: str | None) -> None:
            if answer == "open":
                self.sheets.unless_lost(lambda: self.app.attempt(lambda: self._open(left)))
                return
            if answer == "delete":
                self._drafts.give_up(left)
            self._offer(others)

        draft = left.draft
        more = f"{plural(len(others), 'more draft')} to come. " if others else ""
        at = written_at(draft)
        when = f" of {at.astimezone():%d %B, %H:%M}" if at is not None else ""
        self.app.push_screen(
            Ask(
                f"{draft.name or 'A listing without a name'}{when} was not kept in the archive: "
                f"{_extent(draft.text)}.",
                [("later", "Not now"), ("open", "Open it again"), ("delete", "Delete it")],
                why=f"{more}“Not now” leaves it: {NEXT_START_OFFERS} again, "
                f"and so does {way_to('drafts')}.",
            ),
            answered,
        )

    def _open(self, left: LeftDraft) -> None:
        """Put a draft into the editor, with the cursor where it was."""
        self._drafts.take_over(left)
        draft, sheet = left.draft, Sheet()
        if draft.origin:
            with suppress(HostlinkError):  # if it is gone, the text is a new listing
                sheet = open_sheet(draft.origin, self.app.archive)
        self.sheets.show_sheet(replace(sheet, name=draft.name), draft.text)
        self.desk.editor.move_cursor((draft.row, draft.column))


def _extent(text: str) -> str:
    """Return how many lines a text has and its first line, to tell unnamed drafts apart."""
    rows = [row.strip() for row in text.splitlines() if row.strip()]
    if not rows:
        return "no line"
    first = rows[0] if len(rows[0]) <= _MOST_OF_A_LINE else f"{rows[0][: _MOST_OF_A_LINE - 1]}…"
    return f"{plural(len(rows), 'line')}, {'the first' if rows[1:] else 'this'}: {first}"


def _origin(sheet: Sheet) -> str:
    """Return what to type to open the original of a sheet, "" for a new one."""
    from hostlink.jobs.files import is_there, named_path

    material = sheet.material
    if material is None:
        return ""
    if material.shipped is not None:
        return material.word
    if material.revision is not None:
        return material.revision.spec
    path = named_path(material.label)
    return str(path.absolute()) if is_there(path) else material.label
