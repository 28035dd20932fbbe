"""The command restart: a deliberate restart of the board through its port."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.options import DISCARD_HELP, shared
from hostlink.cli.output import as_json, say
from hostlink.cli.stopping import ask_yes_no
from hostlink.errors import RefusedError
from hostlink.sentences import PORT_NOT_OPENED
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.jobs.session.rescuing import HeldProgram


@click.command()
@click.option("--discard-board", is_flag=True, help=DISCARD_HELP)
@shared(link=True, json=True)
def restart(common: CommonOptions, discard_board: bool) -> None:
    """Restart the board; what its memory holds is kept first.

    It asks first (--yes answers). Nothing is sent until the board's banner or prompt has
    come. --discard-board is for a board that no longer comes to its prompt.
    """
    from hostlink.cli.progress import Teller
    from hostlink.jobs.session.restarting import check_restartable
    from hostlink.jobs.session.restarting import restart as restart_job

    check_restartable(common.the_port())
    if not common.yes and not sys.stdin.isatty():
        raise RefusedError(
            "Restarting erases the program in memory, so it must be confirmed.",
            kept=PORT_NOT_OPENED,
            advice="Repeat with --yes.",
        )
    with common.archive() as archive, Teller(quiet=common.quiet) as teller:

        def consent(held: HeldProgram) -> bool:
            teller.close()
            kept = f" It is kept as {held.spec}." if held.spec else ""
            what = f"The program in its memory will be lost.{kept} Restart the board?"
            return common.yes or ask_yes_no(what)

        with common.session(archive, teller.emit) as session:
            done = restart_job(session, archive, consent=consent, discard_board=discard_board)
        teller.close()
    if common.json:
        lines = done.lines if done.at_prompt else None
        held = done.held.spec or None
        as_json({"board_held": held, "at_prompt": done.at_prompt, "lines": lines})
        return
    now = f"and holds {plural(done.lines, 'line')} now" if done.lines else "and is empty now"
    back = f" `hostlink load {done.held.spec}` puts its program back." if done.held.spec else ""
    say(
        f"The board has restarted{f' {now}' if done.at_prompt else ''}.{back}",
        quiet=common.quiet,
    )
