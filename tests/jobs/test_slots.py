"""Stored programs: their list on a damaged wire (found by scripts/soak.py, seeds 1427 and 1635),
and boards that have slots but no list."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Any

import pytest

from hostlink.archive import Archive, BackupItem
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.profile.file import find_profile
from hostlink.cli.ways import in_commands
from hostlink.errors import LinkError, NotKnownError, ReadBackError, RefusedError
from hostlink.jobs.backup import backup
from hostlink.jobs.listing_source import content_of
from hostlink.jobs.putback import putback
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.store_recall import recall, store
from hostlink.jobs.stored_programs import slots_on_board, stored_slots
from hostlink.listing import Listing


@pytest.fixture
def answers(
    table: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> Iterator[Callable[..., Any]]:
    """A session whose board answers so when it is asked what it has stored."""
    board = table()
    with board.session() as session:
        session.attach()

        def give(*texts: str) -> Any:
            left = iter(texts)
            monkeypatch.setattr(session.dialogue, "ask", lambda _command: next(left))
            return session

        yield give


def test_a_damaged_name_is_asked_again(answers: Callable[..., Any]) -> None:
    """Two answers must agree, whichever they are."""
    session = answers("ONEF50\r\n", "ONE 50\r\nTWO 29\r\n", "O 50\r\n", "ONE 50\r\nTWO 29\r\n")
    assert [(slot.name, slot.row) for slot in stored_slots(session)] == [
        ("ONE", "ONE 50"),
        ("TWO", "TWO 29"),
    ]


def test_a_board_that_never_says_the_same_twice_is_told(answers: Callable[..., Any]) -> None:
    """Nothing may be overwritten on the word of a list that nobody can trust."""
    session = answers(*(f"ONE {n}\r\n" for n in range(7)))
    with pytest.raises(ReadBackError, match="asked 7 times") as caught:
        stored_slots(session)
    assert caught.value.kept and in_commands(caught.value.advice)


def test_a_refusal_counts_when_it_comes_twice(answers: Callable[..., Any]) -> None:
    """An answer that only looks like a refusal, by damage, is no refusal."""
    session = answers("! ONE\r\n", "ONE 5\r\n", "ONE 5\r\n")
    assert [slot.name for slot in stored_slots(session)] == ["ONE"]
    with pytest.raises(RefusedError):
        stored_slots(answers("! no such thing\r\n", "! no such thing\r\n"))


@pytest.mark.parametrize(
    ("rows", "names"),
    [
        ("\x1b[31mONE 5\r\n\x1b[32mok\x1b[0m\r\n", ["ONE"]),
        ("\x1b[31mONE\x1b[0m 5\r\n\x1b[31mTWO\x1b[0m 5\r\n", ["ONE", "TWO"]),
        ("\x1b[31mONE 5\r\none 6\r\n", ["\x1b[31mONE", "one"]),
    ],
)
def test_colours_are_no_part_of_a_name_if_it_differs_from_the_others_without_them(
    answers: Callable[..., Any], rows: str, names: list[str]
) -> None:
    """ECMA-48, 8.3.117 SGR. No name stands for two programs."""
    session = answers()
    commands = dataclasses.replace(session.profile.commands, answer_rows=("ok",))
    profile = dataclasses.replace(session.profile, commands=commands)
    session.use(LinkChoice(session.choice.port, profile))
    session.attach()
    answers(rows, rows)
    assert [slot.name for slot in stored_slots(session)] == names


def test_what_a_coloured_name_holds_is_kept_before_it_is_overwritten(
    table: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    board = table()
    board.load("10 PRINT 7\n", slot="ONE")
    board.load("20 PRINT 8\n")
    ask = Dialogue.ask

    def coloured(dialogue: Dialogue, command: str, *more: Any) -> str:
        return re.sub("ONE(?= )", "\x1b[36mONE\x1b[0m", ask(dialogue, command, *more))

    monkeypatch.setattr(Dialogue, "ask", coloured)
    with board.session() as session:
        before = store(session, board.archive, "ONE")
    assert board.archive.content(board.archive.revision(before.spec)).text == "10 PRINT 7\n"


def test_a_wrong_list_command_hides_no_program(table: Callable[..., Any]) -> None:
    """A profile without error words takes a refusal for a list, in which the program is missing
    that a store then overwrites; but the board answers any word so."""
    board = table()
    board.load("10 PRINT 7\n", slot="ONE")
    board.load("20 PRINT 8\n")
    before = (board.memory, board.stored)
    profile = find_profile("practice")
    commands = dataclasses.replace(profile.commands, stored="CATALOG", error_words=())
    wrong = dataclasses.replace(profile, commands=commands)
    with board.session(wrong) as session, pytest.raises(RefusedError) as caught:
        store(session, board.archive, "ONE")
    assert caught.value.what.startswith("The board does not know CATALOG")
    assert (board.memory, board.stored) == before


def test_what_a_slot_holds_is_kept_though_the_board_has_no_list(table: Callable[..., Any]) -> None:
    """A board with slots A and B: A is looked into before it is overwritten; B is empty, which
    only the user knows."""
    board = table()
    board.load("10 PRINT 7\n", slot="A")
    board.load("20 PRINT 8\n")
    with board.session() as session:
        commands = dataclasses.replace(session.profile.commands, stored="", slots=("A", "B"))
        profile = dataclasses.replace(session.profile, commands=commands)
        session.use(LinkChoice(session.choice.port, profile))
        assert [slot.name for slot in slots_on_board(session)] == ["A", "B"]
        assert store(session, board.archive, "B", discard_board=True).spec == ""
        before = store(session, board.archive, "A")
    assert len(board.said("Rescued")) == 2
    assert board.archive.content(board.archive.revision(before.spec)).text == "10 PRINT 7\n"
    assert board.stored == {"A": board.memory, "B": board.memory}
    assert board.memory == {20: b"PRINT 8"}


@pytest.mark.parametrize("told", [True, False])
@pytest.mark.parametrize("kept", [b"", b"PRINT 9"])
def test_what_was_not_stored_is_never_called_stored(
    table: Callable[..., Any], kept: bytes, told: bool
) -> None:
    """The board stored nothing, or something else, and says so at the recall in words that the
    profile knows, or does not: memory, which still held the program, is no proof. It is put back.
    """
    board = table()
    board.load("20 PRINT 8\n")
    memory = board.memory

    def spoil(data: bytes) -> None:
        if b"NEW" in data and "A" in board.machine.basic.eeprom:
            board.machine.basic.eeprom.pop("A")
            if kept:
                board.machine.basic.eeprom["A"] = {20: kept}

    board.on_write = spoil
    with board.session() as session:
        commands = session.profile.commands
        commands = dataclasses.replace(commands, error_words=commands.error_words if told else ())
        profile = dataclasses.replace(session.profile, commands=commands)
        session.use(LinkChoice(session.choice.port, profile))
        said = "cannot be recalled" if told and not kept else "differs in line 20"
        with pytest.raises(ReadBackError, match=said) as caught:
            store(session, board.archive, "A")
    assert "The program is in memory again" in caught.value.kept
    assert board.memory == memory


@pytest.mark.parametrize("cut", ["stored badly", "unplugged"])
def test_what_a_slot_held_is_named_where_storing_over_it_went_wrong(
    table: Callable[..., Any], cut: str
) -> None:
    """The slot's first program is kept before the store, and whoever reads of the failure learns
    where; the same for memory."""
    board = table()
    board.load("10 PRINT 7\n", slot="A")
    board.load("20 PRINT 8\n")
    texts = {"10 PRINT 7\n", "20 PRINT 8\n"}

    def spoil(event: Any) -> None:
        if "Storing as A" in getattr(event, "text", ""):
            board.machine.unplugged = cut == "unplugged"
        if "stored as A" in getattr(event, "text", "") and board.stored["A"] == board.memory:
            board.machine.basic.eeprom["A"] = {20: b"PRINT 9"}

    board.on_event = spoil
    with board.session() as session, pytest.raises((ReadBackError, LinkError)) as caught:
        store(session, board.archive, "A")
    said = caught.value.kept
    kept = {board.archive.content(one).text for one in board.archive.rescues() if one.spec in said}
    assert kept == texts
    assert "What was stored as A is kept as rescue@2." in said


def test_a_full_eeprom_leaves_the_program_in_memory_and_says_so(table: Callable[..., Any]) -> None:
    """The board's own refusal changes neither memory nor the slot."""
    board = table(eeprom_bytes=30)
    board.load("10 PRINT 7\n", slot="A")
    board.load("10 PRINT 7, 8, 9, 10, 11, 12, 13\n")
    before = (board.memory, board.stored)
    with board.session() as session, pytest.raises(RefusedError, match="shelf full") as caught:
        store(session, board.archive, "A")
    assert "The program is still in the board's memory." in caught.value.kept
    assert (board.memory, board.stored) == before


