"""What happens at the very end of a load (found by scripts/soak.py): a restart, a question that
is stored as a line."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from hostlink.archive import Archive, Origin
from hostlink.errors import LinkError, LinkReason, ReadBackError
from hostlink.jobs.listing_source import Material
from hostlink.jobs.loading import LoadOptions, load

TEXT = '10 PRINT "TIDE"\n20 END\n'


@pytest.mark.parametrize("banner", [b"practice board", b"not understood"])
def test_a_restart_after_the_read_back_is_no_load(
    table: Callable[..., Any], archive: Archive, banner: bytes
) -> None:
    """Proven, and then lost while free memory was asked for: the load says so, and fails; also
    where damage hid the banner."""
    board = table()
    restarts: list[bytes] = []

    def restart_at_the_question(data: bytes) -> None:
        if len(board.memory) == 2 and data.startswith(b"PRINT") and not restarts:
            restarts.append(data)
            board.machine.restart(board.clock.now())

    board.on_write = restart_at_the_question
    raw = TEXT.encode()
    material = Material("TIDE", "tide.bas", TEXT, raw, "utf-8", Origin("file", "tide.bas"))
    with board.session() as session, pytest.raises(LinkError, match="restarted") as caught:
        session.wire.banner = banner
        load(session, archive, material, LoadOptions())
    assert restarts and board.memory == {}
    assert caught.value.reason is LinkReason.RESTARTED
    assert "its memory is empty now" in caught.value.what
    assert "kept as TIDE@1" in caught.value.kept
    copy = archive.host_copy(archive.boards()[0].uuid)
    assert copy is not None and copy.may_lack_edits and not copy.revision
    (event,) = [one for one in archive.events() if one.job == "load"]
    assert event.outcome == "failed"


def test_a_question_that_was_stored_as_a_line_is_taken_out_again(
    table: Callable[..., Any], archive: Archive
) -> None:
    """After the proof free memory is asked for, and arrives as line 2 (the soak's seed 70032): the
    answer is not what it should be, so the board is looked at, mended and proven again."""
    board = table()
    stored: list[bytes] = []

    def store_the_question(data: bytes) -> None:
        if len(board.memory) == 2 and data.startswith(b"PRINT") and not stored:
            stored.append(data)
            board.machine.basic._state.memory.replace({2: b"RINT ROOM()", **board.memory})

    board.on_write = store_the_question
    raw = TEXT.encode()
    material = Material("TIDE", "tide.bas", TEXT, raw, "utf-8", Origin("file", "tide.bas"))
    with board.session() as session:
        load(session, archive, material, LoadOptions())
    assert stored
    assert board.memory == {10: b'PRINT "TIDE"', 20: b"END"}
    assert [event.text for event in board.said("Warned")] == [
        "Asking for free memory changed the program on the board."
    ]


def test_a_line_typed_at_the_board_after_the_proof_is_kept_and_left_there(
    table: Callable[..., Any], archive: Archive
) -> None:
    """Nobody but the board has it, so it is not deleted, and the wire is not blamed."""
    board = table()
    typed: list[bytes] = []

    def type_a_line(data: bytes) -> None:
        if len(board.memory) == 2 and data.startswith(b"PRINT") and not typed:
            typed.append(data)
            board.machine.basic._state.memory.replace({15: b"REM BY HAND", **board.memory})

    board.on_write = type_a_line
    raw = TEXT.encode()
    material = Material("TIDE", "tide.bas", TEXT, raw, "utf-8", Origin("file", "tide.bas"))
    with board.session() as session, pytest.raises(ReadBackError) as caught:
        load(session, archive, material, LoadOptions())
    assert "somebody typed line 15 at the board" in caught.value.what
    assert 15 in board.memory
    assert archive.content(archive.revision("rescue@1")).text == (
        '10 PRINT "TIDE"\n15 REM BY HAND\n20 END\n'
    )
    assert "The result is kept as rescue@1." in caught.value.what
    assert board.said("Warned") == []
    copy = archive.host_copy(archive.boards()[0].uuid)
    assert copy is not None
    assert "BY HAND" in copy.content.text
    assert copy.revision == "TIDE@1"
