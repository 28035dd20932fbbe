"""Recognising a board whose program prints a row now and then and answers nothing."""

from __future__ import annotations

import itertools
import re

import pytest
from scripted_board import ScriptedBoard
from ticking_board import TickingBoard

from hostlink.board.profile.file import find_profile
from hostlink.board.recognise import Recogniser
from hostlink.cli.ways import in_commands
from hostlink.errors import HostlinkError, LinkError, LinkReason, NotKnownError, ReadBackError
from hostlink.link.clock import VirtualClock
from hostlink.link.wire import Wire

RARELY = 7.0
STOP = 3  # ETX, control-C: ECMA-48 names the byte; that it stops a program is common practice


class PrintingBoard(ScriptedBoard):
    """A board whose program prints a row every `period` seconds until the stop key comes.

    anywhere: its rows are readable at each speed, as at a port without a speed of its own. A rare
    row comes for the first time when the board has been asked for a while.
    """

    def __init__(self, period: float, *, anywhere: bool = False) -> None:
        super().__init__(VirtualClock(), lambda _: b"WHAT?\r\n> ")
        self.period = period
        self.anywhere = anywhere
        self.keys = bytearray()
        self.rows = 0
        self.runs = True

    def wait_until(self, moment: float) -> None:
        while self.clock.now() < moment and not self.in_waiting:
            due = self.rows * self.period + (0.05 if self.period < RARELY else 3.05)
            if self.runs and due <= self.clock.now():
                self.rows += 1
                self._follow()
                self._send(b"TICK %d\r\n" % self.rows)
                continue
            next_row = due if self.runs else moment
            coming = self._coming[0][0] if self._coming else moment
            self.clock.advance_to(min(moment, next_row, coming))

    def write(self, data: bytes) -> int:
        self._follow()
        written: int = super().write(data)
        return written

    def _follow(self) -> None:
        self._baud = self.baudrate if self.anywhere else self._baud

    def _key(self, byte: int) -> None:
        self.keys.append(byte)
        if not self.runs:
            super()._key(byte)
        elif byte == STOP:
            self.runs = False
            self._send(b"\r\nBREAK IN 20\r\n> ")


def recogniser(board: ScriptedBoard, *, may_stop: bool = False) -> Recogniser:
    """A recogniser at the wire of a board of a kind that nobody knows."""
    return Recogniser(Wire(board, board.clock), (), find_profile("tiny"), may_stop=may_stop)


SLOW = [(0.2, False), (0.2, True), (1.0, False), (1.0, True), (3.0, False), (3.0, True)]
RARE = [(6.0, True), (10.0, True), (60.0, True)]


@pytest.mark.parametrize(("period", "anywhere"), [*SLOW, *RARE])
def test_a_program_that_prints_now_and_then_is_known(period: float, anywhere: bool) -> None:
    """Its last row is told, in less time than a meeting has; nothing but empty lines was sent."""
    board = PrintingBoard(period, anywhere=anywhere)
    with pytest.raises(LinkError, match=r'A program is running.* printed "TICK \d+"') as caught:
        recogniser(board).run()
    assert caught.value.reason is LinkReason.RUNNING
    assert board.clock.now() < 15
    assert board.runs
    assert not anywhere or re.fullmatch(rb"[\r\n]*", board.keys)


@pytest.mark.parametrize("baud", [9600, 115200, 57600])
def test_rows_ten_seconds_apart_are_heard_at_a_speed_of_their_own(baud: int) -> None:
    """A row that comes as rubbish shows that something prints; the next ones are waited for."""
    board = PrintingBoard(10.0)
    board._baud = baud
    with pytest.raises(LinkError, match=r'A program is running.* printed "TICK \d+"'):
        recogniser(board).run()
    assert board.clock.now() < 45
    board = PrintingBoard(10.0)
    board._baud = baud
    assert recogniser(board, may_stop=True).run().heard_talk.prompt == b"> "


def test_the_speeds_that_were_tried_are_told_where_others_were_not() -> None:
    """Three rows are heard at three speeds; which others there are is not known from that."""
    board = PrintingBoard(10.0)
    board._baud = 4800
    with pytest.raises(LinkError, match=r"9600, 115200, 57600 baud \(others were not tried\)"):
        recogniser(board).run()
    assert board.clock.now() < 45


@pytest.mark.parametrize(("period", "anywhere"), [*SLOW, *RARE])
def test_a_program_that_prints_now_and_then_is_stopped(period: float, anywhere: bool) -> None:
    """With consent it gets the interrupt, and the board is recognised at its prompt."""
    board = PrintingBoard(period, anywhere=anywhere)
    found = recogniser(board, may_stop=True).run()
    assert not board.runs
    assert found.heard_talk.prompt == b"> "


def test_one_row_is_told_also_where_the_time_is_over() -> None:
    """A limit of the whole job may end the search before a second row comes."""
    board = PrintingBoard(10.0, anywhere=True)
    wire = Wire(board, board.clock)

    def check(now: float) -> None:
        if now > 8.0:
            raise LinkError("Given up.", reason=LinkReason.TOO_LONG)

    wire.watch = check
    with pytest.raises(LinkError, match='printed "TICK 1"'):
        Recogniser(wire, (), find_profile("tiny")).run()


