"""The command meet: from the USB bridge up to the program in memory, step by step."""

from __future__ import annotations

import dataclasses
import sys
from typing import TYPE_CHECKING

import click

from hostlink.advice import Advice, advice_text
from hostlink.cli.context import CommonOptions
from hostlink.cli.options import shared
from hostlink.cli.output import as_called, as_json, data
from hostlink.cli.stopping import ask_yes_no
from hostlink.cli.ways import IN_MEET, at_port
from hostlink.errors import LinkError

if TYPE_CHECKING:
    from hostlink.archive import Archive
    from hostlink.jobs.meeting.ladder import Climb
    from hostlink.jobs.meeting.seen import Seen


@click.command()
@shared(link=True, json=True, yes=True)
def meet(common: CommonOptions) -> int:
    """Find out how far a board answers, from its USB bridge to its program.

    Each step says what was seen; the first one that fails says the one thing to do. A board is
    restarted only with your consent, since that loses the program in its memory (--yes gives it).
    """
    from hostlink.jobs.meeting.rungs import COMPUTER_RUNGS, climb

    with common.archive() as archive:
        from hostlink.jobs.meeting.meeting import look_here
        from hostlink.link.opening import check_address

        port = common.port or (common.open_link.choice.port if common.open_link else "")
        check_address(port)
        seen = look_here(archive, port)
        if climb(seen, COMPUTER_RUNGS).broken is None:
            common.port = seen.port
            seen = _at_the_board(common, archive, seen)
    climbed = climb(seen)
    if common.json:
        as_json(_as_dict(seen, climbed))
    else:
        for row in climbed.rows(IN_MEET):
            data(as_called(at_port(row, seen.port)))
    return climbed.status


def _at_the_board(common: CommonOptions, archive: Archive, seen: Seen) -> Seen:
    """Open the port, with consent if that may restart the board, and meet the board.

    That consent holds for another restart only if the opening was heard to restart the board.
    """
    from hostlink.cli.firmware_teller import PageTeller
    from hostlink.jobs.meeting.meeting import meet_board
    from hostlink.jobs.session.opening import foresee_opening

    def may_restart(question: str) -> bool:
        teller.close()
        return common.yes or (sys.stdin.isatty() and ask_yes_no(question))

    with PageTeller(quiet=common.quiet) as teller:
        foresight = foresee_opening(common.link_choice(archive), archive)
        asked = common.open_link is None and foresight.restarts
        if asked and not may_restart(f"{foresight.warning(seen.port)} Open it?"):
            return dataclasses.replace(seen, kept_closed=True)
        common.may_restart = asked and not common.yes  # the user was warned above
        try:
            with common.session(archive, teller.emit) as session:
                restarts = session.restarts
                return meet_board(
                    session,
                    archive,
                    seen,
                    lambda question: (asked and restarts.seen > 0) or may_restart(question),
                )
        except LinkError as error:
            return dataclasses.replace(seen, opening=error)


def _advised(advice: Advice, seen: Seen) -> str:
    return at_port(advice_text(advice, IN_MEET), seen.port)


def _as_dict(seen: Seen, climbed: Climb) -> dict[str, object]:
    """Return the JSON for a meeting."""
    from hostlink.jobs.meeting.ladder import RungState

    boot, basic, contents = seen.bootloader, seen.basic, seen.contents
    broken = climbed.broken
    holds = {RungState.HOLDS: True, RungState.BROKEN: False}
    return {
        "port": seen.port or None,
        "label": seen.label or None,
        "role": seen.role or None,
        "steps": [
            {
                "step": step.rung.id,
                "question": step.rung.question,
                "holds": holds.get(step.finding.state),
                "seen": _advised(step.finding.says, seen),
            }
            for step in climbed.steps
        ],
        "ends_at": broken.rung.id if broken else None,
        "sentence": _advised(climbed.end, seen),
        "bootloader": None
        if boot is None
        else {
            "baud": boot.baud,
            "signature": boot.signature.hex(" "),
            "chip": boot.part_number,
            "blank": boot.is_blank if boot.flash is not None else None,
            "image": boot.image or None,
        },
        "kind": basic.kind or None if basic else None,
        "baud": basic.baud if basic else None,
        "memory": contents.spec or None if contents else None,
        "lines": contents.lines if contents else None,
        "bytes": contents.size if contents else None,
        "stored": list(contents.stored) if contents and contents.stored is not None else None,
    }