@pytest.fixture
def slots(table: Callable[..., Any]) -> Iterator[Callable[..., Any]]:
    """Opens a session with a board that has slots A and B and no list of them."""
    board = table()
    with ExitStack() as opened:

        def make() -> tuple[Any, Any]:
            session = opened.enter_context(board.session())
            commands = dataclasses.replace(session.profile.commands, stored="", slots=("A", "B"))
            profile = dataclasses.replace(session.profile, commands=commands)
            session.use(LinkChoice(session.choice.port, profile))
            return board, session

        yield make


def test_a_recall_that_comes_to_nothing_is_not_taken_for_memory(
    table: Callable[..., Any],
) -> None:
    """The board takes the command and fetches nothing; what memory held is not called recalled."""
    board = table()
    board.load("10 PRINT 7\n", slot="A")
    board.load("20 PRINT 8\n")
    sent = bytearray()

    def forget(data: bytes) -> None:
        sent.extend(data)
        if b"FETCH" in sent:
            board.machine.basic.eeprom["A"] = {}

    board.on_write = forget
    with board.session() as session, pytest.raises(RefusedError, match="Nothing came") as caught:
        recall(session, board.archive, "A")
    assert sent.count(b"FETCH A\r") == 3
    assert "Memory holds what it held before" in caught.value.kept
    assert board.memory == {20: b"PRINT 8"}


