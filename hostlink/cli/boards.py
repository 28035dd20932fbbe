"""boards: what is plugged in, and the boards known by label."""

from __future__ import annotations

import click

from hostlink.cli.desk import Desk, shared
from hostlink.cli.output import as_json, plural, say, table


@click.command()
@click.option("--label", default=None, help="Label the board at --port (a colour, a name).")
@click.option("--all", "show_all", is_flag=True, help="Show ports without a USB bridge too.")
@shared(link=True, json=True)
def boards(desk: Desk, label: str | None, show_all: bool) -> None:
    """Show ports, their bridge chips, and boards known by label.

    A bridge without a serial number is recognised by the socket it is plugged into, not by itself.
    """
    from hostlink.board.ports import other_ports, usb_ports
    from hostlink.jobs.boards import known_boards, label_board

    with desk.archive() as archive:
        if label is not None:
            board = label_board(archive, desk.the_port(), label)
            say(f"The board at {desk.port} is {board.label}.", quiet=desk.quiet)
            return
        here = usb_ports() + (other_ports() if show_all else [])
        rows = known_boards(archive, here)
    if desk.json:
        as_json([row.as_dict() for row in rows])
        return
    if rows:
        table(
            ["board", "port", "bridge chip", "recognised by", "profile", "last known to hold"],
            [
                [
                    row.label or "-",
                    row.port or "not here",
                    row.chip,
                    row.recognised_by,
                    row.profile or "-",
                    row.holds or "-",
                ]
                for row in rows
            ],
        )
    say(
        f"{plural(len(here), 'port')} here, {plural(len(rows), 'row')} in all. "
        "`--port practice://` is always there.",
        quiet=desk.quiet,
    )
