"""Talking to a board: getting to its prompt, commands, captures, and board output that is odd."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hostlink.board.dialogue.events import Captured, Warned
from hostlink.board.dialogue.evidence import DamageSign
from hostlink.board.dialogue.idle_rows import is_broken
from hostlink.board.dialogue.next_step import MOST_CAPTURES
from hostlink.board.dialogue.reading import Reading, read_listing, rows_of
from hostlink.board.profile.model import Commands, Profile, Talk
from hostlink.board.profile.pacing import pacing_of
from hostlink.cli.ways import in_commands
from hostlink.errors import (
    ExitStatus,
    LinkError,
    LinkReason,
    NotKnownError,
    ReadBackError,
    RefusedError,
)
from hostlink.link.exchange import Exchange
from hostlink.link.pacing import Pacing
from hostlink.link.regain import Regain
from hostlink.link.typed import Outcome
from hostlink.listing.rules import Form, Rules
from hostlink.practice.faults import Faults
from hostlink.practice.settings import BoardSettings
from hostlink.words import safe

Build = Callable[..., Any]
COUNT = "10 PRINT 1\n20 PRINT 2\n30 GOTO 10\n"
FOREVER = "10 PRINT A\n20 GOTO 10\n"

# --- attaching -----------------------------------------------------------------------------------


@pytest.mark.parametrize("line_done", ["echo", "prompt", "after-prompt"])
@pytest.mark.parametrize("baud", [2400, 115200])
def test_attaching_finds_the_prompt_and_touches_nothing(
    bench: Build, baud: int, line_done: str
) -> None:
    """Attaching to a board at its prompt leaves its program as it was."""
    b = bench(BoardSettings(baud=baud, line_done=line_done))
    b.put(COUNT)
    before = b.held
    b.dialogue.attach()
    assert b.held == before
    assert len(before) == 3


def test_attaching_abandons_a_half_typed_line(bench: Build) -> None:
    """What somebody left on the board's line is cancelled and not entered."""
    b = bench()
    b.put(COUNT)
    b.wire.write(b"20 END OF")
    b.dialogue.attach()
    assert b.held[20] == "PRINT 2"
    assert b.dialogue.ask("PRINT 7").strip() == "7"


def test_a_silent_board_is_called_silent(bench: Build) -> None:
    """No byte back: the message names the speed and says to check supply, cable, port, speed."""
    b = bench(BoardSettings(echo=False, prompt=b""), echo=True, prompt=b"+ ")
    with pytest.raises(LinkError) as caught:
        b.dialogue.attach()
    assert caught.value.reason is LinkReason.SILENT
    assert "silent" in caught.value.what
    assert "57600 baud" in caught.value.what
    assert "--baud" in in_commands(caught.value.advice)
    assert "--port" in in_commands(caught.value.advice)
    assert "not touched" in caught.value.kept
    assert caught.value.status is ExitStatus.LINK_FAILED


@pytest.mark.parametrize(
    ("host", "board"), [(9600, 2400), (57600, 9600), (115200, 9600), (115200, 57600)]
)
def test_a_wrong_speed_says_to_try_another(bench: Build, host: int, board: int) -> None:
    """At the wrong speed nothing readable comes back; the advice is --baud."""
    b = bench(BoardSettings(baud=board), host_baud=host, baud=host)
    b.put(COUNT)
    with pytest.raises(LinkError) as caught:
        b.dialogue.attach()
    assert caught.value.reason in (LinkReason.UNREADABLE, LinkReason.SILENT)
    assert "--baud" in in_commands(caught.value.advice)
    assert f"{host} baud" in caught.value.what
    assert len(b.held) == 3


