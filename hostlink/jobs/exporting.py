"""Export the archive as a BagIt folder, and import a bag or another archive file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from hostlink.advice import Advice
from hostlink.archive import Archive
from hostlink.archive.exchange.bag_reading import open_bag
from hostlink.archive.exchange.bags import write_bag
from hostlink.archive.exchange.merged import Merged
from hostlink.archive.records import counted
from hostlink.archive.times import utc_text
from hostlink.errors import ArchiveError, file_errors
from hostlink.sentences import CHECK_FILE_OR_FOLDER
from hostlink.words import plural

_SQLITE = b"SQLite format 3\x00"
_KEPT = "Nothing was imported."
_MOST_NAMED = 12
"""Programs named in one sentence."""


def imported_words(source: Path, merged: Merged) -> str:
    """Return the sentence on what was imported."""
    return f"Imported from {source}: {_news(merged)}."


def preview_words(source: Path, merged: Merged) -> str:
    """Return the sentence on what an import would bring."""
    return f"{source} would bring {_news(merged)}."


def _news(merged: Merged) -> str:
    news = {table: count for table, count in merged.added.items() if table != "archives"}
    return counted(news) or ("repairs" if merged.healed else "nothing new")


def comparison_sentences(merged: Merged) -> list[str]:
    """Return a sentence each on the programs that are new, different and the same here.

    The number of revisions that the import brings stands in brackets after each program.
    """
    groups: dict[str, list[str]] = {"New here": [], "Different": [], "The same text": []}
    for one in merged.programs:
        is_other = one.other and not one.is_new
        group = "New here" if one.is_new else "Different" if is_other else "The same text"
        more = f", {one.other:,} with a listing not here" if is_other else ""
        brings = f" ({plural(one.new, 'revision')}{more})" if one.new or one.is_new else ""
        groups[group].append(f"{one.name}{brings}")
    return [f"{word}: {_named(names)}." for word, names in groups.items() if names]


def _named(names: Sequence[str]) -> str:
    more = len(names) - _MOST_NAMED
    return ", ".join(names[:_MOST_NAMED]) + (f" and {more:,} more" if more > 0 else "")


def change_words(merged: Merged) -> list[Advice]:
    """Return a sentence for each change that an import makes to what is here."""
    return [
        *(
            f"{name} is another program here, so the imported one is shown as {shown}."
            for name, shown in merged.renamed.items()
        ),
        *(
            "Two copies of one archive were both changed. Each imported revision, rescue, backup "
            f"or run whose number is taken here gets /{mark} after it, as in NAME@3/{mark}; the "
            "history of a program shows both."
            for mark in merged.copies
        ),
        *(_retired(name) for name in merged.retired),
        *(f"Repaired, because it was damaged here: {what}." for what in merged.healed),
    ]


def _retired(name: str) -> Advice:
    return lambda by: (
        f"{name} is retired there, so it is retired here too; undo that {by.bring_back(name)}."
    )


@dataclass(frozen=True, slots=True)
class Exported:
    """The result of an export. counts: records by kind. left_out: damaged records, in words.

    learners: the number of learners' programs that were withheld. naming: the number of other
    records withheld because they name one of those programs; events are not counted.
    """

    counts: dict[str, int]
    left_out: tuple[str, ...]
    learners: int = 0
    naming: int = 0

    @property
    def private_words(self) -> Advice:
        """Return the sentence on what was withheld to protect learners, "" if nothing."""
        if not (self.learners or self.naming):
            return ""
        also = f", and {plural(self.naming, 'record')} naming them" if self.naming else ""
        told = f"Learners' work is not in it: {plural(self.learners, 'program')}{also}."
        return lambda by: f"{told} To export it too, say so {by.export_learners}."

    def sentence(self, folder: Path) -> str:
        """Return the sentence on what the folder holds."""
        return (
            f"{folder} is a BagIt folder with {plural(self.counts['programs'], 'program')} and "
            f"{plural(self.counts['revisions'], 'revision')}, checked."
        )


def duplicated_words(target: Path, findings: Sequence[str]) -> str:
    """Return the sentence on a duplicate of the archive. findings: what is damaged in both."""
    if findings:
        return f"The archive is damaged; {target} is a copy of what could be read."
    return f"The archive is duplicated to {target}, whole and proven."


def export(
    archive: Archive,
    target: Path,
    *,
    programs: tuple[str, ...] = (),
    since: datetime | None = None,
    learners: bool = False,
) -> Exported:
    """Write all undamaged records to a new bag. Raises ArchiveError.

    learners: include learners' programs, which bear their names; those in `programs` are included
    in any case.
    """
    after = utc_text(since) if since else ""
    with archive.records(programs=programs, since=after, learners=learners) as records:
        counts = write_bag(records, target)
        stayed = 0 if programs else records.private
        return Exported(counts, tuple(records.left_out), stayed, records.withheld)


def preview(archive: Archive, source: Path) -> Merged:
    """Return what importing a bag or an archive file would do, without changing the archive.

    Raises ArchiveError if the import would be refused.
    """
    with archive.undoing():
        return import_from(archive, source)


def import_from(archive: Archive, source: Path) -> Merged:
    """Import a bag or an archive file.

    Raises ArchiveError if nothing was imported.
    """
    if (source / "bagit.txt").exists():
        with open_bag(source) as records:
            return archive.merge(records)
    if source.is_dir():
        what = "If it holds listings, keep them"
        found = f"{source} is a folder, but not in BagIt format"
        raise _refused(found, lambda by: f"{what} {by.keep(str(source))}.")
    if source.exists() and not source.is_file():
        advice = "Name a BagIt folder or an archive."
        raise _refused(f"{source} is neither a file nor a folder", advice)
    unread = f"{source} cannot be read"
    with (
        file_errors(ArchiveError, unread, kept=_KEPT, advice=CHECK_FILE_OR_FOLDER),
        source.open("rb") as file,
    ):
        begins = file.read(len(_SQLITE))
    if begins != _SQLITE:
        what = "If it is a listing, keep it"
        raise _refused(
            f"{source} is neither a BagIt folder nor an archive",
            lambda by: f"{what} {by.keep(str(source))}.",
        )
    return archive.merge_file(source)


def _refused(what: str, advice: Advice) -> ArchiveError:
    return ArchiveError(f"{what}.", kept=_KEPT, advice=advice)
