"""Transfers between the desk and the current board: loading, saving, backups."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from hostlink.app.actions.table import way_to
from hostlink.app.board_words import KnownContents, revision_words
from hostlink.app.desk.job_progress import sent_lines
from hostlink.app.desk.part import DeskPart
from hostlink.app.sentences import ASKED_FOR_NAME, NOTHING_SENT_YET
from hostlink.errors import Needed, NotKnownError, RefusedError
from hostlink.sentences import WHAT_LEARNING_DOES
from hostlink.words import capital

if TYPE_CHECKING:
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.app.job import Job
    from hostlink.board.dialogue.learning import Learned
    from hostlink.jobs.backup import BackedUp
    from hostlink.jobs.language_of import Offer
    from hostlink.jobs.listing_source import Material
    from hostlink.jobs.loading import Loaded, LoadOptions
    from hostlink.jobs.saving import Saved, SaveOptions


def _yes(asked: Learned | Offer) -> bool:  # noqa: ARG001 - the question's form
    return True


def _backed_up_words(backed: BackedUp) -> str:
    """Describe a backup: what it holds, and what could not be read or how it is put back."""
    next_words = f"Next: put it back when needed ({way_to('put-back')})."
    return f"{backed.kept_words} {backed.unread_words or next_words}"


class Transfers(DeskPart):
    """Starts the jobs of hostlink.jobs that transfer programs, and shows their progress."""

    def _free_board(self) -> AttachedBoard | None:
        """Return the current board; say why not and return None if it is busy or there is none."""
        attached = self.desk.readings.need()
        if attached is not None and attached.busy is not None and attached.busy.shown:
            self.app.tell(f"{attached.busy.name} has to end first.", board=attached)
            return None
        return attached

    def load(self) -> None:
        """Load the listing in the editor, asking for a name or consent where that is needed."""
        from hostlink.jobs.fitness import check_loadable
        from hostlink.jobs.loading import LoadOptions

        attached = self._free_board()
        if attached is None:
            return
        if not self.sheets.sheet.name and self.sheets.editor.text.strip():
            self.sheets.ask_name(self.load)
            return
        material = self.sheets.sheet.as_material(self.sheets.editor.text, self.app.boards.profile)
        try:
            check_loadable(material, self.app.boards.profile, despite_review=False)
        except RefusedError as error:
            self._ask_despite(attached, material, error)
            return
        self.start_load(attached, material, LoadOptions())

    def _ask_despite(
        self, attached: AttachedBoard, material: Material, error: RefusedError
    ) -> None:
        from hostlink.app.screens.dialogues import Ask
        from hostlink.jobs.loading import LoadOptions

        if not material.listing.numbered():
            self.app.show_error(error)
            return
        found = self.sheets.checked.errors[0] if self.sheets.checked.errors else None

        def answered(answer: str | None) -> None:
            if answer == "load":
                self.start_load(attached, material, LoadOptions(despite_review=True))
            elif found is not None and found.line_at:
                self.sheets.editor.move_cursor((found.line_at - 1, 0))
                self.sheets.editor.focus()

        self.app.push_screen(
            Ask(
                error.what,
                [("look", "Look at it"), ("load", "Load anyway")],
                why=f"{NOTHING_SENT_YET} The findings of the review stand beside the lines.",
            ),
            answered,
        )

    def load_word(self, attached: AttachedBoard, word: str) -> None:
        """Load a program or revision from the archive, regardless of what is in the editor."""
        from hostlink.jobs.listing_source import find_material
        from hostlink.jobs.loading import LoadOptions

        material = self.app.attempt(lambda: find_material(word, self.app.archive))
        if material is not None:
            self.start_load(attached, material, LoadOptions(despite_review=True))

    def start_load(self, attached: AttachedBoard, material: Material, options: LoadOptions) -> None:
        """Load a listing and show how it ended; ask the user where a refusal can be lifted."""
        from hostlink.board.profile.pacing import pacing_of
        from hostlink.jobs.loading import expected_seconds, load

        pacing = pacing_of(attached.choice.effective)
        seconds = max(1, round(expected_seconds(material, pacing)))
        name = self.desk.readings.name_of(attached)
        job: Job[Loaded] = attached.do(
            f"Loading {material.label} into {name}",
            lambda session, archive: load(session, archive, material, options),
            then="load",
            doing=f"is being loaded with {revision_words(material.label)}",
            sends=sent_lines(material.text, attached),
        )
        job.progress.phase = f"about {seconds:,} s"

        def note_kept(_: Job[Loaded]) -> None:
            while job.progress.kept:
                self.sheets.note_kept(job.progress.kept.pop())

        job.on_change.append(note_kept)

        def done(loaded: Loaded) -> str:
            job.sends = sent_lines(loaded.text, attached)  # it may have been adapted
            self.after_load(attached, loaded)
            return f"{loaded.words}. Next: run it ({way_to('run')})."

        def failed(error: BaseException) -> Callable[[], object] | None:
            self.desk.shelf.renew()
            return self._load_refused(attached, material, options, error)

        self.app.watch_job(job, done=done, failed=failed)

    def _load_refused(
        self,
        attached: AttachedBoard,
        material: Material,
        options: LoadOptions,
        error: BaseException,
    ) -> Callable[[], object] | None:
        """Return the question to ask if the user can lift the refusal of a load, or None."""
        from hostlink.app.screens.dialogues import ask, ask_to_overwrite
        from hostlink.board.dialogue.learning import BoardRewritesError
        from hostlink.jobs.language_of import LanguageError

        def again(**changes: Any) -> Callable[[], None]:
            changed = dataclasses.replace(options, **changes)
            return lambda: self.start_load(attached, material, changed)

        if isinstance(error, BoardRewritesError) and error.learned.explains_all:
            return partial(
                ask,
                self.app,
                error.learned.sentence,
                ("learn", "Accept these changes and load again", again(learn=_yes)),
                why=f"{capital(WHAT_LEARNING_DOES)}.",
            )
        if isinstance(error, LanguageError):
            answers = [("load", "Load it as it is", again(despite_review=True))]
            if error.offer is not None:
                shown = partial(self.desk.adapting.show_before, error.offer, material)
                answers.append(("adapt", "See it adapted", partial(shown, again(adapt=_yes))))
            return partial(ask, self.app, error.what, *answers, why=error.kept)
        if isinstance(error, NotKnownError):
            return partial(ask_to_overwrite, self.app, error, again(discard_board=True))
        return None

    def after_load(self, attached: AttachedBoard, loaded: Loaded) -> None:
        """Record what the board holds after a load."""
        self.sheets.note_kept(loaded.spec)
        self.desk.readings.note(
            attached,
            KnownContents(
                True,
                loaded.spec or (loaded.label if loaded.label.startswith("rescue@") else ""),
                loaded.report.lines,
                loaded.size,
                loaded.limit,
                False,
                self.app.now(),
            ),
        )
        self.desk.shelf.renew()

    def save(self) -> None:
        """Save what the current board holds, under the name that it was loaded by."""
        from hostlink.jobs.saving import SaveOptions

        attached = self._free_board()
        if attached is None:
            return
        # If lines were typed since, it is still that program.
        program, _, number = self.desk.states.held(attached.port).spec.rpartition("@")
        name = program if number and program != "rescue" else ""
        self.start_save(attached, SaveOptions(name=name))

    def start_save(self, attached: AttachedBoard, options: SaveOptions) -> None:
        """Save, and show the result in the editor if no unkept text is there."""
        from hostlink.jobs.saving import save

        job = attached.do(
            f"Saving from {self.desk.readings.name_of(attached)}",
            lambda session, archive: save(session, archive, options),
            then="save",
        )

        def done(saved: Saved) -> str:
            self.after_save(attached, saved)
            words = f"{saved.revision.spec} {saved.proof}"
            if not self.sheets.unkept:
                self.sheets.open_word(saved.revision.spec)
                return f"{words}. Next: change it in the editor."
            return f"{words}. Next: see what is new in it ({way_to('history')})."

        self.app.watch_job(
            job, done=done, failed=lambda error: self._save_refused(attached, options, error)
        )

    def after_save(self, attached: AttachedBoard, saved: Saved) -> None:
        """Record what the board holds after a save."""
        revision = saved.revision
        self.desk.readings.note(
            attached,
            KnownContents(
                True,
                revision.spec,
                revision.line_count,
                saved.content.size_bytes or 0,
                attached.choice.effective.rules.storage.room,
                False,
                self.app.now() if saved.doubt is None else None,
            ),
        )
        self.desk.shelf.renew()

    def _save_refused(
        self, attached: AttachedBoard, options: SaveOptions, error: BaseException
    ) -> Callable[[], object] | None:
        """Return the question to ask if a save needs a name or consent, or None."""
        from hostlink.app.screens.dialogues import AskText, ask

        if not isinstance(error, RefusedError):
            return None

        def named(name: str | None) -> None:
            if name:
                self.start_save(attached, dataclasses.replace(options, name=name))

        if error.needed is Needed.NAME:
            question = AskText(error.what, hint=ASKED_FOR_NAME)
            return lambda: self.app.push_screen(question, named)
        if error.needed is Needed.AFTER_RESTART:
            changed = dataclasses.replace(options, after_restart=True)
            save = partial(self.start_save, attached, changed)
            return partial(ask, self.app, error.what, ("save", "Save it anyway", save))
        return None

    # --- backing up -------------------------------------------------------------------------

    def backup(self) -> None:
        """Back up everything the current board holds."""
        from hostlink.jobs.backup import backup

        attached = self._free_board()
        if attached is None:
            return
        name = self.desk.readings.name_of(attached)
        job = attached.do(f"Backing up {name}", backup, then="back up", doing="is being backed up")

        def done(made: BackedUp) -> str:
            if self.desk.states.held(attached.port).changed:  # by lines that were typed
                self.desk.readings.look_again(attached, quietly=True)
            return _backed_up_words(made)

        self.app.watch_job(job, done=done)