def test_a_running_program_is_left_running_without_consent(bench: Build) -> None:
    """A running program is told of, with what it last sent, and goes on running."""
    b = bench()
    b.put(FOREVER)
    b.wire.write(b"RUN\r")
    with pytest.raises(LinkError) as caught:
        b.dialogue.attach()
    assert caught.value.reason is LinkReason.RUNNING
    assert "--stop-running" in in_commands(caught.value.advice)
    assert "0\\x0d\\x0a 0" in caught.value.what
    heard = b.wire.health.bytes_in
    b.wire.receive(b.wire.now() + 0.5)
    assert b.wire.health.bytes_in > heard


def test_a_running_program_is_stopped_with_consent(bench: Build) -> None:
    """With consent the program is interrupted and its text stays."""
    b = bench()
    b.put(FOREVER)
    b.wire.write(b"RUN\r")
    b.dialogue.attach(may_interrupt=True)
    assert b.dialogue.capture().count == 2
    assert len(b.held) == 2


def test_a_program_waiting_for_input_is_not_answered(bench: Build) -> None:
    """A program in INPUT is told of; without consent it is not stopped and not fed."""
    b = bench()
    b.put('5 PRINT "DEPTH"\n10 INPUT A\n20 PRINT A\n')
    b.wire.write(b"RUN\r")
    with pytest.raises(LinkError) as caught:
        b.dialogue.attach()
    assert caught.value.reason is LinkReason.RUNNING
    assert "waiting for input" in caught.value.what
    b.wire.write(b"42\r")
    b.dialogue.attach()  # the program took the answer, printed it and ended
    assert b.dialogue.ask("PRINT A").strip() == "42"


def test_a_program_waiting_for_input_is_stopped_with_consent(bench: Build) -> None:
    """With consent it is interrupted, not answered with a blank."""
    b = bench()
    b.put("10 LET A=7\n20 INPUT A\n30 LET A=9\n")
    b.wire.write(b"RUN\r")
    b.dialogue.attach(may_interrupt=True)
    assert b.dialogue.ask("PRINT A").strip() == "7"


def test_another_prompt_says_to_name_the_profile(bench: Build) -> None:
    """A board that shows a prompt of another profile is not mistaken for one of this."""
    b = bench(BoardSettings(prompt=b"> "), prompt=b"+ ")
    with pytest.raises(LinkError) as caught:
        b.dialogue.attach()
    assert "prompt of profile practice" in caught.value.what
    assert "--profile" in in_commands(caught.value.advice)


def test_a_flooding_board_ends_the_attempt(bench: Build) -> None:
    """A board that sends without end is an error within seconds, with or without consent."""
    for consent in (False, True):
        b = bench(None, Faults(flood_after_bytes=1))
        b.wire.write(b"\r")
        with pytest.raises(LinkError):
            b.dialogue.attach(may_interrupt=consent)
        assert b.wire.now() < 30


# --- restarts ------------------------------------------------------------------------------------


def test_a_restart_is_noticed_by_its_banner(bench: Build) -> None:
    """The banner may come at any time; it is told once, and an attach starts afresh."""
    b = bench()
    b.dialogue.attach()
    assert not b.dialogue.restarted()
    b.wire.port.dtr = False
    b.wire.port.dtr = True
    b.dialogue.regain(may_interrupt=False)
    assert b.wire.health.restarts == 1
    assert b.dialogue.restarted()
    assert not b.dialogue.restarted()


@pytest.mark.parametrize("restart_ms", [200.0, 2000.0, 6000.0])
def test_a_board_that_restarts_on_open_is_waited_for(bench: Build, restart_ms: float) -> None:
    """Opening restarts this board; attaching waits for its prompt as long as the profile says."""
    b = bench(BoardSettings(restarts_on_open=True, restart_ms=restart_ms))
    b.dialogue.attach()
    assert b.wire.health.restarts == 1
    assert not b.dialogue.restarted()
    assert b.dialogue.ask("PRINT 1").strip() == "1"


# --- commands ------------------------------------------------------------------------------------


def test_a_command_is_answered_and_its_prompt_left_out(bench: Build) -> None:
    """The answer is what stands between the command and the next prompt."""
    b = bench()
    b.dialogue.attach()
    assert rows_of(b.dialogue.ask("PRINT 6*7")) == [" 42"]


