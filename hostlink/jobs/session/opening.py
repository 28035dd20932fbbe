"""Opening a board's port for a session, with a warning if that may restart the board."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from hostlink.archive import Archive
from hostlink.board.dialogue.events import Warned
from hostlink.board.port.ports import identity_of
from hostlink.board.twin import twin_named
from hostlink.errors import HostlinkError
from hostlink.jobs.events import Emit
from hostlink.jobs.session.last_known import remembered_restart
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.patience import Patience
from hostlink.jobs.session.session import Session
from hostlink.link.attaching import Foresight, foresee
from hostlink.link.opening import check_address, open_port
from hostlink.link.recording import Recorder
from hostlink.link.wire import Wire


def open_session(
    choice: LinkChoice,
    emit: Emit,
    cancelled: Callable[[], bool] = lambda: False,
    *,
    archive: Archive | None = None,
    recorder: Recorder | None = None,
) -> Session:
    """Open a board's port, with a warning before it if that will probably restart the board.

    cancelled: returns whether the user has asked to stop; checked throughout the work. archive:
    where knowledge of the board is looked up and updated. recorder: an open one to use instead of a
    new one for choice.record. Raises LinkError, UsageError.
    """
    check_address(choice.port)
    identity = identity_of(choice.port)
    foresight = foresee_opening(choice, archive)
    missing = choice.port.startswith("/") and not Path(choice.port).exists()
    if foresight.restarts and not (missing or choice.may_restart):
        emit(Warned(foresight.warning(choice.port)))
    patience = Patience(emit)
    wire = _open_wire(choice, recorder)
    wire.cancelled, wire.watch = cancelled, patience.watch
    return Session(choice, wire, patience, identity=identity, foresight=foresight, archive=archive)


def foresee_opening(choice: LinkChoice, archive: Archive | None) -> Foresight:
    """Predict what opening a board's port will do to the board; nothing is opened."""
    return foresee(
        choice.port,
        profile_says=choice.effective.talk.restarts_on_open,
        remembered=remembered_restart(archive, identity_of(choice.port)),
    )


def _open_wire(choice: LinkChoice, recorder: Recorder | None) -> Wire:
    """Open the chosen port; without a given recorder, record to choice.record if there is one."""
    kind = twin_named(choice.port)
    twin = (kind,) if kind is not None else ()
    own = Recorder(choice.record) if recorder is None and choice.record is not None else None
    try:
        port, clock = open_port(choice.port, choice.effective.talk.baud, *twin)
    except HostlinkError:
        if own is not None:
            own.close()
        raise
    return Wire(port, clock, recorder=recorder or own)
