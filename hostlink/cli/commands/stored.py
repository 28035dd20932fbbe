"""The commands stored, store and recall: the programs in the board's EEPROM."""

from __future__ import annotations

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.options import shared
from hostlink.cli.output import as_json, say, table
from hostlink.errors import ExitStatus
from hostlink.words import plural


@click.command()
@shared(link=True, json=True)
def stored(common: CommonOptions) -> None:
    """List the programs in the board's EEPROM."""
    from hostlink.cli.progress import Teller
    from hostlink.jobs.stored_programs import stored_slots as stored_job

    with common.archive() as archive, Teller(quiet=common.quiet) as teller:
        with common.session(archive, teller.emit) as session:
            found = stored_job(session)
        teller.close()
    if common.json:
        as_json([{"name": slot.name, "row": slot.row} for slot in found])
        return
    if found:
        table(["stored", "the board says"], [[slot.name, slot.row] for slot in found])
    say(f"{plural(len(found), 'stored program')}.", quiet=common.quiet)


@click.command()
@click.argument("name")
@click.option("--discard-board", is_flag=True, help="Store even if what NAME holds is not known.")
@shared(link=True)
def store(common: CommonOptions, name: str, discard_board: bool) -> None:
    """Store the program in memory in the board's EEPROM.

    It is proven by recalling it. What NAME held before is kept in the archive first. EEPROM wears:
    store only what is finished.
    """
    from hostlink.cli.progress import Teller
    from hostlink.jobs.store_recall import store as store_job
    from hostlink.jobs.store_recall import stored_words

    with common.archive() as archive, Teller(quiet=common.quiet) as teller:
        with common.session(archive, teller.emit) as session:
            before = store_job(session, archive, name, discard_board=discard_board)
        teller.close()
    say(stored_words(name, before), quiet=common.quiet)


@click.command()
@click.argument("name")
@shared(link=True)
def recall(common: CommonOptions, name: str) -> int:
    """Bring a stored program back into the board's memory.

    What the memory holds is kept in the archive first.
    """
    from hostlink.cli.progress import Teller
    from hostlink.jobs.store_recall import recall as recall_job
    from hostlink.jobs.store_recall import recalled_words

    with common.archive() as archive, Teller(quiet=common.quiet) as teller:
        with common.session(archive, teller.emit) as session:
            held = recall_job(session, archive, name)
        teller.close()
    say(recalled_words(name, held), quiet=common.quiet and held.doubt is None)
    return ExitStatus.DONE if held.doubt is None else ExitStatus.READ_BACK_DIFFERS