def test_free_memory_is_the_boards_own_figure(bench: Build) -> None:
    """999 bytes at first, and 2 + text + 1 less for each line; None where it cannot be asked."""
    b = bench()
    b.dialogue.attach()
    assert b.dialogue.free_memory() == 999
    b.put("10 PRINT 1\n")
    assert b.dialogue.free_memory() == 999 - 2 - len("PRINT 1") - 1
    silent = bench(free_memory="")
    silent.dialogue.attach()
    assert silent.dialogue.free_memory() is None
    odd = bench(free_memory='PRINT "MUCH"')
    odd.dialogue.attach()
    assert odd.dialogue.free_memory() is None


def test_a_stored_program_is_recalled_and_listed(bench: Build) -> None:
    """Store, clear and recall by the profile's words bring the same program back."""
    words = Commands(store="STOW {name}", recall="FETCH {name}", stored="SHELF")
    b = bench(commands=words)
    b.dialogue.attach()
    b.put(COUNT)
    before = b.held
    b.dialogue.ask(b.dialogue.command_text("store").format(name="TIDE"))
    b.dialogue.clear()
    assert b.held == {}
    b.dialogue.ask(b.dialogue.command_text("recall").format(name="TIDE"))
    assert b.held == before
    assert "TIDE" in b.machine.basic.eeprom


@pytest.mark.parametrize(
    ("word", "what"), [("store", "store a program"), ("clear", "clear the program memory")]
)
def test_what_a_board_cannot_do_is_refused(bench: Build, word: str, what: str) -> None:
    """A command that the profile leaves empty is refused before anything is sent."""
    b = bench(commands=Commands(clear=""))
    out = b.wire.health.bytes_out
    with pytest.raises(RefusedError, match=f"No command to {what} is known"):
        b.dialogue.command_text(word)
    assert b.wire.health.bytes_out == out


def test_an_answer_without_end_is_an_error_and_no_hang(bench: Build) -> None:
    """A flood in answer to a command ends with a clear error and bounded memory."""
    b = bench(None, Faults(flood_after_bytes=20))
    b.dialogue.attach()
    with pytest.raises(LinkError) as caught:
        for _ in range(20):
            b.dialogue.ask("PRINT 1")
    assert caught.value.reason in (LinkReason.FLOODING, LinkReason.DAMAGED)


def test_a_board_that_falls_silent_is_an_error_and_no_hang(bench: Build) -> None:
    """A board whose processor stops for ever is told of in the end."""
    b = bench(None, Faults(stall_every_bytes=12, stall_s=1e6))
    with pytest.raises(LinkError) as caught:
        b.dialogue.attach()
        for _ in range(20):
            b.dialogue.ask("PRINT 1")
    assert caught.value.reason is LinkReason.SILENT
    assert "wire damages" not in caught.value.what
    assert b.wire.now() < 600


def test_an_unplugged_board_is_gone(bench: Build) -> None:
    """Unplugging in the middle of a listing says so."""
    b = bench(None, Faults(unplug_after_bytes=30))
    b.put(COUNT)
    b.dialogue.attach()
    with pytest.raises(LinkError) as caught:
        for _ in range(20):
            b.dialogue.read_listing()
    assert caught.value.reason is LinkReason.GONE


def test_the_wake_of_a_flooded_wait_is_not_before_its_end() -> None:
    """3.754 + 2 - 3.754 is a little less than 2 in binary: the wait ends anyway."""
    began = 3.754
    assert (began + 2.0) - began < 2.0
    core = Regain(Pacing(), may_interrupt=False)
    core.step(began, b"")
    step = core.step(began + 2.0, b"A")
    assert core.done or (step.wake is not None and step.wake > began + 2.0)


