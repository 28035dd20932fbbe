"""Writing firmware from the app: the cautions first, programs kept and put back, cuts finished."""

from __future__ import annotations

import dataclasses
import random
import threading
from pathlib import Path
from typing import Any

import pytest
from intelhex import IntelHex
from textual.widgets import Static

from hostlink.app.job import Progress
from hostlink.app.job_words import figures
from hostlink.app.screens.boards import BoardsScreen
from hostlink.app.screens.dialogues import Ask, ErrorDialogue
from hostlink.app.screens.firmware import FirmwareScreen
from hostlink.board.dialogue.events import Phase
from hostlink.errors import HostlinkError, Interrupted, LinkError, LinkReason, Needed, RefusedError
from hostlink.jobs.events import PageProven, PagesRead
from hostlink.jobs.firmware.request import WriteRequest

VECTORS = b"\x0c\x94\x40\x00" * 26


def image(seed: int = 4, size: int = 600, name: str = "class.hex", vectors: bytes = VECTORS) -> str:
    """Write an image file into the folder of the test."""
    made = IntelHex()
    made.puts(0, vectors + random.Random(seed).randbytes(size - len(vectors)))
    made.write_hex_file(name)
    return name


@pytest.fixture
def to_write(wait: Any, shown: Any) -> Any:
    """Opens an image, asks to write it, reads the cautions and says what it is for."""

    async def go(pilot: Any, app: Any, name: str, role: str = "computer") -> None:
        await pilot.press("escape", "w", *name, "enter")
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))
        await pilot.press("w")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "Do not unplug the board" in shown(app)
        await pilot.click("#answer-write")
        await wait(pilot, lambda: "Which board is this image for?" in shown(app))
        await pilot.click(f"#answer-{role}")

    return go


def test_an_image_is_written_and_one_key_goes_back_to_the_one_before(
    stage: Any, wait: Any, shown: Any, to_write: Any
) -> None:
    """Every page is told while it works; then the program is there again, proven, and the record
    names the image, what flash held before it, and the backup. G writes that back."""

    async def written(pilot: Any, app: Any, times: int) -> None:
        await wait(pilot, lambda: len(stage.archive.writes()) == times)
        await wait(pilot, lambda: not app.desk.firmware_writes.under_way)
        assert isinstance(app.screen, FirmwareScreen)
        await wait(pilot, lambda: "written and read back" in " ".join(shown(app).split()))

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        await to_write(pilot, app, image())
        await wait(pilot, lambda: app.desk.firmware_writes.job is not None)  # it may have ended
        told = app.desk.firmware_writes.job.progress.told
        await written(pilot, app, 1)
        words = " ".join(text for text, _ in told)
        assert "Kept as backup@1: memory." in words
        assert "The board answered with a BASIC prompt; the image expects a BASIC prompt." in words
        assert any("pages written and read back" in said for said in app.said)
        assert any("back on it, proven (backup@1)" in said for said in app.said)
        await pilot.press("g")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.click("#answer-write")
        await written(pilot, app, 2)
        await pilot.press("escape")
        await wait(pilot, lambda: "holds TIDE revision 1" in shown(app))

    stage.play(story, opens="shipped:TIDE")
    back, write = stage.archive.writes()
    assert (write.outcome, write.role, write.image.name) == ("done", "computer", "class.hex")
    assert write.backup == "backup@1"
    assert write.image.flash == bytes(IntelHex("class.hex").tobinarray())
    assert (back.outcome, back.image.sha256) == ("done", write.previous.sha256)


