"""Every job on every kind of practice board, by the profile that fits it, and by none."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest

from hostlink.board.dialogue.events import LineRepaired
from hostlink.board.dialogue.learning import BoardRewritesError
from hostlink.cli.ways import in_commands
from hostlink.errors import ExitStatus, HostlinkError, LinkError, RefusedError
from hostlink.jobs.backup import backup
from hostlink.jobs.events import BoardRecognised
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.putback import putback
from hostlink.jobs.run.answers import Given
from hostlink.jobs.run.running import run
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.restarting import restart
from hostlink.jobs.store_recall import recall, store
from hostlink.listing import Listing
from hostlink.listing.canonical import canonical_lines
from hostlink.practice.kind_file import find_kind, kind_names

KINDS = kind_names()
STORING = [name for name in KINDS if find_kind(name).shelf.slots != "none"]
RECOGNISED_S = 15.0  # virtual; the restart, where a board restarts, not counted

PROGRAM = """\
10 REM tide table, first part
20 LET A=3
30 PRINT "Lamp ";A
40 IF A<2 GOTO 20
50 FOR I=1 TO 3
60 PRINT I*A
70 NEXT I
80 GOTO 90
90 PRINT "IT'S OVER"
"""
OTHER = '10 REM another one\n20 PRINT "BUOY"\n30 LET B=7\n'

Make = Callable[[str], Any]


def kept_is(bench: Any, spec: str, held: dict[int, bytes]) -> bool:
    """Whether a revision is the program that a board holds, by the rules of its kind."""
    rules = bench.profile.rules
    text = bench.archive.content(bench.archive.revision(spec)).text
    texts = {number: line.decode("latin-1").removeprefix(" ") for number, line in held.items()}
    rows = "".join(f"{number} {line}\n" for number, line in texts.items())
    got, due = (Listing.from_text(each).numbered() for each in (text, rows))
    return canonical_lines(got, rules) == canonical_lines(due, rules)


def seen_of_a_stop(bench: Any) -> str:
    """What is said of a program that was stopped; a board that shows nothing does not tell."""
    shows_nothing = not bench.profile.talk.prompt and not bench.profile.talk.ready
    return "whether the program stopped is not known" if shows_nothing else "It was interrupted"


@pytest.mark.parametrize("kind", KINDS)
def test_a_board_that_nobody_named_is_recognised_and_loaded(bench: Make, kind: str) -> None:
    """How it talks is told in one sentence; then a program goes there and back, proven."""
    board = bench(kind)
    board.put(OTHER)
    with board.session(unknown=True) as session:
        session.attach()
        assert board.clock.now() < RECOGNISED_S
        told = [event for event in board.events if isinstance(event, BoardRecognised)]
        assert len(told) == 1
        saved = save(session, board.archive, SaveOptions(name="BEFORE"))
        assert kept_is(board, saved.revision.spec, board.held_after(OTHER))
        load(session, board.archive, board.material(OTHER.upper()), LoadOptions())
        assert session.profile.commands.clear == board.profile.commands.clear
    assert board.memory == board.held_after(OTHER.upper())


@pytest.mark.parametrize("kind", KINDS)
def test_a_program_goes_to_the_board_and_back(bench: Make, kind: str) -> None:
    """The board then holds what typing the listing gives, and a save keeps that; on a clean wire
    no line is sent twice."""
    board = bench(kind)
    board.put(OTHER)
    with board.session() as session:
        loaded = load(session, board.archive, board.material(PROGRAM), LoadOptions())
        assert not any(isinstance(event, LineRepaired) for event in board.events)
    assert board.memory == board.held_after(PROGRAM)
    assert kept_is(board, loaded.rescued, board.held_after(OTHER))
    with board.session() as session:
        saved = save(session, board.archive, SaveOptions(name="BACK"))
    assert kept_is(board, saved.revision.spec, board.memory)


@pytest.mark.one_in(3)
@pytest.mark.parametrize("kind", STORING)
def test_a_program_is_stored_and_recalled(bench: Make, kind: str) -> None:
    """What is stored over is kept; afterwards memory is what it should be."""
    board = bench(kind)
    board.put(OTHER)
    with board.session() as session:
        store(session, board.archive, "LAMP", discard_board=not board.lists_stored)
    assert board.stored == [board.held_after(OTHER)]
    assert board.memory == board.held_after(OTHER)
    board.put(PROGRAM)
    with board.session() as session:
        before = store(session, board.archive, "LAMP")
    assert kept_is(board, before.spec, board.held_after(OTHER))
    assert board.stored == [board.held_after(PROGRAM)]
    board.put(OTHER)
    with board.session() as session:
        recall(session, board.archive, "LAMP")
    assert board.memory == board.held_after(PROGRAM)


@pytest.mark.one_in(3)
@pytest.mark.parametrize("kind", STORING)
def test_a_board_is_backed_up_and_put_back(bench: Make, kind: str) -> None:
    """Memory and what is stored, onto a new board of the same kind."""
    board = bench(kind)
    board.put(OTHER)
    with board.session() as session:
        store(session, board.archive, "LAMP", discard_board=not board.lists_stored)
    board.put(PROGRAM)
    with board.session() as session:
        backed_up = backup(session, board.archive)
    made = backed_up.backup
    assert backed_up.unread == {}
    assert sorted(item.kind for item in made.items) == ["memory", "stored"]
    assert board.memory == board.held_after(PROGRAM)
    board.start(kind)
    with board.session() as session:
        putback(session, board.archive, made, discard_board=not board.lists_stored)
    assert board.memory == board.held_after(PROGRAM)
    assert board.stored == [board.held_after(OTHER)]


@pytest.mark.one_in(3)
@pytest.mark.parametrize("kind", KINDS)
def test_what_does_not_fit_is_said_and_nothing_is_lost(bench: Make, kind: str) -> None:
    """In a sentence about room; what was there is on the board, or kept."""
    board = bench(kind)
    board.start(kind, program_bytes=90)
    board.put(OTHER)
    held = board.memory
    with board.session() as session, pytest.raises(HostlinkError) as caught:
        load(session, board.archive, board.material(PROGRAM), LoadOptions(despite_review=True))
    assert caught.value.status is not ExitStatus.DONE
    said = str(caught.value)
    assert "fit" in said or "full" in said, said
    kept = [rescue.spec for rescue in board.archive.rescues()]
    assert board.memory == held or any(kept_is(board, spec, held) for spec in kept)


@pytest.mark.one_in(3)
@pytest.mark.parametrize("kind", KINDS)
def test_a_program_that_asks_gets_its_answer(bench: Make, kind: str) -> None:
    """INPUT waits for a number that was given before, and the sum is printed."""
    board = bench(kind)
    board.put("10 INPUT A\n20 PRINT A+1\n")
    with board.session() as session:
        ran = run(session, Given(["41"]))
    assert "42" in ran.output.split()
    assert ran.fault is None


@pytest.mark.one_in(3)
@pytest.mark.parametrize("kind", KINDS)
def test_an_endless_program_is_interrupted(bench: Make, kind: str) -> None:
    """After its time it is stopped; the board is at its prompt and holds the program."""
    board = bench(kind)
    board.put("10 PRINT 7\n20 GOTO 10\n")
    held = board.memory
    with board.session() as session:
        with pytest.raises(LinkError) as caught:
            run(session, longest_s=2.0)
        assert seen_of_a_stop(board) in caught.value.kept
        assert session.dialogue.capture().lines.keys() == held.keys()
    assert board.memory == held


@pytest.mark.one_in(3)
@pytest.mark.parametrize("kind", KINDS)
def test_a_program_that_waits_for_input_is_interrupted(bench: Make, kind: str) -> None:
    """Also where the interrupt is text to INPUT, and only a number leads on to where it counts."""
    board = bench(kind)
    board.put("10 INPUT A\n20 FOR I=1 TO 50\n30 NEXT I\n40 GOTO 10\n")
    held = board.memory
    with board.session() as session:
        with pytest.raises(RefusedError, match="there is no more input") as caught:
            run(session, Given([]))
        assert seen_of_a_stop(board) in caught.value.kept
        assert session.dialogue.capture().lines.keys() == held.keys()
    assert board.memory == held


@pytest.mark.one_in(3)
@pytest.mark.parametrize("kind", KINDS)
def test_an_error_is_pointed_at_its_line(bench: Make, kind: str) -> None:
    """By number, however the board names the line."""
    board = bench(kind)
    text = "10 PRINT 1\n20 LET A=1/0\n30 PRINT 2\n"
    with board.session() as session:
        load(session, board.archive, board.material(text), LoadOptions())
        ran = run(session)
    assert ran.fault is not None
    assert ran.fault.number == 20
    assert ran.line == "LET A=1/0"


@pytest.mark.one_in(3)
@pytest.mark.parametrize("kind", KINDS)
def test_a_board_is_restarted(bench: Make, kind: str) -> None:
    """What memory held is kept before; the questions of the start are answered."""
    board = bench(kind)
    board.put(OTHER)
    with board.session() as session:
        restarted = restart(session, board.archive, consent=lambda _: True)
    assert kept_is(board, restarted.held.spec, board.held_after(OTHER))
    assert (restarted.at_prompt, restarted.lines) == (True, 0)
    assert board.memory == {}


def test_what_a_board_does_is_learned_though_it_refuses_a_line(bench: Make) -> None:
    """The load fails and shows the line with the board's own words; the profile knows the rest."""
    board = bench("strict")
    form = dataclasses.replace(board.profile.rules.form, case="kept", spacing="kept")
    rules = dataclasses.replace(board.profile.rules, form=form)
    with board.session(dataclasses.replace(board.profile, rules=rules)) as session:
        options = LoadOptions(despite_review=True, learn=lambda _: True)
        text = "10 let  a=3\n20 print  a\n30 WAIT 5\n40 goto 20\n"
        with pytest.raises(BoardRewritesError, match="line 30; it answers") as caught:
            load(session, board.archive, board.material(text), options)
        assert session.profile.rules.form.case == "upper"
    assert "is in its profile now" in caught.value.what
    assert "--learn" not in in_commands(caught.value.advice)