def test_a_lost_prompt_is_asked_for_again_without_echo() -> None:
    """The prompt's blank is lost; without echo the next prompt stands right behind the rest."""
    pacing = Pacing(echo=False, prompt=b"+ ")
    core = Exchange(b"LIST", pacing)
    assert core.step(0.0, b"").write == b"LIST\r"
    step = core.step(0.1, b"10 PRINT 1\r\n+")
    while not step.write and not core.done:
        assert step.wake is not None
        step = core.step(step.wake, b"")
    assert step.write == b"\r"
    step = core.step(9.0, b"+ ")
    assert step.wake is not None
    core.step(step.wake, b"")
    assert core.outcome is Outcome.ANSWERED
    assert core.answer == b"10 PRINT 1\r\n++ "


# --- captures ------------------------------------------------------------------------------------


def test_promise_3_saved_means_proven_two_captures_on_a_clean_wire(bench: Build) -> None:
    """On a clean wire a capture is two equal readings, and the count is told. While too little was
    heard to call it clean it is three."""
    b = bench()
    b.dialogue.attach()
    b.put(COUNT)
    for count, heard in ((3, 0), (2, 1000)):
        b.wire.health.bytes_in = heard
        result = b.dialogue.capture()
        assert {n: line.text for n, line in result.lines.items()} == b.held
        assert (result.count, result.is_proven) == (count, True)
    assert [event.count for event in b.told(Captured)] == [1, 2, 3, 1, 2]


def test_promise_3_saved_means_proven_free_memory_is_a_witness(bench: Build) -> None:
    """Where free memory contradicts two equal captures, two more are taken; a contradiction that
    stays is never outvoted, and the capture says so with both figures."""
    b = bench(free_memory="PRINT ROOM()-1")
    b.dialogue.attach()
    b.put(COUNT)
    b.wire.health.bytes_in = 1000
    result = b.dialogue.capture()
    assert result.count == 4
    assert not result.is_proven
    assert result.doubt is not None
    assert result.doubt.expected == result.doubt.reported + 1
    assert len(b.told(Warned)) == 1
    assert "bytes free" in b.told(Warned)[0].text


def test_promise_3_saved_means_proven_a_witness_may_have_been_misheard(bench: Build) -> None:
    """Three damaged answers about free memory make a doubt, and the next right one ends it."""
    b = bench()
    b.dialogue.attach()
    b.put(COUNT)
    b.wire.health.bytes_in = 1000
    right, asked = b.dialogue.free_memory, []

    def misheard() -> int | None:
        asked.append(1)
        return None if len(asked) <= 3 else right()

    b.dialogue.free_memory = misheard
    result = b.dialogue.capture()
    assert (result.count, len(asked), len(b.told(Warned))) == (3, 4, 1)


@pytest.mark.parametrize("lost", [[0], [1], [0, 2], [2]])
def test_a_list_command_that_was_damaged_votes_on_no_line(bench: Build, lost: list[int]) -> None:
    """Some captures come back empty because the question was damaged: every line is still there,
    and the last capture is never an empty one."""
    b = bench()
    b.dialogue.attach()
    b.put(COUNT)
    b.dialogue.evidence.note(DamageSign.RETYPED)
    listed, asked = b.dialogue.read_listing, []

    def damaged() -> Reading:
        reading: Reading = listed()
        asked.append(not reading.lines)
        return Reading({}) if len(asked) - 1 in lost else reading

    b.dialogue.read_listing = damaged
    result = b.dialogue.capture()
    assert {n: line.text for n, line in result.lines.items()} == b.held
    assert len(asked) - 1 not in lost
    assert result.count == len(asked) - len(lost)


def test_a_command_stored_as_a_line_by_the_last_question_is_noticed(bench: Build) -> None:
    """The third `LIST` arrives as line 3: three captures would outvote it, and the board would keep
    it. It is looked at again, deleted, and the capture ends in words."""
    b = bench()
    b.dialogue.attach()
    b.put(COUNT)
    held = b.held
    b.dialogue.evidence.note(DamageSign.RETYPED)
    listed, asked = b.dialogue.read_listing, []

    def damaged() -> Reading:
        asked.append(1)
        if len(asked) == 3:
            b.put("3 IST\n" + COUNT)
        reading: Reading = listed()
        return reading

    b.dialogue.read_listing = damaged
    with pytest.raises(LinkError, match='"LIST" was stored as line 3'):
        b.dialogue.capture()
    assert b.held == held