@pytest.mark.slow
def test_a_mute_image_is_told_with_the_key_that_goes_back_and_that_key_needs_no_more_words(
    stage: Any, wait: Any, to_write: Any
) -> None:
    """The view says what is on the board, where the program is kept and which keys lead back; G,
    once its cautions are read, writes the image before and puts the program back."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        await to_write(pilot, app, image(name="mute.hex", vectors=b"\xff\xcf" + VECTORS[2:]))
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue), 60)
        parts = app.screen.query(Static).results(Static)
        words = " ".join(" ".join(str(each.content) for each in parts).split())
        assert "mute.hex is on the board, every page read back, but the board is silent." in words
        assert "Its programs are kept as backup@1." in words
        assert "Go back to the firmware before it with G on the firmware screen" in words
        assert "put the programs back with Escape, then P, backup@1" in words
        assert "`" not in words and "--" not in words
        await pilot.press("escape")
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))
        await pilot.press("g")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.click("#answer-write")
        await wait(pilot, lambda: any("back on it, proven (backup@1)" in s for s in app.said), 60)

    stage.play(story, opens="shipped:TIDE", size=(120, 40))
    assert [write.outcome for write in stage.archive.writes()] == ["done", "done"]


@pytest.mark.slow
async def opened(pilot: Any, app: Any, wait: Any, box: type) -> None:
    """Wait for a box that opens by itself, or open it where it waits, since keys were pressed."""
    waits = app.desk.query_one("#asks")
    await wait(pilot, lambda: isinstance(app.screen, box) or waits.display)
    if not isinstance(app.screen, box):
        await pilot.press("f6")
        await wait(pilot, lambda: isinstance(app.screen, box))


@pytest.mark.slow
def test_unplugged_while_the_programs_go_back_is_told_with_what_is_kept(
    stage: Any, wait: Any, to_write: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was written, what is kept as which backup, and the keys that put it back; W, pressed
    again, does that."""
    from hostlink.jobs.putback import putback

    unplugged: list[int] = []

    def pulled(session: Any, *words: Any, **options: Any) -> Any:
        if not unplugged:
            unplugged.append(1)
            session.wire.port.machine.unplugged = True
            session.wire.port.machine.basic.power_on()
        return putback(session, *words, **options)

    monkeypatch.setattr("hostlink.jobs.firmware.restoring.putback", pulled)

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        await to_write(pilot, app, image())
        await opened(pilot, app, wait, ErrorDialogue)
        parts = app.screen.query(Static).results(Static)
        words = " ".join(" ".join(str(each.content) for each in parts).split())
        assert "class.hex is on the board, every page read back, but its programs were" in words
        assert "Its programs are kept as backup@1." in words
        assert "Escape, then P, backup@1" in words
        await pilot.press("escape")
        # The board is back. Its program alone would leave out what is stored.
        await wait(pilot, lambda: any("The board is back" in said for said in app.said))
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))
        await pilot.press("w")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.click("#answer-write")
        await wait(pilot, lambda: any("back on it, proven (backup@1)" in s for s in app.said), 60)

    stage.play(story, opens="shipped:TIDE", size=(120, 40))


