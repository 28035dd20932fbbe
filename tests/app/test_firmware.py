"""Writing firmware from the app: the cautions first, programs kept and put back, cuts finished."""

from __future__ import annotations

import dataclasses
import random
from pathlib import Path
from typing import Any

import pytest
from intelhex import IntelHex
from textual.widgets import Static

from hostlink.app.screens.dialogues import Ask
from hostlink.app.screens.firmware import FirmwareScreen
from hostlink.app.screens.jobview import JobView
from hostlink.errors import HostlinkError, LinkError, LinkReason, Needed, RefusedError
from hostlink.jobs.firmware.writing import WriteRequest

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
        await wait(pilot, lambda: "What is this image for?" in shown(app))
        await pilot.click(f"#answer-{role}")

    return go


def test_an_image_is_written_and_one_key_goes_back_to_the_one_before(
    stage: Any, wait: Any, shown: Any, to_write: Any
) -> None:
    """Every page is told while it works; then the program is there again, proven, and the record
    names the image, what flash held before it, and the backup. G writes that back."""

    async def written(pilot: Any, app: Any, times: int) -> None:
        await wait(pilot, lambda: len(stage.archive.writes()) == times)
        await wait(pilot, lambda: app.boards.current.busy is None)
        await pilot.press("escape")
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        await to_write(pilot, app, image())
        await wait(pilot, lambda: isinstance(app.screen, JobView))
        told = app.screen.job.progress.told
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


def test_a_mute_image_is_told_with_the_key_that_goes_back_and_that_key_needs_no_more_words(
    stage: Any, wait: Any, to_write: Any
) -> None:
    """The view says what is on the board, where the program is kept and which keys lead back; G,
    once its cautions are read, writes the image before and puts the program back."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        await to_write(pilot, app, image(name="mute.hex", vectors=b"\xff\xcf" + VECTORS[2:]))
        await wait(pilot, lambda: isinstance(app.screen, JobView))
        job = app.screen.job
        await wait(pilot, lambda: job.ended, 60)
        words = " ".join(str(app.screen.query_one("#phase", Static).content).split())
        assert "mute.hex is on the board, every page read back, but the board is silent." in words
        assert "Not lost: Its programs are kept as backup@1." in words
        assert "Go back to the firmware before it with G on the firmware screen" in words
        assert "put them back with Escape, then P, backup@1" in words
        assert "`" not in words and "--" not in words
        await pilot.press("escape")
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))
        await pilot.press("g")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.click("#answer-write")
        await wait(pilot, lambda: any("back on it, proven (backup@1)" in s for s in app.said), 60)

    stage.play(story, opens="shipped:TIDE", size=(120, 40))
    assert [write.outcome for write in stage.archive.writes()] == ["done", "done"]


def test_unplugged_while_the_programs_go_back_is_told_with_what_is_kept(
    stage: Any, wait: Any, shown: Any, to_write: Any, monkeypatch: pytest.MonkeyPatch
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
        await wait(pilot, lambda: isinstance(app.screen, JobView))
        job = app.screen.job
        await wait(pilot, lambda: job.ended, 60)
        words = " ".join(str(app.screen.query_one("#phase", Static).content).split())
        assert "class.hex is on the board, every page read back, but its programs were" in words
        assert "Its programs are kept as backup@1." in words
        assert "Escape, then P, backup@1" in words
        await pilot.press("escape")
        # The board is back, and its program is offered: that alone would leave out what is stored.
        await wait(pilot, lambda: "lost the program in its memory" in shown(app))
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))
        await pilot.press("w")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.click("#answer-write")
        await wait(pilot, lambda: any("back on it, proven (backup@1)" in s for s in app.said), 60)

    stage.play(story, opens="shipped:TIDE", size=(120, 40))


def test_leaving_the_cautions_writes_nothing(stage: Any, wait: Any, shown: Any) -> None:
    """All of them can be read by keyboard at 80 by 24, and Enter leaves the board as it is."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "w", *image(), "enter")
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))
        await pilot.press("w")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "backed up first" not in shown(app)
        await pilot.press("pagedown")
        await wait(pilot, lambda: "backed up first" in shown(app))
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, FirmwareScreen))
        assert app.boards.current.busy is None

    stage.play(story)
    assert stage.archive.writes() == []


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

    monkeypatch.setattr("hostlink.app.screens.firmware.write_firmware", write)

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


def test_a_board_unplugged_half_way_is_finished_by_the_same_key(
    stage: Any, wait: Any, shown: Any, to_write: Any
) -> None:
    """The view says that the board is mute and the bootloader unharmed; plugged in again, W
    finishes what was cut off."""

    async def story(pilot: Any, app: Any) -> None:
        await to_write(pilot, app, image(size=6000))
        await wait(pilot, lambda: isinstance(app.screen, JobView))
        job = app.screen.job
        await wait(pilot, lambda: job.ended)
        assert isinstance(job.error, LinkError)
        assert "its bootloader is unharmed" in job.error.kept
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
        await wait(pilot, lambda: "No image was named" in str([*app._notifications]))
        await pilot.press("g")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "brought back with G on the firmware screen" in shown(app)

    stage.play(story)