def test_two_captures_that_lost_the_same_line_end_do_not_agree(bench: Build) -> None:
    """Damage joined line 20 to line 10 twice: the row that is no line is a
    doubt, and a third capture is taken."""
    b = bench(free_memory="")
    b.dialogue.attach()
    b.put(COUNT)
    real, asked = b.dialogue.exchange, []

    def joined(text: str, *more: Any) -> Exchange:
        core: Exchange = real(text, *more)
        asked.append(text)
        if len(asked) < 3:
            core.answer = core.answer.replace(b"\n20 ", bytes([150 + len(asked)]) + b"20 ")
        return core

    b.dialogue.exchange = joined
    result = b.dialogue.capture()
    assert {n: line.text for n, line in result.lines.items()} == b.held
    assert result.count > 2


@pytest.mark.parametrize("own", [True, False])
def test_a_command_after_a_digit_that_was_left_standing_is_noticed(bench: Build, own: bool) -> None:
    """The second `LIST` was entered behind a 5 that erasing left: line 5. Where
    the first capture has that line already, it is the program's own."""
    b = bench()
    b.dialogue.attach()
    b.put(("5 LIST\n" if own else "") + COUNT)
    held = b.held
    b.dialogue.evidence.note(DamageSign.RETYPED)
    listed, asked = b.dialogue.read_listing, []

    def damaged() -> Reading:
        asked.append(1)
        if len(asked) == 2 and not own:
            b.put("5 LIST\n" + COUNT)
        reading: Reading = listed()
        return reading

    b.dialogue.read_listing = damaged
    if own:
        assert list(b.dialogue.capture().lines) == list(held)
    else:
        with pytest.raises(LinkError, match='"LIST" was stored as line 5'):
            b.dialogue.capture()
    assert b.held == held


@pytest.fixture
def answering(bench: Build) -> Callable[..., Any]:
    """A dialogue whose board answers LIST so, the last answer for ever; and the questions."""

    def give(*answers: str) -> tuple[Any, list[str]]:
        b = bench(commands=Commands(error_words=("!",)))
        b.dialogue.attach()
        asked: list[str] = []

        def exchange(text: str, *_: Any) -> Exchange:
            asked.append(text)
            core = Exchange(text.encode(), b.dialogue.pacing)
            core.outcome = Outcome.ANSWERED
            core.answer = answers[min(len(asked), len(answers)) - 1].encode("latin-1")
            return core

        b.dialogue.exchange = exchange
        return b.dialogue, asked

    return give


@pytest.mark.parametrize(
    ("first", "second", "lines", "asked_for"),
    [
        ("\x8310 A=1\r\n20 END\r\n", " A=1\r\n20 END\r\n", [10, 20], 5),
        ("10 A=1\r\nx20 END\r\n", "10 A=1\r\n END\r\n", [10, 20], 5),
        ("TIDE\r\n10 A=1\r\n20 END\r\nOK\r\n",) * 2 + ([10, 20], 2),
    ],
)
def test_rows_around_a_listing_are_a_doubt_unless_they_are_the_same_each_time(
    answering: Callable[..., Any], first: str, second: str, lines: list[int], asked_for: int
) -> None:
    """Both captures lost the first line, or the last, each in its own way, and
    agreed on the rest. A board's own words before and behind its listing cost nothing where the
    profile names them."""
    dialogue, asked = answering(first, second, "10 A=1\r\n20 END\r\n")
    named = dataclasses.replace(dialogue.profile.commands, answer_rows=("TIDE", "OK"))
    dialogue.profile = dataclasses.replace(dialogue.profile, commands=named)
    dialogue.wire.health.bytes_in = 1000
    assert list(dialogue.capture().lines) == lines
    assert len(asked) == asked_for


