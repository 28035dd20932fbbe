"""The commands programs and show, which only read the archive."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.archive.times import local_text
from hostlink.cli.context import CommonOptions
from hostlink.cli.damage import show_records, tell_damaged
from hostlink.cli.options import ONLY_TAGGED, output_option, shared
from hostlink.cli.output import as_json, listing_text, say, table
from hostlink.errors import ExitStatus, RefusedError, UsageError
from hostlink.words import plural

if TYPE_CHECKING:
    from datetime import datetime

    from hostlink.archive import Archive, Origin, Program, Rescue, Revision
    from hostlink.jobs.listing_source import Material


_MOST_AT_A_GLANCE = 100


@click.command()
@click.option("--retired", is_flag=True, help="List the retired programs instead.")
@ONLY_TAGGED
@click.option("--rescues", is_flag=True, help="List the rescues instead.")
@click.option("--shipped", is_flag=True, help="List the shipped example programs instead.")
@shared(json=True)
def programs(
    common: CommonOptions, retired: bool, tag: str | None, rescues: bool, shipped: bool
) -> int:
    """List the programs in the archive."""
    if shipped:
        _show_shipped(common, tag)
        return ExitStatus.DONE
    if rescues:
        return _show_rescues(common)
    from hostlink.archive.records import Listed

    found: Listed[Program] = Listed()
    others, path = 0, common.archive_file()
    if common.open_link is not None or path.exists():
        with common.programs() as archive:
            found = archive.programs(retired=retired, tag=tag)
            others = 0 if found else len(archive.programs(retired=None))
            path = archive.path
    counted = f"{_how_many(len(found), retired, tag)} in {path}.{_hint(found, others)}"
    numbers = ["revision", "bytes", "lines"]
    return show_records(common, found, _program_dict, _COLUMNS, counted, right=numbers)


def _how_many(count: int, retired: bool, tag: str | None) -> str:
    kind = "retired program" if retired else "program"
    return plural(count, kind) + (f" with the tag {tag}" if tag else "")


def _hint(found: list[Program], others: int) -> str:
    """Suggest what to do if the list is empty, or longer than a screen or two."""
    if found:
        few = len(found) <= _MOST_AT_A_GLANCE
        return "" if few else " `hostlink find WORDS` and --tag TAG list fewer."
    if others:
        return f" It holds {plural(others, 'program')} in all, with the retired ones."
    return " `hostlink load` and `hostlink save` put programs there."


_COLUMNS: dict[str, Callable[[Program], object]] = {
    "program": lambda each: each.name,
    "revision": lambda each: each.latest,
    "bytes": lambda each: size_words(each.size_bytes),
    "lines": lambda each: each.line_count,
    "kept": lambda each: _day(each.kept_at),
    "title": lambda each: each.title,
    "tags": lambda each: " ".join(each.tags),
}


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


def _show_rescues(common: CommonOptions) -> ExitStatus:
    with common.reading() as archive:
        found = archive.rescues()
    return show_records(
        common,
        found,
        item_dict,
        {
            "rescue": lambda each: each.spec,
            "bytes": lambda each: size_words(each.size_bytes),
            "lines": lambda each: each.line_count,
            "kept": lambda each: local_text(each.at),
            "from": lambda each: each.origin.where,
            "program": lambda each: each.program,
            "mark": _mark,
        },
        f"{plural(len(found), 'rescue')}.",
        right=["bytes", "lines"],
    )


def _mark(rescue: Rescue) -> str:
    """Return the doubts and the note that a user must see before relying on a rescue."""
    return ", ".join([*marks_of(rescue.origin), *filter(None, [rescue.origin.note])])


def _show_shipped(common: CommonOptions, tag: str | None) -> None:
    from hostlink.jobs.listing_source import shipped_programs

    found = {
        name: entry for name, entry in shipped_programs().items() if not tag or tag in entry.tags
    }
    if common.json:
        as_json(
            [
                {
                    "name": name,
                    "title": entry.title,
                    "notes": entry.notes,
                    "tags": entry.tags,
                    "runs_on": entry.runs_on,
                }
                for name, entry in found.items()
            ]
        )
        return
    table(
        ["program", "title", "tags", "runs on"],
        [
            [name, entry.title, " ".join(entry.tags), " ".join(entry.runs_on)]
            for name, entry in found.items()
        ],
    )
    say(
        f"{plural(len(found), 'shipped program')}. `hostlink load NAME` loads one.",
        quiet=common.quiet,
    )


def item_dict(item: Revision | Rescue) -> dict[str, object]:
    """Return the JSON for a revision or rescue."""
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
        "unproven": item.origin.unproven or None,
    }


def marks_of(origin: Origin) -> list[str]:
    """Return a few words for each doubt about a captured listing."""
    marks = ["after a restart"] if origin.after_restart else []
    return [*marks, *([f"not proven: {origin.unproven}"] if origin.unproven else [])]


def source_words(origin: Origin) -> str:
    """Describe where a listing came from, and each doubt about it."""
    marks = marks_of(origin)
    kind = "" if origin.kind == "rescue" else origin.kind
    return f"{kind} {origin.where}".strip() + (f" ({', '.join(marks)})" if marks else "")


@click.command()
@click.argument("what")
@output_option("Write it to a file, its bytes exactly as kept.")
@click.option(
    "--origins", is_flag=True, help="Say from which revision, day and board each line first came."
)
@shared(json=True, yes=True)
def show(common: CommonOptions, what: str, output: Path | None, *, origins: bool) -> int:
    """Print a listing.

    Control characters in it are shown as escapes; -o FILE writes its bytes exactly as kept.
    """
    from hostlink.cli.named_listing import material_in
    from hostlink.jobs.files import write_new

    if origins and output is not None:
        raise UsageError("Give either --origins or -o.")
    with material_in(common, what) as (material, archive):
        if origins:
            return _show_origins(common, material, archive)
    if output is not None:
        write_new(output, material.raw, replace=common.yes)
        say(f"{material.label} is written to {output}.", quiet=common.quiet)
    elif common.json:
        as_json(_shown_dict(material))
    else:
        listing_text(material.text)
    return ExitStatus.DONE


def _show_origins(common: CommonOptions, material: Material, archive: Archive | None) -> int:
    """Print each line of a revision after the revision, day and board that it first came from."""
    from hostlink.jobs.line_origins import line_origins

    if material.revision is None or archive is None:
        raise RefusedError(
            f"{material.label} has no revisions that show where its lines came from; only programs "
            "in the archive have them.",
            advice=lambda by: f"Keep it first {by.keep(material.word)}.",
        )
    found = line_origins(archive, material.revision)
    if common.json:
        as_json(
            [
                {"line": one.text, "revision": one.revision.spec,
                 "kept_at": one.revision.at.isoformat(), "board": one.board or None}
                for one in found
            ]
        )  # fmt: skip
    else:
        table(
            ["first in", "kept", "board", "line"],
            [(one.revision.spec, _day(one.revision.at), one.board, one.text) for one in found],
        )
    return tell_damaged(found.damaged)


def _shown_dict(material: Material) -> dict[str, object]:
    return {
        "listing": material.label,
        "name": material.name,
        "lines": len(material.listing.numbered()),
        "text": material.text,
        "from": material.origin.kind,
        "where": material.origin.where,
    }


def size_words(size: int | None) -> str:
    """Format a size in bytes; return "?" if it is unknown."""
    return "?" if size is None else f"{size:,}"


def _day(at: datetime) -> str:
    return local_text(at, "%Y-%m-%d")
