"""Running one task on many boards at once, with a thread each and independent failures."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, wait
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Generic, TypeVar

from hostlink.archive import Archive
from hostlink.board.port.ports import identity_of, same_board
from hostlink.errors import ExitStatus, HostlinkError, UsageError
from hostlink.jobs.events import Emit, Event
from hostlink.jobs.listing_source import Material, program_name
from hostlink.jobs.loading import Loaded, LoadOptions, for_board, keep_material, load
from hostlink.jobs.saving import Saved, SaveOptions, save
from hostlink.jobs.session.last_known import known_board
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.session import Session
from hostlink.link.owner import Owner
from hostlink.sentences import NO_PORT_OPENED

if TYPE_CHECKING:
    from concurrent.futures import Future

V = TypeVar("V")

EmitAt = Callable[[str, Event], None]
"""Receives the events of each board: the board's name (see `port_names`) and the event."""


@dataclass(frozen=True, slots=True)
class Result(Generic[V]):
    """How the task ended on one board.

    board: its name (see `port_names`). value: what the task returned. error: what ended it instead.
    """

    board: str
    port: str
    value: V | None = None
    error: HostlinkError | None = None

    @property
    def status(self) -> ExitStatus:
        """Return the exit status of the work on this board."""
        if self.error is not None:
            return self.error.status
        status = getattr(self.value, "status", ExitStatus.DONE)
        return status if isinstance(status, ExitStatus) else ExitStatus.DONE


def worst_status(results: Sequence[Result[V]]) -> ExitStatus:
    """Return the exit status for all boards: the highest of any."""
    return max((result.status for result in results), default=ExitStatus.DONE)


def port_names(choices: Sequence[LinkChoice], archive: Archive) -> dict[str, str]:
    """Return a name for each port: the board's label, else the short name of the port.

    Raises UsageError if two of the ports are the same board, which cannot be used twice at once.
    """
    called: dict[str, str] = {}
    seen: list[tuple[str, object]] = []
    for choice in choices:
        identity = identity_of(choice.port)
        for port, other in seen:
            if same_board(identity, other):  # type: ignore[arg-type]
                raise UsageError(
                    f"{port} is named twice."
                    if port == choice.port
                    else f"{port} and {choice.port} are the same board.",
                    kept=NO_PORT_OPENED,
                    advice="Name each board once.",
                )
        seen.append((choice.port, identity))
        board = known_board(archive, identity)
        short = os.path.basename(choice.port.partition("?")[0].rstrip(":/"))  # noqa: PTH119
        name = board.label if board is not None and board.label else short or choice.port
        called[choice.port] = name if name not in called.values() else choice.port
    return called


class BoardJobs(Generic[V]):
    """Jobs on several boards, each in the thread of its owner; the results come as they end.

    An error that is not a HostlinkError is raised at the end of the `with` block.
    """

    def __init__(
        self, archive: Archive, emit: EmitAt, cancelled: Callable[[], bool] = lambda: False
    ) -> None:
        self._archive = archive
        self._emit = emit
        self._cancelled = cancelled
        self._at_work: dict[Future[V], tuple[str, str, Owner[Session]]] = {}
        self._strange: BaseException | None = None

    def __enter__(self) -> BoardJobs[V]:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        for *_names, owner in self._at_work.values():
            owner.close()
        if kind is None and self._strange is not None:
            raise self._strange

    @property
    def busy(self) -> set[str]:
        """Return the names of the boards at work."""
        return {name for name, *_rest in self._at_work.values()}

    def start(self, choice: LinkChoice, name: str, task: Callable[[Session], V]) -> None:
        """Open a board's port and do a task there. name: shown with its events."""

        def told(event: Event) -> None:
            self._emit(name, event)

        owner: Owner[Session] = Owner(
            name, lambda: open_session(choice, told, self._cancelled, archive=self._archive)
        )
        self._at_work[owner.submit(task)] = name, choice.port, owner

    def ended(self, timeout_s: float | None = None) -> list[Result[V]]:
        """Wait for a result, close the ports of the boards that have ended, and return the results.

        timeout_s: the longest to wait, None for no limit.
        """
        done = wait(self._at_work, timeout_s, FIRST_COMPLETED).done
        results = [self._result(answer) for answer in self._at_work.keys() & done]
        return [result for result in results if result is not None]

    def _result(self, answer: Future[V]) -> Result[V] | None:
        name, port, owner = self._at_work.pop(answer)
        owner.close()
        try:
            return Result(name, port, answer.result())
        except HostlinkError as error:
            return Result(name, port, error=error)
        except BaseException as error:  # noqa: BLE001 - raised when all are done
            self._strange = error
            return None