def test_a_line_that_comes_again_and_again_is_not_outvoted_by_older_captures(
    answering: Callable[..., Any],
) -> None:
    """Line 3 came to be on the board after six captures; the eleventh hears another text
    of it. Six are against four, but what it shows was shown before."""
    before = [f"10 A=1\r\n20 {text}\r\n" for text in "abcdef"]
    since = ["3 X\r\n10 A=1\r\n20 END\r\n"] * 4
    heard = "3 Y\r\n10 A=1\r\n20 END\r\n"
    dialogue, asked = answering(*before, *since, heard, since[0])
    dialogue.wire.health.bytes_in = 100_000
    assert list(dialogue.capture().lines) == [3, 10, 20]
    assert len(asked) > 11


@pytest.mark.parametrize(("line", "deleted"), [("7 IST", ["7"]), ("7 LIST", [])])
def test_where_no_captures_agree_a_command_of_ours_is_deleted_all_the_same(
    answering: Callable[..., Any], line: str, deleted: list[str]
) -> None:
    """It was stored as line 7 and shows in most captures; a line of the user's
    own that damage made look like it once stays."""
    texts = [f"{line}\r\n10 A={n}\r\n" for n in range(24)]
    texts[5] = "7 IST\r\n10 A=1\r\n"
    dialogue, _ = answering(*texts)
    typed: list[str] = []
    listing = dialogue.exchange

    def exchange(text: str, *more: Any) -> Exchange:
        if text.isdigit():
            typed.append(text)
        core: Exchange = listing(text, *more)
        return core

    dialogue.exchange = exchange
    dialogue.typed.add("LIST")
    with pytest.raises(ReadBackError, match="24 captures of the board's program do not agree"):
        dialogue.capture()
    assert typed == deleted


def test_promise_3_saved_means_proven_doubt_before_asks_for_more(bench: Build) -> None:
    """Anything that disagreed since the port was opened costs a third capture, much of it five."""
    b = bench()
    b.dialogue.attach()
    b.put(COUNT)
    b.dialogue.evidence.note(DamageSign.RETYPED)
    b.wire.health.bytes_in += 100_000
    assert b.dialogue.capture().count == 3
    b.dialogue.evidence.note(DamageSign.RETYPED, 1000)
    assert b.dialogue.capture().count == 5


def test_promise_3_saved_means_proven_or_it_fails(bench: Build) -> None:
    """On a wire too bad to be read no capture is accepted; the numbers in doubt are named."""
    b = bench(BoardSettings(baud=115200))
    b.put("".join(f'{n} PRINT "{"TIDE " * 9}"\n' for n in range(10, 80, 10)))
    b.dialogue.attach()
    b.machine.faults = Faults(to_host=0.2)
    b.machine._out_damage = type(b.machine._out_damage)(0.2, 1)
    with pytest.raises((ReadBackError, LinkError)) as caught:
        b.dialogue.capture()
    assert in_commands(caught.value.advice)
    assert len(b.told(Captured)) <= MOST_CAPTURES


@pytest.mark.parametrize("banner", ["practice board,", ""])
def test_a_restart_between_captures_is_no_save_of_an_empty_board(bench: Build, banner: str) -> None:
    """The memory is lost between two readings: that is told, and the emptiness never wins."""
    b = bench(None, Faults(restart_after_bytes=12), banner=banner)
    b.put(COUNT)
    b.dialogue.attach()
    with pytest.raises(LinkError) as caught:
        for _ in range(3):
            assert b.dialogue.capture().lines
    assert caught.value.reason is LinkReason.RESTARTED
    assert b.held == {}


def test_a_program_of_no_lines_is_an_empty_capture(bench: Build) -> None:
    """An empty memory is captured as empty, twice, without an error."""
    b = bench()
    b.dialogue.attach()
    assert b.dialogue.capture().lines == {}