def test_rows_that_no_speed_makes_readable_are_no_answer() -> None:
    """Bytes that come although nothing is sent are not taken for a board at a wrong speed."""
    board = PrintingBoard(0.5)
    board._baud = 8123
    with pytest.raises(LinkError, match="although nothing is sent") as caught:
        recogniser(board).run()
    assert caught.value.reason is LinkReason.FLOODING


@pytest.mark.parametrize("period", [0.3, 0.5, 1.0, 1.3])
def test_rows_at_the_prompt_of_an_empty_board_are_named_and_the_advice_helps(period: float) -> None:
    with pytest.raises(HostlinkError) as caught:
        TickingBoard(period, b"").capture()
    advice = in_commands(caught.value.advice)
    assert "unless it begins with a number, name it as idle_chatter in its profile" in advice
    assert TickingBoard(period, b"").capture("TICK") == {}


@pytest.mark.parametrize("period", [0.3, 1.0])
def test_rows_that_the_profile_names_do_not_keep_a_listing_from_being_read(period: float) -> None:
    board = TickingBoard(period, b"10 PRINT 1\r\n20 END\r\n")
    assert board.capture("TICK ") == {10: "PRINT 1", 20: "END"}


def test_a_listing_with_a_named_row_in_a_line_does_not_count() -> None:
    """The row cuts line 20 at another place each time, so all readings agree on the others."""
    begin, line, end = b"10 PRINT 1\r\n", b"20 PRINT 22222222", b"\r\n30 END\r\n"
    cuts = itertools.cycle(range(1, len(line)))

    def broken() -> bytes:
        at = next(cuts)
        return begin + line[:at] + b"\r\nTICK\r\n> " + line[at:] + end

    board = TickingBoard(1e9, b"")
    board.answer = lambda typed: (broken() if typed == "LIST" else b"") + b"> "
    with pytest.raises(ReadBackError, match="a row that the board prints by itself"):
        board.capture("TICK")
    asked = itertools.count()
    board.answer = lambda typed: (
        (begin + line + end if next(asked) % 8 == 7 else broken()) if typed == "LIST" else b""
    ) + b"> "  # fmt: skip
    held = {10: "PRINT 1", 20: "PRINT 22222222", 30: "END"}
    assert board.capture("TICK") == held


LINES = [b"%d PRINT %d\r\n" % (number, number) for number in range(10, 100, 10)]


def test_a_row_like_a_line_is_not_kept_since_it_has_no_place_in_the_listings() -> None:
    """It cannot be named in a profile, and in each listing it stands one row further down."""
    places = itertools.count(2)
    board = TickingBoard(1e9, b"")

    def answer(typed: str) -> bytes:
        if typed != "LIST":
            return b"> "
        at = next(places)
        return b"".join([*LINES[:at], b"5 TICK\r\n", *LINES[at:], b"> "])

    board.answer = answer
    with pytest.raises(
        ReadBackError, match='"20 PRINT 20" before "5 TICK", out of order'
    ) as caught:
        board.capture()
    assert "is still there" in caught.value.kept
    assert caught.value.advice == "Stop what prints it, then try again."


def test_an_end_of_one_listing_before_the_next_is_damage_and_read_again() -> None:
    """The rows are lines and come once, in the wrong order, but in one listing of many."""
    listings = itertools.chain([LINES[6:] + LINES[:5]], itertools.repeat(LINES))
    board = TickingBoard(1e9, b"")
    board.answer = lambda typed: b"".join([*(next(listings) if typed == "LIST" else []), b"> "])
    assert list(board.capture()) == list(range(10, 100, 10))


def test_lines_in_colours_are_told_and_control_sequences_of_a_program_are_kept() -> None:
    """ECMA-48, 8.3.117 SGR. Around its number a sequence cannot belong to a line."""
    coloured = TickingBoard(1e9, b"\x1b[36m10 \x1b[0mPRINT 1\r\n\x1b[36m20\x1b[0m END\r\n")
    with pytest.raises(NotKnownError, match="with control sequences, as for colours"):
        coloured.capture()
    own = TickingBoard(1e9, b'10 PRINT "\x1b[36mSEA\x1b[0m"\r\n20 END\r\n')
    assert own.capture() == {10: 'PRINT "\x1b[36mSEA\x1b[0m"', 20: "END"}


def test_lines_that_always_come_in_an_odd_order_are_the_board_s_own_and_are_read() -> None:
    """As line numbers that are signed 16-bit values would be sorted."""
    board = TickingBoard(1e9, b"10 PRINT 1\r\n40 END\r\n30 PRINT 3\r\n50 PRINT 5\r\n")
    assert sorted(board.capture()) == [10, 30, 40, 50]


@pytest.mark.parametrize("period", [0.17, 0.2, 0.25, 0.3])
@pytest.mark.parametrize("row", [b"12:00", b"20.5", b"200 OK"])
def test_a_row_like_a_line_is_not_the_only_line_of_an_empty_board(
    row: bytes, period: float
) -> None:
    """It comes within each listing, and there is no other line to be out of order with."""
    with pytest.raises(HostlinkError):
        TickingBoard(period, b"", row).capture()


def test_an_only_line_is_read() -> None:
    assert TickingBoard(1e9, b"10 PRINT 1\r\n").capture() == {10: "PRINT 1"}
    assert TickingBoard(1.0, b"10 PRINT 1\r\n").capture("TICK") == {10: "PRINT 1"}