def test_what_is_not_listed_is_refused_before_memory_is_touched(table: Callable[..., Any]) -> None:
    """The board's own list says so, and what there is."""
    board = table()
    board.load("10 PRINT 7\n", slot="ONE")
    sent = bytearray()
    board.on_write = sent.extend
    with board.session() as session, pytest.raises(RefusedError) as caught:
        recall(session, board.archive, "TWO")
    assert caught.value.what == "The board has nothing stored as TWO."
    assert in_commands(caught.value.advice) == "It has: ONE."
    assert b"NEW" not in sent and b"FETCH" not in sent
    assert board.memory == {10: b"PRINT 7"}


def test_an_empty_slot_that_is_refused_leaves_memory_as_it_was(slots: Callable[..., Any]) -> None:
    """Without a list only the recall can tell that a slot is empty."""
    board, session = slots()
    board.load("20 PRINT 8\n")
    with pytest.raises(RefusedError, match="The board refused to recall") as caught:
        recall(session, board.archive, "B")
    assert "Memory holds what it held before" in caught.value.kept
    assert board.memory == {20: b"PRINT 8"}


@pytest.fixture
def one_place(table: Callable[..., Any]) -> Callable[..., Any]:
    """A board with one place that it cannot list, and a profile with a recall command for it."""
    board = table()

    def make(recall: str) -> tuple[Any, Any]:
        commands = find_profile("practice").commands
        commands = dataclasses.replace(commands, store="STOW A", recall=recall, stored="")
        return board, dataclasses.replace(find_profile("practice"), commands=commands)

    return make


@pytest.mark.parametrize(
    ("recall", "said"),
    [
        ("LOAD A", 'The board refused to recall a stored program: "! unknown statement LOAD A".'),
        ("REM A", "Nothing came when EEPROM was recalled, and memory stayed as it was."),
    ],
)
def test_a_wrong_recall_command_shows_no_empty_place(
    one_place: Callable[..., Any], recall: str, said: str
) -> None:
    """A refusal, or a command that does nothing, is no evidence: the program there is not
    overwritten by a store or a putback unless the user agrees (scripts/soak.py, job 44183)."""
    board, profile = one_place(recall)
    board.load("10 PRINT 7\n", slot="A")
    board.load("20 PRINT 8\n")
    before = (board.memory, board.stored)
    item = BackupItem(
        "stored", content_of(Listing.from_text("30 A\n"), b"30 A\n", "ascii", profile), 2, "EEPROM"
    )
    for job in ("store", "putback"):
        with board.session(profile) as session, pytest.raises(NotKnownError) as caught:
            if job == "store":
                store(session, board.archive, "EEPROM")
            else:
                session.attach()
                owner = session.board_in(board.archive).uuid
                kept = board.archive.keep_backup(owner, [item], profile=profile.name)
                putback(session, board.archive, kept)
        yet = "Perhaps nothing is stored there yet."
        assert caught.value.what == f"What EEPROM holds is not known. {said} {yet}"
        assert caught.value.kept.startswith("It was not overwritten. Memory holds what it held")
        assert in_commands(caught.value.advice) == (
            "If nothing there needs keeping, say that it may be lost with --discard-board."
        )
        assert (board.memory, board.stored) == before
    with board.session(profile) as session, pytest.raises(ReadBackError):
        store(session, board.archive, "EEPROM", discard_board=True)
    assert any(event.text.startswith("Not kept, as you asked") for event in board.said("Warned"))
    assert board.stored == {"A": board.memory}


