"""What the desk does with the current board: each a job of hostlink.jobs, shown while it works."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from hostlink.app.held_desk import HeldDesk
from hostlink.app.texts import Held
from hostlink.errors import Needed, NotKnownError, RefusedError
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.app.work import Attached, Job
    from hostlink.board.learning import Learned
    from hostlink.jobs.loading import Loaded, LoadOptions
    from hostlink.jobs.material import Material
    from hostlink.jobs.saving import Saved, SaveOptions


def _yes(learned: Learned) -> bool:  # noqa: ARG001 - the question's form
    return True


class BoardDesk(HeldDesk):
    """Loading and saving: the part of the desk that moves programs."""

    # --- loading and saving ------------------------------------------------------------------

    def action_load(self) -> None:
        from hostlink.jobs.fitness import check_loadable
        from hostlink.jobs.loading import LoadOptions

        attached = self.need_board()
        if attached is None:
            return
        if not self.sheet.name and self.editor.text.strip():
            self.ask_name(self.action_load)
            return
        material = self.sheet.as_material(self.editor.text, self.app.profile)
        try:
            check_loadable(material, self.app.profile, despite_review=False)
        except RefusedError as error:
            self._ask_despite(attached, material, error)
            return
        self.start_load(attached, material, LoadOptions())

    def _ask_despite(self, attached: Attached, material: Material, error: RefusedError) -> None:
        from hostlink.app.dialogues import Ask
        from hostlink.jobs.loading import LoadOptions

        if not material.listing.numbered():
            self.app.trouble(error)
            return
        found = self.checked.errors[0] if self.checked.errors else None

        def answered(answer: str | None) -> None:
            if answer == "load":
                self.start_load(attached, material, LoadOptions(despite_review=True))
            elif found is not None and found.line_at:
                self.editor.move_cursor((found.line_at - 1, 0))
                self.editor.focus()

        self.app.push_screen(
            Ask(
                error.what,
                [("look", "Look at it"), ("load", "Load all the same")],
                why="Nothing was sent yet. The review's words stand beside each line.",
            ),
            answered,
        )

    def load_word(self, attached: Attached, word: str) -> None:
        """Load a program or revision of the archive, whatever lies in the editor."""
        from hostlink.jobs.loading import LoadOptions
        from hostlink.jobs.material import find_material

        material = self.app.careful(lambda: find_material(word, self.app.archive))
        if material is not None:
            self.start_load(attached, material, LoadOptions(despite_review=True))

    def start_load(self, attached: Attached, material: Material, options: LoadOptions) -> None:
        from hostlink.board.dialogue import pacing_of
        from hostlink.jobs.loading import expected_seconds, load

        text = material.text

        pacing = pacing_of(attached.choice.effective)
        seconds = max(1, round(expected_seconds(material, pacing)))
        job: Job[Loaded] = attached.do(
            f"Loading {material.label} into {self.board_name(attached)}: about {seconds:,} s",
            lambda session, archive: load(session, archive, material, options),
        )

        def done(loaded: Loaded) -> str:
            self.after_load(attached, loaded, text)
            room = f" of {loaded.limit:,}" if loaded.limit else ""
            return (
                f"{loaded.spec or loaded.label} is on the board, proven: "
                f"{plural(loaded.report.lines, 'line')}, {loaded.size:,}{room} bytes, "
                f"{plural(loaded.report.repairs, 'repair')}."
            )

        def failed(error: BaseException) -> Callable[[], object] | None:
            self.unknown_now(attached)
            self.shelf.renew()
            return self._load_refused(attached, material, options, error)

        self.app.watch_job(job, done=done, failed=failed)

    def _load_refused(
        self, attached: Attached, material: Material, options: LoadOptions, error: BaseException
    ) -> Callable[[], object] | None:
        """A load that needs a word from the user asks for it."""
        from hostlink.app.dialogues import Ask
        from hostlink.board.learning import BoardRewritesError

        def again(**changes: Any) -> None:
            self.start_load(attached, material, dataclasses.replace(options, **changes))

        if isinstance(error, BoardRewritesError) and error.learned.explains_all:
            question = Ask(
                error.learned.sentence,
                [("leave", "Leave it"), ("learn", "That is how it is: load again")],
                why="It goes into the profile of this board, and the load is proven by it.",
            )
            return lambda: self.app.push_screen(
                question, lambda answer: again(learn=_yes) if answer == "learn" else None
            )
        if isinstance(error, NotKnownError):
            question = Ask(
                error.what,
                [("leave", "Leave the board as it is"), ("load", "Overwrite it all the same")],
                why=f"{error.kept} What cannot be read cannot be kept: overwriting loses it.",
            )
            return lambda: self.app.push_screen(
                question, lambda answer: again(discard_board=True) if answer == "load" else None
            )
        return None

    def after_load(self, attached: Attached, loaded: Loaded, text: str) -> None:
        if loaded.spec:
            item = self.app.archive.revision(loaded.spec)
            program = item.program
            if program == self.sheet.name and self.editor.text == text:
                self.sheet = self.sheet.kept_as(item, text, self.app.archive)  # type: ignore[arg-type]
        self.note_held(
            attached,
            Held(
                True,
                loaded.spec or (loaded.label if loaded.label.startswith("rescue@") else ""),
                loaded.report.lines,
                loaded.size,
                loaded.limit,
                False,
                self.app.now(),
            ),
        )
        self.shelf.renew()

    def action_save(self) -> None:
        from hostlink.jobs.saving import SaveOptions

        attached = self.need_board()
        if attached is None:
            return
        # Where lines were typed since, it is still that program.
        program, _, number = self.held.get(attached.port, Held()).spec.rpartition("@")
        name = program if number and program != "rescue" else ""
        self.start_save(attached, SaveOptions(name=name))

    def start_save(self, attached: Attached, options: SaveOptions) -> None:
        from hostlink.jobs.saving import save

        job = attached.do(
            f"Saving from {self.board_name(attached)}",
            lambda session, archive: save(session, archive, options),
        )

        def done(saved: Saved) -> str:
            revision = saved.revision
            limit = self.app.profile.rules.storage.program_bytes
            self.note_held(
                attached,
                Held(
                    True,
                    revision.spec,
                    revision.line_count,
                    revision.size_bytes or 0,
                    limit,
                    False,
                    revision.at,
                ),
            )
            self.shelf.renew()
            words = f"{revision.spec} {saved.proof}"
            if not self.unkept:
                self.open_word(revision.spec)
                return f"{words}; it lies in the editor."
            return f"{words}; the editor was left as it is."

        self.app.watch_job(
            job, done=done, failed=lambda error: self._save_refused(attached, options, error)
        )

    def _save_refused(
        self, attached: Attached, options: SaveOptions, error: BaseException
    ) -> Callable[[], object] | None:
        """A save that needs a name or consent asks for it."""
        from hostlink.app.dialogues import Ask, AskText

        if not isinstance(error, RefusedError):
            return None

        def named(name: str | None) -> None:
            if name:
                self.start_save(attached, dataclasses.replace(options, name=name))

        def answered(answer: str | None) -> None:
            if answer == "save":
                self.start_save(attached, dataclasses.replace(options, after_restart=True))

        if error.needed is Needed.NAME:
            ask: Any = AskText(error.what, hint="What is the program called?")
            return lambda: self.app.push_screen(ask, named)
        if error.needed is Needed.AFTER_RESTART:
            answers = [("leave", "Leave it"), ("save", "Save it all the same")]
            return lambda: self.app.push_screen(Ask(error.what, answers), answered)
        return None
