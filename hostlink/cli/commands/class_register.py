"""The command class: hand out to every learner's board, collect from it, and show the table."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hostlink.archive.times import utc_now
from hostlink.cli.context import CommonOptions
from hostlink.cli.options import STOP_RUNNING, NumberRange, shared
from hostlink.cli.output import as_json, say, table
from hostlink.cli.port_choice import names_no_board, resolved_ports
from hostlink.cli.stopping import stoppable
from hostlink.cli.ways import IN_CLASS, in_commands
from hostlink.errors import ExitStatus, UsageError
from hostlink.jobs.files import TakenError

if TYPE_CHECKING:
    from hostlink.archive import Archive
    from hostlink.jobs.class_register.class_table import ClassRow
    from hostlink.jobs.class_register.evening import SeatJob
    from hostlink.jobs.class_register.register import Register
    from hostlink.jobs.many import Result
    from hostlink.jobs.session.link_choice import LinkChoice

_REPLACE_ALONE = (
    "Name another file, or repeat with --yes but without --collect and --hand-out: "
    "with those, --yes would also agree to adapt, and to save what may be another learner's."
)
"""Advice for a file that already exists after boards were served: --yes would answer more."""


@click.command("class")
@click.argument("register", type=click.Path(path_type=Path))
@click.option("--collect", is_flag=True, help="Save each learner's program from their board.")
@click.option("--hand-out", is_flag=True, help="Load each learner's handout into their board.")
@click.option(
    "--what", metavar="WHAT", default="", help="Hand this out instead of what the register says."
)
@click.option("--own", is_flag=True, help="Hand out each learner's own program, if there is one.")
@click.option(
    "--wait",
    "minutes",
    type=NumberRange(0.01, 1440),
    metavar="MINUTES",
    help="Wait this long, and serve each board that comes late; Ctrl+C ends the wait.",
)
@click.option(
    "--adapt", "adapt_it", is_flag=True, help="Rewrite a handout for boards that need it."
)
@STOP_RUNNING
@click.option(
    "--page", type=click.Path(path_type=Path), metavar="FILE", help="Write the table as a page."
)
@click.option(
    "--folders",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Write a folder for each learner: listing, sheet, history.",
)
@shared(profile=True, json=True, yes=True)
def class_command(
    common: CommonOptions, register: Path, page: Path | None, folders: Path | None, **asked: Any
) -> int:
    """Show a class: who has which board, what was handed out, and what became of it.

    REGISTER is a TOML file with a [[learner]] table for each: `name` and `board`, and `hand_out`
    for one or for all. Without --collect and --hand-out no port is opened. Each learner's work is
    kept in a program of their name, whatever board it was typed on; an unchanged handout is noted,
    and not kept again.
    """
    from hostlink.jobs.class_register.register import check_programs, read_register
    from hostlink.jobs.class_register.take_home import write_class_page, write_folders

    wish = _Wish(**asked)
    wish.check()
    read = read_register(register)
    # A class of practice boards alone uses their archive; a mistyped label decides nothing.
    boards = [each.board for each in read.learners if each.board]
    ports = [port for board in boards for port in resolved_ports(common, (board,))]
    common.ports = tuple(port for port in ports if not names_no_board(common, port))
    with common.archive() if wish.changes else common.reading() as archive:
        check_programs(archive, read)
        evening, status = _Evening(common, read, archive), ExitStatus.DONE
        for job in evening.jobs(wish):
            status = max(status, evening.do(job, wish.minutes))
        rows = evening.show()
        try:
            if page is not None:
                told = write_class_page(page, read, rows, utc_now(), replace=common.yes)
                say(told, quiet=common.quiet)
            if folders is not None:
                say(write_folders(folders, archive, rows, replace=common.yes))
        except TakenError as error:
            if not wish.changes:
                raise
            raise error.but(advice=_REPLACE_ALONE) from error
    return status


@dataclass(frozen=True)
class _Wish:
    """What is asked for. minutes: how long to wait for boards that come late, None for no wait."""

    collect: bool
    hand_out: bool
    what: str
    own: bool
    minutes: float | None
    adapt_it: bool

    @property
    def changes(self) -> bool:
        """Return whether a board or the archive may change."""
        return self.collect or self.hand_out

    def check(self) -> None:
        """Raise UsageError for options that contradict each other."""
        if (self.what or self.own or self.adapt_it) and not self.hand_out:
            raise UsageError("--what, --own and --adapt need --hand-out.")
        if self.what and self.own:
            raise UsageError("--what hands out one program, --own each learner's: choose one.")
        if self.minutes is not None and self.collect == self.hand_out:
            raise UsageError("--wait needs either --collect or --hand-out.")


@dataclass
class _Evening:
    """One command's work for a class. results: of the last job, by learner's name."""

    common: CommonOptions
    register: Register
    archive: Archive
    results: dict[str, Result[Any]] = field(default_factory=dict)

    def jobs(self, wish: _Wish) -> Iterator[SeatJob[Any]]:
        """Yield the jobs in the order in which they are done."""
        from hostlink.jobs.class_register.evening import collecting, handing_out
        from hostlink.jobs.loading import LoadOptions

        if wish.collect:
            yield collecting(consent=self.common.yes)
        if wish.hand_out:
            options = LoadOptions(adapt=lambda _: wish.adapt_it or self.common.yes)
            seats = self.register, self.archive
            yield handing_out(*seats, what=wish.what, own=wish.own, options=options)

    def do(self, job: SeatJob[Any], minutes: float | None) -> ExitStatus:
        """Do a job at each seat; say for whom it was not done; return the status."""
        from hostlink.cli.commands.many import Tellers
        from hostlink.jobs.class_register.evening import at_each_seat, not_served
        from hostlink.jobs.class_register.seats import seats_of, unknown_words
        from hostlink.jobs.many import worst_status

        common, seats = self.common, (self.register, self.archive)

        def choose(port: str) -> LinkChoice:
            return dataclasses.replace(common, port=port, ports=()).link_choice(self.archive)

        end = None if minutes is None else time.monotonic() + 60 * minutes
        is_over = None if end is None else lambda: time.monotonic() > end
        with stoppable() as stopped, Tellers(common.quiet) as tell:
            self.results = at_each_seat(
                *seats, job, choose, tell.emit, stopped, tell.result, is_over=is_over
            )
        missing = not_served(self.register, self.results)
        if missing:
            named = ", ".join(f"{learner.name} ({learner.board})" for learner in missing)
            say(f"Not plugged in, so nothing was done for: {named}.", quiet=common.quiet)
            if unknown := unknown_words(seats_of(*seats)):
                advice = in_commands(lambda by: f"List the known boards {by.ports}.")
                say(f"{unknown} {advice}", quiet=common.quiet)
        status = worst_status(list(self.results.values()))
        return max(status, ExitStatus.REFUSED if missing else ExitStatus.DONE)

    def show(self) -> list[ClassRow]:
        """Print the table, then what was kept and what to do for each failure; return the rows."""
        from hostlink.cli.commands.many import failure_dict
        from hostlink.jobs.class_register.class_table import HEADS, class_table, summary

        rows, title = class_table(self.register, self.archive), self.register.title
        failed = {
            name: (each.error, each.port) for name, each in self.results.items() if each.error
        }
        if self.common.json:
            told = {name: failure_dict(error, IN_CLASS) for name, (error, _) in failed.items()}
            learners = [{**row.as_dict(), "failed": told.get(row.name)} for row in rows]
            as_json({"title": title, "learners": learners})
        else:
            table(HEADS, [row.cells() for row in rows], right=("changed",))
            for name, (error, port) in failed.items():
                advice = in_commands(error.advice, port, IN_CLASS)
                say(f"{name}: {' '.join(filter(None, (error.kept, advice)))}")
        say(f"{title}: {summary(rows)}", quiet=self.common.quiet)
        return rows