def test_a_listing_that_waits_for_a_key_is_told_with_where_it_stopped(bench: Build) -> None:
    """Where the profile knows of no pages: what stands there, and what finds it out."""
    b = bench(BoardSettings(page_lines=3, page_key=b"x"), page_prompt="", page_key=b"")
    b.put("10 A\n20 B\n30 C\n40 D\n50 E\n")
    b.dialogue.attach()
    with pytest.raises(LinkError) as caught:
        b.dialogue.ask("LIST")
    assert in_commands(caught.value.advice).startswith(
        'It stopped at "-- more --": if it waits for a key there'
    )


def test_a_board_that_pages_its_listing_gets_its_key(bench: Build) -> None:
    """A listing that waits for a key after each screen is captured whole."""
    b = bench(BoardSettings(page_lines=3))
    b.dialogue.attach()
    b.put("".join(f"{n} PRINT {n}\n" for n in range(10, 120, 10)))
    result = b.dialogue.capture()
    assert {n: line.text for n, line in result.lines.items()} == b.held
    assert len(result.lines) == 11


def test_a_line_of_many_prompts_does_not_end_a_listing(bench: Build) -> None:
    """Text that looks like the prompt, inside a line or as a row's start, ends nothing."""
    b = bench(BoardSettings(list_line_ms=20))
    b.dialogue.attach()
    b.put('10 PRINT "+ + + "\n20 REM + \n30 PRINT "+ "\n')
    assert {n: line.text for n, line in b.dialogue.capture().lines.items()} == b.held


# --- reading a listing ---------------------------------------------------------------------------


def reading(form: Form | None = None, **talk: Any) -> Profile:
    return Profile("red", talk=Talk(**talk), rules=Rules(form=form or Form()))


def test_rows_that_are_no_lines_are_kept_apart() -> None:
    """A heading is passed over; a row between lines, and one after the last, are told apart."""
    listed = read_listing("PROGRAM\r\n10 A\r\nCUT\r\n20 B\r\nOK\r\n", reading())
    assert [line.typed for line in listed.lines.values()] == ["10 A", "20 B"]
    assert listed.strays == ((10, "CUT"),)
    assert listed.after == ((20, "OK"),)


def test_a_number_that_comes_twice_was_damaged_once() -> None:
    """The second is a row that is no line: it hid what line 1 was."""
    listed = read_listing("1 RINT X\r\n90 END\r\n1\xf10 INPUT A\r\n", Profile("practice"))
    assert {n: line.text for n, line in listed.lines.items()} == {1: "RINT X", 90: "END"}
    assert listed.strays == ((1, "1\xf10 INPUT A"),)
    assert listed.order == ("1 RINT X", 90, "1\xf10 INPUT A")


def test_rows_that_the_profile_names_are_no_strays() -> None:
    """A row behind the listing is the board's; one that it sends by itself may cut a line."""
    profile = Profile(
        "red", talk=Talk(idle_chatter=("* tick",)), commands=Commands(answer_rows=("OK",))
    )
    listed = read_listing("10 A\r\n20 B\r\n OK\r\n", profile)
    assert (listed.strays, listed.after, is_broken(listed, profile)) == ((), (), False)
    for row in ("* tick", "\x1b[33m* tick\x1b[0m"):
        assert is_broken(read_listing(f"10 A\r\n{row}\r\n20 B\r\n OK\r\n", profile), profile)


def test_a_number_listed_without_text_is_a_stray() -> None:
    """A line that a board keeps without text cannot be typed again, so it is no line of ours."""
    form = Form(list_form="{number}: {text}")
    listed = read_listing("     10: A\r\n     20:   \r\n", reading(form))
    assert list(listed.lines) == [10]
    assert listed.strays == ((20, "     20:   "),)


