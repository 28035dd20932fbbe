"""Recognising how a board talks, from the dialogues of boards as they are.

The answers below are bytes measured on interpreters that nobody here wrote.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import Any

import pytest
from scripted_board import ScriptedBoard

from hostlink.board.dialogue.heard_talk import (
    HeardTalk,
    agrees,
    looks_like_text,
    parts_of,
    with_heard_talk,
)
from hostlink.board.dialogue.no_prompt_errors import prompt_changes
from hostlink.board.profile.file import find_profile
from hostlink.board.recognise import USUAL_SPEEDS, Recogniser
from hostlink.cli.ways import in_commands
from hostlink.errors import LinkError, LinkReason
from hostlink.link.clock import VirtualClock
from hostlink.link.wire import Wire
from hostlink.practice.uart import heard_at_other_speed, speeds_match

KINDS = tuple(find_profile(name) for name in ("capital", "palo-alto", "practice", "ready", "token"))
CAREFUL = find_profile("tiny")


@dataclass(frozen=True)
class Talk:
    """How one board talks. answers: to a direct command; others: to any other one."""

    blank: bytes
    answers: dict[str, bytes]
    others: bytes
    line_end: bytes = b"\r"
    reply_end: bytes = b"\r\n"
    echo: bool = True
    listing: bytes = field(default=b"")


K1 = Talk(
    b">",
    {
        "REM": b">",
        "MEM": b"1039 bytes free.\n\r1024 EEProm bytes total.\n\r1 EEProm bytes available.\n\r>",
    },
    b"What? \n\r>",
    reply_end=b"\n\r",
)
K2 = Talk(
    b"> ",
    {"REM": b"> ", "PRINT SIZE": b"1169\n> "},
    b"Syntax Error\n> ",
    line_end=b"\n",
    reply_end=b"\n",
)
K3 = Talk(
    b"",
    {"REM": b"\r\nReady\r\n", "PRINT FRE(0)": b"-17194\r\n\r\nReady\r\n"},
    b"\r\nSyntax Error\r\nReady\r\n",
)
# A second descendant of 1976: it says OK after an empty line too.
OK_ALWAYS = Talk(
    b"\r\nOK\r\n>",
    {"REM": b"\r\nOK\r\n>", "LIST": b"\r\nOK\r\n>"},
    b"YOU TYPE: QZ\r\nSyntax error\r\n\r\nOK\r\n>",
)
# A large BASIC of 1977: OK on a row, one byte above 127 in its error messages.
HIGH = Talk(b"", {"REM": b"\r\nOK\r\n", "LIST": b"\r\nOK\r\n"}, b"\r\n?S\xce ERROR\r\nOK\r\n")
# Prompts with a word, and lists numbers with a colon.
COLON = Talk(
    b"BASIC: ",
    {"REM": b"BASIC: ", "LIST": b"   10: PRINT 1\r\n  200: END\r\nBASIC: "},
    b"ERROR: no such word\r\nBASIC: ",
)
# Says READY behind its listing only.
TRAILER = Talk(
    b"> ",
    {
        "REM": b"> ",
        "LIST": b"LISTING\r\n10 PRINT 1\r\nREADY\r\n> ",
        "LIST 32000": b"LISTING\r\nREADY\r\n> ",
    },
    b"WHAT?\r\n> ",
)
TITLED = Talk(
    b"\x1b]0;BASIC\x07> ",  # sets the title of a window: an operating system command, 8.3.89
    {"REM": b"\x1b]0;BASIC\x07> ", "LIST": b"\x1b]0;BASIC\x07> "},
    b"WHAT?\r\n\x1b]0;BASIC\x07> ",
)
# Selects a colour for its prompt and puts it back behind it: ECMA-48, section 8.3.117.
COLOURED = Talk(
    b"\x1b[32m> \x1b[0m",
    {"REM": b"\x1b[32m> \x1b[0m", "LIST": b"10 PRINT 1\r\n\x1b[32m> \x1b[0m"},
    b"\x1b[31mWHAT?\x1b[0m\r\n\x1b[32m> \x1b[0m",
)
MUTE = Talk(b"! ", {"REM": b"! ", "LIST": b"! "}, b"ERR\r\n! ", echo=False)


class Bench:
    """A board that talks so, at a speed, and a recogniser at its wire."""

    def __init__(self, talk: Talk, baud: int = 9600, first: int = 9600) -> None:
        self.clock = VirtualClock()
        self.board = ScriptedBoard(
            self.clock,
            lambda line: talk.answers.get(line.strip("\r"), talk.others),
            echo=talk.echo,
            line_end=talk.line_end,
            reply_end=talk.reply_end,
            blank=talk.blank,
            baud=baud,
        )
        self.board.baudrate = first
        self.recogniser = Recogniser(Wire(self.board, self.clock), KINDS, CAREFUL)


@pytest.mark.parametrize(
    ("talk", "kind", "free"), [(K1, "capital", 1039), (K2, "token", 1169), (K3, "ready", 48342)]
)
@pytest.mark.parametrize("baud", [9600, 115200, 57600, 2400, 300])
def test_a_known_kind_is_recognised_at_any_usual_speed(
    talk: Talk, kind: str, free: int, baud: int
) -> None:
    """By its line ends, its prompts, how it refuses, and what it says of its memory."""
    bench = Bench(talk, baud)
    found = bench.recogniser.run()
    assert (found.profile.name, found.known, found.free) == (kind, True, free)
    assert found.profile.talk.baud == baud == bench.board.baudrate
    assert kind in found.sentence
    assert str(baud) in found.sentence
    if baud >= 9600:
        assert bench.clock.now() < 3.0


@pytest.mark.parametrize(
    ("talk", "prompt", "ready", "rows"),
    [
        (OK_ALWAYS, b">", b"", ("OK",)),
        (HIGH, b"", b"OK\r\n", ()),
        (COLON, b"BASIC: ", b"", ()),
        (TITLED, b"\x1b]0;BASIC\x07> ", b"", ()),
        (COLOURED, b"\x1b[32m> \x1b[0m", b"", ()),
        (TRAILER, b"> ", b"", ("LISTING", "READY")),
        (MUTE, b"! ", b"", ()),
    ],
)
def test_an_unknown_board_is_talked_to_as_it_was_heard(
    talk: Talk, prompt: bytes, ready: bytes, rows: tuple[str, ...]
) -> None:
    """With the careful kind's values for everything that was not heard, and no size assumed."""
    found = Bench(talk).recogniser.run()
    profile = found.profile
    assert not found.known
    assert (profile.talk.prompt, profile.talk.ready) == (prompt, ready)
    assert profile.commands.answer_rows == rows
    assert profile.talk.echo == talk.echo
    assert profile.rules.storage.program_bytes == 0
    assert (profile.talk.receive_buffer, profile.talk.line_window) == (0, 1)
    assert profile.talk.line_done == "after-prompt"