def on_each(
    choices: Sequence[LinkChoice],
    archive: Archive,
    task: Callable[[str, Session], V],
    emit: EmitAt,
    cancelled: Callable[[], bool] = lambda: False,
    on_result: Callable[[Result[V]], None] = lambda _: None,
) -> list[Result[V]]:
    """Run `task(name, session)` on every board at the same time; return the results in order.

    on_result: called in this thread as each board finishes. An error that is not a HostlinkError is
    raised after all boards have finished.
    """
    called = port_names(choices, archive)
    results: dict[str, Result[V]] = {}
    with BoardJobs[V](archive, emit, cancelled) as jobs:
        for choice in choices:
            name = called[choice.port]
            jobs.start(choice, name, partial(task, name))
        while jobs.busy:
            for result in jobs.ended():
                results[result.port] = result
                on_result(result)
    return [results[choice.port] for choice in choices]


def keep_once(
    choices: Sequence[LinkChoice],
    archive: Archive,
    material: Material,
    options: LoadOptions,
    emit: Emit,
) -> tuple[Material, LoadOptions]:
    """Review a listing for every board and keep it once; return what to load into each, and how.

    Raises RefusedError if the listing cannot be loaded into one of them; then nothing was kept.
    """
    material = for_board(choices[0].effective, material, options, emit)
    for choice in choices[1:]:
        for_board(choice.effective, material, options, emit)
    revision = keep_material(choices[0].effective, emit, archive, material, options)
    kept = dataclasses.replace(material, revision=revision)
    return kept, dataclasses.replace(options, name="")


def load_on_each(
    choices: Sequence[LinkChoice],
    archive: Archive,
    material: Material,
    options: LoadOptions,
    emit: EmitAt,
    cancelled: Callable[[], bool] = lambda: False,
    on_result: Callable[[Result[Loaded]], None] = lambda _: None,
) -> list[Result[Loaded]]:
    """Load one listing into every board. It is reviewed for each profile and kept once.

    Raises RefusedError before any port is opened if the listing cannot be loaded into one of them.
    """
    kept, options = keep_once(choices, archive, material, options, lambda event: emit("", event))

    def task(_: str, session: Session) -> Loaded:
        return load(session, archive, kept, options)

    return on_each(choices, archive, task, emit, cancelled, on_result)


def save_on_each(
    choices: Sequence[LinkChoice],
    archive: Archive,
    options: SaveOptions,
    today: date,
    emit: EmitAt,
    cancelled: Callable[[], bool] = lambda: False,
    on_result: Callable[[Result[Saved]], None] = lambda _: None,
) -> list[Result[Saved]]:
    """Save the program of every board under a name made of the board's name and the date.

    A program that the archive already holds as a revision is not kept again under such a name.
    """

    def task(name: str, session: Session) -> Saved:
        program = dated_name(name, today)
        return save(session, archive, dataclasses.replace(options, name=program, unless_held=True))

    return on_each(choices, archive, task, emit, cancelled, on_result)


def dated_name(board: str, today: date) -> str:
    """Return the program name under which a board is saved, such as RED-2026-11-27."""
    day = today.isoformat()
    return f"{program_name(board)[: 40 - len(day) - 1].strip('-') or 'BOARD'}-{day}"
