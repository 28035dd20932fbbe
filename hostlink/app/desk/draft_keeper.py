"""Keeping the text in the editor as a draft while it is typed, and offering one left behind."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from pathlib import Path

from textual.timer import Timer

from hostlink.app.desk.part import DeskPart
from hostlink.app.drafts import Draft, Drafts, LeftDraft, written_at
from hostlink.app.sheet import Sheet, open_sheet
from hostlink.errors import HostlinkError
from hostlink.words import plural

_EVERY_S = 1.0  # what a killed window loses at most, and a little for the writing


def drafts_folder(settings_file: Path) -> Path:
    """Return the folder of the drafts: beside the settings."""
    return settings_file.parent / "drafts"


class DraftKeeper(DeskPart):
    """Writes the draft of this window, and opens those of windows that are gone."""

    _timer: Timer | None = None
    _failed = False

    @cached_property
    def _drafts(self) -> Drafts:
        return Drafts(drafts_folder(self.app.settings_file))

    def begin(self) -> None:
        """Offer the newest draft that was left behind by a window that is gone."""
        self.text_changed()  # what was typed while the app was starting
        left = self._drafts.left()
        if left:
            self._offer(left[0], others=len(left) - 1)

    def text_changed(self) -> None:
        """Write the draft soon."""
        if self._timer is None:
            self._timer = self.desk.set_timer(_EVERY_S, self.write)

    def write(self) -> None:
        """Write what is in the editor, or delete the draft where the text is kept elsewhere."""
        if self._timer is not None:
            self._timer.stop()
            self._timer = None
        if not self.app.begun:
            return
        if not self.sheets.unkept:
            self._drafts.drop()
            return
        try:
            self._drafts.keep(self._draft())
        except HostlinkError as error:
            if not self._failed:  # once, not after each word
                self._failed = True
                self.app.show_error(error)

    def end(self) -> None:
        """Write the draft for the last time, and leave it to the next window."""
        if self.app.begun:
            self.write()
            self._drafts.close()

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

    def _offer(self, left: LeftDraft, *, others: int) -> None:
        from hostlink.app.screens.dialogues import Ask

        def answered(answer: str | None) -> None:
            if answer == "open":
                self.app.careful(lambda: self._open(left))
            elif answer == "delete":
                self._drafts.give_up(left)

        draft = left.draft
        rows = len([row for row in draft.text.splitlines() if row.strip()])
        at = written_at(draft)
        when = f" of {at.astimezone():%d %B, %H:%M}" if at is not None else ""
        self.app.push_screen(
            Ask(
                f"{draft.name or 'A listing without a name'}{when} was not kept in the archive: "
                f"{plural(rows, 'line')}.",
                [("later", "Not now"), ("open", "Open it again"), ("delete", "Delete it")],
                why=f"{plural(others, 'other draft')} will be offered at the next starts."
                if others
                else "",
            ),
            answered,
        )

    def _open(self, left: LeftDraft) -> None:
        """Put a draft into the editor, with the cursor where it was."""
        self._drafts.take_over(left)
        draft = left.draft
        sheet = Sheet()
        if draft.origin:
            try:
                sheet = open_sheet(draft.origin, self.app.archive)
            except HostlinkError:  # it is gone; the text is a new listing then
                sheet = Sheet()
        if sheet.name != draft.name:
            sheet = replace(sheet, name=draft.name)
        self.sheets.show_sheet(sheet, draft.text)
        self.desk.editor.move_cursor((draft.row, draft.column))


def _origin(sheet: Sheet) -> str:
    """Return the word that opens what a sheet was made from, "" where it is new."""
    material = sheet.material
    if material is None:
        return ""
    if material.shipped is not None:
        return material.word
    return material.revision.spec if material.revision is not None else material.label
