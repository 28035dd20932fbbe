"""Meeting a board: look at this computer, then talk to the board, and note what was seen.

It types only what is needed to recognise the board and to read its program. A restart needs
consent. Whatever is at the port, the meeting ends within 20 s; if bytes come now and then, it
listens for 32 s more, and to a board that is heard starting for 8 s. Time for questions to the user
and for reading the program does not count. Every 4 s it reports what it is waiting for.
"""

from __future__ import annotations

import contextlib
import dataclasses
import sys
from collections.abc import Callable
from pathlib import Path

from hostlink.archive import Archive
from hostlink.board.dialogue.events import Phase
from hostlink.board.port.bridges import driver_hint
from hostlink.board.port.ports import Identity, hidden_bridges, identity_of, usb_ports
from hostlink.board.profile.model import HEARD
from hostlink.errors import HostlinkError, LinkError, LinkReason, ReadBackError, RefusedError
from hostlink.firmware.chip import CHIPS, Chip
from hostlink.firmware.image import Image
from hostlink.firmware.knowledge import read_image
from hostlink.firmware.plan import is_half_written
from hostlink.firmware.scripts import FlashScripts
from hostlink.jobs.boards import access_advice, usb_id, without_port
from hostlink.jobs.firmware.bootlink import BootLink
from hostlink.jobs.free_memory import ask_free_memory
from hostlink.jobs.meeting.rungs import ONLY_JUST_AFTER
from hostlink.jobs.meeting.seen import Contents, Restart, Seen, SeenBasic, SeenBootloader
from hostlink.jobs.session.board_contents import read_contents
from hostlink.jobs.session.last_known import known_board
from hostlink.jobs.session.looking import look_for_prompt
from hostlink.jobs.session.patience import TELL_OFTEN_S, time_limit_s
from hostlink.jobs.session.session import Session
from hostlink.jobs.stored_programs import stored_slots
from hostlink.link.attaching import holder_of
from hostlink.sentences import LIKE_KIND, UNKNOWN_KIND

RESTART_TO_HEAR = (
    f"Nothing readable came. {ONLY_JUST_AFTER}. The restart loses any program in the board's "
    "memory, even a running one that rarely prints. Restart the board?"
)
_MAY_HAVE_NO_BASIC = (LinkReason.SILENT, LinkReason.UNREADABLE)
_LOOK_S = 15.0  # a silent board takes 10 s at 16 speeds, after 3 s for its start
_RESTART_S = 4.5  # to ask for a bootloader at both speeds
_AGAIN_S = 8.0  # to find the prompt of a board that was heard starting


def look_here(archive: Archive | None, port: str = "", system: str = sys.platform) -> Seen:
    """Look at this computer's side of a port; nothing is opened.

    port: the one to meet, or "" for the only one with a bridge. archive: None if there is none yet.
    """
    found = usb_ports()
    ports = tuple(each.port for each in found)
    if not port and len(found) != 1:
        hidden = tuple(without_port(hidden_bridges(), system)) if not found else ()
        return Seen(ports=ports, hidden=hidden, system=system)
    identity = identity_of(port) if port else found[0]
    board = known_board(archive, identity) if archive is not None else None
    is_device = "://" not in identity.port
    return Seen(
        port=identity.port,
        ports=ports,
        exists=not is_device or system == "win32" or Path(identity.port).exists(),
        bridge=_bridge_words(identity),
        driver=driver_hint(identity.vid, identity.pid, system),
        system=system,
        access=access_advice(identity.port),
        holder=holder_of(identity.port) if is_device else "",
        label=board.label if board is not None else "",
        role=archive.board_role(board.uuid) if archive is not None and board is not None else "",
    )


def _bridge_words(identity: Identity) -> str:
    """Return the bridge chip with its USB numbers, "" for a port without a bridge."""
    numbers = usb_id(identity.vid, identity.pid)
    return f"{identity.chip} ({numbers})" if numbers else ""


def meet_board(
    session: Session, archive: Archive, seen: Seen, may_restart: Callable[[str], bool]
) -> Seen:
    """Find out how far the board at an open port answers; return all that was seen.

    seen: of this computer, or of an earlier meeting that ended before a restart, which goes on from
    there. may_restart: asked, with the reason, before the board is restarted. Raises Interrupted,
    and LinkError if the port vanishes.
    """
    if seen.trouble is None:
        seen = _attached(session, seen, _LOOK_S)
    if seen.basic is None and seen.trouble is not None:
        if seen.trouble.reason not in _MAY_HAVE_NO_BASIC:
            return seen
        seen = _restarted(session, archive, seen, may_restart)
    if seen.basic is None:
        return seen
    with _within(session, time_limit_s(session.profile)):
        return _with_contents(session, archive, seen)


def _within(session: Session, seconds: float) -> contextlib.AbstractContextManager[bool]:
    """Limit the block to some seconds, and often report what it is waiting for."""
    return session.patience.limited(seconds, session.wire.now, tell_every_s=TELL_OFTEN_S)


