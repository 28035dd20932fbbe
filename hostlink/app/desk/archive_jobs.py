"""Work with the archive: tags and notes, export, import, duplicate, prove."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from hostlink.app.aside import aside
from hostlink.app.desk.part import DeskPart
from hostlink.app.sentences import WHICH_PROGRAMS
from hostlink.app.ways import in_keys
from hostlink.archive.times import DATES, days_of
from hostlink.errors import HostlinkError
from hostlink.words import fold

if TYPE_CHECKING:
    from hostlink.archive import ArchiveProof, Program
    from hostlink.archive.exchange.merged import Merged
    from hostlink.jobs.exporting import Exported


class ArchiveJobs(DeskPart):
    """Does what the commands `tag`, `note` and those of the group `archive` do."""

    def tags(self) -> None:
        """Ask for the tags and the note of the chosen program, and keep the changes."""
        from hostlink.app.screens.filling import Fill
        from hostlink.app.screens.offers import offer_tags

        name = self.chosen_program()
        if not name:
            return
        program = self.app.attempt(lambda: self.app.archive.program(name))
        offer = self.app.attempt(lambda: offer_tags(self.app.archive))
        if program is None or offer is None:
            return

        def answered(given: dict[str, str] | None) -> None:
            if given is not None:
                self.app.attempt(lambda: self._note_on(program, given))
                self.desk.shelf.renew()
                self.sheets.check()  # the note may silence a rule of the review

        self.app.push_screen(
            Fill(
                f"Tags of {name}, and a note on it.",
                [
                    ("tags", "tags", "".join(f"{tag} " for tag in program.tags)),
                    ("note", "note", _own_note(program)),
                ],
                hint="Tags are single words with blanks between them; searches find programs by "
                "them. Earlier notes stay in the archive. Enter keeps both.",
                offers={"tags": offer},
            ),
            answered,
        )

    def _note_on(self, program: Program, given: dict[str, str]) -> None:
        """Keep the tags and the note if they were changed."""
        from hostlink.listing.finding import silenced_in, with_silence

        archive, name = self.app.archive, program.name
        wanted = given["tags"].split()
        kept = {fold(tag) for tag in wanted}
        archive.tag(name, *wanted)
        archive.untag(name, *(tag for tag in program.tags if fold(tag) not in kept))
        if given["note"] != _own_note(program):
            note = given["note"]
            for rule in sorted(silenced_in(program.note)):
                note = with_silence(note, rule)
            archive.note(name, note)
        now = archive.program(name)
        tags = f"the tags {', '.join(now.tags)}" if now.tags else "no tags"
        self.app.tell(f"{name} has {tags}, and {'a' if _own_note(now) else 'no'} note.")

    def _show(self, words: str, more: Sequence[str] = ()) -> None:
        """Show the result of a job in a box. more: details, one a row."""
        from hostlink.app.screens.dialogues import ask

        self.app.tell(words)
        ask(self.app, words, leave="Close", why="\n".join(more))

    def _with_path(
        self, question: str, value: str, hint: str, work: Callable[[Path], object]
    ) -> None:
        """Ask for a file or folder, and do something with it."""
        from hostlink.app.screens.choosing import ChoosePath
        from hostlink.jobs.files import named_path

        def answered(name: str | None) -> None:
            if name:
                work(named_path(name))

        self.app.push_screen(ChoosePath(question, value, hint=hint), answered)

    def _day(self, suffix: str = "") -> str:
        return f"archive-{self.app.now().astimezone():%Y-%m-%d}{suffix}"

    # --- out of the archive ------------------------------------------------------------------

    def export(self) -> None:
        """Ask which programs to export and to which folder, and export them."""
        from hostlink.app.screens.filling import Fill
        from hostlink.app.screens.offers import offer_programs

        offer = self.app.attempt(lambda: offer_programs(self.app.archive))
        if offer is None:
            return
        fields = [
            ("folder", "to", self._day()),
            ("programs", "programs", ""),
            ("since", "since", ""),
        ]
        self.app.push_screen(
            Fill(
                "Export the archive as a BagIt folder (RFC 8493): listings as text, the rest as "
                "JSON, each file with its SHA-256.",
                fields,
                hint=f"{WHICH_PROGRAMS} Since: a date, {DATES}; none means from the start. "
                "Enter writes a new folder.",
                path="folder",
                offers={"programs": offer},
            ),
            self._export,
        )

    def _export(self, given: dict[str, str] | None) -> None:
        from hostlink.jobs.exporting import export
        from hostlink.jobs.files import named_path

        if given is None or not given["folder"]:
            return
        target = named_path(given["folder"])
        try:
            since = days_of(given["since"])[0] if given["since"] else None
        except HostlinkError as error:
            self.app.show_error(error)
            return
        programs = tuple(given["programs"].split())

        def done(exported: Exported) -> None:
            self._show(
                exported.sentence(target.absolute()),
                [
                    *([in_keys(exported.private_words)] if exported.private_words else ()),
                    *(f"Left out, because it is damaged: {what}" for what in exported.left_out),
                ],
            )

        aside(
            self.app,
            lambda: export(self.app.archive, target, programs=programs, since=since),
            done,
            doing=f"Exporting to {target.absolute()}...",
        )

    def duplicate(self) -> None:
        """Ask for a file name, and write a whole copy of the archive to it."""
        self._with_path(
            "Duplicate the archive to which new file?",
            self._day(".sqlite3"),
            "A whole copy, proven; a plain copy of a file in use can lack the latest revisions.",
            self._duplicate,
        )

    def _duplicate(self, target: Path) -> None:
        from hostlink.jobs.exporting import duplicated_words

        def done(findings: tuple[str, ...]) -> None:
            self._show(duplicated_words(target.absolute(), findings), findings)

        doing = f"Duplicating to {target.absolute()}..."
        aside(self.app, lambda: self.app.archive.duplicate(target), done, doing=doing)

    # --- into it -----------------------------------------------------------------------------

    def take_in(self) -> None:
        """Ask for a BagIt folder or another archive, and import it."""
        self._with_path(
            "Import which BagIt folder or archive file?",
            "",
            "What is already here stays as it is; importing twice changes nothing. You see what "
            "is new first.",
            self._preview,
        )

    def _preview(self, source: Path) -> None:
        """Show what an import would bring, and import it if the user agrees."""
        from hostlink.app.screens.dialogues import ask
        from hostlink.jobs.exporting import comparison_sentences, preview, preview_words

        def seen(merged: Merged) -> None:
            words = preview_words(source, merged)
            self.app.tell(words)
            take = ("import", "Import it", lambda: self._import(source))
            why = "\n".join([*comparison_sentences(merged), *_told(merged)])
            ask(self.app, words, *([take] if merged.anything else []), why=why)

        doing = f"Reading {source}..."
        aside(self.app, lambda: preview(self.app.archive, source), seen, doing=doing)

    def _import(self, source: Path) -> None:
        from hostlink.jobs.exporting import import_from, imported_words

        def done(merged: Merged) -> None:
            self.desk.shelf.renew()
            self.sheets.check()
            self.app.tell(imported_words(source, merged))

        doing = f"Importing {source}..."
        aside(self.app, lambda: import_from(self.app.archive, source), done, doing=doing)

    # --- its proof ---------------------------------------------------------------------------

    def prove(self) -> None:
        """Check the whole archive, show what is wrong, and offer to rebuild what can be."""
        aside(self.app, self.app.archive.prove, self._proven, doing="Checking the archive...")

    def _proven(self, proof: ArchiveProof) -> None:
        from hostlink.app.screens.dialogues import ask
        from hostlink.archive.database.database_errors import heals

        words = f"The archive {self.app.archive.path}: {proof.verdict}."
        more = [*proof.findings, *proof.skipped]
        if proof.lasting:
            more.append(in_keys(heals))
        more.append(f"Checked: {proof.checked or 'it is empty'}.")
        rebuild = ("rebuild", "Rebuild what can be rebuilt", self._rebuild)
        self.app.tell(words)
        answers = [rebuild] if proof.can_rebuild else []
        ask(self.app, words, *answers, leave="Close", why="\n".join(more))

    def _rebuild(self) -> None:
        """Rebuild everything that is derived from the stored data, then check again."""
        archive = self.app.archive

        def work() -> ArchiveProof:
            archive.rebuild()
            return archive.prove()

        aside(self.app, work, self._proven)


def _told(merged: Merged) -> list[str]:
    """Return what an import changes here, and what is left out of it."""
    from hostlink.jobs.exporting import change_words

    return [
        *(in_keys(each) for each in change_words(merged)),
        *(f"Left out, because it is damaged there: {what}" for what in merged.left_out),
    ]


def _own_note(program: Program) -> str:
    """Return a program's note in one line, without the rules of the review that it silences."""
    from hostlink.listing.finding import without_silence

    return " ".join(without_silence(program.note).split())
