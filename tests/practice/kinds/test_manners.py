"""What the kinds do that the measured dialogues do not show, each by its own habit."""

from __future__ import annotations

import pytest
from kind_board import KindBoard

from hostlink.board.profile.file import find_profile
from hostlink.practice.kind import (
    BoardKind,
    KindLanguage,
    KindShelf,
    KindStorage,
    Messages,
    literal,
)
from hostlink.practice.kind_file import find_kind
from hostlink.practice.machine import Machine
from hostlink.practice.settings import BoardSettings


def test_a_listing_is_paged_and_only_the_key_goes_on() -> None:
    """Ten rows, then the page prompt; another key does nothing, the blank goes on."""
    board = KindBoard("paging")
    for number in range(1, 26):
        board.enter(b"%d END" % number)
    first = board.say(b"LIST\r")
    assert first.endswith(b"10 END\r\n(blank for more)")
    assert board.say(b"x\r") == b""
    second = board.say(b" ")
    assert second.startswith(b"\r\n11 END\r\n")
    assert second.endswith(b"20 END\r\n(blank for more)")
    assert board.say(b" ").endswith(b"25 END\r\n=> ")


def test_the_interrupt_ends_a_paged_listing() -> None:
    """At the page prompt the board goes back to its prompt."""
    board = KindBoard("paging")
    for number in range(1, 26):
        board.enter(b"%d END" % number)
    board.say(b"LIST\r")
    assert board.say(b"\x03") == b"\r\nended\r\n=> "


def test_names_may_have_to_stand_in_quotes() -> None:
    """A stored program is named in quotes there, and a bare name is refused."""
    board = KindBoard("paging")
    board.enter(b"10 END")
    assert board.enter(b"KEEP TEA").startswith(b"KEEP TEA\r\ncannot: a name is")
    assert board.enter(b'KEEP "TEA"', b"KEPT") == b'KEEP "TEA"\r\n=> KEPT\r\nTEA 6\r\n=> '
    board.enter(b"NEW", b'BRING "TEA"')
    assert board.lines == {10: b"END"}


def test_without_echo_only_answers_come_back() -> None:
    """Neither characters nor line ends; the prompt says that a line was stored."""
    board = KindBoard("unechoed")
    assert board.enter(b"10 PRINT 1", b"LIST", b"RUN") == b". 10 PRINT 1\r\n.  1\r\n. "


def test_without_a_prompt_the_echo_of_the_line_end_comes_after_storing() -> None:
    """The characters come at once, the line end when the line is in memory."""
    board = KindBoard("unprompted", line_ms=500.0)
    assert board.say(b"10 PRINT 1\r", 0.3) == b"10 PRINT 1"
    assert board.lines == {}
    assert board.wait(0.5) == b"\r\n"
    assert board.lines == {10: b"PRINT 1"}


def test_two_questions_are_asked_and_anything_but_a_number_asks_again() -> None:
    """Nothing else works before both are answered; the program is lost by then."""
    board = KindBoard("asking")
    board.enter(b"10 PRINT 1")
    assert board.restart() == b"MEMORY? "
    assert board.enter(b"LIST", b"?") == b"LIST\r\nMEMORY? ?\r\nMEMORY? "
    assert board.enter(b"8191") == b"8191\r\nCOLUMNS? "
    assert board.enter(b"").endswith(b"BYTES LEFT\r\n\r\nEVENING CLASS BASIC\r\n\r\nOK\r\n")
    assert board.enter(b"LIST") == b"LIST\r\n\r\nOK\r\n"


def test_a_board_never_answered_waits_at_its_question() -> None:
    """Switched on and opened without a restart, it has asked and waits; so it does after one."""
    kind = BoardKind(messages=Messages(questions=("N? ", "M? "), greeting="on{end}"))
    machine = Machine(kind=kind)
    machine.run_until(1.0)
    assert machine.host_reads(1.0, 99) == b"N? "
    machine.host_sends(b"1\r2\r", 1.0)
    machine.run_until(2.0)
    assert machine.host_reads(2.0, 99) == b"1\r\nM? 2\r\non\r\n+ "
    machine.restart(2.0)
    machine.run_until(9.0)
    assert machine.host_reads(9.0, 99) == b"N? "


def test_rows_may_begin_with_their_line_end() -> None:
    """And the top bit of a letter in an error comes through."""
    board = KindBoard("asking")
    board.enter(b"10 PRINT 1", b"200 END")
    assert board.enter(b"LIST") == b"LIST\r\n\r\n 10 PRINT 1\r\n 200 END\r\nOK\r\n"
    assert board.enter(b"FROB") == b"FROB\r\n\r\n?FOR\xcd FAULT\r\nOK\r\n"


def test_numbers_are_aligned_and_blanks_behind_them_kept() -> None:
    """The text stands as it was typed behind its number; the board's own rows end with LF CR."""
    board = KindBoard("aligned")
    board.enter(b"5 REM a", b"10   PRINT 7", b"1000PRINT 7")
    rows = b"    5 REM a\n\r   10   PRINT 7\n\r 1000PRINT 7\n\r>"
    assert board.enter(b"LIST") == b"LIST\r\n" + rows


