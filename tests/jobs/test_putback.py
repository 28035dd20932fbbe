"""Putback: memory and stored programs, proven; single items; what does not fit said beforehand."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from typing import Any

import pytest

from hostlink.archive import Archive, BackupItem, Content
from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Profile
from hostlink.cli.ways import in_commands
from hostlink.errors import Interrupted, LinkError, LinkReason, ReadBackError, RefusedError
from hostlink.jobs.backup import backup
from hostlink.jobs.putback import MisfitError, putback
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.rescuing import NOTHING

MEMORY = "5 REM TIDE TABLE\n10 PRINT 1\n"
ONE = '10 PRINT "ONE"\n20 END\n'
TWO = "10 FOR I = 1 TO 3\n20 PRINT I\n30 NEXT I\n"


def lines(text: str) -> dict[int, bytes]:
    return {
        int(row.split(" ", 1)[0]): row.split(" ", 1)[1].encode() for row in text.strip().split("\n")
    }


@pytest.fixture
def kept(table: Callable[..., Any], archive: Archive) -> Any:
    """A board whose backup is in the archive, and that is empty again."""
    board = table()
    board.load(ONE, "ONE")
    board.load(TWO, "TWO")
    board.load(MEMORY)
    with board.session() as session:
        backup(session, archive)
        session.dialogue.clear()
    board.machine.basic.eeprom.clear()
    return board


def test_all_of_it_goes_back(kept: Any, archive: Archive) -> None:
    """Memory and both slots hold what they held; the host copy knows."""
    with kept.session() as session:
        done = putback(session, archive, archive.backup("backup@1"))
    assert kept.memory == lines(MEMORY)
    assert kept.stored == {"ONE": lines(ONE), "TWO": lines(TWO)}
    assert (done.memory, done.stored, done.unchanged) == (True, ("ONE", "TWO"), ())
    copy = archive.host_copy(archive.boards()[0].uuid)
    assert copy is not None
    assert copy.content.text == MEMORY
    assert copy.proven_at is not None


def test_an_item_kept_as_not_proven_is_told_before_it_goes_back(
    kept: Any, archive: Archive
) -> None:
    """What speaks against it is said before anything is typed, and stands in the result."""
    whole = archive.backup("backup@1")
    doubt = "the board reported 818 bytes free, by its listing it should be 844"
    items = [
        dataclasses.replace(item, unproven=doubt if item.kind == "memory" else "")
        for item in whole.items
    ]
    doubted = archive.keep_backup(whole.board_uuid, items, profile=whole.profile)
    said: list[tuple[str, bool]] = []
    with kept.session() as session:
        tell = session.emit

        def hear(event: Any) -> None:
            said.append((getattr(event, "text", ""), bool(kept.memory or kept.stored)))
            tell(event)

        session.emit = hear
        done = putback(session, archive, doubted)
    assert [changed for text, changed in said if doubt in text] == [False]
    assert done.unproven == {"memory": doubt}
    first, second = done.sentences
    assert first.startswith(f"{doubted.spec} is on the board, proven: ")
    assert "memory" not in first
    assert second == f"memory is as kept, but was kept as not proven: {doubt}."


def test_single_items_leave_the_rest_alone(kept: Any, archive: Archive) -> None:
    """One stored program: memory holds afterwards what it held before."""
    kept.load("10 REM MINE\n")
    with kept.session() as session:
        done = putback(session, archive, archive.backup("backup@1"), ["two"])
    assert kept.stored == {"TWO": lines(TWO)}
    assert kept.memory == {10: b"REM MINE"}
    assert not done.memory
    with kept.session() as session:
        putback(session, archive, archive.backup("backup@1"), ["memory"])
    assert kept.memory == lines(MEMORY)
    assert kept.stored == {"TWO": lines(TWO)}


def test_what_is_there_already_is_not_stored_again(kept: Any, archive: Archive) -> None:
    """The same program in a slot costs no EEPROM writes."""
    with kept.session() as session:
        putback(session, archive, archive.backup("backup@1"))
    sent: list[bytes] = []
    kept.on_write = sent.append
    with kept.session() as session:
        done = putback(session, archive, archive.backup("backup@1"))
    assert done.unchanged == ("ONE", "TWO")
    assert not [data for data in sent if b"STOW" in data]


def test_another_program_in_a_slot_and_in_memory_is_kept_first(kept: Any, archive: Archive) -> None:
    """Nothing is overwritten unsaved: both become rescues, before the store command goes out."""
    kept.load("10 REM OTHER SLOT\n", "ONE")
    kept.load("10 REM OTHER MEMORY\n")
    texts: list[set[str]] = []

    def watch(data: bytes) -> None:
        if b"STOW" in data:
            texts.append({archive.content(each).text for each in archive.rescues()})

    kept.on_write = watch
    with kept.session() as session:
        putback(session, archive, archive.backup("backup@1"))
    assert {"10 REM OTHER SLOT\n", "10 REM OTHER MEMORY\n"} <= texts[0]
    assert kept.stored["ONE"] == lines(ONE)


def sizeless() -> Profile:
    """The practice board's profile, which does not say how much memory the board has."""
    profile = find_profile("practice")
    storage = dataclasses.replace(profile.rules.storage, program_bytes=0)
    return dataclasses.replace(profile, rules=dataclasses.replace(profile.rules, storage=storage))


