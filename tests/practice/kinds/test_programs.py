"""Programs on every kind: what a line costs, and that listing them changes nothing."""

from __future__ import annotations

import json
import random
from collections.abc import Callable

import pytest
from basic_runs import drive
from hypothesis import given, settings
from hypothesis import strategies as st
from kind_board import KindBoard

from hostlink.practice.basic import Basic
from hostlink.practice.kind_file import find_kind, kind_names
from hostlink.practice.storing import storing

MakeProgram = Callable[..., str]
KINDS = kind_names()
ASKED = [name for name in KINDS if find_kind(name).language.free or name == "capital"]

characters = st.integers(32, 126).map(chr) | st.sampled_from(
    ["REM ", "PRINT ", '"', "'", "IF ", " ", "  ", "rem ", "GO", "TO", "<", ">", "=", "1", "X"]
)
texts = st.lists(characters, min_size=1, max_size=20).map("".join).filter(str.strip)


def store(board: Basic, listing: str) -> None:
    """Type a listing, line by line."""
    for row in listing.splitlines():
        drive(board.enter(row.encode("latin-1")))


def typed_back(board: Basic) -> list[bytes]:
    """The program as somebody types it who has read its listing."""
    form = b"%d%b" if board.kind.storage.blanks == "kept" else b"%d %b"
    return [form % line for line in board.lines.items()]


@pytest.mark.parametrize("name", ASKED)
def test_the_board_reports_what_its_lines_cost(name: str, make_program: MakeProgram) -> None:
    """The free memory, asked as the kind is asked, goes down and up by the kind's own costs."""
    board = KindBoard(name)
    rules = storing(board.kind.storage, board.kind.language)
    empty = board.reported_free()
    assert empty == board.kind.settings.program_bytes
    rows = make_program(5, most_bytes=500).encode().splitlines()
    for row in random.Random(5).sample(rows, 12):
        before = board.reported_free()
        held = dict(board.lines)
        board.enter(row)
        changed = {number for number in board.lines if board.lines[number] != held.get(number)}
        cost = sum(rules.line_bytes(board.lines[number]) for number in changed)
        assert before - board.reported_free() == cost, row
    for number in list(board.lines):
        board.enter(b"%d" % number)
    assert board.lines == {}
    assert board.reported_free() == empty


@pytest.mark.one_in(4)
@pytest.mark.parametrize("name", KINDS)
def test_generated_programs_add_up_and_listing_changes_nothing(
    name: str, make_program: MakeProgram
) -> None:
    """Used and free bytes are all there is; LIST leaves everything as it was; what it showed,
    typed at an empty board, is the same program."""
    kind = find_kind(name)
    for seed in range(25):
        board = Basic(kind)
        store(board, make_program(seed, most_bytes=600))
        assert board.lines
        rules = storing(kind.storage, kind.language)
        used = sum(rules.line_bytes(text) for text in board.lines.values())
        assert board.free() == kind.settings.program_bytes - used
        before = json.dumps(board.to_state())
        drive(board.enter(b"LIST"))
        assert json.dumps(board.to_state()) == before
        again = Basic(kind)
        for row in typed_back(board):
            drive(again.enter(row))
        assert again.lines == board.lines


@settings(max_examples=150)
@given(name=st.sampled_from(KINDS), text=texts, number=st.integers(1, 9999))
def test_any_text_is_kept_as_it_is_listed(name: str, text: str, number: int) -> None:
    """What a line becomes, typed again, becomes nothing else, and costs the same."""
    kind = find_kind(name)
    rules = storing(kind.storage, kind.language)
    kept = rules.kept(text.encode())
    assert rules.kept(kept) == kept
    board = Basic(kind)
    drive(board.enter(b"%d " % number + text.encode()))
    if not board.lines:
        # A check as it was typed, or a text that begins with a digit, which is part of the number.
        assert kind.storage.checked or text.lstrip()[:1].isdigit()
        return
    state = board.to_state()
    drive(board.enter(b"LIST"))
    assert board.to_state() == state
    again = Basic(kind)
    for row in typed_back(board):
        drive(again.enter(row))
    assert again.lines == board.lines
    assert again.free() == board.free()


@pytest.mark.parametrize("name", KINDS)
def test_a_program_prints_the_same_numbers_on_every_kind(name: str) -> None:
    """One interpreter runs them all: only the blanks round the numbers differ."""
    listing = (
        "10 LET S=0\n20 FOR I=1 TO 9\n30 LET S=S+I*I\n40 NEXT I\n50 PRINT S\n60 GOSUB 90\n"
        "70 GOTO 100\n90 PRINT S/5\n95 RETURN\n100 PRINT -S\n"
    )
    board = Basic(find_kind(name))
    store(board, listing)
    assert len(board.lines) == 10
    printed = drive(board.enter(b"RUN"))
    assert [word for word in printed.split() if word.strip("-").isdigit()] == ["285", "57", "-285"]


@pytest.mark.parametrize("name", KINDS)
def test_all_that_a_board_holds_survives_as_json(name: str, make_program: MakeProgram) -> None:
    """Program, stored program and that its questions were answered come back."""
    kind = find_kind(name)
    board, other = Basic(kind), Basic(kind)
    store(board, make_program(3, most_bytes=200))
    words = dict(kind.language.words)["store"]
    if words:
        slot = {"one": "", "named": '"TEA"' if kind.shelf.quoted else "TEA"}[kind.shelf.slots]
        drive(board.enter(f"{words[0]} {slot}".encode()))
        assert board.eeprom
    board.answered = True
    other.from_state(json.loads(json.dumps(board.to_state())))
    assert other.to_state() == board.to_state()
    assert other.lines == board.lines
    assert other.answered


@pytest.mark.parametrize("name", KINDS)
def test_time_is_the_callers_and_changes_nothing(name: str) -> None:
    """The same bytes come at the same moments however the time is cut into steps."""

    def run(steps: int) -> list[tuple[int, bytes]]:
        board = KindBoard(name)
        machine, now = board.machine, board.now
        typed = [b"10 PRINT 1", b"20 rem hi", b"LIST", b"RUN", b"NEW"]
        machine.host_sends(board.end.join(typed) + board.end, now)
        heard = []
        for slice_ in range(40):
            for step in range(steps):
                machine.run_until(now + (slice_ + (step + 1) / steps) * 0.05)
            got = machine.host_reads(now + (slice_ + 1) * 0.05, 1 << 16)
            heard.append((slice_, got))
        return heard

    assert run(1) == run(7)
    assert b"".join(got for _, got in run(1))
