"""A load that the board refuses at its first word, NEW: its own program is as it was, and called
so, then and later."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.board.profile.model import ONE_PLACE
from hostlink.errors import LinkError, LinkReason, NotClearedError
from hostlink.jobs.backup import backup
from hostlink.jobs.listing_source import from_bytes
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.last_known import doubt_of_copy, last_program
from hostlink.jobs.stored_programs import slot_held

MINE = '10 REM MY OWN WORK\n20 PRINT "MINE"\n30 END\n'
NEW = b"10 PRINT 7\n30 END\n"


@pytest.fixture
def refusing(table: Callable[..., Any]) -> Any:
    """A board with a program of its own that knows no NEW."""
    board = table()
    board.load(MINE)
    real = board.machine.basic.enter
    board.machine.basic.enter = lambda typed: real(
        b"QZ" if typed.strip().upper() == b"NEW" else typed
    )
    return board


def test_the_program_is_called_untouched_and_carries_no_mark(
    refusing: Any, archive: Archive
) -> None:
    """Though one line is the same as in what was to be loaded."""
    before = refusing.memory
    with refusing.session() as session, pytest.raises(NotClearedError) as caught:
        load(session, archive, from_bytes(NEW, "new.bas", name="NEW"), LoadOptions())
    assert "The program on the board was not touched." in caught.value.kept
    assert refusing.memory == before
    board = archive.boards()[0]
    copy = archive.host_copy(board.uuid)
    assert copy is not None
    assert copy.content.text == MINE
    assert copy.proven_at is not None
    assert doubt_of_copy(archive, board, copy) == ""
    with refusing.session() as session:
        saved = save(session, archive, SaveOptions("MINE"))
    assert saved.revision.origin.unproven == ""
    assert saved.proof.startswith("is proven by")
    assert refusing.said("Warned") == []


def test_an_empty_board_that_refuses_new_is_still_known_to_be_empty(
    table: Callable[..., Any], archive: Archive
) -> None:
    """What was read before NEW was refused is what the board holds, also if that is nothing."""
    board = table()
    typed: list[bytes] = []

    def refuse(session: Any) -> None:
        def clear() -> None:
            typed.append(b"NEW")
            raise NotClearedError("It does not clear.")

        session.dialogue.clear = clear

    with board.session() as session:
        session.attach()
        refuse(session)
        with pytest.raises(NotClearedError):
            load(session, archive, from_bytes(NEW, "new.bas", name="NEW"), LoadOptions())
    assert typed
    copy = archive.host_copy(archive.boards()[0].uuid)
    assert copy is not None
    assert copy.content.text == ""
    assert copy.proven_at is not None


def test_a_rest_of_a_load_is_not_called_proven_and_marked_at_once(
    table: Callable[..., Any], archive: Archive
) -> None:
    """What the board holds is known; that it is a whole program is not."""
    board = table()

    def unplug(event: Any) -> None:
        board.machine.unplugged = getattr(event, "sent_lines", 0) == 2

    board.on_event = unplug
    text = "".join(f"{number} REM {number:040}\n" for number in range(10, 200, 10)).encode()
    with board.session() as session, pytest.raises(LinkError) as caught:
        load(session, archive, from_bytes(text, "long.bas", name="LONG"), LoadOptions())
    assert caught.value.reason is LinkReason.GONE
    assert "At most a part of long.bas is on the board." in caught.value.kept
    board.on_event = lambda event: None  # noqa: ARG005
    board.machine.unplugged = False
    board.load("10 REM " + f"{10:040}" + "\n")
    with board.session() as session:
        saved = save(session, archive, SaveOptions("REST"))
    assert saved.proof.endswith("and left of a load of LONG@1 that was cut off")
    assert "proven" not in saved.proof


def test_what_was_only_to_be_loaded_is_not_called_the_boards_last_program(
    table: Callable[..., Any], archive: Archive
) -> None:
    """The board went silent at NEW: no line of it was sent, and it held another program before."""
    board = table()
    board.load(MINE)

    def unplug(data: bytes) -> None:
        board.machine.unplugged = board.machine.unplugged or b"NEW" in data

    sent = bytearray()

    def hear(data: bytes) -> None:
        sent.extend(data)
        unplug(bytes(sent))

    board.on_write = hear
    with board.session() as session, pytest.raises(LinkError) as caught:
        load(session, archive, from_bytes(NEW, "new.bas", name="NEW"), LoadOptions())
    assert "No line of new.bas is known to be stored; memory may be cleared." in caught.value.kept
    assert last_program(archive, archive.boards()[0]) == "rescue@1"
    board.on_write = lambda data: None  # noqa: ARG005
    board.plug_in_again()
    with board.session() as session:
        load(session, archive, from_bytes(NEW, "new.bas", name="NEW"), LoadOptions())
    told = " ".join(event.text for event in board.said("Warned"))
    assert "last known to hold" not in told


def test_what_nobody_knows_any_more_is_not_called_known(
    table: Callable[..., Any], archive: Archive
) -> None:
    """A backup recalled a stored program and could not put memory back: the board's last program
    is not said to have been lost by a restart."""
    board = table()
    board.load(MINE, slot="X")
    board.load('10 PRINT "ONE"\n')
    with board.session() as session:
        save(session, archive, SaveOptions("ONE"))
    assert archive.host_copy(archive.boards()[0].uuid) is not None
    sent = bytearray()

    def unplug(data: bytes) -> None:
        sent.extend(data)
        board.machine.unplugged = board.machine.unplugged or b"FETCH" in sent

    board.on_write = unplug
    with board.session() as session, pytest.raises(LinkError) as caught:
        backup(session, archive)
    assert "Memory may hold another program; what it held is kept as ONE@1." in caught.value.kept
    assert archive.host_copy(archive.boards()[0].uuid) is None
    board.on_write = lambda data: None  # noqa: ARG005
    board.plug_in_again()
    with board.session() as session:
        load(session, archive, from_bytes(NEW, "new.bas", name="NEW"), LoadOptions())
    assert not any("last known" in event.text for event in board.said("Warned"))


def test_after_a_recall_memory_is_not_called_untouched(
    table: Callable[..., Any], archive: Archive
) -> None:
    """The board takes only the first NEW: by then a stored program stands in memory."""
    board = table()
    for name in ("ONE", "TWO", ""):
        board.load(MINE.replace("MINE", name), name)
    real, first = board.machine.basic.enter, iter([b"NEW"])
    board.machine.basic.enter = lambda typed: real(
        next(first, b"QZ") if typed.strip().upper() == b"NEW" else typed
    )
    with board.session() as session, pytest.raises(NotClearedError) as caught:
        backup(session, archive)
    assert "not touched" not in caught.value.kept
    assert "Memory may hold another program; what it held is kept as rescue@1." in caught.value.kept


def test_a_slot_is_not_called_empty_because_memory_could_not_be_cleared(
    refusing: Any,
) -> None:
    """Where the profile names one place for a program, and any refusal means that it is empty."""
    refusing.load(NEW.decode(), "ONE")
    with refusing.session() as session:
        session.attach()
        one = replace(session.profile.commands, store="PUT ONE", recall="GET ONE", stored="")
        session.talk_by(replace(session.profile, commands=one))
        with pytest.raises(NotClearedError):
            slot_held(session, ONE_PLACE)
