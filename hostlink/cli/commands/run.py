"""The command run: prints a program's output as it arrives and answers its questions."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.input_lines import input_lines
from hostlink.cli.options import ANSWERS, NumberRange, output_option, shared
from hostlink.cli.output import as_json, say
from hostlink.cli.run_screens import QuestionScreen, RunScreen
from hostlink.cli.ways import COMMANDS
from hostlink.errors import HostlinkError
from hostlink.sentences import printed_in
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.jobs.events import Emit
    from hostlink.jobs.run.running import Ran
    from hostlink.jobs.session.session import Session
    from hostlink.link.running import Answers

RUN_SECONDS = 60.0


@click.command()
@ANSWERS
@output_option("Write what the program prints to a new file.")
@click.option(
    "--seconds",
    type=NumberRange(0.1, 86_400),
    default=RUN_SECONDS,
    show_default=True,
    metavar="SECONDS",
    help="Interrupt the program after this time, 0.1 to 86400 s; your time to answer is not "
    "counted.",
)
@click.option(
    "--plot",
    is_flag=True,
    help="Draw the numbers that it prints, as they come; then the pins of a practice board.",
)
@shared(link=True, json=True)
def run(
    common: CommonOptions,
    input_path: Path | None,
    output: Path | None,
    seconds: float,
    plot: bool,
) -> None:
    """Run the program in the board's memory.

    What it prints goes to stdout as it comes. When it asks, a line is typed to it: yours, one from
    a pipe, or one of --input. It fails if it does not run to its end: on a BASIC error, on a
    question when no input is left, or after --seconds. Ctrl+C interrupts the program; it stays in
    memory. The archive keeps what was printed and typed: see `hostlink runs`.
    """
    from hostlink.cli.progress import Teller
    from hostlink.jobs.run.answers import Given, read_answers
    from hostlink.jobs.run.output import need_new_file

    given = Given(read_answers(input_path)) if input_path and str(input_path) != "-" else None
    need_new_file(output)
    teller = Teller(quiet=common.quiet)
    with common.archive() as archive, common.session(archive, teller.emit) as session:
        answers, screen = given or input_lines(), None
        if plot and not common.json:
            from hostlink.cli.plot_screen import PlotScreen

            screen = PlotScreen(teller.emit, answers)
        done = run_now(session, answers, seconds, teller.emit, output, common.json, screen)
        if screen is not None:
            screen.draw_pins(session)
    if common.json:
        as_json(done.as_dict())
    done.check()
    if given is not None and given.left:
        say(f"Not asked for: {plural(given.left, 'answer')}.", quiet=common.quiet)
    if not "".join(done.rows).strip():
        say(
            "It printed nothing. To load a program: `hostlink load WHAT`.",
            quiet=common.quiet,
        )


@dataclass(frozen=True, slots=True)
class Done:
    """How a run ended. rows: the printed output. error: what ended it, or None."""

    rows: list[str]
    ran: Ran | None
    error: HostlinkError | None

    def as_dict(self) -> dict[str, object]:
        """Return the JSON for the run."""
        fault = self.ran.fault if self.ran is not None else None
        return {
            "run": (self.ran.spec if self.ran is not None else "") or None,
            "output": "\n".join(self.rows),
            "ended": self.ran is not None,
            "fault": fault
            and {
                "message": fault.message,
                "line": fault.number,
                "text": self.ran.line if self.ran else "",
            },
            "error": self.error.words(COMMANDS) if self.error is not None else None,
        }

    def check(self) -> None:
        """Raise the error that the run failed with, if any."""
        if self.error is not None:
            raise self.error
        if self.ran is not None:
            self.ran.check()


def run_now(
    session: Session,
    answers: Answers[str],
    seconds: float,
    tell: Emit,
    output: Path | None = None,
    is_json: bool = False,
    screen: QuestionScreen | None = None,
) -> Done:
    """Run the program and show what it prints; write that to `output`, however the run ends.

    is_json: show nothing but the questions, and those only to a person who types. screen: shows
    what is printed in another way.
    """
    from hostlink.jobs.run.output import write_printed
    from hostlink.jobs.run.running import run as run_job

    screen = screen or (QuestionScreen if is_json else RunScreen)(tell, answers)
    try:
        ran, error = run_job(session, answers, longest_s=seconds, emit=screen.emit), None
    except HostlinkError as failure:
        ran, error = None, failure
    finally:
        screen.close()
        if output is not None and screen.rows:
            write_printed(output, screen.rows)
    if error is not None and output is not None and screen.rows:
        error = error.but(kept=f"{error.kept} {printed_in(output)}".strip())
    return Done(screen.rows, ran, error)