@pytest.mark.usefixtures("kept")
def test_a_smaller_board_says_beforehand_what_does_not_fit(
    archive: Archive, table: Callable[..., Any]
) -> None:
    """By the board's own free memory, not only its profile's; nothing is sent, and the rest is
    named so that it can go."""
    small = table(program_bytes=25)
    small.name = "small"
    sent: list[bytes] = []
    small.on_write = sent.append
    with small.session(sizeless()) as session, pytest.raises(RefusedError) as caught:
        putback(session, archive, archive.backup("backup@1"))
    assert "TWO: it is" in caught.value.what
    assert "memory: it is" in caught.value.what
    assert in_commands(caught.value.advice) == (
        "Put back the rest, which fits, with `hostlink putback backup@1 --item ONE`."
    )
    assert not [data for data in sent if b"STOW" in data or data[:1].isdigit()]
    with small.session(sizeless()) as session:
        assert putback(session, archive, archive.backup("backup@1"), ["ONE"]).stored == ("ONE",)
    assert small.stored == {"ONE": lines(ONE)}


# --- what a board held goes back to it -----------------------------------------------------------

UNFINISHED = "10 GOSUB 100\n20 NEXT\n"


def test_an_unfinished_program_goes_back_as_it_was(
    table: Callable[..., Any], archive: Archive
) -> None:
    """A review calls a jump to a line that is not there an error; the board held it anyway,
    in memory and stored. It is warned of, and put back."""
    board = table()
    board.load(UNFINISHED, "ODD")
    with board.session() as session:
        backup(session, archive)
        session.dialogue.clear()
    board.machine.basic.eeprom.clear()
    with board.session() as session:
        done = putback(session, archive, archive.backup("backup@1"))
    assert (done.memory, done.stored) == (True, ("ODD",))
    assert board.memory == lines(UNFINISHED) == board.stored["ODD"]
    told = [each.text for each in board.said("Warned") if "as it was" in each.text]
    assert [text.partition(":")[0] for text in told] == ["memory, line 10", "ODD, line 10"]
    assert all("100" in text for text in told)


