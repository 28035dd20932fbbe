"""The command boards: ports that are plugged in, and boards known by label."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.damage import tell_damaged
from hostlink.cli.options import shared
from hostlink.cli.output import as_json, data, say, table
from hostlink.errors import ExitStatus
from hostlink.words import plural

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hostlink.jobs.boards import KnownBoard

_SHORT = {True: "restarts it", False: "leaves it", None: "not known"}


@click.command()
@click.option("--label", metavar="LABEL", help="Label the board at --port with a colour or a name.")
@click.option("--all", "show_all", is_flag=True, help="Show ports without a USB bridge too.")
@click.option("--details", is_flag=True, help="Show all that is known of each board.")
@shared(port=True, json=True)
def boards(common: CommonOptions, label: str | None, show_all: bool, details: bool) -> int:
    """Show ports, their bridge chips, and boards known by label.

    Each row says whether opening the port restarts the board and what the board was last known to
    hold; --details adds its driver and how it is recognised. No port is opened.
    """
    from hostlink.board.port.ports import hidden_bridges, other_ports, usb_ports
    from hostlink.jobs.boards import known_boards, label_board, without_port

    if label is not None:
        with common.archive() as archive:
            port = common.the_port()
            board, before = label_board(archive, port, label)
        was = f"; it was {before}" if before not in ("", board.label) else ""
        say(f"The board at {port} is {board.label or 'without a label'}{was}.", quiet=common.quiet)
        return ExitStatus.DONE
    with common.reading() as archive:
        here = usb_ports() + (other_ports() if show_all else [])
        rows = known_boards(archive, here)
        damaged = archive.boards().damaged
    if common.json:
        as_json([row.as_dict() for row in rows])
        return tell_damaged(damaged)
    if details:
        for row in rows:
            _show(row)
    elif rows:
        _table(rows)
    for sentence in without_port(hidden_bridges()):
        say(sentence, quiet=common.quiet)
    say(_counted(len(here), show_all=show_all), quiet=common.quiet)
    return tell_damaged(damaged)


def _counted(ports: int, *, show_all: bool) -> str:
    """Return a sentence on how many ports were found."""
    if show_all:
        return f"{plural(ports, 'port')} here."
    practice = "`--port practice://` is always there: software that acts as a board."
    if ports:
        return f"{plural(ports, 'port')} with a USB bridge here. {practice}"
    return (
        "No small board with a USB socket is plugged in, or this system has no driver for it: no "
        f"port with a USB bridge is here. {practice}"
    )


def _table(rows: Sequence[KnownBoard]) -> None:
    """Print one row per board and, below them, why a port cannot be opened."""
    table(
        ["board", "port", "bridge chip", "opening", "profile", "last held"],
        [
            [
                row.label or "without a label",
                row.port or "not plugged in",
                row.chip or "-",
                _SHORT[row.restarts_on_open],
                row.profile or "-",
                row.held_words or "not known",
            ]
            for row in rows
        ],
    )
    for row in rows:
        if row.access:
            say(f"{row.port}: {row.access}")


def _show(row: KnownBoard) -> None:
    """Print one board: its name and port, then its details."""
    data(f"{row.label or 'without a label'}, {row.port or 'not plugged in'}")
    shown = {
        "also at": ", ".join(row.also),
        "bridge chip": f"{row.chip} ({row.usb_id})" if row.usb_id else row.chip,
        "driver": row.driver if row.port else "",
        "access": row.access,
        "recognised by": row.recognised_by,
        "opening its port": row.opening_words,
        "profile": row.profile,
        "last held": row.held_words,
    }
    for head, value in shown.items():
        if value:
            data(f"  {head:<17} {value}")
