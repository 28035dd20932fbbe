"""Many boards at once: all of them done, each told apart, one that fails stops no other."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from hostlink.archive import Archive
from hostlink.board.profile.file import find_profile
from hostlink.errors import ExitStatus, LinkError, LinkReason, RefusedError, UsageError
from hostlink.jobs.events import Event, KeptAs
from hostlink.jobs.listing_source import Material, from_bytes
from hostlink.jobs.loading import LoadOptions
from hostlink.jobs.many import (
    dated_name,
    load_on_each,
    on_each,
    port_names,
    save_on_each,
    worst_status,
)
from hostlink.jobs.saving import SaveOptions
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.session import Session

LISTING = b'10 PRINT "GOOD EVENING"\n20 PRINT "CLASS"\n'
TODAY = date(2026, 11, 27)
LONGEST_S = 300.0  # a bound, not a wait


@pytest.fixture
def material() -> Material:
    return from_bytes(LISTING, "greeting.bas", name="GREETING")


@pytest.fixture
def boards() -> Callable[..., list[LinkChoice]]:
    """Choices for practice boards by name, on virtual time: boards("red", "blue?line_ms=3")."""
    profile = find_profile("practice")

    def choose(*names: str) -> list[LinkChoice]:
        return [
            LinkChoice(f"practice://{name}{'&' if '?' in name else '?'}time=virtual", profile)
            for name in names
        ]

    return choose


def unheard(board: str, event: Event) -> None:
    """For tests that look at results only."""


def test_all_boards_hold_the_program(
    boards: Callable[..., list[LinkChoice]], archive: Archive, material: Material
) -> None:
    """Each is loaded and proven; the listing is kept once, as one revision."""
    told: list[tuple[str, Event]] = []
    results = load_on_each(
        boards("red", "blue", "green"),
        archive,
        material,
        LoadOptions(),
        lambda board, event: told.append((board, event)),
    )
    assert [result.board for result in results] == ["red", "blue", "green"]
    assert [result.status for result in results] == [ExitStatus.DONE] * 3
    assert {result.value.spec for result in results if result.value} == {"GREETING@1"}
    assert len(archive.history("GREETING")) == 1
    assert [board for board, event in told if isinstance(event, KeptAs)] == [""]
    assert {board for board, _ in told} == {"", "red", "blue", "green"}
    copies = [archive.host_copy(board.uuid) for board in archive.boards()]
    assert [copy.revision for copy in copies if copy] == ["GREETING@1"] * 3


def test_one_board_that_fails_stops_no_other(
    boards: Callable[..., list[LinkChoice]], archive: Archive, material: Material
) -> None:
    """The others are loaded; the worst status is that of the whole; the error says what is left."""
    results = load_on_each(
        boards("red", "blue?unplug_after_bytes=40", "green"),
        archive,
        material,
        LoadOptions(),
        unheard,
    )
    assert [result.status for result in results] == [
        ExitStatus.DONE,
        ExitStatus.LINK_FAILED,
        ExitStatus.DONE,
    ]
    assert worst_status(results) is ExitStatus.LINK_FAILED
    failed = results[1].error
    assert isinstance(failed, LinkError)
    assert failed.reason is LinkReason.GONE
    assert "GREETING@1" in failed.kept


def test_a_port_that_cannot_be_opened_is_one_failure(
    boards: Callable[..., list[LinkChoice]], archive: Archive, material: Material
) -> None:
    """A board held elsewhere is busy; the other is loaded."""
    profile = find_profile("practice")
    with open_session(LinkChoice("practice://blue?time=virtual", profile), lambda _: None):
        results = load_on_each(boards("red", "blue"), archive, material, LoadOptions(), unheard)
    assert [result.status for result in results] == [ExitStatus.DONE, ExitStatus.LINK_FAILED]
    assert "in use" in str(results[1].error)


def test_a_listing_that_one_board_cannot_take_is_refused_before(
    boards: Callable[..., list[LinkChoice]], archive: Archive
) -> None:
    """No port is opened, nothing is kept: the boards are loaded alike or not at all."""
    long = b"10 REM " + b"A" * 200 + b"\n"
    with pytest.raises(RefusedError, match="would not load"):
        load_on_each(
            boards("red", "blue"),
            archive,
            from_bytes(long, "long.bas", name="LONG"),
            LoadOptions(),
            unheard,
        )
    assert archive.boards() == []
    assert archive.programs() == []


def test_saves_are_named_after_board_and_day(
    boards: Callable[..., list[LinkChoice]], archive: Archive, material: Material, tmp_path: Path
) -> None:
    """By label where there is one, else by the port; an empty board is no success."""
    with Archive.open(tmp_path / "another.sqlite3") as another:
        load_on_each(boards("red"), another, material, LoadOptions(), unheard)
        other = from_bytes(b"10 END\n", "other.bas", name="OTHER")
        load_on_each(boards("blue"), another, other, LoadOptions(), unheard)
    archive.board_label(archive.board_seen(serial="practice:red").uuid, "The red one")
    results = save_on_each(boards("red", "blue", "green"), archive, SaveOptions(), TODAY, unheard)
    saved = [result.value.revision.spec for result in results if result.value]
    assert saved == ["THE-RED-ONE-2026-11-27@1", "BLUE-2026-11-27@1"]
    assert archive.content(archive.revision(saved[0])).text == LISTING.decode()
    assert [result.board for result in results] == ["The red one", "blue", "green"]
    assert worst_status(results) is ExitStatus.REFUSED
    assert "holds no program" in str(results[2].error)


@pytest.mark.parametrize(
    ("board", "name"),
    [
        ("Red", "RED-2026-11-27"),
        ("ttyUSB0", "TTYUSB0-2026-11-27"),
        ("???", "BOARD-2026-11-27"),
        ("A" * 80, "A" * 29 + "-2026-11-27"),
    ],
)
def test_a_dated_name_is_always_a_program_name(board: str, name: str) -> None:
    """Capitals, no odd characters, at most 40 of them."""
    assert dated_name(board, TODAY) == name
    assert len(name) <= 40


def test_the_same_board_twice_is_refused(
    boards: Callable[..., list[LinkChoice]], archive: Archive
) -> None:
    """It cannot be loaded by two at once, under whatever options it is named."""
    with pytest.raises(UsageError, match="the same board"):
        port_names(boards("red", "blue", "red?line_ms=3"), archive)


def test_boards_of_the_same_short_name_are_told_apart(archive: Archive) -> None:
    """Two devices that end alike are shown by their whole address."""
    profile = find_profile("practice")
    choices = [LinkChoice(port, profile) for port in ("/dev/a/line", "/dev/b/line")]
    assert list(port_names(choices, archive).values()) == ["line", "/dev/b/line"]


def test_boards_are_worked_on_at_the_same_time(
    boards: Callable[..., list[LinkChoice]], archive: Archive
) -> None:
    """Every task is under way before any is done: each waits here for all others."""
    together = threading.Barrier(4, timeout=LONGEST_S)
    results = on_each(
        boards("a", "b", "c", "d"),
        archive,
        lambda name, _: (together.wait(), threading.get_ident(), name)[1:],
        unheard,
    )
    threads = {result.value[0] for result in results if result.value}
    assert len(threads) == 4
    assert threading.get_ident() not in threads


def test_stopping_stops_every_board_in_good_order(
    boards: Callable[..., list[LinkChoice]], archive: Archive, material: Material
) -> None:
    """Each answers with what it now holds; the whole was interrupted."""
    results = load_on_each(
        boards("red", "blue"), archive, material, LoadOptions(), unheard, lambda: True
    )
    assert [result.status for result in results] == [ExitStatus.INTERRUPTED] * 2
    assert worst_status(results) is ExitStatus.INTERRUPTED


def test_results_are_told_as_they_come(
    boards: Callable[..., list[LinkChoice]], archive: Archive, material: Material
) -> None:
    """Whoever watches hears of each board once, in the thread that asked."""
    heard: list[tuple[str, int]] = []
    load_on_each(
        boards("red", "blue"),
        archive,
        material,
        LoadOptions(),
        unheard,
        on_result=lambda result: heard.append((result.board, threading.get_ident())),
    )
    assert sorted(board for board, _ in heard) == ["blue", "red"]
    assert {thread for _, thread in heard} == {threading.get_ident()}


def test_a_fault_of_our_own_is_not_hidden(
    boards: Callable[..., list[LinkChoice]], archive: Archive
) -> None:
    """An error that is none of hostlink's reaches the caller, after the other boards are done."""
    done: list[str] = []

    def task(name: str, session: Session) -> None:
        if name == "red":
            raise ZeroDivisionError
        session.attach()
        done.append(name)

    with pytest.raises(ZeroDivisionError):
        on_each(boards("red", "blue"), archive, task, unheard)
    assert done == ["blue"]
