"""Saboteurs: each breaks one promise in the running code, so that the soak has something to find.

A saboteur is one function that gives patches (`unittest.mock.patch`, which fails where what it is
to replace is not there any more). `sabotaged` applies them; nothing of it outlives the block. They
reach for seams that are known by name all over the code, so that little has to follow a change.
"""

from __future__ import annotations

import contextlib
import sqlite3
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

import soak_jobs  # noqa: F401 - so that every module that is to be patched is loaded
from sqlite_utils import Database

import hostlink.jobs.session.last_known
import hostlink.jobs.session.rescuing
import hostlink.jobs.stored_programs
import hostlink.words
from hostlink.archive.archive_file import ArchiveFile
from hostlink.archive.database.access import Access
from hostlink.board.dialogue.captures import Verdict
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.loading import Loader
from hostlink.board.dialogue.reading import Reading
from hostlink.errors import ExitStatus, HostlinkError, LinkError, ReadBackError, RefusedError
from hostlink.firmware.plan import Plan
from hostlink.jobs.session.rescuing import NOTHING
from hostlink.jobs.session.restarts import Restarts
from hostlink.link.attaching import Foresight
from hostlink.link.wire import Wire

Patches = list[Any]
FOR_EVER_S = 1e4  # of virtual time; longer than any job may take


@dataclass(frozen=True, slots=True)
class Saboteur:
    """One way to break a promise. promise: its number in the design. shows: how the trouble that it
    must be found by begins, its kind (soak_truth.KINDS) first. patches: what replaces what."""

    name: str
    promise: int
    shows: str
    patches: Callable[[], Patches]


SABOTEURS: dict[str, Saboteur] = {}


def saboteur(name: str, *, promise: int, shows: str) -> Callable[[Callable[[], Patches]], object]:
    """Register a function that gives the patches of a saboteur."""

    def register(patches: Callable[[], Patches]) -> Callable[[], Patches]:
        SABOTEURS[name] = Saboteur(name, promise, shows, patches)
        return patches

    return register


@contextlib.contextmanager
def sabotaged(name: str) -> Iterator[None]:
    """Let one promise be broken in this block; "" for none."""
    with contextlib.ExitStack() as stack:
        for each in SABOTEURS[name].patches() if name else []:
            stack.enter_context(each)
        yield


def everywhere(what: object, instead: object) -> Patches:
    """Patches of every name in hostlink under which a module has that object."""
    found = [
        patch(f"{module}.{name}", instead)
        for module, held in list(sys.modules.items())
        if module.split(".")[0] == "hostlink"
        for name, value in vars(held).items()
        if value is what
    ]
    assert found, f"nothing in hostlink is {what}"
    return found


# --- 1: nothing on a board is overwritten unsaved ------------------------------------------------


@saboteur("no rescue", promise=1, shows="lost: memory")
def no_rescue() -> Patches:
    """What the board holds is not captured before it is overwritten."""
    return everywhere(hostlink.jobs.session.rescuing.rescue_held, lambda *_: NOTHING)


@saboteur("kept already, without a look", promise=1, shows="lost")
def kept_already() -> Patches:
    """Whatever was captured is said to be in the archive."""
    known = SimpleNamespace(spec="H0@1", program="H0")
    return everywhere(hostlink.jobs.session.last_known.as_known, lambda *_: known)


@saboteur("an empty capture believed", promise=1, shows="lost: memory")
def empty_believed() -> Patches:
    """A listing in which no line stands is an empty program, whatever the board said."""
    capture = Dialogue.capture

    def believe(self: Dialogue) -> Capture:
        return capture(self) if self.read_listing().lines else Capture({}, 3)

    return [patch.object(Dialogue, "capture", believe)]


@saboteur("a stored program overwritten", promise=1, shows="lost: stored")
def slot_overwritten() -> Patches:
    """What a slot holds is not kept before another program is stored there."""
    users = ("hostlink.jobs.store_recall", "hostlink.jobs.putback")
    return [patch(f"{user}.keep_held", lambda *_: NOTHING) for user in users]


@saboteur("memory not put back", promise=1, shows="silent")
def not_put_back() -> Patches:
    """After stored programs were recalled, memory is left as it then is."""
    return everywhere(hostlink.jobs.stored_programs.put_into_memory, lambda *_: None)


@saboteur("flash not kept", promise=1, shows="lost: flash")
def flash_not_kept() -> Patches:
    """Firmware is written over whatever is there, unread."""
    return [patch("hostlink.jobs.firmware.flash._read", lambda *_: (None, None))]


# --- 2: loaded means proven ----------------------------------------------------------------------


@saboteur("a difference accepted", promise=2, shows="silent: called loaded")
def difference_accepted() -> Patches:
    """The board is read back, and whatever it shows is right."""
    return [
        patch("hostlink.board.dialogue.read_back.verdict", lambda *_, **__: Verdict((), (), ()))
    ]


@saboteur("no read-back", promise=2, shows="silent: called loaded")
def no_read_back() -> Patches:
    """A load ends when its last line was sent: what was sent is taken for what the board lists."""

    def assume(self: Loader) -> Verdict:
        self._read_back.readings = [Reading(dict(self._target))]
        return Verdict((), (), ())

    return [patch.object(Loader, "_verify", assume)]


