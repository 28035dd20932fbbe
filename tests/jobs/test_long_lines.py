"""A line that is longer than the board takes, typed at the console."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator

import pytest

from hostlink.archive import Archive
from hostlink.board.dialogue.evidence import DamageSign
from hostlink.board.profile.file import find_profile
from hostlink.errors import LineTooLongError
from hostlink.jobs.console import Console
from hostlink.jobs.session.link_choice import LinkChoice

# Kind of practice board: characters in a line (`longest_line` in hostlink/practice/kinds/*.toml),
# and whether the board stores the part that it takes: it has no key that takes a line back, or
# enters a full line by itself.
KINDS = {"practice": (72, False), "tiny": (63, True), "ready": (71, True), "token": (77, True)}


@pytest.fixture
def console(archive: Archive) -> Iterator[Callable[..., Console]]:
    """Open a console on a kind of practice board: console("tiny", longest_line=0)."""
    opened: list[Console] = []

    def start(kind: str, *, longest_line: int) -> Console:
        profile = find_profile(kind)
        form = dataclasses.replace(profile.rules.form, longest_line=longest_line)
        profile = dataclasses.replace(profile, rules=dataclasses.replace(profile.rules, form=form))
        address = f"practice://red?time=virtual&kind={kind}"
        board = Console(LinkChoice(address, profile), archive, lambda _: None, lambda _: None)
        opened.append(board.__enter__())
        return board

    yield start
    for board in opened:
        board.__exit__(None, None, None)


def test_a_length_known_from_the_profile_is_refused_before_typing(
    console: Callable[..., Console],
) -> None:
    """Both lengths are told, and the board hears nothing."""
    board = console("tiny", longest_line=63)
    before = board._here().wire.health.bytes_out
    with pytest.raises(LineTooLongError, match=r"it has 70 characters, and the board takes 63\. N"):
        board.enter("10 REM " + 63 * "A")
    assert board._here().wire.health.bytes_out == before
    board.enter("10 REM " + 56 * "A")


@pytest.mark.parametrize("kind", KINDS)
def test_a_length_that_is_not_known_is_found_out(
    console: Callable[..., Console], kind: str
) -> None:
    """The board's own limit is told and what it made of the line, nothing is said against the wire,
    and the next line is typed as if nothing had been."""
    most, stores = KINDS[kind]
    board = console(kind, longest_line=0)
    line = "10 REM " + 10 * "ABCDEFGHIJ"
    with pytest.raises(LineTooLongError) as told:
        board.enter(line)
    assert told.value.what == (
        f"The line is too long: it has 107 characters, and the board takes {most}."
    )
    made = f"Line 10 on the board is now: {line[:most]}" if stores else "What it took was erased"
    assert told.value.kept.startswith(made)
    assert not board._here().dialogue.evidence.notes[DamageSign.RETYPED]
    board.enter("PRINT 5")
    assert board.settle(60.0, 0.6)
    board.capture()
    assert [each.typed for each in board.copy.lines.values()] == [line[:most]] * stores


def test_a_direct_line_that_is_too_long_may_have_been_obeyed(
    console: Callable[..., Console],
) -> None:
    """Nothing shows what became of it, so that is what is said."""
    board = console("tiny", longest_line=0)
    with pytest.raises(LineTooLongError, match="may have entered that part alone"):
        board.enter("PRINT " + "+".join(60 * "1"))
    board.enter("PRINT 5")
