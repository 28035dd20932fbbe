"""The boards attached to the app: which is current, and how all of them are closed."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from hostlink.app.attached_boards import AttachedBoards


class FakeBoard:
    """An attached board that notes what it is asked to do. closes: whether it closes in time."""

    def __init__(self, port: str, *, closes: bool = True) -> None:
        self.port, self.closes = port, closes
        self.closed = 0
        self.drained = 0

    def close(self) -> bool:
        self.closed += 1
        return self.closes

    def drain(self) -> None:
        self.drained += 1


def boards_of(*attached: FakeBoard) -> tuple[Any, list[str]]:
    """Return the app's boards, the last one current, and a list of what the desk was asked."""
    asked: list[str] = []
    readings = SimpleNamespace(show=lambda: asked.append("show"))
    boards: Any = AttachedBoards(SimpleNamespace(desk=SimpleNamespace(readings=readings)))  # type: ignore[arg-type]
    for each in attached:
        boards.by_port[each.port] = each
        boards.make_current(each.port)
    asked.clear()
    return boards, asked


def test_after_the_current_board_is_detached_the_last_attached_is_current() -> None:
    """Its port is closed, and the desk shows the board that is now current, or none."""
    first, second = FakeBoard("a"), FakeBoard("b")
    boards, asked = boards_of(first, second)
    boards.detach("b")
    assert (second.closed, first.closed) == (1, 0)
    assert boards.current is first
    assert asked
    boards.detach("a")
    assert boards.current is None
    assert not boards.by_port


def test_detaching_another_board_leaves_the_current_one() -> None:
    """Only the named board is closed; a port that is not attached is left alone."""
    first, second = FakeBoard("a"), FakeBoard("b")
    boards, _ = boards_of(first, second)
    boards.detach("a")
    boards.detach("elsewhere")
    assert boards.current is second
    assert (first.closed, second.closed) == (1, 0)


def test_closing_names_the_ports_that_did_not_close_in_time() -> None:
    """Every board is closed, also after one that did not close."""
    stuck, sound = FakeBoard("a", closes=False), FakeBoard("b")
    boards, _ = boards_of(stuck, sound)
    assert boards.close() == ["a"]
    assert sound.closed == 1


def test_draining_reaches_every_board() -> None:
    """The reports of all owner threads are processed, not only the current board's."""
    first, second = FakeBoard("a"), FakeBoard("b")
    boards, _ = boards_of(first, second)
    boards.drain()
    assert (first.drained, second.drained) == (1, 1)
