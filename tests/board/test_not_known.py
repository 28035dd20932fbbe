"""What a board does not tell is not known: never taken for an empty or a shorter program."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any

import pytest
from scripted_board import PROMPT, ScriptedBoard

from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.empty import check_empty_by_memory
from hostlink.board.dialogue.events import Event, Warned
from hostlink.board.dialogue.next_step import MOST_CAPTURES
from hostlink.board.dialogue.reading import Reading
from hostlink.board.profile.model import Commands, Profile, Talk
from hostlink.cli.ways import in_commands
from hostlink.errors import (
    ExitStatus,
    HostlinkError,
    Needed,
    NoListingError,
    NotKnownError,
    ReadBackError,
)
from hostlink.link.clock import VirtualClock
from hostlink.link.wire import Wire
from hostlink.listing.rules import Rules, Storage

FREE = "PRINT FREE()"
TWO_LINES = b"10 PRINT 1\r\n20 END\r\n"  # 2 + 7 + 1 and 2 + 3 + 1 bytes
LONGEST_S = 120.0  # virtual seconds in which a capture must have ended


class Bench:
    """A scripted board with a dialogue over it; `events` is what the dialogue told."""

    def __init__(self, answer: Callable[[str], Any], *, free: bool = False, **talk: Any) -> None:
        self.clock = VirtualClock()
        self.board = ScriptedBoard(self.clock, answer, echo=talk.get("echo", True))
        self.events: list[Event] = []
        profile = Profile(
            "red",
            talk=Talk(erase=b"\x08", baud=9600, **talk),
            commands=Commands(
                error_words=("WHAT?",), answer_rows=("OK",), free_memory=FREE if free else ""
            ),
            rules=Rules(storage=Storage(program_bytes=100)),
        )
        wire = Wire(self.board, self.clock)
        self.dialogue = Dialogue(wire, profile, self.events.append)

    def capture(self) -> Capture:
        self.dialogue.attach()
        try:
            return self.dialogue.capture()
        finally:
            assert self.clock.now() < LONGEST_S

    @property
    def lists(self) -> int:
        """How often the program was asked for."""
        return self.board.typed.count("LIST")


def listing(*answers: bytes | Sequence[tuple[float, bytes]], free: int | None = None) -> Any:
    """Answer LIST by each of these in turn, the last for ever; the free memory by a number."""
    left = list(answers)

    def answer(line: str) -> Any:
        if line == FREE:
            return b"%d\r\n" % free + PROMPT if free is not None else b"WHAT?\r\n" + PROMPT
        if line != "LIST":
            return b"WHAT?\r\n" + PROMPT
        return left.pop(0) if len(left) > 1 else left[0]

    return answer


REFUSALS = {
    "an error": b"WHAT?\r\n" + PROMPT,
    "an error with words": b"Syntax Error\r\n" + PROMPT,
    "a page without lines": b"-- more --\r\n" + PROMPT,
    "its prompt, and the listing late": [(0.0, PROMPT), (0.6, TWO_LINES), (0.1, PROMPT)],
    "its prompt, and the listing later": [(0.0, PROMPT), (0.9, TWO_LINES)],
}


@pytest.mark.parametrize("name", REFUSALS)
@pytest.mark.parametrize("echo", [True, False])
def test_an_answer_that_is_no_listing_is_no_empty_program(name: str, echo: bool) -> None:
    """However often it comes: what the board holds is not known, and nothing may overwrite it."""
    bench = Bench(listing(REFUSALS[name]), echo=echo)
    if not echo and "late" in name:  # the answer to one question is taken for that to the next
        with suppress(NotKnownError):
            assert sorted(bench.capture().lines) == [10, 20]
        return
    with pytest.raises(NotKnownError) as caught:
        bench.capture()
    assert caught.value.needed is Needed.LOSS
    assert caught.value.status is ExitStatus.REFUSED
    assert caught.value.kept == ""  # the job says what it did to the board
    assert bench.lists <= 12


@pytest.mark.parametrize(
    "answer", [b"0123456789 " * 3000, b"", [(0.0, b"10 PRINT 1\r\n"), (500.0, PROMPT)]]
)
def test_a_flood_or_silence_is_an_error_in_bounded_time(answer: Any) -> None:
    """Neither an end nor a prompt comes: that is told, and never an empty program."""
    with pytest.raises(HostlinkError) as caught:
        Bench(listing(answer)).capture()
    assert "LIST" in caught.value.what


def test_the_boards_words_are_quoted_and_made_safe() -> None:
    """What it said in place of a listing stands in the error, and nothing of it is obeyed."""
    with pytest.raises(NotKnownError, match=r'LIST with "WHAT\?\\x1b\[2J"'):
        Bench(listing(b"WHAT?\x1b[2J\r\n" + PROMPT)).capture()


def test_a_bare_answer_heard_right_each_time_is_an_empty_program() -> None:
    """Nothing but what the profile names stands between the echo and the prompt."""
    for answer in (PROMPT, b"OK\r\n" + PROMPT, b"\r\n\r\nOK\r\n" + PROMPT):
        bench = Bench(listing(answer))
        assert bench.capture() == Capture({}, 3)


def test_words_beside_the_named_ones_are_no_empty_program() -> None:
    """OK is named, the rest is not."""
    with pytest.raises(NotKnownError, match="NOTHING HERE"):
        Bench(listing(b"NOTHING HERE\r\nOK\r\n" + PROMPT)).capture()


def test_an_error_once_in_a_while_is_a_damaged_question() -> None:
    """The answers that list count, and an error among them has no vote."""
    refused = b"WHAT?\r\n" + PROMPT
    bench = Bench(listing(refused, TWO_LINES + PROMPT, refused, refused, TWO_LINES + PROMPT))
    assert sorted(bench.capture().lines) == [10, 20]
    bench = Bench(listing(refused, refused, PROMPT))
    assert bench.capture().lines == {}


def test_a_board_that_refuses_every_other_time_is_not_empty() -> None:
    """It never gives as many bare answers in a row as a proof needs."""
    answers = [b"WHAT?\r\n" + PROMPT, PROMPT] * 40
    with pytest.raises(NotKnownError):
        Bench(listing(*answers)).capture()


def test_without_echo_an_empty_answer_is_no_sign_at_all() -> None:
    """Nobody has seen that the question arrived."""
    with pytest.raises(NotKnownError, match="neither echoes nor"):
        Bench(lambda line: PROMPT, echo=False).capture()  # noqa: ARG005


def test_without_echo_a_board_that_refuses_a_strange_word_is_heard() -> None:
    """What is typed arrives, so that a LIST which is answered by nothing was not lost."""
    bench = Bench(listing(PROMPT), echo=False)
    assert bench.capture().lines == {}
    assert len([typed for typed in bench.board.typed if typed != "LIST"]) >= 2


@pytest.mark.parametrize("echo", [True, False])
@pytest.mark.parametrize("answer", [PROMPT, b"WHAT?\r\n" + PROMPT])
def test_the_free_memory_of_an_empty_board_is_a_sign(answer: bytes, echo: bool) -> None:
    """Whatever it answers to LIST, a board whose memory is free has no program."""
    assert Bench(listing(answer, free=100), free=True, echo=echo).capture().lines == {}


@pytest.mark.parametrize("answer", [PROMPT, b"WHAT?\r\n" + PROMPT])
def test_the_free_memory_of_another_size_contradicts_an_empty_listing(answer: bytes) -> None:
    """Something is there that LIST does not show."""
    with pytest.raises(NotKnownError):
        Bench(listing(answer, free=84), free=True).capture()


def test_a_listing_that_omits_a_line_is_not_proven() -> None:
    """The board's free memory is short of what the listing leaves, each time it is asked: the
    capture says so with both figures."""
    bench = Bench(listing(TWO_LINES + PROMPT, free=74), free=True)
    capture = bench.capture()
    assert not capture.is_proven
    assert str(capture.doubt) == (
        "the board reports 74 bytes free instead of the 84 that its listing leaves"
    )
    assert bench.lists == capture.count == 5
    assert [event for event in bench.events if isinstance(event, Warned)]


def test_an_answer_without_a_number_is_no_witness() -> None:
    """It neither proves nor contradicts; that it was not understood is told."""
    bench = Bench(listing(TWO_LINES + PROMPT), free=True)
    capture = bench.capture()
    assert (sorted(capture.lines), capture.is_proven) == ([10, 20], True)
    assert "holds no number" in next(e.text for e in bench.events if isinstance(e, Warned))


@pytest.mark.parametrize("row", [b"READY\r\n", b"WHAT?\r\n", b"-- more --\r\n"])
@pytest.mark.parametrize("place", ["before", "behind"])
def test_a_row_that_nobody_can_explain_may_hide_a_line(row: bytes, place: str) -> None:
    """A listing may have been cut short by it. Where the free memory agrees, it was not."""
    answer = (row + TWO_LINES if place == "before" else TWO_LINES + row) + PROMPT
    with pytest.raises(NotKnownError, match="may be missing") as caught:
        Bench(listing(answer)).capture()
    assert "answer_rows" in in_commands(caught.value.advice)
    assert sorted(Bench(listing(answer, free=84), free=True).capture().lines) == [10, 20]


def test_a_question_that_is_damaged_each_time_is_given_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """All readings agree, and each time what asks for the free memory may have become a line."""
    bench = Bench(listing(TWO_LINES, free=100 - 16), free=True)
    ask = Dialogue.free_memory

    def damaged(dialogue: Dialogue) -> int | None:
        dialogue.evidence.disturbed()
        return ask(dialogue)

    monkeypatch.setattr(Dialogue, "free_memory", damaged)
    with pytest.raises(ReadBackError, match="something disturbed each check of it"):
        bench.capture()
    assert bench.lists == MOST_CAPTURES


@pytest.mark.parametrize(
    ("rows", "told"),
    [((), "answered LIST without a listing:"), (("WHAT?",), 'answered LIST with "WHAT?", which')],
)
def test_a_board_that_does_not_list_is_told_in_a_whole_sentence(
    rows: tuple[str, ...], told: str
) -> None:
    """Where its answers were no words at all, the sentence does not call nothing a listing."""
    bench = Bench(lambda _: b"")
    readings = [Reading({}, said=rows, heard_right=False)]
    with pytest.raises(NoListingError, match=re.escape(told)):
        check_empty_by_memory(bench.dialogue, readings)
