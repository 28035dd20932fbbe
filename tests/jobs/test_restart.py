"""Attaching and restarting: said before, noticed after, remembered, and nothing lost unsaved.

Boards live on a virtual clock; every job ends within a bounded virtual time.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from recordings import read_recording

from hostlink.archive import Archive
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.events import Warned
from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Profile
from hostlink.cli.ways import COMMANDS
from hostlink.errors import (
    HostlinkError,
    LinkError,
    LinkReason,
    NotKnownError,
    ReadBackError,
    RefusedError,
)
from hostlink.jobs.event_words import event_words
from hostlink.jobs.events import Event
from hostlink.jobs.listing_source import from_bytes
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.last_known import last_program
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.rescuing import rescue_held
from hostlink.jobs.session.restarting import restart
from hostlink.jobs.session.session import Session

LISTING = b'10 PRINT "THE LIGHT IS ON"\n20 GOTO 10\n'
RESTARTS = "restarts_on_open=1"


@pytest.fixture
def told() -> list[Event]:
    return []


@pytest.fixture
def session(archive: Archive, told: list[Event]) -> Callable[..., Session]:
    """Open a session on the practice board "red": session("line_ms=5", restart_ms=3000.0)."""

    def start(
        options: str = "",
        *,
        record: Path | None = None,
        cancelled: Callable[[], bool] = lambda: False,
        **talk: Any,
    ) -> Session:
        profile = with_talk(find_profile("practice"), **talk)
        choice = LinkChoice(f"practice://red?time=virtual&{options}", profile, record=record)
        return open_session(choice, told.append, cancelled, archive=archive)

    return start


def with_talk(profile: Profile, **talk: Any) -> Profile:
    return dataclasses.replace(profile, talk=dataclasses.replace(profile.talk, **talk))


@pytest.fixture
def loaded(session: Callable[..., Session], archive: Archive) -> None:
    """The board "red" holds the program LIGHT, proven."""
    with session() as here:
        load(here, archive, from_bytes(LISTING, "light.bas", name="LIGHT"), LoadOptions())


def warnings(told: list[Event]) -> list[str]:
    return [event_words(event, COMMANDS) for event in told if isinstance(event, Warned)]


def seconds(session: Session) -> float:
    return session.wire.now()


# --- attaching -------------------------------------------------------------------------------


@pytest.mark.usefixtures("loaded")
def test_a_restart_by_our_own_opening_is_noticed_and_remembered(
    session: Callable[..., Session], archive: Archive, told: list[Event]
) -> None:
    """The memory was lost then: it is said so, with the program that puts it back."""
    with session(RESTARTS) as here:
        here.attach()
        assert here.restarts.memory_is_lost
    (said,) = warnings(told)
    assert "lost its memory then" in said
    assert "hostlink load LIGHT@1" in said
    assert archive.boards()[0].restarts_on_open is True


@pytest.mark.usefixtures("loaded")
def test_the_next_opening_is_warned_of_before(
    session: Callable[..., Session], told: list[Event]
) -> None:
    """What was seen once is said beforehand, though the profile says nothing of it."""
    with session(RESTARTS) as here:
        here.attach()
    told.clear()
    with session(RESTARTS):
        assert "will probably restart the board" in warnings(told)[0]  # nothing was sent yet


def test_a_board_that_does_not_restart_is_remembered_too(
    session: Callable[..., Session], archive: Archive, told: list[Event]
) -> None:
    """The line was pulled and no banner came: the warning of the profile is not said again."""
    with session(restarts_on_open=True) as here:
        here.attach()
    assert archive.boards()[0].restarts_on_open is False
    told.clear()
    with session(restarts_on_open=True):
        assert warnings(told) == []


def test_without_a_banner_nothing_is_learned_from_silence(
    session: Callable[..., Session], archive: Archive
) -> None:
    """A restart may have gone by unseen, so the board is not called one that does not restart."""
    with session(banner="") as here:
        here.attach()
    assert archive.boards()[0].restarts_on_open is None


@pytest.mark.parametrize("restart_ms", [500, 1500, 3000])
@pytest.mark.parametrize("foreseen", [True, False])
def test_the_silence_of_a_bootloader_is_waited_out(
    session: Callable[..., Session], restart_ms: int, foreseen: bool
) -> None:
    """Whether it was foreseen or not, a board that is still starting is not called silent."""
    options = f"{RESTARTS}&restart_ms={restart_ms}"
    with session(options, restart_ms=float(restart_ms), restarts_on_open=foreseen) as here:
        here.attach()
        assert here.restarts.memory_is_lost
        assert seconds(here) < 3 * restart_ms / 1000 + 5


def test_nothing_is_sent_to_a_board_that_is_expected_to_start(
    session: Callable[..., Session], place: Path
) -> None:
    """A bootloader would take it for its own: the first byte goes out after the banner."""
    with session(
        f"{RESTARTS}&restart_ms=2000",
        restart_ms=2000.0,
        restarts_on_open=True,
        record=place / "wire.txt",
    ) as here:
        here.attach()
    bursts = list(read_recording((place / "wire.txt").read_text(encoding="ascii")))
    heard = b""
    for burst in bursts:
        if burst.side == "host":
            break
        heard += burst.data
    assert b"practice board" in heard
    assert any(burst.side == "host" for burst in bursts)


def test_a_board_that_stays_silent_is_given_up(session: Callable[..., Session]) -> None:
    """After the restart time and a second look, with what to check; never a hang."""
    with session(f"{RESTARTS}&restart_ms=1000000") as here:
        with pytest.raises(LinkError) as caught:
            here.attach()
        assert caught.value.reason is LinkReason.SILENT
        assert seconds(here) < 30


@pytest.mark.usefixtures("loaded")
def test_an_empty_board_that_should_hold_something_is_told(
    session: Callable[..., Session], archive: Archive, told: list[Event]
) -> None:
    """No banner was seen, but the listing is empty: it lost its supply since, and this is said."""
    with session("fresh") as here:
        here.attach()
        rescue_held(here, archive, here.board_in(archive))
    (said,) = warnings(told)
    assert "last known to hold LIGHT@1" in said
    assert "hostlink load LIGHT@1" in said


@pytest.mark.usefixtures("loaded")
def test_a_load_of_the_program_that_was_lost_is_no_alarm(
    session: Callable[..., Session], archive: Archive, told: list[Event]
) -> None:
    """The load puts it back; of another program the loss is told."""
    with session("fresh") as here:
        again = load(here, archive, from_bytes(LISTING, "light.bas", name="LIGHT"), LoadOptions())
    assert again.spec == "LIGHT@1"
    assert warnings(told) == []
    with session("fresh") as here:
        load(here, archive, from_bytes(b"10 END\n", "other.bas", name="OTHER"), LoadOptions())
    (said,) = warnings(told)
    assert "last known to hold LIGHT@1" in said


def test_a_host_copy_without_a_name_can_still_be_put_back(
    session: Callable[..., Session], archive: Archive
) -> None:
    """What was only typed at a console is kept as a rescue once the board has lost it."""
    with session() as here:
        here.attach()
        board = here.board_in(archive)
        content = from_bytes(LISTING, "-", name="").content(here.profile)
    assert last_program(archive, board) == ""
    archive.set_host_copy(board.uuid, content, proven=False)
    spec = last_program(archive, board)
    assert spec == "rescue@1"
    assert archive.content(archive.revision(spec)).text == LISTING.decode()
    assert last_program(archive, board) == "rescue@1"  # and it is kept once


# --- restarting on purpose -------------------------------------------------------------------


@pytest.mark.usefixtures("loaded")
def test_a_restart_keeps_the_program_first(
    session: Callable[..., Session], archive: Archive, place: Path
) -> None:
    """It is asked about with what was captured; afterwards memory is empty and known to be."""
    asked = []
    with session(record=place / "wire.txt") as here:
        done = restart(here, archive, consent=lambda held: not asked.append(held.spec))
        board = here.board_in(archive)
    assert asked == ["LIGHT@1"]
    assert (done.held.spec, done.at_prompt, done.lines) == ("LIGHT@1", True, 0)
    copy = archive.host_copy(board.uuid)
    assert copy is not None
    assert copy.content.text == ""
    assert archive.events(1)[0].job == "restart"


@pytest.mark.usefixtures("loaded")
def test_nothing_is_sent_between_the_pulse_and_the_banner(
    session: Callable[..., Session], archive: Archive, place: Path
) -> None:
    """The board's whole start, here 1.5 s, passes in silence from our side."""
    with session("restart_ms=1500", restart_ms=1500.0, record=place / "wire.txt") as here:
        restart(here, archive, consent=lambda _: True)
    bursts = list(read_recording((place / "wire.txt").read_text(encoding="ascii")))
    joined = b""
    for burst in bursts:
        joined += burst.data if burst.side == "board" else b""
        if b"practice board" in joined:
            break
    banner_ms = burst.at_ms
    before = [each.at_ms for each in bursts if each.side == "host" and each.at_ms < banner_ms]
    assert before
    assert banner_ms - max(before) > 1500