def test_leaving_the_cautions_writes_nothing(stage: Any, wait: Any, shown: Any) -> None:
    """All of them can be read by keyboard on a low screen, and Enter leaves the board as it is."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "w", *image(), "enter")
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))
        await pilot.press("w")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "A backup of the board is made first" not in shown(app)
        await pilot.press("pagedown")
        await wait(pilot, lambda: "A backup of the board is made first" in shown(app))
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))
        assert app.boards.current.busy is None

    stage.play(story, size=(80, 18))
    assert stage.archive.writes() == []


@pytest.mark.one_in(4)
@pytest.mark.parametrize(
    ("refusal", "answer", "changes"),
    [
        (RefusedError("Which?", needed=Needed.WHICH_BOARD), "sure", {"this_board": "computer"}),
        (
            RefusedError("Lost?", needed=Needed.LOSS),
            "lose",
            {"discard_board": True, "this_board": "computer"},
        ),
        (
            RefusedError("How large?", needed=Needed.BOOTLOADER_SIZE),
            "size-4096",
            {"boot_bytes": 4096, "boot_is_known": True},
        ),
        (LinkError("It runs.", reason=LinkReason.RUNNING), "stop", {}),
    ],
)
def test_what_a_refused_write_needs_is_asked_and_only_then_given(
    stage: Any,
    wait: Any,
    to_write: Any,
    monkeypatch: pytest.MonkeyPatch,
    refusal: HostlinkError,
    answer: str,
    changes: dict[str, object],
) -> None:
    """The safe answer ends it; the other one repeats the write with just that word of the user."""
    asked: list[tuple[WriteRequest, bool]] = []

    def write(session: Any, _: Any, request: WriteRequest) -> Any:
        asked.append((request, session.choice.stop_running))
        if len(asked) < 3:
            raise refusal
        raise LinkError("Enough.")

    monkeypatch.setattr("hostlink.jobs.firmware.writing.write_firmware", write)

    async def story(pilot: Any, app: Any) -> None:
        await to_write(pilot, app, image())
        await wait(pilot, lambda: bool(app.screen.query(f"#answer-{answer}")))
        assert app.focused.id == "answer-leave"
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))
        await pilot.press("w")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.click("#answer-write")
        await wait(pilot, lambda: bool(app.screen.query("#answer-computer")))
        await pilot.click("#answer-computer")
        await wait(pilot, lambda: bool(app.screen.query(f"#answer-{answer}")))
        app.screen.query_one(f"#answer-{answer}").press()
        await wait(pilot, lambda: len(asked) == 3)
        await wait(pilot, lambda: app.boards.current.busy is None)
        assert app.boards.current.choice.stop_running is False

    stage.play(story)
    (first, may_first), (again, may_again), (last, may_last) = asked
    assert first == again
    assert last == dataclasses.replace(first, **changes)  # type: ignore[arg-type]
    assert (may_first, may_again, may_last) == (False, False, answer == "stop")


@pytest.mark.slow
def test_a_board_unplugged_half_way_is_finished_by_the_same_key(
    stage: Any, wait: Any, shown: Any, to_write: Any
) -> None:
    """The view says that the board is mute and the bootloader unharmed; plugged in again, W
    finishes what was cut off."""

    async def story(pilot: Any, app: Any) -> None:
        await to_write(pilot, app, image(size=6000))
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        job = app.desk.firmware_writes.job
        assert isinstance(job.error, LinkError)
        assert "Its bootloader is unharmed" in job.error.kept
        assert "is mute until" in shown(app)

    stage.play(story, port="practice://cut?time=virtual&unplug_after_bytes=9000")
    (cut,) = stage.archive.writes()
    assert not cut.is_finished

    async def again(pilot: Any, app: Any) -> None:
        await wait(pilot, lambda: "is silent" in shown(app))
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)
        await pilot.press("escape", "w", *"class.hex", "enter")
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))
        await pilot.press("w")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.click("#answer-write")
        await wait(pilot, lambda: any("cut off is finished" in said for said in app.said))

    stage.play(again, port="practice://cut?time=virtual")
    assert stage.archive.writes()[0].outcome == "done"
    assert Path("class.hex").exists()


def test_without_an_image_there_is_the_record_and_the_way_back(
    stage: Any, wait: Any, shown: Any, find_action: Any
) -> None:
    """Its own action shows what was written where; W says that no image was named."""

    async def story(pilot: Any, app: Any) -> None:
        await find_action(pilot, app, "written before")
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))
        assert "What was written where" in shown(app)
        await pilot.press("w")
        assert "W writes" not in app.screen.foot()
        await wait(pilot, lambda: "No image was chosen" in str([*app._notifications]))
        await pilot.press("g")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "brought back with G on the firmware screen" in shown(app)

    stage.play(story)


def test_a_write_goes_on_behind_the_desk_and_its_map_fills_page_by_page(
    stage: Any, wait: Any, shown: Any, to_write: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Escape leads to the desk, which has a row for it; the firmware action shows the map again.

    To stop it is asked on both, with what that does to the board, and the safe answer has the
    focus.
    """
    gates = [threading.Event(), threading.Event()]

    def write(session: Any, *_: Any) -> Any:
        session.emit(Phase("Reading all of flash into the archive"))
        for page in range(40):
            session.emit(PagesRead(page + 1, 256))
        gates[0].wait(60)
        session.emit(Phase("Writing class.hex"))
        for done, page in enumerate((1, 2, 3, 4), 1):
            session.emit(PageProven(done, 5, page))
        gates[1].wait(60)
        raise Interrupted("Stopped after page 4 of 5.")

    monkeypatch.setattr("hostlink.jobs.firmware.writing.write_firmware", write)

    async def story(pilot: Any, app: Any) -> None:
        await to_write(pilot, app, image())
        writes = app.desk.firmware_writes
        await wait(pilot, lambda: "page 40 of 256 read" in shown(app))
        assert "1000 ┄┄┄┄┄┄┄█┄" in shown(app)
        assert "8 read" in shown(app)
        gates[0].set()
        await wait(pilot, lambda: "0000 ─━━━█┄" in shown(app))
        assert "4 proven" in shown(app)
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)
        await wait(pilot, lambda: "Writing class.hex" in shown(app))
        await pilot.press("escape", "d")
        await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
        await pilot.press("d")
        await wait(pilot, lambda: "stop it first" in str([*app._notifications]))
        assert app.boards.current is writes.job.attached
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)
        await pilot.press("escape", "w")
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))
        await wait(pilot, lambda: "0000 ─━━━█┄" in shown(app))
        await pilot.press("s")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "mute until the rest is written" in " ".join(app.screen.question.split())
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))
        assert not writes.job.stopping
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)
        app.desk.console.interrupt()
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.click("#answer-stop")
        await wait(pilot, lambda: writes.job.stopping)
        gates[1].set()
        await opened(pilot, app, wait, ErrorDialogue)
        assert writes.job.progress.proven_pages == {1, 2, 3, 4}

    try:
        stage.play(story)
    finally:
        for gate in gates:
            gate.set()


def test_the_time_that_is_left_for_pages_follows_from_those_done() -> None:
    """A quarter of the pages took 5 s, so the rest of this part takes 15 s; the next part begins
    without a figure, not with that of the one before.
    """
    progress = Progress()
    progress.take(10.0, Phase("Reading"))
    progress.take(15.0, PagesRead(64, 256))
    assert figures(progress, 1_000) == [
        "about 15 s left for this part",
        "page 64 of 256 read twice, the same each time",
    ]
    progress.take(16.0, Phase("Writing"))
    assert figures(progress, 1_000) == []
    assert progress.read_pages == 64
