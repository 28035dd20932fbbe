"""boards: what is plugged in, and the boards known by label."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from hostlink.cli.desk import Desk, shared
from hostlink.cli.output import as_json, data, say
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.jobs.boards import KnownBoard

_RESTARTS = {
    True: "restarts it: what its memory holds is lost",
    False: "did not restart it when last tried",
    None: "not known yet whether that restarts it",
}


@click.command()
@click.option("--label", metavar="LABEL", help="Label the board at --port with a colour or a name.")
@click.option("--all", "show_all", is_flag=True, help="Show ports without a USB bridge too.")
@shared(port=True, json=True)
def boards(desk: Desk, label: str | None, show_all: bool) -> None:
    """Show ports, their bridge chips, and boards known by label.

    For each: how it is recognised, what drives it, whether opening its port restarts it, and what
    it was last known to hold. No port is opened.
    """
    from hostlink.board.ports import hidden_bridges, other_ports, usb_ports
    from hostlink.jobs.boards import known_boards, label_board, without_port

    with desk.archive() as archive:
        if label is not None:
            port = desk.the_port()
            board = label_board(archive, port, label)
            say(f"The board at {port} is {board.label or 'without a label'}.", quiet=desk.quiet)
            return
        here = usb_ports() + (other_ports() if show_all else [])
        rows = known_boards(archive, here)
    if desk.json:
        as_json([row.as_dict() for row in rows])
        return
    for row in rows:
        _show(row)
    for sentence in without_port(hidden_bridges()):
        say(sentence, quiet=desk.quiet)
    say(
        f"{plural(len(here), 'port')} with a USB bridge here. `--port practice://` is always there."
        if not show_all
        else f"{plural(len(here), 'port')} here.",
        quiet=desk.quiet,
    )


def _show(row: KnownBoard) -> None:
    """One board: its name and port, then what there is to know of it."""
    data(f"{row.label or 'without a label'}, {row.port or 'not plugged in'}")
    shown = {
        "also at": ", ".join(row.also),
        "bridge chip": f"{row.chip} ({row.usb_id})" if row.usb_id else row.chip,
        "driver": row.driver if row.port else "",
        "access": row.access,
        "recognised by": row.recognised_by,
        "opening its port": _RESTARTS[row.restarts_on_open],
        "profile": row.profile,
        "last held": row.held_words,
    }
    for head, value in shown.items():
        if value:
            data(f"  {head:<17} {value}")
