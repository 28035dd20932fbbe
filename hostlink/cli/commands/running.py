"""The command run: prints a program's output as it arrives and answers its questions.

On a terminal, the terminal itself edits and shows the typed line; the board's echo of it is not
shown a second time.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.input_lines import InputLines, input_lines
from hostlink.cli.options import NumberRange, shared
from hostlink.cli.output import as_json, data, say
from hostlink.cli.ways import COMMANDS
from hostlink.errors import HostlinkError, RefusedError, file_errors
from hostlink.words import plural, safe

if TYPE_CHECKING:
    from hostlink.jobs.events import Emit, Event
    from hostlink.jobs.run.running import Ran
    from hostlink.jobs.session.session import Session
    from hostlink.link.running import Answers

RUN_SECONDS = 60.0
_ASKING_SIGNS = ("?", ":")


@click.command()
@click.option(
    "--input",
    "input_path",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A file whose lines are typed when the program asks.",
)
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write what the program prints to a new file.",
)
@click.option(
    "--seconds",
    type=NumberRange(0.1, 86_400),
    default=RUN_SECONDS,
    show_default=True,
    metavar="SECONDS",
    help="Interrupt the program after this time, 0.1 to 86400 s; your time to answer is not "
    "counted.",
)
@shared(link=True, json=True)
def run(
    common: CommonOptions, input_path: Path | None, output: Path | None, seconds: float
) -> None:
    """Run the program in the board's memory.

    What it prints goes to stdout as it comes. When it asks, a line is typed to it: yours, one from
    a pipe, or one of --input. It fails where BASIC stops it with an error, or where it asks and the
    input is over. Ctrl+C interrupts the program; it stays in memory.
    """
    from hostlink.cli.progress import Teller
    from hostlink.jobs.run.answers import Given, read_answers

    from_file = input_path is not None and str(input_path) != "-"
    given = Given(read_answers(input_path)) if input_path and from_file else None
    if output is not None and output.exists():
        raise RefusedError(
            f"{output} exists already.", kept="Nothing was run.", advice="Name a new file."
        )
    teller = Teller(quiet=common.quiet)
    with common.archive() as archive, common.session(archive, teller.emit) as session:
        done = run_now(session, given or input_lines(), seconds, teller.emit, output, common.json)
    if common.json:
        as_json(done.as_dict())
    done.check()
    if given is not None and given.left:
        say(f"Not asked for: {plural(given.left, 'line')} of {input_path}.", quiet=common.quiet)
    if not "".join(done.rows).strip():
        say(
            "It printed nothing. If the board holds no program, `hostlink load WHAT` loads one.",
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
) -> Done:
    """Run the program, what it prints shown as it comes and, however it ends, kept in `output`.

    is_json: nothing is shown but, to a person who types, the questions.
    """
    from hostlink.jobs.run.running import run as run_job

    screen = Questions(tell, answers) if is_json else RunScreen(tell, answers)
    try:
        ran, error = run_job(session, answers, longest_s=seconds, emit=screen.emit), None
    except HostlinkError as failure:
        ran, error = None, failure
    finally:
        if output is not None and screen.rows:
            _write(output, screen.rows)
    if error is not None and output is not None and screen.rows:
        error = error.but(kept=f"{error.kept} What it printed is in {output}.".strip())
    return Done(screen.rows, ran, error)


class Questions:
    """Show nothing but the questions that a person has to answer, on stderr."""

    def __init__(self, tell: Emit, answers: Answers[str]) -> None:
        self.rows: list[str] = []
        self._tell = tell
        self._answers = answers

    def emit(self, event: Event) -> None:
        """Process an event of the run."""
        from hostlink.jobs.events import InputTyped, RowOpen, RowPrinted

        if isinstance(event, RowPrinted):
            self.rows.append(event.text)
            self._printed(event.text)
        elif isinstance(event, RowOpen):
            self._opened(event.text)
        elif isinstance(event, InputTyped):
            self._typed(event.text)
        else:
            self._tell(event)

    def _printed(self, text: str) -> None:
        """Handle the end of an output row."""

    def _opened(self, text: str) -> None:
        """Handle part of an output row."""
        if self._answers.live and text.rstrip().endswith(_ASKING_SIGNS):
            click.echo(safe(text), nl=False, err=True)

    def _typed(self, text: str) -> None:
        """Handle an answer that was typed to the board."""


class RunScreen(Questions):
    """Print a program's output on stdout, each part of a row as it arrives."""

    def __init__(self, tell: Emit, answers: Answers[str]) -> None:
        super().__init__(tell, answers)
        self._typist = answers if isinstance(answers, InputLines) and answers.live else None
        self._shown = ""  # of the row that has not ended
        self._began = time.monotonic()
        self._echo = ""  # what the person typed behind it, and so stands there already
        self._entered = False  # with the line end

    def _printed(self, text: str) -> None:
        rest = self._rest(text)
        if rest or not self._entered:
            data(rest)
        self._shown = self._echo = ""
        self._entered = False
        self._began = time.monotonic()

    def _opened(self, text: str) -> None:
        if rest := self._rest(text):
            click.echo(safe(rest), nl=False)
            self._shown, self._echo = text, ""
        if self._typist is not None and text.rstrip().endswith(_ASKING_SIGNS):
            self._typist.begin()

    def _typed(self, text: str) -> None:
        """Note that the terminal already shows the answer, if a person typed it on this row."""
        if self._typist is not None and self._typist.typed_at >= self._began:
            self._echo = text
            self._entered = True

    def _rest(self, text: str) -> str:
        """Return the part of a row not yet printed; a board may echo small letters as capitals."""
        new = text[len(self._shown) :]
        if self._echo.upper().startswith(new.upper()):
            return ""
        if new.upper().startswith(self._echo.upper()):
            return new[len(self._echo) :]
        return new


def _write(path: Path, rows: list[str]) -> None:
    with (
        file_errors(
            RefusedError,
            f"{path} cannot be written",
            kept="The program did run; what it printed stands above.",
            advice="Name another file or folder.",
        ),
        path.open("x", encoding="utf-8", newline="\n") as file,
    ):
        file.writelines(safe(row) + "\n" for row in rows)
