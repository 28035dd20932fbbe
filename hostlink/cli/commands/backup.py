"""The commands backup and putback: everything a board holds, into the archive and back."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING

import click

from hostlink.archive.times import local_text
from hostlink.cli.context import CommonOptions
from hostlink.cli.damage import show_records
from hostlink.cli.names import GIVEN_PORT
from hostlink.cli.options import DISCARD_HELP, NOTE_HELP, shared
from hostlink.cli.output import as_json, say, table
from hostlink.cli.stopping import stoppable
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.archive import Backup
    from hostlink.jobs.backup import BackedUp
    from hostlink.jobs.many import Result
    from hostlink.jobs.session.session import Session


@click.command()
@click.option("--note", default="", help=NOTE_HELP)
@click.option("--list", "list_them", is_flag=True, help="List the backups in the archive instead.")
@shared(link=True, many=True, json=True)
def backup(common: CommonOptions, note: str, list_them: bool) -> int | None:
    """Keep all that the board holds: memory and every stored program.

    A stored program is read by recalling it; what was in memory is kept first and put back last,
    both proven. If one cannot be read, the rest is kept and the exit status is 1. With several
    boards, each backup's note begins with its board's name and the day.
    """
    if list_them:
        return _list(common)
    if common.many:
        return _back_up_many(common, note)
    from hostlink.cli.job_json import proof_dict
    from hostlink.cli.progress import Teller
    from hostlink.cli.ways import at_port
    from hostlink.jobs.backup import backup as backup_job

    with common.archive() as archive, Teller(quiet=common.quiet) as teller:
        with common.session(archive, teller.emit) as session:
            made = backup_job(session, archive, note=note)
        teller.close()
    if common.json:
        as_json({**_as_dict(made.backup), "unread": made.unread, **proof_dict(made.doubt)})
        return made.status
    kept = made.backup
    items = ", ".join(f"{item.name} ({item.content.size_bytes} bytes)" for item in kept.items)
    say(f"{kept.spec} {made.proof}: {items}.", quiet=common.quiet and made.doubt is None)
    for name, why in made.unread.items():
        say(f"Not in it: {name}. {why}")
    port = click.get_current_context().meta.get(GIVEN_PORT, "")
    say(at_port(f"`hostlink putback {kept.spec}` puts it back.", port), quiet=common.quiet)
    return made.status


def _back_up_many(common: CommonOptions, note: str) -> int:
    """Back up every chosen board, with its name and the date as note; return the worst status."""
    from hostlink.cli.commands.many import Tellers
    from hostlink.jobs.backup import backup as backup_job
    from hostlink.jobs.many import dated_name, on_each, worst_status

    today = date.today()
    with common.archive() as archive:

        def task(name: str, session: Session) -> BackedUp:
            named = dated_name(name, today)
            return backup_job(session, archive, note=f"{named} {note}".strip())

        choices = common.choices(archive)
        with stoppable() as stopped, Tellers(common.quiet) as tell:
            results = on_each(choices, archive, task, tell.emit, stopped, tell.result)
    if common.json:
        as_json([_result_dict(each) for each in results])
    else:
        table(["board", "backup", "items"], [_result_row(each) for each in results])
    return worst_status(results)


def _result_dict(result: Result[BackedUp]) -> dict[str, object]:
    """Return the JSON for one board's backup when several boards are backed up."""
    from hostlink.cli.job_json import proof_dict

    made = result.value
    return {
        **(_as_dict(made.backup) if made else {}),
        "unread": made.unread if made else {},
        **(proof_dict(made.doubt) if made else {}),
        "board": result.board,
        "port": result.port,
        "status": int(result.status),
        "error": result.error.what if result.error else None,
    }


def _result_row(result: Result[BackedUp]) -> list[str]:
    made = result.value
    if made is None:
        return [result.board, "-", result.error.what if result.error else ""]
    return [result.board, made.backup.spec, _items_words(made)]


def _items_words(made: BackedUp) -> str:
    """Describe what is in a backup and what could not be read."""
    names = ", ".join(item.marked_name for item in made.backup.items)
    return f"{names}; not {', '.join(made.unread)}" if made.unread else names


def _list(common: CommonOptions) -> int:
    with common.reading() as archive:
        found = archive.backups()
    counted = f"{plural(len(found), 'backup')}."
    return show_records(common, found, _as_dict, _COLUMNS, counted, right=["free bytes"])


_COLUMNS: dict[str, Callable[[Backup], object]] = {
    "backup": lambda each: each.spec,
    "made": lambda each: local_text(each.at),
    "board": lambda each: each.board or each.where,
    "items": lambda each: ", ".join(item.marked_name for item in each.items),
    "free bytes": lambda each: "-" if each.free_bytes is None else each.free_bytes,
    "banner": lambda each: each.banner or "-",
    "note": lambda each: each.note or "-",
}


def _as_dict(kept: Backup) -> dict[str, object]:
    return {
        "backup": kept.spec,
        "made_at": kept.at.isoformat(),
        "board": kept.board or None,
        "port": kept.where,
        "profile": kept.profile,
        "banner": kept.banner or None,
        "free_bytes": kept.free_bytes,
        "after_restart": kept.after_restart,
        "note": kept.note,
        "items": [
            {
                "name": item.name,
                "kind": item.kind,
                "size_bytes": item.content.size_bytes,
                "captures": item.captures,
                "unproven": item.unproven or None,
                "sha256": item.content.sha256,
            }
            for item in kept.items
        ],
    }


@click.command()
@click.argument("backup_spec", metavar="BACKUP")
@click.option(
    "--item",
    "items",
    metavar="NAME",
    multiple=True,
    help="Only this item: memory, or a stored program's name (may be repeated).",
)
@click.option("--discard-board", is_flag=True, help=DISCARD_HELP)
@shared(link=True, json=True)
def putback(
    common: CommonOptions, backup_spec: str, items: tuple[str, ...], discard_board: bool
) -> None:
    """Put a backup back on a board, proven.

    A backup holds the memory and the stored programs. What will not fit on this board is
    reported before anything is sent. Stored programs that would not change are left alone, since
    each store wears the EEPROM a little.
    """
    from hostlink.cli.progress import Teller
    from hostlink.jobs.putback import putback as putback_job

    with common.archive() as archive, Teller(quiet=common.quiet) as teller:
        kept = archive.backup(backup_spec)
        with common.session(archive, teller.emit) as session:
            done = putback_job(session, archive, kept, items, discard_board=discard_board)
        teller.close()
    if common.json:
        as_json(
            {
                "backup": done.spec,
                "proven": True,
                "memory": done.memory,
                "stored": list(done.stored),
                "unchanged": list(done.unchanged),
                "unproven": done.unproven,
            }
        )
        return
    for sentence in done.sentences:
        say(sentence, quiet=common.quiet and not done.unproven)