def test_the_listings_form_is_heard() -> None:
    """What stands between number and text; with one reading of a program of two lines."""
    found = Bench(COLON).recogniser.run()
    assert found.profile.rules.form.list_form == "{number}: {text}"


def test_a_listing_without_an_end_is_given_up() -> None:
    """As of a damaged program whose lines lead in a circle: it is no listing that stopped."""
    bench = Bench(replace(COLON, answers={**COLON.answers, "LIST": b"10 PRINT 1\r\n" * 40_000}))
    with pytest.raises(LinkError, match='does not stop sending after "LIST"') as raised:
        bench.recogniser.run()
    assert raised.value.reason is LinkReason.FLOODING
    assert bench.clock.now() < 65
    assert bench.board.typed == ["REM", "QZ", "LIST"]


def test_nothing_that_is_typed_changes_a_program() -> None:
    """No line begins with a digit, nothing is erased, and only questions are asked."""
    for talk in (K1, K2, K3, OK_ALWAYS, HIGH, COLON, TRAILER, MUTE):
        bench = Bench(talk)
        bench.recogniser.run()
        allowed = {"REM", "QZ", "LIST", "LIST 32000", "MEM", "PRINT SIZE", "PRINT FRE(0)"}
        typed = {line.strip("\r") for line in bench.board.typed}
        assert typed <= {*allowed, "PRINT ROOM()"}


def test_a_carriage_return_at_a_wrong_speed_makes_no_digit() -> None:
    """Whatever another usual speed makes of it, no line number is entered with the next one."""
    for sent in USUAL_SPEEDS:
        for heard in USUAL_SPEEDS:
            if not speeds_match(sent, heard):
                made = bytes(byte & 0x7F for _, byte in heard_at_other_speed(b"\r", sent, heard))
                assert not re.search(rb"[0-9]", made), (sent, heard)


def test_line_feeds_go_down_from_the_highest_speed() -> None:
    """A line feed makes a digit only at speeds above its own, which were tried before."""
    for sent in USUAL_SPEEDS:
        for heard in USUAL_SPEEDS:
            if not speeds_match(sent, heard):
                made = bytes(byte & 0x7F for _, byte in heard_at_other_speed(b"\n", sent, heard))
                assert heard > sent or not re.search(rb"[0-9]", made), (sent, heard)