def test_a_place_is_empty_where_its_recall_empties_memory(one_place: Callable[..., Any]) -> None:
    """That shows that the recall worked, so nothing is asked; a backup says nothing of it."""
    board, profile = one_place("FETCH A")
    board.load("20 PRINT 8\n")
    board.machine.basic.eeprom["A"] = {}
    with board.session(profile) as session:
        assert [item.name for item in backup(session, board.archive).backup.items] == ["memory"]
        assert not board.said("Warned")
        assert store(session, board.archive, "EEPROM").spec == ""
    assert board.stored == {"A": board.memory} == {"A": {20: b"PRINT 8"}}


def test_a_backup_tells_what_it_may_lack(one_place: Callable[..., Any]) -> None:
    """The board refuses the recall, as it may do because nothing is stored."""
    board, profile = one_place("LOAD A")
    board.load("20 PRINT 8\n", slot="A")
    with board.session(profile) as session:
        assert backup(session, board.archive).unread == {}
    (warned,) = board.said("Warned")
    assert warned.text.startswith("What EEPROM may hold is not in the backup. The board refused")
    assert board.memory == {20: b"PRINT 8"}


def test_a_backup_goes_into_a_slot_that_may_be_empty_if_the_user_says_so(
    slots: Callable[..., Any],
) -> None:
    """The board refuses to recall it, which shows nothing."""
    board, session = slots()
    board.load("10 PRINT 7\n", slot="A")
    kept = backup(session, board.archive).backup
    board.machine.basic.eeprom.clear()
    with pytest.raises(NotKnownError):
        putback(session, board.archive, kept)
    assert board.stored == {}
    done = putback(session, board.archive, kept, discard_board=True)
    assert done.stored == ("A",)
    assert board.stored == {"A": {10: b"PRINT 7"}}


def test_only_what_a_slot_holds_already_is_told_to_be_lost(table: Callable[..., Any]) -> None:
    """A board that cannot recall: a new name overwrites nothing, so nothing is said of it."""
    board = table()
    board.load("10 PRINT 7\n", slot="ONE")
    with board.session() as session:
        commands = dataclasses.replace(session.profile.commands, recall="")
        profile = dataclasses.replace(session.profile, commands=commands)
        session.use(LinkChoice(session.choice.port, profile))
        for name, warned in (("TWO", 0), ("ONE", 1)):
            store(session, board.archive, name)
            told = [event.text for event in board.said("Warned")]
            assert sum("and is not kept" in text for text in told) == warned


def test_what_is_said_of_a_stored_program_is_not_said_of_memory(
    table: Callable[..., Any], archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the readings of a stored program do not agree, memory was overwritten by it already."""
    board = table()
    board.load('10 PRINT "ONE"\n', "ONE")
    board.load('10 PRINT "TWO"\n')
    capture = Dialogue.capture
    readings: list[Capture] = []

    def fails_the_second_time(dialogue: Dialogue) -> Capture:
        if readings:
            raise ReadBackError("They differ.", kept="The program is still on the board.")
        readings.append(capture(dialogue))
        return readings[-1]

    monkeypatch.setattr(Dialogue, "capture", fails_the_second_time)
    with board.session() as session, pytest.raises(ReadBackError) as caught:
        store(session, archive, "ONE")
    assert "still on the board" not in caught.value.kept
    assert "rescue@1" in caught.value.kept