@pytest.mark.no_cover
@given(st.text(), st.text(alphabet="0123456789 :AB\r\n\x1b"))
def test_any_answer_can_be_read(start: str, rest: str) -> None:
    """No text breaks the reading, and every row is a line, a stray, known, or before the first."""
    listed = read_listing(start + rest, reading())
    assert all(line.number == number and line.text for number, line in listed.lines.items())


def test_a_line_out_of_the_order_of_numbers_is_a_sign_of_damage(bench: Build) -> None:
    """Two captures damaged alike agree; but no board lists 660 between 50 and 70."""
    b = bench()
    b.dialogue.attach()
    b.put("".join(f'{10 * at} PRINT "TIDE {at} OF MANY"\n' for at in range(1, 26)))
    real, damaged = b.dialogue.exchange, iter([True, True])

    def doubling(command: str, *rest: Any) -> Exchange:
        core: Exchange = real(command, *rest)
        if command == "LIST" and next(damaged, False):
            core.answer = core.answer.replace(b"\n60 PRINT", b"\n660 PRINT")
        return core

    b.dialogue.exchange = doubling
    capture = b.dialogue.capture()
    assert sorted(capture.lines) == sorted(b.held)
    assert capture.count > 3


def wrapping(bench: Build, text: str) -> Any:
    """A board that lists one line in two rows, as a terminal of 30 columns does."""
    b = bench()
    b.dialogue.attach()
    b.put(text)
    real = b.dialogue.exchange

    def wrapped(command: str, *rest: Any) -> Exchange:
        core: Exchange = real(command, *rest)
        rows = rows_of(core.answer.decode("latin-1"))
        cut = [row[i : i + 30] for row in rows for i in range(0, len(row), 30)]
        core.answer = "\r\n".join(cut).encode("latin-1")
        return core

    b.dialogue.exchange = wrapped
    return b


def test_a_wrapped_line_is_not_saved_cut(bench: Build) -> None:
    """Two captures agree on the first half of a wrapped line: that is no proof, so no save."""
    long = 'PRINT "THE TIDE IS IN AT NOON AND OUT AT SIX"'
    b = wrapping(bench, f"10 {long}\n20 END\n")
    with pytest.raises(ReadBackError, match="At line 10 the board lists") as caught:
        b.dialogue.capture()
    assert "is still there" in caught.value.kept
    assert "list_form" in in_commands(caught.value.advice)


def test_a_row_behind_the_last_line_is_no_proof(bench: Build) -> None:
    """It may be the board's OK or the rest of the last line, so the listing is not known."""
    b = wrapping(bench, '10 END\n20 PRINT "THE TIDE IS IN AT NOON AND OUT"\n')
    b.dialogue.profile = Profile("practice")  # no free-memory question to find it out
    with pytest.raises(NotKnownError, match="ON AND OUT") as caught:
        b.dialogue.capture()
    assert "answer_rows" in in_commands(caught.value.advice)


# --- showing -------------------------------------------------------------------------------------


def test_hostile_output_is_shown_and_not_obeyed(bench: Build) -> None:
    """Escape sequences from a board reach a message as text."""
    b = bench(BoardSettings(prompt=b"\x1b[2J\x1b]0;ready when you are\x07> "), prompt=b"+ ")
    with pytest.raises(LinkError) as caught:
        b.dialogue.attach()
    assert "\x1b" not in str(caught.value)
    assert "\\x1b[2J" in str(caught.value)


@given(st.text())
def test_shown_text_holds_nothing_that_a_terminal_obeys(text: str) -> None:
    """Whatever a board sends, what is shown is printable, and printable text stays as it is."""
    assert safe(text).isprintable()
    if text.isprintable():
        assert safe(text) == text


def test_the_link_sees_a_profile_in_seconds() -> None:
    """Milliseconds become seconds, and the page prompt bytes."""
    pacing = pacing_of(reading(line_ms=15, char_ms=2, page_prompt="more", flow="xon-xoff"))
    assert (pacing.line_s, pacing.char_s, pacing.page_prompt) == (0.015, 0.002, b"more")
    assert pacing.xon_xoff