def test_a_program_that_waits_for_an_answer_gets_no_more_than_one_empty_line() -> None:
    """It asks again; a board is told from it by nothing else, so it is refused in words."""
    bench = Bench(Talk(b"? ", {}, b"? "))
    with pytest.raises(LinkError, match=r'asks "\? "') as caught:
        bench.recogniser.run()
    assert caught.value.reason is LinkReason.RUNNING
    assert bench.board.typed == []


@pytest.mark.parametrize("question", [b"A:", b"B1? ", b"N$=", b"HOW MANY?"])
def test_what_asks_for_a_variable_is_no_prompt(question: bytes) -> None:
    """A program that waits for its input is not taken for a board of another kind."""
    bench = Bench(Talk(question, {}, question))
    with pytest.raises(LinkError, match="waiting for an answer") as caught:
        bench.recogniser.run()
    assert caught.value.reason is LinkReason.RUNNING


def test_the_sizes_of_a_kind_that_was_named_stand() -> None:
    """Where nobody named one, nothing is known of the memory of a board of no known kind."""
    tiny = find_profile("tiny")
    heard_talk = HeardTalk(9600, b"\r", True, b"\r\n", b"board: ")
    assert with_heard_talk(tiny, heard_talk, is_named=True).rules.storage.program_bytes == 999
    assert with_heard_talk(tiny, heard_talk, is_named=False).rules.storage.program_bytes == 0


def test_a_program_that_asks_like_a_board_at_its_start_gets_two_empty_lines_at_most() -> None:
    """A start question is answered; what asks the same again is a program."""
    bench = Bench(Talk(b"Memory size ?", {}, b"Memory size ?"))
    with pytest.raises(LinkError, match=r'asks "Memory size \?"') as caught:
        bench.recogniser.run()
    assert caught.value.reason is LinkReason.RUNNING
    assert bench.board.typed == []


def test_a_program_that_prints_is_left_alone() -> None:
    """Nothing is typed to a board that talks by itself."""
    bench = Bench(K1)
    bench.board._send(b"TICK TOCK\r\n" * 400)
    with pytest.raises(LinkError, match="A program is running") as caught:
        bench.recogniser.run()
    assert caught.value.reason is LinkReason.RUNNING
    assert bench.board.typed == []


def test_a_program_that_begins_to_print_meanwhile_is_told_soon() -> None:
    """It is listened to again, not asked at one speed after the other."""
    bench = Bench(K1)
    bench.board.answer = lambda _line: b"0123456789 " * 10_000
    with pytest.raises(LinkError, match="A program is running"):
        bench.recogniser.run()
    assert bench.clock.now() < 30


def test_a_silent_board_and_rubbish_are_told_apart() -> None:
    """Silence at every speed; or something that is no text at any."""
    bench = Bench(K1)
    bench.board.silent = True
    with pytest.raises(LinkError) as caught:
        bench.recogniser.run()
    assert caught.value.reason is LinkReason.SILENT
    bench = Bench(Talk(b"\xff\x00\x80", {}, b"\xfe\xfe"))
    with pytest.raises(LinkError) as caught:
        bench.recogniser.run()
    assert caught.value.reason is LinkReason.UNREADABLE


@pytest.mark.parametrize(
    ("answer", "end", "rows", "prompt"),
    [
        (b"\r\n> ", b"\r\n", (), b"> "),
        (b"\n\r>", b"\n\r", (), b">"),
        (b"\n> ", b"\n", (), b"> "),
        (b"\r\n", b"\r\n", (), b""),
        (b"+ ", b"", (), b"+ "),
        (b"\r\n\r\nOK\r\n>", b"\r\n", ("OK",), b">"),
        (b"\r\nok\r\n", b"\r\n", (), b"ok\r\n"),
        (b"\r>", b"\r", (), b">"),
    ],
)
def test_an_answer_to_an_empty_line_is_taken_apart(
    answer: bytes, end: bytes, rows: tuple[str, ...], prompt: bytes
) -> None:
    """Line end, rows, and the prompt, which may be a row of its own."""
    assert parts_of(answer) == (end, rows, prompt)


def test_a_kind_agrees_with_all_that_was_heard_or_not_at_all() -> None:
    """Another line end, prompt, or way of refusing is another kind."""
    heard_talk = HeardTalk(9600, b"\r", True, b"\n\r", b">", refusal=("What? ",))
    capital = find_profile("capital")
    assert agrees(capital, heard_talk)
    for change in (
        {"line_end": b"\n"},
        {"reply_end": b"\r\n"},
        {"prompt": b"> "},
        {"echo": False},
        {"refusal": ("Syntax Error",)},
        {"answer_rows": ("HELLO",)},
        {"ready": b"Ready\r\n"},
    ):
        values: Any = {
            **{name: getattr(heard_talk, name) for name in heard_talk.__slots__},
            **change,
        }
        assert not agrees(capital, HeardTalk(**values)), change


