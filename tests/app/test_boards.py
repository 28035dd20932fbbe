"""Boards: attach, detach, label; several attached, one of them current."""

from __future__ import annotations

from typing import Any

from hostlink.app.screens.boards import BoardsScreen
from hostlink.app.widgets.rows import Rows


def test_two_boards_are_attached_and_loading_goes_to_the_current_one(
    stage: Any, wait: Any, shown: Any, type_text: Any, is_settled: Any
) -> None:
    """The second board gets the listing; the first one stays attached and empty."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "d")
        await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
        await pilot.press("o")
        await type_text(pilot, "practice://second?time=virtual\n")
        await wait(pilot, lambda: len(app.boards.by_port) == 2 and is_settled(app))
        assert "(1 other board attached)" in shown(app)
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        first, second = app.boards.by_port
        assert app.boards.current.port == second
        assert app.desk.states.held(second).spec == "TIDE@1"
        assert not app.desk.states.held(first).lines
        for port in (first, second):
            app.boards.make_current(port)
            app.desk.screens.boards()
            await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
            assert app.screen.query_one(Rows).key.startswith(port.partition("?")[0])
            await pilot.press("escape")
            await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story, opens="shipped:TIDE", size=(100, 24))


def test_a_board_gets_its_label_and_is_called_by_it(
    stage: Any, wait: Any, shown: Any, type_text: Any
) -> None:
    """After labelling, the sentence on the desk begins with the label; an empty one removes it."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "d")
        await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
        assert "current" in shown(app)
        await pilot.press("l")
        await type_text(pilot, "Red\n")
        await wait(pilot, lambda: "Red" in shown(app))
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)
        assert "Red holds no program" in shown(app)
        assert stage.archive.board("Red").label == "Red"
        await pilot.press("escape", "d")
        await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
        await pilot.press("l", "backspace", "enter")
        await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
        await wait(pilot, lambda: [one.label for one in stage.archive.boards()] == [""])

    stage.play(story)


def test_the_firmware_that_was_written_to_a_board_is_told(stage: Any, wait: Any) -> None:
    """The last write stands with the board: which image, when, and how it ended."""

    async def story(pilot: Any, app: Any) -> None:
        (board,) = stage.archive.boards()
        image = stage.archive.keep_image(b"\x0c\x94" * 40, part="ATmega328P", name="class.hex")
        stage.archive.begin_write(
            board.uuid, image, previous=None, role="computer", part="ATmega328P"
        )
        app.desk.screens.boards()
        await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
        await pilot.pause()
        told = app.screen.query_one("#board-detail").content.plain
        assert "last firmware: class.hex, just now: cut off" in told

    stage.play(story, size=(120, 40))


def test_a_detached_board_is_closed_and_can_be_attached_again(
    stage: Any, wait: Any, shown: Any, is_settled: Any
) -> None:
    """Detaching frees the port: another opening of the same practice board is not refused."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "d")
        await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
        await pilot.press("d")
        await wait(pilot, lambda: not app.boards.by_port)
        assert app.boards.current is None
        await pilot.press("enter")
        await wait(pilot, lambda: len(app.boards.by_port) == 1 and is_settled(app))
        assert "holds no program" in shown(app)

    stage.play(story)


def test_a_board_in_use_elsewhere_is_told_and_not_attached(
    stage: Any, wait: Any, shown: Any
) -> None:
    """The second app on one practice board says that it is in use and goes on without it."""

    async def outer(pilot: Any, app: Any) -> None:
        from hostlink.app.attached_board import AttachedBoard
        from hostlink.jobs.session.link_choice import LinkChoice

        other = AttachedBoard(
            LinkChoice("practice://taken?time=virtual", app.boards.profile), stage.archive
        )
        await wait(pilot, lambda: other.is_here)
        app.boards.attach("practice://taken?time=virtual")
        await wait(pilot, lambda: "in use by another" in shown(app))
        assert "practice://taken?time=virtual" not in app.boards.by_port
        assert other.close()

    stage.play(outer, port="")


def test_a_backup_is_made_from_the_desk(stage: Any, wait: Any) -> None:
    """What the board holds is kept as backup 1."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        await pilot.press("escape", "u")
        await wait(pilot, lambda: any("backup@1" in said for said in app.said))

    stage.play(story, opens="shipped:TIDE")
    assert stage.archive.backup("backup@1").items[0].name == "memory"