@pytest.mark.usefixtures("loaded")
def test_without_consent_the_board_goes_on(
    session: Callable[..., Session], archive: Archive
) -> None:
    """Refused, and its program is still there."""
    with session() as here:
        with pytest.raises(RefusedError, match="not restarted"):
            restart(here, archive, consent=lambda _: False)
        assert len(here.dialogue.read_listing().lines) == 2


@pytest.mark.usefixtures("loaded")
def test_a_board_that_hangs_can_be_restarted_unseen(
    session: Callable[..., Session], archive: Archive, told: list[Event]
) -> None:
    """With --discard-board nothing is captured first; that it was so is recorded."""
    with session() as here:
        here.wire.write(b"RUN\r")
        done = restart(here, archive, consent=lambda _: True, discard_board=True)
    assert done.at_prompt
    assert done.held.spec == ""
    assert archive.events(1)[0].detail["discarded"] == "what the board holds; it was not looked at"
    assert any("it was not looked at" in text for text in warnings(told))


def test_a_restart_line_that_is_not_wired_is_told(
    session: Callable[..., Session], archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither banner nor prompt within the restart time: said so, and where the program is kept."""
    with session() as here:
        monkeypatch.setattr(here.wire.port.machine, "restart", lambda _: None)  # type: ignore[attr-defined]
        with pytest.raises(LinkError, match="no sign of a restart") as caught:
            restart(here, archive, consent=lambda _: True)
        assert caught.value.reason is LinkReason.SILENT
        assert seconds(here) < 10


def test_a_program_that_starts_by_itself_is_left_alone(
    session: Callable[..., Session], archive: Archive, told: list[Event]
) -> None:
    """It runs from EEPROM after the restart; it is not interrupted to look at memory."""
    with session() as here:
        load(here, archive, from_bytes(LISTING, "light.bas", name="LIGHT"), LoadOptions())
        here.dialogue.ask("STOW START")
        done = restart(here, archive, consent=lambda _: True)
        assert not done.at_prompt
        assert here.wire.port.in_waiting or here.wire.receive(seconds(here) + 1.0)  # it prints on
    assert any("by itself" in text for text in warnings(told))


# --- bad boards ------------------------------------------------------------------------------


@pytest.mark.parametrize("job", ["load", "save"])
@pytest.mark.usefixtures("loaded")
def test_a_board_that_restarts_every_second_ends_every_job(
    job: str, session: Callable[..., Session], archive: Archive
) -> None:
    """A clear failure within bounded time, never a hang; the archive holds what it held."""
    here: list[Session] = []
    due = [0.2]

    def restarting() -> bool:
        machine, now = here[0].wire.port.machine, seconds(here[0])  # type: ignore[attr-defined]
        if now >= due[0]:
            due[0] = now + 1.0
            machine.restart(now)
        return False

    with session("restart_ms=100&baud=2400", cancelled=restarting, baud=2400) as opened:
        here.append(opened)
        material = from_bytes(_long(), "long.bas", name="LONG")
        with pytest.raises(HostlinkError) as caught:
            if job == "load":
                load(opened, archive, material, LoadOptions())
            else:
                save(opened, archive, SaveOptions("KEPT", after_restart=False))
        assert isinstance(caught.value, LinkError | ReadBackError | RefusedError)
        assert seconds(opened) < 300
    assert archive.revision("LIGHT").number == 1
    assert [program.name for program in archive.programs()] != ["KEPT"]


def _long() -> bytes:
    return b"".join(b'%d PRINT "ANOTHER LINE"\n' % n for n in range(100, 120))


def test_a_plug_that_sends_back_what_it_hears_is_no_board(archive: Archive) -> None:
    """Everything is echoed and nothing answers: told within seconds, nothing was kept."""
    profile = find_profile("practice")
    with open_session(LinkChoice("loop://", profile), lambda _: None, archive=archive) as here:
        began = here.wire.now()
        with pytest.raises(LinkError) as caught:
            here.attach()
        assert here.wire.now() - began < 10
    assert caught.value.reason is LinkReason.LOOPED
    assert archive.boards() == []


def test_after_a_restart_nothing_is_said_to_be_untouched(
    session: Callable[..., Session], archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the board holds by then cannot be told; what it held before is lost, and is kept."""
    with session() as here:
        load(here, archive, from_bytes(LISTING, "HAIL", name="HAIL"), LoadOptions())
        capture = Dialogue.capture
        readings: list[Capture] = []

        def fails_the_second_time(dialogue: Dialogue) -> Capture:
            if readings:
                raise NotKnownError("It says WHAT.")
            readings.append(capture(dialogue))
            return readings[-1]

        monkeypatch.setattr(Dialogue, "capture", fails_the_second_time)
        with pytest.raises(NotKnownError) as caught:
            restart(here, archive, consent=lambda _: True)
    assert "not touched" not in caught.value.kept
    assert "HAIL@1" in caught.value.kept


@pytest.mark.usefixtures("loaded")
def test_a_load_after_our_own_restart_takes_it_for_no_mishap(
    session: Callable[..., Session], archive: Archive, told: list[Event]
) -> None:
    """As two lines of `together` do it, over one open port."""
    with session() as here:
        restart(here, archive, consent=lambda _: True)
        told.clear()
        load(here, archive, from_bytes(LISTING, "light.bas", name="LIGHT"), LoadOptions())
    assert not any("starting over" in said or "restarted" in said for said in warnings(told))