def test_a_listing_may_stand_between_two_rows_of_words() -> None:
    """An empty one has both as well; each number has a colon behind it."""
    board = KindBoard("framed")
    assert board.enter(b"LIST") == b"LIST\r\nPROGRAM\r\nEND OF PROGRAM\r\nboard: "
    board.enter(b"10 PRINT 1", b"200 END")
    rows = b"   10: PRINT 1\r\n  200: END\r\n"
    assert board.enter(b"LIST") == b"LIST\r\nPROGRAM\r\n" + rows + b"END OF PROGRAM\r\nboard: "


def test_long_rows_go_on_in_the_next_one() -> None:
    """33 columns, then the rest behind six blanks, until nothing is left."""
    board = KindBoard("narrow")
    text = b'PRINT "' + bytes(range(65, 91)) * 2 + b'"'
    board.enter(b"10 " + text)
    listed = board.enter(b"LIST").split(b"\r")
    assert listed[:2] == [b"LIST", b"   10 " + text[:27]]
    assert listed[2] == b"      " + text[27:54]
    assert listed[3] == b"      " + text[54:]
    assert board.lines == {10: text}


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("narrow", b"10 FROB\r*** NOT BASIC\r>"),
        ("strict", b"10 FROB\r\n\r\nTYPED: 10 FROB\r\nNot a statement\r\n>"),
    ],
)
def test_a_line_may_be_checked_as_it_is_typed(name: str, said: bytes) -> None:
    """What is no statement is refused; the line that was there stays."""
    board = KindBoard(name)
    board.enter(b"10 PRINT 1")
    assert board.enter(b"10 FROB") == said
    assert board.lines == {10: b"PRINT 1"}


def test_a_line_that_is_too_long_may_be_given_up_as_a_whole() -> None:
    """At the 128th character it is gone; what follows is another line."""
    board = KindBoard("narrow")
    said = board.say(b"10 REM " + b"A" * 120, 30.0)
    assert said.startswith(b"10 REM AAA")
    board.say(b"A", 1.0)
    board.enter(b"20 END")
    assert 10 not in board.lines


@pytest.mark.parametrize("name", ["strict", "aligned"])
def test_the_interrupt_key_may_be_escape(name: str) -> None:
    """3 stops nothing there, 27 does, and the board is at its prompt."""
    board = KindBoard(name, statement_ms=20.0)
    board.enter(b"10 GOTO 10")
    board.enter(b"RUN", seconds=1.0)
    assert b">" not in board.say(b"\x03", 1.0)
    assert board.say(b"\x1b", 2.0).endswith(b">")


def test_an_empty_line_may_be_answered_with_ok() -> None:
    """Where each prompt has its OK, an empty line has one too."""
    assert KindBoard("strict").enter(b"") == b"\r\n\r\nOK\r\n>"


def test_the_tiny_board_has_nothing_to_ask_and_loses_what_comes_while_it_stores() -> None:
    """No word for the free memory or the EEPROM; a second line sent at once is damaged."""
    board = KindBoard("tiny")
    for word in (b"PRINT ROOM()", b"MEM", b"STOW A", b"SHELF"):
        assert b"error: " in board.enter(word), word
    board.say(b"10 PRINT 1\r20 PRINT 2\r")
    assert board.machine.overruns > 0
    assert board.lines.get(20) != b"PRINT 2"


def test_the_tiny_board_is_what_the_profile_of_that_name_describes() -> None:
    """Where the profile says how a board talks or stores, the kind does so."""
    profile, kind = find_profile("tiny"), find_kind("tiny")
    talk, form, storage = profile.talk, profile.rules.form, profile.rules.storage
    for name in (
        *("baud", "echo", "line_end", "reply_end", "prompt", "receive_buffer"),
        *("line_cancel", "erase", "interrupt"),
    ):
        assert getattr(talk, name) == getattr(kind.settings, name), name
    assert talk.line_ms >= kind.settings.line_ms
    assert form.longest_line == kind.settings.longest_line
    assert (form.first_line, form.last_line) == (kind.storage.first_line, kind.storage.last_line)
    assert (storage.kind, storage.program_bytes) == ("text", kind.settings.program_bytes)
    assert storage.number_bytes + storage.end_bytes == (
        kind.storage.number_bytes + kind.storage.end_bytes
    )
    assert profile.commands.free_memory == kind.language.free == ""


def test_an_eeprom_wears_out() -> None:
    """After its life a slot holds one byte wrong, each time it is written."""
    board = KindBoard(BoardKind(shelf=KindShelf(life=2)))
    board.enter(b"10 PRINT 1")
    for _ in range(2):
        board.enter(b"STOW A")
        assert board.machine.basic.eeprom["A"] == {10: b"PRINT 1"}
    board.enter(b"STOW A", b"FETCH A")
    assert board.lines == {10: b"PRINT ?"}


def test_a_kind_can_be_built_in_code() -> None:
    """A few values make another board; what they do not say is the practice board's manner."""
    kind = BoardKind(
        "garden",
        settings=BoardSettings(prompt=b"] ", reply_end=b"\n", program_bytes=80),
        storage=KindStorage(case="all", length_bytes=1),
        messages=Messages(greeting=literal("{garden}") + " {free}{end}", done="done{end}"),
        language=KindLanguage(free="LEFT()", number="bare"),
    )
    board = KindBoard(kind)
    assert board.restart() == b"{garden} 80\n] "
    assert board.enter(b"10 rem hi") == b"10 rem hi\n] "
    assert board.enter(b"LIST") == b"LIST\n10 REM HI\ndone\n] "
    assert board.reported_free() == 80 - 2 - 1 - 6 - 1