def test_the_profiles_size_says_nothing_against_what_this_board_held(
    table: Callable[..., Any], archive: Archive
) -> None:
    """A board that is larger than its profile says, and has no question for its free memory."""
    board = table()
    board.load(TWO, "TWO")

    def narrow(session: Any) -> None:
        commands = dataclasses.replace(session.profile.commands, free_memory="")
        storage = dataclasses.replace(
            session.profile.rules.storage, program_bytes=10, eeprom_bytes=10
        )
        rules = dataclasses.replace(session.profile.rules, storage=storage)
        profile = dataclasses.replace(session.profile, commands=commands, rules=rules)
        session.use(LinkChoice(session.choice.port, profile))

    with board.session() as session:
        narrow(session)
        kept = backup(session, archive).backup
        session.dialogue.clear()
        board.machine.basic.eeprom.clear()
        putback(session, archive, kept)
    assert (board.memory, board.stored) == (lines(TWO), {"TWO": lines(TWO)})
    board.name = "other"
    with board.session() as session, pytest.raises(MisfitError) as caught:
        narrow(session)
        putback(session, archive, kept)
    assert [each.name for each in caught.value.found] == ["memory", "TWO"]


@pytest.mark.parametrize("odd", ["10 REM A\x15TOSS ONE\n", "10 REM \x7f\n", "10 REM \u20ac\n"])
def test_what_cannot_be_typed_is_never_typed(kept: Any, archive: Archive, odd: str) -> None:
    """A control character in a listing from elsewhere would be obeyed by the board's line editor,
    and what follows it would be a command of its own."""
    content = Content(odd.encode(), odd, odd, "practice", "latin-1", 20)
    board = archive.boards()[0]
    made = archive.keep_backup(board.uuid, [BackupItem("memory", content, 2)], profile="practice")
    sent = bytearray()
    kept.on_write = sent.extend
    with kept.session() as session, pytest.raises(MisfitError) as caught:
        putback(session, archive, made)
    assert "line 10" in caught.value.found[0].why
    assert b"TOSS" not in sent and b"10 REM" not in sent


