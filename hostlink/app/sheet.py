"""The listing in the editor: its origin, and whether it was changed since."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from hostlink.app.board_words import revision_words
from hostlink.app.sentences import STILL_IN_EDITOR
from hostlink.errors import RefusedError
from hostlink.sentences import UNNAMED_LISTING
from hostlink.words import split_rows

if TYPE_CHECKING:
    from hostlink.archive import Archive, Kept, Origin, Revision
    from hostlink.board.profile.model import Profile
    from hostlink.jobs.listing_source import Material


@dataclass(frozen=True, slots=True)
class Sheet:
    """The listing in the editor.

    material: where it came from, None for a new one. kept_text: the text that is kept elsewhere, ""
    for none. name: of its program, "" for none.
    """

    name: str = ""
    kept_text: str = ""
    material: Material | None = None

    @classmethod
    def of(cls, material: Material) -> Sheet:
        """Return the sheet for a listing that was just opened."""
        return cls(material.name, material.text, material)

    @property
    def revision(self) -> Revision | None:
        """Return the revision that it was made from, None if that is of another program."""
        revision = self.material.revision if self.material is not None else None
        return revision if revision is not None and revision.program == self.name else None

    def changed(self, text: str) -> bool:
        """Return whether the text differs from what is kept, so that changes could be lost."""
        return _rows(text) != _rows(self.kept_text)

    def title(self, text: str) -> str:
        """Return the title to show above the editor."""
        changed = self.changed(text)
        if self.material is not None and self.material.revision is not None:
            title = revision_words(self.material.revision.spec)
        elif self.material is not None:
            title = self.material.label
        else:
            return f"{self.name}, not kept yet" if self.name else "New listing, without a name"
        return f"{title}, changed since" if changed else title

    def as_material(self, text: str, profile: Profile) -> Material:
        """Return what to load or keep: the original revision if nothing was changed."""
        from hostlink.jobs.listing_source import Material
        from hostlink.listing import cannot_take, to_bytes

        if self.material is not None and not self.changed(text):
            return self.material
        charset = profile.rules.form.charset
        fits = not any(cannot_take(line, profile.rules.form) for line in _rows(text))
        if not fits:
            charset = "utf-8"  # the review names the characters; nothing of the text is lost
        raw = to_bytes(text, charset) if fits else text.encode("utf-8", "surrogatepass")
        made = Material(self.name, self.name or "The listing", text, raw, charset, self._origin())
        return made if self.material is None else replace(made, details=self.material.details)

    def _origin(self) -> Origin:
        from hostlink.archive.records import Origin

        where = self.material.label if self.material is not None else ""
        return Origin("edit", where)

    def keep(self, text: str, profile: Profile, archive: Archive) -> tuple[Sheet, Kept]:
        """Keep the text as the next revision; return its sheet and Kept. Raises HostlinkError."""
        from hostlink.jobs.keeping_made import keep_with_details
        from hostlink.jobs.listing_source import from_archive

        if not self.name:
            raise RefusedError(UNNAMED_LISTING, kept=STILL_IN_EDITOR)
        material = self.as_material(text, profile)
        content, parent = material.content(profile), self.revision
        kept = keep_with_details(archive, self.name, material, content, parent)
        made = from_archive(kept.revision.spec, archive)
        return Sheet(kept.revision.program, text, made), kept


def open_sheet(word: str, archive: Archive) -> Sheet:
    """Return the sheet for a program, a revision, a shipped program or a file."""
    from hostlink.jobs.listing_source import find_material

    return Sheet.of(find_material(word, archive))


def _rows(text: str) -> list[str]:
    return [row for row in split_rows(text) if row.strip()]