def _attached(session: Session, seen: Seen, seconds: float, *, again: bool = False) -> Seen:
    """Bring the board to its prompt and note how it talks, or why that failed."""
    if not session.is_attached:
        session.emit(Phase("Listening to the board"))
    try:
        # An attached board may be silent by now.
        look_for_prompt(session, seconds, again=again or session.is_attached)
    except LinkError as error:
        _raise_gone(error)
        return seen if again else dataclasses.replace(seen, trouble=error)
    talk = session.profile.talk
    name, title = session.profile.name, session.profile.title
    kind = "" if name == HEARD else name
    manner = f"It talks at {talk.baud} baud; {UNKNOWN_KIND}."
    if kind:
        manner = f"It talks at {talk.baud} baud {LIKE_KIND} {kind}{title and f': {title}'}."
    return dataclasses.replace(seen, trouble=None, basic=SeenBasic(manner, kind, talk.baud))


def _restarted(
    session: Session, archive: Archive, seen: Seen, may_restart: Callable[[str], bool]
) -> Seen:
    """Restart the board with consent and ask its bootloader, then once more its BASIC."""
    if session.choice.port.startswith("socket://"):
        return dataclasses.replace(seen, restart=Restart.IMPOSSIBLE)
    if not may_restart(RESTART_TO_HEAR):
        return dataclasses.replace(seen, restart=Restart.DECLINED)
    boot = BootLink(session)
    seen = dataclasses.replace(seen, restart=Restart.DONE)
    heard = session.wire.health.bytes_in
    try:
        with _within(session, _RESTART_S):
            boot.enter()
        seen = dataclasses.replace(seen, bootloader=_asked(session, archive, boot))
    except LinkError as error:
        _raise_gone(error)
    finally:
        with contextlib.suppress(LinkError):
            boot.leave()
    found = seen.bootloader
    if found is not None and (found.is_blank or found.role == "display"):
        return seen  # nothing there would answer
    was_silent = seen.trouble is not None and seen.trouble.reason is LinkReason.SILENT
    if found is not None:
        heard = session.wire.health.bytes_in
    elif not was_silent:
        return seen  # it is as unreadable as before
    session.dialogue.listen_starting()
    if session.wire.health.bytes_in == heard:
        return seen  # a BASIC that starts shows its prompt
    return _attached(session, seen, _AGAIN_S, again=True)


def _asked(session: Session, archive: Archive, boot: BootLink) -> SeenBootloader:
    """Return what a bootloader reports: the chip and, if they can be read, its flash contents."""
    chip = next((each for each in CHIPS if each.signature == boot.signature), None)
    found = SeenBootloader(boot.baud, boot.signature)
    if chip is None:
        return found
    session.emit(Phase("Reading what the chip's flash holds"))
    try:
        with _within(session, time_limit_s(session.profile)):
            flash: bytes = boot.run(FlashScripts(chip).read_program())
    except (LinkError, ReadBackError) as error:
        _raise_gone(error)
        return found
    name = role = ""
    for boot_bytes in chip.boot_sizes:
        image = Image.from_flash("", flash[: chip.application_end(boot_bytes)])
        known = archive.known_image(image.sha256)
        if known is not None:
            name, role = known.name, archive.image_role(image.sha256)
            break
    has_basic = read_image(flash).has_basic
    part_of = _cut_off(archive, session.identity, flash, chip)
    return SeenBootloader(boot.baud, boot.signature, flash, name, role, has_basic, part_of)


def _cut_off(archive: Archive, identity: Identity, flash: bytes, chip: Chip) -> str:
    """Return the name of the image of which flash holds a part after a cut-off write, else ""."""
    board = known_board(archive, identity)
    write = archive.last_write(board.uuid) if board is not None else None
    if write is None or write.is_finished:
        return ""
    before = write.previous.flash if write.previous else b""
    parts = (flash[: chip.application_end(size)] for size in chip.boot_sizes)
    if any(is_half_written(part, before, write.image.flash, chip) for part in parts):
        return write.image.name
    return ""


def _with_contents(session: Session, archive: Archive, seen: Seen) -> Seen:
    """Read what the board holds, without changing it."""
    try:
        read = read_contents(session, archive)
        free = ask_free_memory(session)
    except (LinkError, ReadBackError, RefusedError) as error:
        _raise_gone(error)
        return dataclasses.replace(seen, unread=error)
    names: tuple[str, ...] | None = None
    commands = session.profile.commands
    if commands.stored or commands.list_stored:
        try:
            names = tuple(slot.name for slot in stored_slots(session))
        except (LinkError, ReadBackError, RefusedError) as error:
            _raise_gone(error)
    size = (read.content.size_bytes or 0) if read.content is not None else 0
    contents = Contents(read.spec, read.changed, read.lines, size, read.limit, free, names)
    return dataclasses.replace(seen, contents=contents, label=read.board.label)


def _raise_gone(error: HostlinkError) -> None:
    """Raise an error again if it says that the port has vanished."""
    if isinstance(error, LinkError) and error.reason is LinkReason.GONE:
        raise error