def test_text_may_hold_a_few_odd_bytes_in_a_message() -> None:
    """One in six; an answer to an empty line may hold none."""
    assert looks_like_text(b"?S\xce ERROR\r\n", strict=False)
    assert not looks_like_text(b"?S\xce ERROR\r\n")
    assert not looks_like_text(b"\xce\xce\xce\r\n", strict=False)
    assert not looks_like_text(b"")


def asking(answers: dict[str, bytes], blank: bytes) -> tuple[Wire, ScriptedBoard]:
    """A board that asks. answers: by what is typed, "" else. blank: to an empty line."""
    clock = VirtualClock()
    board = ScriptedBoard(clock, lambda line: answers.get(line, answers[""]), blank=blank)
    return Wire(board, clock), board


def test_a_question_that_takes_commands_as_answers_is_no_prompt() -> None:
    """With consent the usual keys are sent; where none stops the program that is said."""
    question = b"NUMBER? "
    for answers in (
        {"": b"NUMBER PLEASE\r\n" + question},
        {"REM": b"HELLO REM\r\n" + question, "": b"HELLO QZ\r\n" + question},
        {"": question},
    ):
        wire, board = asking(answers, question)
        with pytest.raises(LinkError, match="It was not interrupted: the key") as caught:
            Recogniser(wire, (), find_profile("tiny"), may_stop=True).run()
        assert 'asks "NUMBER? "' in caught.value.what
        assert "console" in in_commands(caught.value.advice)
        assert "LIST" not in board.typed


def test_one_row_that_answers_everything_does_not_say_that_the_board_is_ready() -> None:
    """A listing answered by that row would be an empty program."""
    for blank in (b"", b"ERROR\r\n"):
        wire, board = asking({"": b"\r\nERROR\r\n"}, blank)
        with pytest.raises(LinkError, match='asks "ERROR"') as caught:
            Recogniser(wire, KINDS, find_profile("tiny")).run()
        assert caught.value.reason is LinkReason.RUNNING
        assert caught.value.kept == "It was given empty lines, REM and QZ."
        assert set(board.typed) <= {"", "REM", "QZ"}


READY = b"READY\r\n"


@pytest.mark.parametrize("listing", [b"\r\n10 PRINT 1\r\n20 GOTO 10\r\n", b"\r\n"])
def test_a_board_that_refuses_remarks_is_known_by_its_listing(listing: bytes) -> None:
    """It answers REM as an unknown word; LIST shows lines, or nothing but that it is ready."""
    wire, _ = asking({"LIST": listing + READY, "": b"\r\n?SN ERROR\r\n" + READY}, READY)
    found = Recogniser(wire, KINDS, find_profile("tiny")).run()
    assert found.heard_talk.prompt == READY
    assert found.profile.commands.error_words == ("?SN ERROR",)


def test_a_program_that_repeats_its_question_is_no_board_that_refuses_remarks() -> None:
    """It answers LIST as it answers everything, or with what is no listing."""
    asked = b"\r\nHOW MANY\r\n"
    for answer in (b"\r\nREENTER", b"\r\nGAME OVER"):
        wire, _ = asking({"LIST": answer + asked, "": b"\r\nREENTER" + asked}, asked)
        with pytest.raises(LinkError, match='asks "HOW MANY"') as caught:
            Recogniser(wire, KINDS, find_profile("tiny")).run()
        assert caught.value.kept == "It was given empty lines, REM, QZ and LIST."


def test_a_prompt_that_looks_like_a_question_is_known_by_commands() -> None:
    """With consent: a remark is taken, and a word that is none is refused."""
    prompt = b"? "
    wire, _ = asking({"REM": prompt, "LIST": prompt, "": b"What?\r\n" + prompt}, prompt)
    found = Recogniser(wire, (), find_profile("tiny"), may_stop=True).run()
    assert found.heard_talk.prompt == prompt


def test_a_prompt_that_counts_is_named() -> None:
    """It differs each time in a number alone; the wiring is not to blame."""
    clock = VirtualClock()
    count = iter(range(1, 1000))
    board = ScriptedBoard(clock, lambda _: b"%d: " % next(count))
    enter = board._enter
    board._enter = lambda line: enter(line or "REM")  # type: ignore[method-assign]
    with pytest.raises(LinkError, match=r'changes: it was "\d+: ", then "\d+: "') as caught:
        Recogniser(Wire(board, clock), (), find_profile("tiny")).run()
    assert "wiring" not in in_commands(caught.value.advice)


def test_only_the_end_of_a_long_row_is_repeated() -> None:
    """A board can send 1,400 characters without a row end before it is asked again."""
    assert len(str(prompt_changes(b"A" * 1400, b"B" * 1400))) < 400
