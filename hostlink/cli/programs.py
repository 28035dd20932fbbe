"""programs, find, show, history, compare: reading the archive."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.desk import Desk, shared
from hostlink.cli.output import as_json, data, listing_text, plural, say, table

if TYPE_CHECKING:
    from datetime import datetime

    from hostlink.archive import Archive, Found, Program, Rescue, Revision
    from hostlink.jobs.material import Material
    from hostlink.listing import Comparison, Line


@click.command()
@click.option("--retired", is_flag=True, help="List the retired programs instead.")
@click.option("--tag", default=None, help="Only programs with this tag.")
@click.option("--rescues", is_flag=True, help="List the rescues instead.")
@click.option("--shipped", is_flag=True, help="List the shipped example programs instead.")
@shared(json=True)
def programs(desk: Desk, retired: bool, tag: str | None, rescues: bool, shipped: bool) -> None:
    """List the programs in the archive."""
    if shipped:
        _show_shipped(desk, tag)
        return
    with desk.archive() as archive:
        if rescues:
            _show_rescues(desk, archive.rescues())
            return
        found = archive.programs(retired=retired, tag=tag)
        path = archive.path
    if desk.json:
        as_json([_program_dict(program) for program in found])
        return
    if found:
        _program_table(found)
    where = f"{plural(len(found), 'program')} in {path}."
    hint = "" if found else " `hostlink load` and `hostlink save` put programs there."
    say(where + hint, quiet=desk.quiet)


def _program_table(found: list[Program]) -> None:
    table(
        ["program", "revision", "bytes", "lines", "kept", "title", "tags"],
        [
            [
                program.name,
                program.latest,
                _size(program.size_bytes),
                program.line_count,
                _day(program.kept_at),
                program.title,
                " ".join(program.tags),
            ]
            for program in found
        ],
        right="revision bytes lines",
    )


def _program_dict(program: Program) -> dict[str, object]:
    return {
        "name": program.name,
        "title": program.title,
        "tags": list(program.tags),
        "note": program.note,
        "revisions": program.revisions,
        "latest": program.latest,
        "size_bytes": program.size_bytes,
        "lines": program.line_count,
        "kept_at": program.kept_at.isoformat(),
        "retired": program.retired,
    }


def _show_rescues(desk: Desk, found: list[Rescue]) -> None:
    if desk.json:
        as_json([_item_dict(rescue) for rescue in found])
        return
    if found:
        table(
            ["rescue", "bytes", "lines", "kept", "from", "program"],
            [
                [
                    rescue.spec,
                    _size(rescue.size_bytes),
                    rescue.line_count,
                    _minute(rescue.at),
                    rescue.origin.where,
                    rescue.program,
                ]
                for rescue in found
            ],
            right="bytes lines",
        )
    say(f"{plural(len(found), 'rescue')}.", quiet=desk.quiet)


def _show_shipped(desk: Desk, tag: str | None) -> None:
    from hostlink.jobs.material import shipped_programs

    found = {
        name: entry for name, entry in shipped_programs().items() if not tag or tag in entry.tags
    }
    if desk.json:
        as_json(
            [
                {"name": name, "title": entry.title, "notes": entry.notes, "tags": entry.tags}
                for name, entry in found.items()
            ]
        )
        return
    table(
        ["program", "title", "tags"],
        [[name, entry.title, " ".join(entry.tags)] for name, entry in found.items()],
    )
    say(
        f"{plural(len(found), 'shipped program')}. `hostlink load NAME` loads one.",
        quiet=desk.quiet,
    )


@click.command()
@click.argument("words", nargs=-1, required=True)
@click.option("--tag", default=None, help="Only programs with this tag.")
@click.option(
    "--limit",
    type=click.IntRange(1, 10_000),
    default=50,
    show_default=True,
    help="At most so many results.",
)
@shared(json=True)
def find(desk: Desk, words: tuple[str, ...], tag: str | None, limit: int) -> None:
    """Search names, titles, notes, tags and the lines of listings.

    All WORDS must occur. `find GOSUB 900` finds lines written as GOSUB900 too.
    """
    with desk.archive() as archive:
        found = archive.find(" ".join(words), tag=tag, limit=limit)
    if desk.json:
        as_json([_found_dict(each) for each in found])
        return
    if found:
        table(
            ["found", "bytes", "line", "title"],
            [
                [
                    each.item.spec,
                    _size(each.item.size_bytes),
                    each.line,
                    each.program.title if each.program else "",
                ]
                for each in found
            ],
            right="bytes",
        )
    say(f"{plural(len(found), 'result')}.", quiet=desk.quiet)


def _found_dict(found: Found) -> dict[str, object]:
    return {
        **_item_dict(found.item),
        "line": found.line,
        "title": found.program.title if found.program else "",
    }


def _item_dict(item: Revision | Rescue) -> dict[str, object]:
    return {
        "spec": item.spec,
        "program": item.program,
        "number": item.number,
        "size_bytes": item.size_bytes,
        "lines": item.line_count,
        "kept_at": item.at.isoformat(),
        "from": item.origin.kind,
        "where": item.origin.where,
        "profile": item.profile,
        "sha256": item.sha256,
        "captures": item.origin.captures,
        "after_restart": item.origin.after_restart,
    }


@click.command()
@click.argument("what")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write the listing to a file, its bytes exactly as kept.",
)
@shared(json=True, yes=True)
def show(desk: Desk, what: str, output: Path | None) -> None:
    """Print a listing."""
    from hostlink.cli.listings import material_for, write_new

    material = material_for(desk, what)
    if output is not None:
        write_new(output, material.text, replace=desk.yes)
        say(f"{material.label} is written to {output}.", quiet=desk.quiet)
    elif desk.json:
        as_json({"listing": material.label, "name": material.name, "text": material.text})
    else:
        listing_text(material.text)


@click.command()
@click.argument("program")
@shared(json=True)
def history(desk: Desk, program: str) -> None:
    """Show the revisions of a program: size, source, and what changed from one to the next."""
    with desk.archive() as archive:
        revisions = archive.history(program)
        changes = _changes(archive, revisions)
    if desk.json:
        as_json(
            [
                {
                    **_item_dict(revision),
                    "note": revision.note,
                    "parent": revision.parent or None,
                    "changes": change,
                }
                for revision, change in zip(revisions, changes, strict=True)
            ]
        )
        return
    table(
        ["revision", "kept", "bytes", "lines", "change", "from", "note"],
        [
            [
                revision.spec,
                _minute(revision.at),
                _size(revision.size_bytes),
                revision.line_count,
                _change_text(change),
                _source(revision),
                revision.note,
            ]
            for revision, change in zip(revisions, changes, strict=True)
        ],
        right="bytes lines",
    )


def _changes(archive: Archive, revisions: list[Revision]) -> list[dict[str, int] | None]:
    """For each revision how many lines were added, removed and changed since the one before."""
    from hostlink.listing import Listing
    from hostlink.listing import compare as compare_listings

    listings = {
        revision.number: Listing.from_text(archive.content(revision).text) for revision in revisions
    }
    changes: list[dict[str, int] | None] = []
    for revision in revisions:
        before = listings.get(revision.number - 1)
        if before is None:
            changes.append(None)
            continue
        differs = compare_listings(before, listings[revision.number])
        changes.append(
            {
                "added": len(differs.added),
                "removed": len(differs.removed),
                "changed": len(differs.changed),
            }
        )
    return changes


def _change_text(change: dict[str, int] | None) -> str:
    if change is None:
        return "first"
    parts = [f"{count} {word}" for word, count in change.items() if count]
    return ", ".join(parts) or "spacing only"


def _source(revision: Revision) -> str:
    origin = revision.origin
    mark = " (after a restart)" if origin.after_restart else ""
    return f"{origin.kind} {origin.where}".strip() + mark


@click.command()
@click.argument("a")
@click.argument("b")
@click.option("--unified", "as_unified", is_flag=True, help="Print a plain unified diff.")
@click.option(
    "--exact",
    is_flag=True,
    help="Count differences in spacing and case that the board would rewrite.",
)
@shared(profile=True, json=True)
def compare(desk: Desk, a: str, b: str, as_unified: bool, exact: bool) -> int:
    """Compare two listings line by line. Exit status 1 where they differ."""
    from hostlink.cli.listings import material_for
    from hostlink.errors import ExitStatus
    from hostlink.listing import compare as compare_listings
    from hostlink.listing import unified

    old, new = material_for(desk, a), material_for(desk, b)
    rules = None if exact else desk.the_profile().rules
    differs = compare_listings(old.listing, new.listing, rules)
    if as_unified:
        listing_text(unified(old.listing, new.listing, old.label, new.label))
    elif desk.json:
        as_json(_comparison_dict(old, new, differs))
    else:
        _show_comparison(differs)
    counts = (
        f"{len(differs.added)} added, {len(differs.removed)} removed, "
        f"{len(differs.changed)} changed, {differs.same_count} the same."
    )
    say(f"{old.label} to {new.label}: {counts}", quiet=desk.quiet or as_unified)
    return ExitStatus.DONE if differs.equal else ExitStatus.REFUSED


def _show_comparison(differs: Comparison) -> None:
    """Each differing line in the order of its number; changed characters marked below."""
    rows: list[tuple[int, str]] = []
    for word, lines in (("added", differs.added), ("removed", differs.removed)):
        rows += [(_order(line), f"{word:<8}  {line.typed}") for line in lines]
    for change in differs.changed:
        marks_old = _marks(
            len(change.old.typed), [(s.old_start, s.old_end) for s in change.stretches]
        )
        marks_new = _marks(
            len(change.new.typed), [(s.new_start, s.new_end) for s in change.stretches]
        )
        text = f"changed   {change.old.typed}"
        if marks_old:
            text += f"\n          {marks_old}"
        text += f"\n     to   {change.new.typed}"
        if marks_new:
            text += f"\n          {marks_new}"
        rows.append((_order(change.old), text))
    for _, text in sorted(rows, key=lambda row: row[0]):
        for part in text.split("\n"):
            data(part)


def _order(line: Line) -> int:
    return line.number if line.number is not None else 1 << 31


def _marks(length: int, places: list[tuple[int, int]]) -> str:
    marks = [" "] * length
    for start, end in places:
        marks[start:end] = "^" * (end - start)
    return "".join(marks).rstrip()


def _comparison_dict(old: Material, new: Material, differs: Comparison) -> dict[str, object]:
    return {
        "a": old.label,
        "b": new.label,
        "equal": differs.equal,
        "same_lines": differs.same_count,
        "added": [line.typed for line in differs.added],
        "removed": [line.typed for line in differs.removed],
        "changed": [
            {
                "number": change.old.number,
                "a": change.old.typed,
                "b": change.new.typed,
                "stretches": [
                    [s.old_start, s.old_end, s.new_start, s.new_end] for s in change.stretches
                ],
            }
            for change in differs.changed
        ],
    }


def _size(size: int | None) -> str:
    return "?" if size is None else f"{size:,}"


def _day(at: datetime) -> str:
    return at.astimezone().strftime("%Y-%m-%d")


def _minute(at: datetime) -> str:
    return at.astimezone().strftime("%Y-%m-%d %H:%M")
