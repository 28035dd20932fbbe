"""Boards and their host copies."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]


def test_a_bridge_with_a_serial_number_is_known_at_any_port(archive: Archive) -> None:
    """The serial number decides; the place follows."""
    first = archive.board_seen(vid=0x0403, pid=0x6001, serial="A1", location="1-1")
    again = archive.board_seen(vid=0x0403, pid=0x6001, serial="A1", location="1-4")
    assert again.uuid == first.uuid
    assert (again.location, again.first_seen) == ("1-4", first.first_seen)
    assert again.last_seen > first.last_seen
    assert archive.board_seen(vid=0x0403, pid=0x6001, serial="B2").uuid != first.uuid


def test_a_bridge_without_one_is_known_by_its_place(archive: Archive) -> None:
    """Two such boards at two places are two boards."""
    first = archive.board_seen(vid=0x1A86, pid=0x7523, location="1-1")
    assert archive.board_seen(vid=0x1A86, pid=0x7523, location="1-1").uuid == first.uuid
    assert archive.board_seen(vid=0x1A86, pid=0x7523, location="1-2").uuid != first.uuid
    assert archive.board_seen(vid=0x1A86, pid=0x5523, location="1-1").uuid != first.uuid
    assert archive.board_seen(location="1-1").uuid != first.uuid
    assert len(archive.boards()) == 4


def test_what_is_learned_about_a_board_stays_until_it_is_learned_anew(archive: Archive) -> None:
    """Profile and restart on open are taken over only where they are given."""
    seen = archive.board_seen(location="practice://red")
    assert (seen.profile, seen.restarts_on_open) == ("", None)
    archive.board_seen(location="practice://red", profile="practice", restarts_on_open=True)
    seen = archive.board_seen(location="practice://red")
    assert (seen.profile, seen.restarts_on_open) == ("practice", True)
    assert archive.board_seen(
        location="practice://red", restarts_on_open=False
    ).restarts_on_open is (False)


def test_a_board_that_cannot_be_known_again_is_refused(archive: Archive) -> None:
    """Neither serial number nor place is no identity."""
    with pytest.raises(ArchiveError, match="could not be recognised later"):
        archive.board_seen(vid=1, pid=2)
    assert archive.boards() == []


def test_labels_name_boards_and_belong_to_one(archive: Archive) -> None:
    """A label is found in any case, is given once, can be moved, and its board found by UUID."""
    red = archive.board_seen(location="practice://red")
    blue = archive.board_seen(location="practice://blue")
    archive.board_label(red.uuid, " Red ")
    assert archive.board("RED").uuid == red.uuid
    assert archive.board(red.uuid).label == "Red"
    assert archive.board_label(red.uuid, "red").label == "red"
    with pytest.raises(ArchiveError, match="labelled Red already"):
        archive.board_label(blue.uuid, "Red")
    archive.board_label(red.uuid, "")
    assert archive.board_label(blue.uuid, "Red").label == "Red"
    assert archive.board("red").uuid == blue.uuid
    assert [board.label for board in archive.boards()] == ["Red", ""]


def test_unknown_boards_and_odd_labels_are_errors(archive: Archive) -> None:
    """The error names the nearest labels; a label is short and printable."""
    red = archive.board_seen(location="practice://red")
    archive.board_label(red.uuid, "Red")
    with pytest.raises(ArchiveError, match="nearest labels are: Red"):
        archive.board("Rad")
    with pytest.raises(ArchiveError, match="knows no board"):
        archive.board_label("no-such", "Blue")
    for label in ("x" * 41, "a\x1bb"):
        with pytest.raises(ArchiveError, match="cannot be a label"):
            archive.board_label(red.uuid, label)
    assert archive.board("Red") == archive.boards()[0]


def test_promise_1_the_host_copy_tells_when_it_was_proven(
    archive: Archive, content: MakeContent
) -> None:
    """Typed lines change the copy; the time of the last proof and the doubt stay with it."""
    board = archive.board_seen(location="practice://red")
    assert archive.host_copy(board.uuid) is None
    revision = archive.keep("TIDE", content("10 A\n"), Origin("edit")).revision
    archive.set_host_copy(board.uuid, content("10 A\n"), proven=True, revision=revision)
    proven = archive.host_copy(board.uuid)
    assert proven is not None
    assert proven.content == content("10 A\n")
    assert (proven.revision, proven.may_lack_edits) == ("TIDE@1", False)
    assert proven.proven_at == proven.changed_at
    archive.set_host_copy(board.uuid, content("10 B\n"), proven=False)
    typed = archive.host_copy(board.uuid)
    assert typed is not None
    assert typed.content.text == "10 B\n"
    assert typed.proven_at == proven.proven_at
    assert typed.changed_at > proven.changed_at
    assert (typed.revision, typed.may_lack_edits) == ("", True)


def test_typing_does_not_fill_the_archive(archive: Archive, content: MakeContent) -> None:
    """A host copy is one row a board, not a listing for each line typed."""
    board = archive.board_seen(location="practice://red")
    for number in range(30):
        archive.set_host_copy(board.uuid, content(f"10 PRINT {number}\n"), proven=False)
    assert archive.prove().counts["listings"] == 0


def test_a_host_copy_needs_a_board(archive: Archive, content: MakeContent) -> None:
    """An unknown board has none and takes none."""
    with pytest.raises(ArchiveError, match="knows no board"):
        archive.host_copy("no-such")
    with pytest.raises(ArchiveError, match="knows no board"):
        archive.set_host_copy("no-such", content("10 A\n"), proven=True)
