"""Errors of BASIC in what was printed: how boards name the line, and what is no error.

The rows marked K1, K2, K3 were measured on three interpreters over a serial line, those of the
practice board come from its own code. Palo Alto's form: Dr. Dobb's Journal, May 1976, the error
routine, which repeats the line with a question mark at the fault.
"""

from __future__ import annotations

import dataclasses

import pytest

from hostlink.board.dialogue.reported_errors import ReportedError, find_reported_error
from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Profile
from hostlink.practice.basic import Basic
from hostlink.practice.ops import Send

PRACTICE = find_profile("practice")


def kind(*words: str, rows: tuple[str, ...] = ()) -> Profile:
    """A kind of board with these error words."""
    commands = dataclasses.replace(PRACTICE.commands, error_words=words, answer_rows=rows)
    return dataclasses.replace(PRACTICE, commands=commands)


K1 = kind("What?", "How?", "Sorry!", rows=("OK",))
SIGNED = find_profile("capital")
K2 = kind("Div by 0 Error", "Unknown Line Error", "Syntax Error")
K3 = kind("Divide by zero", "Syntax Error")
PALO_ALTO = find_profile("palo-alto")


@pytest.mark.parametrize(
    ("profile", "rows", "fault"),
    [
        (PRACTICE, ["! cannot divide by 0 in 30"], ReportedError("cannot divide by 0", 30)),
        (PRACTICE, ["7", "! unknown statement in 3", ""], ReportedError("unknown statement", 3)),
        (K1, ["What? 10 PRINT 1/0", ""], ReportedError("What?", 10, "PRINT 1/0")),
        (K1, ["\x1b[31mWhat? 10 PRINT 1\x1b[0m"], ReportedError("What?", 10, "PRINT 1")),
        (
            K1,
            ["4", "What? 210 IF T<1440 T^EN 240", ""],
            ReportedError("What?", 210, "IF T<1440 T^EN 240"),
        ),
        (K1, ["How? -25536 GOTO 1"], ReportedError("How?", -25536, "GOTO 1")),
        (SIGNED, ["How? -25536 GOTO 1"], ReportedError("How?", 40000, "GOTO 1")),
        (K2, ["1", "10: Div by 0 Error"], ReportedError("Div by 0 Error", 10)),
        (K2, ["20: Unknown Line Error"], ReportedError("Unknown Line Error", 20)),
        (K3, ["", "Divide by zero Error in line 10"], ReportedError("Divide by zero Error", 10)),
        (K3, ["Syntax Error in line 63999 "], ReportedError("Syntax Error", 63999)),
        (
            PALO_ALTO,
            ["5", "WHAT?", "10 PRINT 1?/0", "", "OK"],
            ReportedError("WHAT?", 10, "PRINT 1?/0"),
        ),
    ],
)
def test_an_error_is_found_with_its_line(
    profile: Profile, rows: list[str], fault: ReportedError
) -> None:
    """Row in front, number in front, number behind, line in the next row: each is understood."""
    assert find_reported_error(rows, profile) == fault


@pytest.mark.parametrize(
    ("profile", "rows", "message"),
    [
        (K2, ["Syntax Error"], "Syntax Error"),
        (K1, ["What?", "", "OK"], "What?"),
        (PRACTICE, ["! unknown statement RUN"], "unknown statement RUN"),
    ],
)
def test_a_refused_command_names_no_line(profile: Profile, rows: list[str], message: str) -> None:
    """The one row there is begins as an error does: RUN itself was refused."""
    assert find_reported_error(rows, profile) == ReportedError(message, refused=True)


def test_an_error_without_a_line_ends_a_program_that_the_board_does_not_call_done() -> None:
    """K1 says OK after a program that ended well; then its last row was printed by the program."""
    assert find_reported_error(["9", "How?"], K1) == ReportedError("How?")
    assert find_reported_error(["9", "How?", "OK"], K1) is None
    assert find_reported_error(["9", "How? much"], K1) is None


@pytest.mark.parametrize(
    ("profile", "rows"),
    [
        (PRACTICE, []),
        (PRACTICE, ["", ""]),
        (PRACTICE, ["! cannot divide by 0 in 30", "AND ON IT GOES"]),
        (PRACTICE, ["COUNTING", "! DONE"]),
        (PRACTICE, ["IT SAID ! cannot divide by 0 in 30"]),
        (PRACTICE, ["* stopped in 20"]),
        (PRACTICE, ["A", "! wants 2 numbers"]),
        (K1, ["GO ON", "What? NOW"]),
        (K1, ["What? 10 PRINT 1/0", "READY TO GO ON"]),
        (K2, ["SCORE", "10: BALLS"]),
        (K3, ["LIVES", "Syntax Error is a song"]),
        (kind(), ["! cannot divide by 0 in 30"]),
        (PALO_ALTO, ["WHAT?", "IS YOUR NAME"]),
    ],
)
def test_what_a_program_prints_is_no_error(profile: Profile, rows: list[str]) -> None:
    """A row that is followed by another, or begins or ends otherwise, was printed by a program."""
    assert find_reported_error(rows, profile) is None


def test_a_profile_can_name_its_own_form() -> None:
    """Only that form is looked for then, with whatever stands around the message."""
    commands = dataclasses.replace(K2.commands, error_forms=("<{number}> {message}!",))
    own = dataclasses.replace(K2, commands=commands)
    assert find_reported_error(["<7> Syntax Error!"], own) == ReportedError("Syntax Error", 7)
    assert find_reported_error(["9", "10: Syntax Error"], own) is None


@pytest.mark.parametrize(
    ("line", "message"),
    [
        (b"PRINT 1/0", "cannot divide by 0"),
        (b"GOTO 99", "no such line 99"),
        (b"NEXT", "NEXT has no FOR"),
        (b"PRINT 9999*9999", None),
        (b"PRONT 1", None),
        (b'PRINT "A', None),
    ],
)
def test_each_complaint_of_the_practice_board_is_found(line: bytes, message: str | None) -> None:
    """What its firmware itself says when a program fails, also behind a row that was left open."""
    board = Basic()
    board._state.memory.replace({10: b'PRINT "ON";', 20: line})
    said = b""
    firmware = board.enter(b"RUN")
    op = next(firmware)
    with pytest.raises(StopIteration):
        while True:
            said += op.data if isinstance(op, Send) else b""
            op = firmware.send(False)
    fault = find_reported_error(said.decode().splitlines(), PRACTICE)
    assert fault is not None
    assert fault.number == 20
    assert message is None or fault.message == message


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        ("?/\xb0 ERROR IN  20", ReportedError("?/\xb0 ERROR", 20)),
        ("?/0 Error in 20", ReportedError("?/0 Error", 20)),
        ("ERROR in line 20: Divide by 0.", ReportedError("ERROR: Divide by 0.", 20)),
        ("Nothing to divide by at line 20", ReportedError("Nothing to divide by", 20)),
        ("NO ERROR TO SPEAK OF", None),
        ("AT LINE 20", None),
        ("METER 7 AT 20", None),
        ("TERROR IN 20 LESSONS", None),
    ],
)
def test_an_error_of_a_board_whose_words_are_not_known(
    row: str, fault: ReportedError | None
) -> None:
    """Measured on three interpreters over a serial line; where a kind's words are known only they
    count."""
    assert find_reported_error(["4", row], kind("?SN ERROR")) == fault
    assert find_reported_error(["4", row], K3) is None
