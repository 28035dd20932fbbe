"""Loading and saving on several boards: a line of progress for each, one summary and status."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from hostlink.board.dialogue.events import Captured, LineRepaired, LineSent, Phase, Warned
from hostlink.cli.context import CommonOptions
from hostlink.cli.output import as_json, is_terminal, say, table
from hostlink.cli.stopping import stoppable
from hostlink.cli.ways import COMMANDS, in_commands
from hostlink.jobs.event_words import event_words
from hostlink.jobs.events import AlreadyKept, Rescued
from hostlink.words import plural, sent_again

if TYPE_CHECKING:
    from hostlink.advice import Ways
    from hostlink.archive import Archive
    from hostlink.cli.live import LiveLines
    from hostlink.errors import HostlinkError
    from hostlink.jobs.events import Event
    from hostlink.jobs.listing_source import Material
    from hostlink.jobs.loading import Loaded, LoadOptions
    from hostlink.jobs.many import Result
    from hostlink.jobs.saving import Saved, SaveOptions


def load_many(
    common: CommonOptions, archive: Archive, material: Material, options: LoadOptions
) -> int:
    """Load into every chosen board; return the worst exit status."""
    from hostlink.cli.job_json import loaded_dict
    from hostlink.jobs.many import load_on_each

    choices = common.choices(archive)
    with stoppable() as stopped, Tellers(common.quiet) as tell:
        results = load_on_each(choices, archive, material, options, tell.emit, stopped, tell.result)
    return _report(common, results, loaded_dict, _loaded)


def save_many(common: CommonOptions, archive: Archive, options: SaveOptions) -> int:
    """Save every board's program under the board's name and the date; return the worst status."""
    from hostlink.cli.job_json import saved_dict
    from hostlink.jobs.many import save_on_each

    choices = common.choices(archive)
    today = date.today()
    with stoppable() as stopped, Tellers(common.quiet) as tell:
        results = save_on_each(choices, archive, options, today, tell.emit, stopped, tell.result)
    return _report(common, results, saved_dict, _saved)


def _report(common: CommonOptions, results: Sequence[Result[Any]], as_dict: Any, told: Any) -> int:
    """Show every board's result; return the worst exit status."""
    from hostlink.jobs.many import worst_status

    if common.json:
        as_json([_as_dict(each, as_dict) for each in results])
    else:
        _summary(results, told)
    return worst_status(results)


def _as_dict(result: Result[Any], value_dict: Any) -> dict[str, object]:
    """Return the JSON for one board's result."""
    return {
        "board": result.board,
        "port": result.port,
        "status": int(result.status),
        **failure_dict(result.error),
        **({} if result.value is None else value_dict(result.value)),
    }


def failure_dict(error: HostlinkError | None, by: Ways = COMMANDS) -> dict[str, object]:
    """Return the JSON for what ended a job on one board.

    error: None if the job succeeded. by: the terms in which the advice is given.
    """
    if error is None:
        return dict.fromkeys(("error", "kept", "advice"))
    advice = in_commands(error.advice, by=by)
    return {"error": error.what, "kept": error.kept or None, "advice": advice or None}


def _loaded(value: Loaded) -> tuple[str, str]:
    report = value.report
    said = f"proven, {plural(report.lines, 'line')}"
    if report.repairs:
        said += f", {sent_again(report.repairs)}"
    return value.spec or value.label, said


def _saved(value: Saved) -> tuple[str, str]:
    said = value.proof.removeprefix("is ")
    return value.revision.spec, said if value.is_new else f"{said}, nothing new"


def _summary(results: Sequence[Result[Any]], told: Any) -> None:
    """Print one row per board: what it holds now, or why the job failed."""
    rows = []
    for result in results:
        if result.error is None:
            rows.append([result.board, *told(result.value)])
        else:
            rows.append([result.board, "-", str(result.error)])
    table(["board", "program", "how it went"], rows)


class Tellers:
    """Report the events of several boards: one live line each, or a sentence when each is done."""

    def __init__(self, quiet: bool) -> None:
        self._quiet = quiet
        self._lock = threading.Lock()
        self._live: LiveLines | None = None
        self._tasks: dict[str, Any] = {}

    def __enter__(self) -> Tellers:
        if is_terminal() and not self._quiet:
            from hostlink.cli.live import LiveLines

            self._live = LiveLines("{task.fields[board]}", "{task.description}", bar=16)
        return self

    def __exit__(self, *_: object) -> None:
        if self._live is not None:
            self._live.stop()
            self._live = None

    def emit(self, board: str, event: Event) -> None:
        """Report an event of one board. Called in that board's owner thread."""
        with self._lock:
            if isinstance(event, Warned | Rescued | AlreadyKept | LineRepaired):
                text = event_words(event, COMMANDS)
                self._say(f"{board}: {text}" if board else text)
            elif self._live is not None and board:
                self._update(board, event)

    def result(self, result: Result[Any]) -> None:
        """Report that one board's job has ended."""
        with self._lock:
            if result.error is not None:
                self._say(f"{result.board}: {result.error.what}")
            elif self._live is None:
                self._say(f"{result.board}: done.")
            if self._live is not None and result.board in self._tasks:
                ended = "failed" if result.error is not None else "done"
                self._live.update(
                    self._tasks[result.board], description=ended, total=1, completed=1
                )

    def _update(self, board: str, event: Event) -> None:
        assert self._live is not None
        if board not in self._tasks:
            self._tasks[board] = self._live.add(board=board)
        counts: dict[str, int | None] = {}
        if isinstance(event, Phase):
            counts = {"total": None}
        elif isinstance(event, LineSent):
            counts = {"total": event.all_lines, "completed": event.sent_lines}
        elif not isinstance(event, Captured):
            return
        words = event_words(event, COMMANDS)
        self._live.update(self._tasks[board], description=words, **counts)

    def _say(self, text: str) -> None:
        if self._live is not None:
            self._live.say(text)
        else:
            say(text, quiet=self._quiet)
