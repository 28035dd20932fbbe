"""Run the program on the board with its answers from a file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from hostlink.app.desk.part import DeskPart
from hostlink.app.sentences import PROGRAM_ENDED, RUN_PROGRAM
from hostlink.errors import HostlinkError, UsageError
from hostlink.sentences import printed_in
from hostlink.words import plural, safe

if TYPE_CHECKING:
    from hostlink.archive import Archive
    from hostlink.jobs.events import Event
    from hostlink.jobs.run.answers import Given
    from hostlink.jobs.run.running import Ran
    from hostlink.jobs.session.session import Session

_SECONDS = 60
_LONGEST_S = 86_400


class InputRun(DeskPart):
    """Does what the command `run --input` does, with the output in the console."""

    def ask(self) -> None:
        """Ask for the input file, the longest time and where the output goes, then run."""
        from hostlink.app.screens.filling import Fill

        if self.desk.readings.need() is None:
            return
        fields = [
            ("input", "input", ""),
            ("seconds", "seconds", str(_SECONDS)),
            ("output", "output", ""),
        ]
        self.app.push_screen(
            Fill(
                f"{RUN_PROGRAM} with its answers from a file.",
                fields,
                hint="Input: one answer a line. Seconds: when to interrupt the program. "
                "Output: a new file for what it prints; if empty, only shown here. Enter runs it.",
                path="input",
            ),
            self._answered,
        )

    def _answered(self, given: dict[str, str] | None) -> None:
        from hostlink.jobs.files import named_path
        from hostlink.jobs.run.answers import Given, read_answers
        from hostlink.jobs.run.output import need_new_file

        if given is None:
            return
        output = named_path(given["output"]) if given["output"] else None
        try:
            lines = read_answers(named_path(given["input"])) if given["input"] else []
            seconds = _seconds(given["seconds"])
            need_new_file(output)
        except HostlinkError as error:
            self.app.show_error(error)
            return
        self._run(Given(lines), seconds, output)

    def _run(self, answers: Given, seconds: float, output: Path | None) -> None:
        from hostlink.jobs.events import RowPrinted
        from hostlink.jobs.run.output import write_printed
        from hostlink.jobs.run.running import run

        attached = self.desk.readings.need()
        if attached is None:
            return
        printed: list[str] = []

        def work(session: Session, _: Archive) -> Ran:
            def emit(event: Event) -> None:
                if isinstance(event, RowPrinted):
                    printed.append(safe(event.text))
                    attached.rows.append((printed[-1], False))
                session.emit(event)

            try:
                ran = run(session, answers, longest_s=seconds, emit=emit)
            finally:
                if output is not None and printed:
                    write_printed(output, printed)
            ran.check()
            return ran

        def done(_: Ran) -> str:
            left = f" Not asked for: {plural(answers.left, 'answer')}." if answers.left else ""
            where = f" {printed_in(output)}" if output is not None and printed else ""
            return f"{PROGRAM_ENDED}, {plural(len(printed), 'row')} printed.{left}{where}"

        self.desk.show_band("console")
        self.desk.plotting.begin()
        self.app.watch_job(attached.do("Running the program with its answers", work), done=done)


def _seconds(text: str) -> float:
    try:
        seconds = float(text or _SECONDS)
    except ValueError:
        seconds = 0.0
    if not 0.1 <= seconds <= _LONGEST_S:
        raise UsageError(
            f'"{text}" is not a time from 0.1 to {_LONGEST_S} seconds.',
            kept="Nothing was run.",
            advice=f"Write a number such as {_SECONDS}.",
        )
    return seconds
