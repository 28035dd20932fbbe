"""What the desk does with the current board: each a job of hostlink.jobs, shown while it works."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from textual.content import Content
from textual.widgets import Static

from hostlink.app.console import Transcript
from hostlink.app.sheet_desk import SheetDesk
from hostlink.app.texts import Held, board_sentence, capital, plain, plural
from hostlink.errors import LinkError, LinkReason, RefusedError

if TYPE_CHECKING:
    from hostlink.app.work import Attached, Job
    from hostlink.archive import Archive
    from hostlink.jobs.loading import Loaded, LoadOptions
    from hostlink.jobs.looking import Looked
    from hostlink.jobs.saving import Saved, SaveOptions
    from hostlink.jobs.session import Session

NO_BOARD = "No board is attached. Alt+B shows the boards that are here"


class BoardDesk(SheetDesk):
    """Loading, saving, looking, running: the half of the desk that needs a board."""

    def __init__(self) -> None:
        super().__init__()
        self.held: dict[str, Held] = {}

    # --- the sentence ------------------------------------------------------------------------

    def board_name(self, attached: Attached) -> str:
        """The label of a board, or what else it is called."""
        from hostlink.board.ports import identity_of
        from hostlink.jobs.attaching import known_board

        board = known_board(self.app.archive, identity_of(attached.port))
        if board is not None and board.label:
            return board.label
        if attached.port.startswith("practice:"):
            return "the practice board"
        return f"the board at {attached.port}"

    def board_changed(self) -> None:
        """Another board is current, or it holds something else: say so, and review for it."""
        current = self.app.current
        sentence = NO_BOARD
        if current is not None:
            held = self.held.get(current.port, Held())
            sentence = board_sentence(self.board_name(current), held)
            others = len(self.app.attached) - 1
            if others:
                sentence += f" ({plural(others, 'other board')} attached)"
            width = current.choice.profile.rules.form.screen_width
            self.query_one(Transcript).board_width = width
        self.query_one("#board", Static).update(Content(plain(sentence) + "."))
        self.check()

    def need_board(self) -> Attached | None:
        """The current board; without one that is said."""
        if self.app.current is None:
            self.app.trouble(
                RefusedError(
                    "No board is attached.",
                    kept="Nothing was sent.",
                    advice="Alt+B shows the boards that are here; the practice board always is.",
                )
            )
        return self.app.current

    # --- looking -----------------------------------------------------------------------------

    def look_again(self) -> None:
        """Read what the current board holds, without a view of its own."""
        from hostlink.jobs.looking import look

        current = self.app.current
        if current is None:
            return
        job = current.do("Looking at the board", look, shown=False)

        def done(looked: Looked) -> str:
            self.took_look(current, looked)
            return self._look_words(current, looked)

        self.app.watch_job(job, done=done, failed=lambda error: self._look_failed(current, error))

    def took_look(self, attached: Attached, looked: Looked) -> None:
        size = (looked.content.size_bytes or 0) if looked.content is not None else 0
        self.held[attached.port] = Held(
            True, looked.spec, looked.lines, size, looked.limit, looked.changed, looked.proven_at
        )
        self.board_changed()

    def _look_words(self, attached: Attached, looked: Looked) -> str:
        name = self.board_name(attached)
        if looked.lines or not looked.lost:
            return f"{capital(name)} is attached; Ctrl+L loads the listing into it."
        self.offer_reload(attached, looked.lost)
        return f"{capital(name)} is empty; its last known program is kept as {looked.lost}."

    def _look_failed(self, attached: Attached, error: BaseException) -> Callable[[], object] | None:
        """A program that runs may be stopped with consent; what cannot be opened is let go."""
        if isinstance(error, LinkError) and error.reason is LinkReason.RUNNING:
            return partial(self.ask_to_stop, attached, error)
        if attached.trouble is not None:
            self.app.attached.pop(attached.port, None)
            if self.app.current is attached:
                self.app.current = None
            self.board_changed()
        return None

    def ask_to_stop(self, attached: Attached, error: LinkError) -> None:
        from hostlink.app.dialogues import Ask
        from hostlink.jobs.looking import look

        def answered(answer: str | None) -> None:
            if answer != "stop":
                return

            def consent(session: Session, archive: Archive) -> Looked:
                session.choice = dataclasses.replace(session.choice, stop_running=True)
                return look(session, archive)

            def done(looked: Looked) -> str:
                self.took_look(attached, looked)
                return "The program was stopped."

            job = attached.do("Stopping the program", consent, shown=False)
            self.app.watch_job(job, done=done)

        self.app.push_screen(
            Ask(
                error.what,
                [("leave", "Leave it running"), ("stop", "Stop it")],
                why="It was left as it is. Stopping may lose its variables; the program stays.",
            ),
            answered,
        )

    def offer_reload(self, attached: Attached, spec: str) -> None:
        """An empty board that held something: offer to put it back."""
        from hostlink.app.dialogues import Ask

        def answered(answer: str | None) -> None:
            if answer == "reload":
                self.load_word(attached, spec)

        name = capital(self.board_name(attached))
        self.app.push_screen(
            Ask(
                f"{name} is empty, though it was last known to hold {spec}.",
                [("leave", "Leave it empty"), ("reload", f"Load {spec} again")],
                why="It restarted or lost its supply since, or was cleared at its keyboard.",
            ),
            answered,
        )

    def action_look(self) -> None:
        if self.need_board() is not None:
            self.look_again()

    # --- loading and saving ------------------------------------------------------------------

    def action_load(self) -> None:
        from hostlink.jobs.loading import LoadOptions, check_loadable

        attached = self.need_board()
        if attached is None:
            return
        if not self.sheet.name and self.editor.text.strip():
            self.ask_name(self.action_load)
            return
        material = self.sheet.as_material(self.editor.text, self.app.profile)
        try:
            check_loadable(material, self.app.profile, LoadOptions())
        except RefusedError as error:
            self._ask_despite(attached, material, error)
            return
        self.start_load(attached, material, LoadOptions())

    def _ask_despite(self, attached: Attached, material: Any, error: RefusedError) -> None:
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

    def start_load(self, attached: Attached, material: Any, options: LoadOptions) -> None:
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

        def failed(_: BaseException) -> None:
            self.held.pop(attached.port, None)
            self.board_changed()
            self.shelf.renew()

        self.app.watch_job(job, done=done, failed=failed)

    def after_load(self, attached: Attached, loaded: Loaded, text: str) -> None:
        if loaded.spec:
            item = self.app.archive.revision(loaded.spec)
            program = item.program
            if program == self.sheet.name and self.editor.text == text:
                self.sheet = self.sheet.kept_as(item, text, self.app.archive)  # type: ignore[arg-type]
        self.held[attached.port] = Held(
            True,
            loaded.spec,
            loaded.report.lines,
            loaded.size,
            loaded.limit,
            False,
            self.app.now(),
        )
        self.shelf.renew()
        self.board_changed()

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
            self.held[attached.port] = Held(
                True,
                revision.spec,
                revision.line_count,
                revision.size_bytes or 0,
                limit,
                False,
                revision.at,
            )
            self.shelf.renew()
            self.board_changed()
            words = f"{revision.spec} is proven by {plural(saved.captures, 'capture')}"
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

        if "no name" in error.what:
            ask: Any = AskText(error.what, hint="What is the program called?")
            return lambda: self.app.push_screen(ask, named)
        if "restarted since" in error.what:
            answers = [("leave", "Leave it"), ("save", "Save it all the same")]
            return lambda: self.app.push_screen(Ask(error.what, answers), answered)
        return None