@pytest.mark.parametrize("command", ["FETCH ONE", "STOW ONE"])
def test_a_refusal_that_comes_once_is_no_refusal(
    kept: Any, archive: Archive, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    """It may be the answer to a command that was damaged on the way."""
    kept.load(TWO, "ONE")
    misheard: list[str] = []
    with kept.session() as session:
        session.attach()
        real = session.dialogue.ask

        def ask(text: str, *rest: Any) -> str:
            if text == command and not misheard:
                misheard.append(text)
                return "! a name is 1 to 8 letters or digits\r\n"
            return str(real(text, *rest))

        monkeypatch.setattr(session.dialogue, "ask", ask)
        putback(session, archive, archive.backup("backup@1"))
    assert misheard
    assert kept.stored == {"ONE": lines(ONE), "TWO": lines(TWO)}


def test_a_question_for_the_free_memory_that_fails_stops_nothing(
    kept: Any, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The profile's size stands in for the board's word."""

    def damaged() -> Any:
        raise LinkError("It could not be typed right.", reason=LinkReason.DAMAGED)

    with kept.session() as session:
        session.attach()
        monkeypatch.setattr(session.dialogue, "free_memory", damaged)
        monkeypatch.setattr("hostlink.jobs.putback.rescue_or_discard", lambda *_, **__: NOTHING)
        putback(session, archive, archive.backup("backup@1"), ["memory"])
    assert kept.memory == lines(MEMORY)
    assert any("did not say how much memory is free" in each.text for each in kept.said("Warned"))


# --- a board with less room ----------------------------------------------------------------------


@pytest.mark.usefixtures("kept")
def test_what_the_eeprom_has_no_room_for_is_said_beforehand(
    archive: Archive, table: Callable[..., Any]
) -> None:
    """Where the profile knows its size, nothing is sent: not a byte is typed that changes memory
    or EEPROM. What does fit is named, and goes on the board when it is asked for so."""
    small = table(eeprom_bytes=40)
    small.name = "small"
    small.load("10 REM MINE\n")
    sent = bytearray()

    def narrow(session: Any) -> None:
        storage = dataclasses.replace(session.profile.rules.storage, eeprom_bytes=40)
        rules = dataclasses.replace(session.profile.rules, storage=storage)
        profile = dataclasses.replace(session.profile, rules=rules)
        session.use(LinkChoice(session.choice.port, profile))

    small.on_write = sent.extend
    with small.session() as session, pytest.raises(MisfitError) as caught:
        narrow(session)
        putback(session, archive, archive.backup("backup@1"))
    assert "TWO: it takes 36 bytes of EEPROM, and at most 20 are left for it" in caught.value.what
    assert in_commands(caught.value.advice) == (
        "Put back the rest, which fits, with `hostlink putback backup@1 --item memory --item ONE`."
    )
    assert b"NEW" not in sent and b"STOW" not in sent
    assert small.memory == {10: b"REM MINE"}
    names = re.findall(r"--item ([^\s`]+)", in_commands(caught.value.advice))
    with small.session() as session:
        narrow(session)
        putback(session, archive, archive.backup("backup@1"), names)
    assert (small.memory, small.stored) == (lines(MEMORY), {"ONE": lines(ONE)})


OTHER = "10 REM ANOTHER ONE\n"


@pytest.fixture
def full(archive: Archive, table: Callable[..., Any], kept: Any) -> Any:  # noqa: ARG001
    """A board whose EEPROM takes ONE but not TWO as well, which nobody knows beforehand; its slot
    ONE and its memory hold something that is nowhere else."""
    small = table(eeprom_bytes=60)
    small.name = "small"
    small.load(OTHER, "ONE")
    small.load("10 REM MINE\n")
    return small


def test_a_full_eeprom_leaves_everything_as_it_was(full: Any, archive: Archive) -> None:
    """The board refuses the second store: the slot that was replaced by then and memory hold again
    what they held, proven, and that is said. What is advised then works."""
    before, sent = (full.memory, full.stored), bytearray()
    full.on_write = sent.extend
    with full.session() as session, pytest.raises(RefusedError) as caught:
        putback(session, archive, archive.backup("backup@1"))
    assert "shelf full" in caught.value.what
    assert sent.count(b"STOW ONE\r") == 2 and sent.count(b"STOW TWO\r") == 2
    assert (full.memory, full.stored) == before
    assert "ONE holds what it held before." in caught.value.kept
    assert "Memory holds what it held before." in caught.value.kept
    (fitting,) = re.findall(r"--item ([^\s`]+)`", in_commands(caught.value.advice))
    with full.session() as session:
        putback(session, archive, archive.backup("backup@1"), [fitting])
    assert full.memory == lines(MEMORY)


def test_a_slot_that_was_empty_is_said_to_hold_a_program_now(
    archive: Archive, table: Callable[..., Any], kept: Any
) -> None:
    """No kind of board is known to take a stored program back; so what stays is named."""
    del kept
    small = table(eeprom_bytes=30)
    small.name = "small"
    small.load("10 REM MINE\n")
    with small.session() as session, pytest.raises(RefusedError) as caught:
        putback(session, archive, archive.backup("backup@1"), ["ONE", "TWO"])
    assert "Stored already, in slots that were empty: ONE." in caught.value.kept
    assert (small.memory, small.stored) == ({10: b"REM MINE"}, {"ONE": lines(ONE)})


@pytest.mark.parametrize("discard", [False, True])
def test_unplugged_after_a_slot_was_replaced_it_is_said_where_all_of_it_is(
    full: Any, archive: Archive, discard: bool
) -> None:
    """Nothing can be put back then: both are named as they are kept, or as not kept where that was
    asked for."""

    def cut(event: Any) -> None:
        full.machine.unplugged = "Storing as TWO" in getattr(event, "text", "")

    full.on_event = cut
    with full.session() as session, pytest.raises(LinkError) as caught:
        putback(session, archive, archive.backup("backup@1"), discard_board=discard)
    said = caught.value.kept
    if discard:
        assert "ONE may hold another program; what it held was not kept, as you asked." in said
        assert "Memory may hold another program; what it held was not kept, as you asked." in said
        return
    specs = re.findall(r"may hold another program; what it held is kept as (\S+?)[ .]", said)
    kept = [archive.content(each).text for each in archive.rescues() if each.spec in specs]
    assert sorted(kept) == sorted([OTHER, "10 REM MINE\n"])


def test_a_store_that_went_wrong_is_undone_too(full: Any, archive: Archive) -> None:
    """The slot that holds something else than it was sent holds again what it held."""
    before = (full.memory, full.stored)

    def spoil(event: Any) -> None:
        reads = "stored as ONE" in getattr(event, "text", "")
        if reads and full.stored != before[1] and not spoilt:
            spoilt.append(1)
            full.machine.basic.eeprom["ONE"] = {10: b"REM WORN"}

    spoilt: list[int] = []
    full.on_event = spoil
    with full.session() as session, pytest.raises(ReadBackError) as caught:
        putback(session, archive, archive.backup("backup@1"), ["ONE"])
    assert "differs in lines 10, 20" in caught.value.what
    assert "ONE holds what it held before." in caught.value.kept
    assert (full.memory, full.stored) == before


def test_before_anything_was_typed_that_changes_it_memory_is_left_alone(
    full: Any, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The board never says twice the same of what it has stored: memory is not even sent again."""

    def unsteady(_: Any) -> Any:
        raise ReadBackError("No two answers agree.")

    monkeypatch.setattr("hostlink.jobs.putback.slot_names", unsteady)
    sent = bytearray()
    full.on_write = sent.extend
    with full.session() as session, pytest.raises(ReadBackError) as caught:
        putback(session, archive, archive.backup("backup@1"))
    assert caught.value.kept == "Nothing on the board was changed."
    assert b"NEW" not in sent


def test_an_unknown_item_is_refused_with_the_known_ones(kept: Any, archive: Archive) -> None:
    """A misspelt item sends nothing."""
    with kept.session() as session, pytest.raises(RefusedError) as caught:
        putback(session, archive, archive.backup("backup@1"), ["THREE"])
    assert in_commands(caught.value.advice) == "It has: memory, ONE, TWO."


@pytest.mark.parametrize("name", ["X:NEW", "../X", "A B", "NEW\rRUN", "", "X" * 40, "É"])
def test_a_slot_name_from_an_archive_is_data(kept: Any, archive: Archive, name: str) -> None:
    """A name that no board could have is never typed at one."""
    content = Content(b"10 END\n", "10 END\n", "10 END\n", "practice", "latin-1", 6)
    board = archive.boards()[0]
    made = archive.keep_backup(
        board.uuid, [BackupItem("stored", content, 2, name)], profile="practice"
    )
    sent: list[bytes] = []
    kept.on_write = sent.append
    with kept.session() as session, pytest.raises(RefusedError):
        putback(session, archive, made)
    assert not [data for data in sent if b"STOW" in data or (name and name.encode() in data)]
    assert kept.stored == {}


def test_stopped_in_the_middle_memory_is_put_back(kept: Any, archive: Archive) -> None:
    """What memory held before the putback is there again, and the error says so."""
    kept.load("10 REM MINE\n")

    def cut(event: Any) -> None:
        if "Storing as TWO" in getattr(event, "text", ""):
            kept.cancelled = True

    kept.on_event = cut
    with kept.session() as session, pytest.raises(Interrupted) as caught:
        putback(session, archive, archive.backup("backup@1"))
    assert "Memory holds what it held before." in caught.value.kept
    assert kept.memory == {10: b"REM MINE"}
    (event,) = [each for each in archive.events() if each.job == "putback"]
    assert event.outcome == "interrupted"


def test_discarding_is_said_and_recorded(kept: Any, archive: Archive) -> None:
    """With --discard-board nothing is captured, the record says so."""
    kept.load("10 REM MINE\n")
    with kept.session() as session:
        putback(session, archive, archive.backup("backup@1"), ["memory"], discard_board=True)
    assert "10 REM MINE\n" not in {archive.content(each).text for each in archive.rescues()}
    (event,) = [each for each in archive.events() if each.job == "putback"]
    assert event.detail["discarded"] == "1 line that the board lists, 10"