@saboteur("an error swallowed", promise=2, shows="silent")
def error_swallowed() -> Patches:
    """A load that failed is reported as one that went well."""
    load = Loader.load

    def swallow(self: Loader, *held: Any) -> object:
        with contextlib.suppress(HostlinkError):
            return load(self, *held)
        return self.report

    return [patch.object(Loader, "load", swallow)]


@saboteur("failed with status 0", promise=2, shows="uncaught")
def failed_with_success() -> Patches:
    """Errors end the process as if there were none."""
    kinds = (LinkError, ReadBackError, RefusedError)
    return [patch.object(kind, "status", ExitStatus.DONE) for kind in kinds]


@saboteur("pages called proven", promise=2, shows="silent: called written")
def pages_called_proven() -> Patches:
    """Every page of an image is told as written and read back; none was."""

    def tell(_: object, plan: Plan, on_page: Callable[[int], None]) -> Iterator[object]:
        for page, _ in plan.pages:
            on_page(page)
        return None
        yield

    write_plan = patch("hostlink.firmware.scripts.FlashScripts.write_plan", tell)
    return [write_plan, *flash_not_kept()]


# --- 3: saved means proven -----------------------------------------------------------------------


@saboteur("one capture for two", promise=3, shows="silent")
def one_capture() -> Patches:
    """What one capture shows is the program."""

    def once(self: Dialogue) -> Capture:
        return Capture(self.read_listing().lines, 2)

    return [patch.object(Dialogue, "capture", once)]


@saboteur("one left out of a backup", promise=3, shows="silent: called backed up")
def left_out() -> Patches:
    """Of what is stored on the board, the last program is not looked at."""
    names = hostlink.jobs.stored_programs.slot_names
    return everywhere(names, lambda session: names(session)[:-1])


# --- 4: an acknowledged revision survives --------------------------------------------------------


@saboteur("acknowledged before its commit", promise=4, shows="archive")
def before_commit() -> Patches:
    """The archive says that something is kept, and commits it some other time."""

    @contextlib.contextmanager
    def put_off(self: ArchiveFile, _what: str) -> Iterator[Database]:
        db = self._database()
        if not db.conn.in_transaction:
            db.execute("BEGIN IMMEDIATE")
        with db.atomic():
            yield db

    return [patch.object(ArchiveFile, "writing", put_off)]


@saboteur("acknowledged before its sync", promise=4, shows="archive")
def before_sync() -> Patches:
    """A commit is not waited for until it is on the disk."""
    connect = Access.connect

    def hurry(self: Access) -> Database:
        db = connect(self)
        db.execute("PRAGMA synchronous = NORMAL")
        return db

    return [patch.object(Access, "connect", hurry)]


@saboteur("a revision deleted", promise=4, shows="archive")
def revision_deleted() -> Patches:
    """Each job takes the oldest revision or rescue out of the archive."""
    seen = ArchiveFile.writing

    @contextlib.contextmanager
    def thin_out(self: ArchiveFile, what: str) -> Iterator[Database]:
        with seen(self, what) as db:
            yield db
        other = sqlite3.connect(self.path)  # with no regard to what refers to the row
        for table in ("revisions", "rescues"):
            for row in other.execute(
                "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (table,)
            ).fetchall():
                other.execute(f"DROP TRIGGER {row[0]}")
            other.execute(f"DELETE FROM {table} WHERE id = (SELECT min(id) FROM {table})")
        other.commit()
        other.close()

    return [patch.object(ArchiveFile, "writing", thin_out)]


# --- 5: the wire is never trusted, and every wait has a deadline ---------------------------------


@saboteur("a wait without a deadline", promise=5, shows="hang")
def no_deadline() -> Patches:
    """Whatever is waited for, only a byte ends the wait."""
    receive = Wire.receive

    def wait(self: Wire, _until: float) -> bytes:
        return receive(self, self.now() + FOR_EVER_S)

    return [patch.object(Wire, "receive", wait)]


@saboteur("control characters passed on", promise=5, shows="shown")
def shown_raw() -> Patches:
    """What a board sent is put into messages as it came."""
    return everywhere(hostlink.words.safe, lambda text, **_: text)


# --- 6: opening a port may restart a board -------------------------------------------------------


@saboteur("an opening not warned of", promise=6, shows="lost: memory")
def opening_not_warned_of() -> Patches:
    """That opening the port will probably restart the board is not said."""
    return [
        patch("hostlink.jobs.session.opening.foresee", lambda *_, **__: Foresight(False, True, ""))
    ]


@saboteur("a restart unnoticed", promise=6, shows="silent")
def restart_unnoticed() -> Patches:
    """The banner of a board that restarts is a row like any other, and an empty memory no sign."""
    listen = Dialogue.listen_waking

    def unheard(self: Dialogue) -> bool:
        listen(self)
        return False

    return [
        patch.object(Wire, "_look_for_banner", lambda *_: None),
        patch.object(Dialogue, "listen_waking", unheard),
        patch.object(Restarts, "memory_read", lambda *_, **__: False),
    ]
