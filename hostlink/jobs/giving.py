"""Writing many listings to a folder or to one zip file, to give them to others."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from hostlink.advice import Advice, advice_text
from hostlink.archive import Archive
from hostlink.archive.names import file_name, is_program_name
from hostlink.archive.records import LEARNER
from hostlink.errors import ArchiveError, HostlinkError, ListingError, RefusedError, UsageError
from hostlink.jobs.collecting import Gathered, check_keepable
from hostlink.jobs.files import TakenError, folder_errors, is_there, write_new
from hostlink.jobs.listing_source import Material, from_archive, from_bytes, is_file, program_name
from hostlink.listing.bundle import MOST_BYTES, MOST_MEMBERS, Member, write_zip
from hostlink.words import plural, safe

_MOST_FOUND = 10_000
_NOT_PRIVATE = " that is not a learner's"


def chosen_programs(archive: Archive, tag: str | None = None, question: str = "") -> Gathered:
    """Return the latest revision of programs that are not retired; leave out damaged ones.

    tag: only those with it. question: only those that a search for it finds. Learners' work, which
    bears their names, is passed over. Raises RefusedError if tag or question is given and nothing
    matches; ArchiveError.
    """
    listed = archive.programs(tag=tag)
    left_out: list[tuple[str, Advice]] = [("The archive", each) for each in listed.damaged]
    programs = list(listed)
    if question:
        found = archive.find(question, tag=tag, limit=_MOST_FOUND)
        left_out += [("The archive", each) for each in found.damaged if each not in listed.damaged]
        matching = {each.program.name for each in found if each.program is not None}
        programs = [program for program in programs if program.name in matching]
    private = {each.name for each in programs if LEARNER in each.tags}
    names = [program.name for program in programs if program.name not in private]
    if not names and (question or tag is not None):
        asked = f'with "{safe(question)}"' if question else ""
        tagged = f"with the tag {safe(tag)}" if tag is not None else ""
        raise RefusedError(
            f"The archive holds no program {' and '.join(filter(None, (tagged, asked)))}"
            f"{_NOT_PRIVATE if private else ''}.",
            kept="Nothing was written.",
            advice=passed_over_words(len(private)),
        )
    materials: list[Material] = []
    for name in names:
        try:
            materials.append(from_archive(name, archive))
        except ArchiveError as error:
            left_out.append((name, error.what))
    return Gathered(tuple(materials), tuple(left_out), tuple(private))


def named_listings(names: Sequence[str], find: Callable[[str], Material]) -> Gathered:
    """Return the listings that are named, each once; leave out files that hold none.

    find: returns what a name stands for. Raises its errors if a name stands for nothing, or if no
    listing is left.
    """
    found: dict[str, Material] = {}
    left_out: list[tuple[str, Advice]] = []
    for name in names:
        try:
            material = find(name)
        except ListingError as error:
            if not is_file(Path(name)) or (name == names[-1] and not found):
                raise
            left_out.append((name, error.what))
        else:
            found[material.label] = material
    return Gathered(tuple(found.values()), tuple(left_out), ())


def passed_over_words(count: int) -> str:
    """Return the sentence on learners' programs that were passed over, "" if count is 0."""
    if not count:
        return ""
    programs = plural(count, "program")
    return f"Passed over: {programs} with a learner's name. Name a program to give it out too."


def give_out(
    materials: Sequence[Material], output: Path, *, replace: bool
) -> tuple[tuple[str, Advice], ...]:
    """Write listings to a folder, or to one zip file if `output` has that suffix.

    Listings that `keep` would not accept are left out; return their sources and the reasons. Raises
    TakenError if a file exists and may not be replaced; UsageError if two listings belong to one
    program; RefusedError if there are no listings or too many, or if nothing can be written.
    """
    members, left_out = _members(materials)
    if not members:
        why = f" {advice_text(left_out[0][1])}" if left_out else ""
        what = f"There is no listing to give out.{why}"
        if not materials:
            what = "The archive holds no program."
        raise RefusedError(what, kept="Nothing was written.")
    is_bundle = output.suffix.lower() == ".zip"
    size = sum(len(member.data) for member in members) if is_bundle else 0
    if len(members) > MOST_MEMBERS or size > MOST_BYTES:
        what, most = f"{len(members):,} listings", f"{MOST_MEMBERS:,}"
        if len(members) <= MOST_MEMBERS:
            what, most = f"Listings of {size:,} bytes", f"{MOST_BYTES:,}"
        raise RefusedError(
            f"{what} are more than {most}, the most that can be kept at once.",
            kept="Nothing was written.",
            advice=lambda by: f"Name some of the programs, or export the archive {by.export}.",
        )
    if is_bundle:
        write_new(output, write_zip(members), replace=replace)
    else:
        into_folder(output, members, replace=replace)
    return tuple(left_out)


def _members(materials: Sequence[Material]) -> tuple[list[Member], list[tuple[str, Advice]]]:
    """Return the files to write, named so that `keep` knows the programs, and those left out."""
    members: list[Member] = []
    left_out: list[tuple[str, Advice]] = []
    programs: set[str] = set()
    taken: set[str] = set()
    for material in materials:
        if not material.name or material.name.casefold() in programs:
            raise UsageError(
                f"{material.label} has no name of its own for a file.",
                kept="Nothing was written.",
                advice="Name each program once.",
            )
        programs.add(material.name.casefold())
        data = material.listing.text().encode("utf-8")
        try:
            stem = file_stem(material.name, taken)
            back = from_bytes(data, material.label, name=program_name(stem), charset="utf-8")
            check_keepable(back, None)
        except HostlinkError as error:
            left_out.append((material.label, error.what))
        else:
            members.append(Member(f"{stem}.bas", data))
    return members, left_out


def file_stem(name: str, taken: set[str]) -> str:
    """Return a file stem for a program that is unique in a set, also as a program name.

    taken: the program names made of the stems in the set so far; this one is added.
    """
    plain = file_name(name.lower())
    plain = plain if is_program_name(program_name(plain)) else "program"
    stem, turn = plain, 1
    while program_name(stem) in taken:
        turn += 1
        stem = f"{plain}-{turn}"
    taken.add(program_name(stem))
    return stem


def into_folder(folder: Path, files: Sequence[Member], *, replace: bool) -> None:
    """Write files to a folder; write none if one exists and may not be replaced.

    The name of a file may begin with an inner folder.
    """
    with folder_errors(folder, "made"):
        for inner in {(folder / member.name).parent for member in files}:
            inner.mkdir(parents=True, exist_ok=True)
    there = [member.name for member in files if is_there(folder / member.name)]
    if there and not replace:
        raise TakenError(
            f"{folder} has {there[0]} already.",
            kept="Nothing was written.",
            advice=lambda by: f"Name another folder, or let them be replaced {by.replace}.",
        )
    for member in files:
        write_new(folder / member.name, member.data, replace=True)
