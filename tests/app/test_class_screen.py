"""A class in the app: handed out to, collected from, waited for, and written to take home."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import pytest

from hostlink.app.attached_board import AttachedBoard
from hostlink.app.screens.choosing import ChoosePath
from hostlink.app.screens.class_screen import ClassScreen
from hostlink.app.screens.dialogues import Ask, ErrorDialogue
from hostlink.jobs.class_register.evening import handing_out
from hostlink.jobs.class_register.seats import Seat, seats_of
from hostlink.jobs.session.link_choice import LinkChoice

LAMP = '10 PRINT "LAMP"\n20 END\n'
BOARDS = {"Ada Brook": "class", "Ben Oak": "blue", "Cleo Reed": "green"}


def write_register(folder: Path, *, more: str = "") -> None:
    rows = ['title = "Tuesday"', 'hand_out = "lamp.bas"']
    for name, board in BOARDS.items():
        rows += ["[[learner]]", f'name = "{name}"', f'board = "practice://{board}?time=virtual"']
    (folder / "class.toml").write_text("\n".join([*rows, more, ""]), encoding="utf-8")
    (folder / "lamp.bas").write_text(LAMP, encoding="utf-8")


async def _open(pilot: Any, app: Any, wait: Any, is_settled: Any, find_action: Any) -> Any:
    """Open the class by the palette, with the name of its register."""
    await wait(pilot, lambda: app.boards.current is not None and is_settled(app))
    await find_action(pilot, app, "class register")
    await pilot.press("enter")
    await wait(pilot, lambda: isinstance(app.screen, ChoosePath))
    await pilot.press(*"class.toml", "enter")
    await wait(pilot, lambda: not isinstance(app.screen, ChoosePath | type(app.desk)))
    return app.screen


def test_a_class_is_handed_out_to_and_collected_from(
    stage: Any, wait: Any, is_settled: Any, find_action: Any, hold: Any, tmp_path: Path
) -> None:
    """On each board that is here; the board of the desk too; the page and folders are written."""
    write_register(tmp_path)

    async def story(pilot: Any, app: Any) -> None:
        screen = await _open(pilot, app, wait, is_settled, find_action)
        assert isinstance(screen, ClassScreen)
        desk_board = app.boards.current
        await pilot.press("h")
        await wait(pilot, lambda: len(screen.tasks) == 3 and screen.is_at_rest)
        assert {row.handed_out for row in screen.rows.values()} == {"LAMP@1"}
        assert [row.load for row in screen.rows.values()] == [""] * 3
        assert len(app.boards.by_port) == 3  # the board of the desk is not opened twice
        assert app.boards.current is desk_board  # and a load of the desk goes to it
        typed = {10: b'PRINT "LAMP"', 15: b"REM MINE", 20: b"END"}
        job = app.boards.by_port["practice://blue?time=virtual"].do("", hold(typed), shown=False)
        await wait(pilot, lambda: job.ended)
        collected_at = app.now()
        await pilot.press("g")
        await wait(pilot, lambda: screen.rows["Ben Oak"].saved and screen.is_at_rest)
        assert [row.saved for row in screen.rows.values()] == ["LAMP@1", "BEN-OAK@1", "LAMP@1"]
        assert [row.changed for row in screen.rows.values()] == [0, 1, 0]
        held = app.desk.states.held("practice://blue?time=virtual")
        assert (held.spec, held.lines) == ("BEN-OAK@1", 3)
        assert held.proven_at >= collected_at
        await pilot.press("p")
        await wait(pilot, lambda: isinstance(app.screen, ChoosePath))
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is screen)
        await pilot.press("o")
        await wait(pilot, lambda: isinstance(app.screen, ChoosePath))
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is screen)
        told = [each.message for each in app._notifications]
        assert told == app.said[-1:]
        assert told[0].startswith("3 folders in class-")
        await pilot.press("p")
        await wait(pilot, lambda: isinstance(app.screen, ChoosePath))
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, Ask))  # it is there already
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is screen)
        await pilot.press("n")
        await wait(pilot, lambda: screen.rows["Ben Oak"].handed_out == "BEN-OAK@1")
        await wait(pilot, lambda: screen.is_at_rest)

    stage.play(story, size=(80, 24))
    (page,) = tmp_path.glob("class-*.html")
    assert "BEN-OAK@1" in page.read_text(encoding="utf-8")
    assert len(list(tmp_path.glob("class-*/*/history.txt"))) == 3
    assert stage.archive.program("BEN-OAK").tags == ("learner",)


def test_a_late_board_is_served_when_it_appears(
    stage: Any,
    wait: Any,
    is_settled: Any,
    find_action: Any,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As long as that is asked for; then no more."""
    write_register(tmp_path)
    late = {"Ben Oak", "Cleo Reed"}

    def seats(register: Any, archive: Any) -> list[Seat]:
        return [
            Seat(each.learner, each.board) if each.learner.name in late else each
            for each in seats_of(register, archive)
        ]

    monkeypatch.setattr("hostlink.app.screens.class_screen.seats_of", seats)
    monkeypatch.setattr("hostlink.app.screens.class_screen._LOOK_S", 0.05)

    async def story(pilot: Any, app: Any) -> None:
        screen = await _open(pilot, app, wait, is_settled, find_action)
        await pilot.press("w")  # nothing to wait for yet
        assert not screen.is_waiting
        await pilot.press("h")
        await wait(pilot, lambda: len(screen.tasks) == 1 and screen.is_at_rest)
        await pilot.press("w")
        late.remove("Ben Oak")
        await wait(pilot, lambda: len(screen.tasks) == 2 and screen.is_at_rest)
        assert screen.rows["Ben Oak"].handed_out == "LAMP@1"
        await pilot.press("x")
        assert not screen.is_waiting
        late.clear()
        screen._look()
        assert "Cleo Reed" not in screen.tasks

    stage.play(story, size=(80, 24))


def test_a_board_that_cannot_be_opened_is_told_and_not_attached(
    stage: Any, wait: Any, is_settled: Any, find_action: Any, shown: Any, tmp_path: Path
) -> None:
    """In the row of its learner, wherever the cursor is, and in the heading."""
    write_register(tmp_path)

    async def story(pilot: Any, app: Any) -> None:
        choice = LinkChoice("practice://blue?time=virtual", app.boards.profile)
        elsewhere = AttachedBoard(choice, stage.archive)
        await wait(pilot, lambda: elsewhere.is_here)
        desk_board = app.boards.current
        screen = await _open(pilot, app, wait, is_settled, find_action)
        await pilot.press("h")
        await wait(pilot, lambda: len(screen.tasks) == 3 and screen.is_at_rest)
        assert len(app.boards.by_port) == 2
        assert app.boards.current is desk_board
        rows = shown(app).split("\n")
        assert "1 failed" in rows[0]
        assert [
            name for name in BOARDS if any(name in row and "failed" in row for row in rows)
        ] == ["Ben Oak"]
        assert elsewhere.close()

    stage.play(story, size=(80, 24))


def test_the_jobs_go_on_after_the_screen_was_left(
    stage: Any,
    wait: Any,
    is_settled: Any,
    find_action: Any,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Their news find no screen any more, and the desk says how each ended."""
    write_register(tmp_path)
    is_left = threading.Event()

    def held_back(*given: Any, **options: Any) -> Any:
        job = handing_out(*given, **options)

        def work(*at_seat: Any) -> Any:
            assert is_left.wait(60)
            return job(*at_seat)

        return work

    monkeypatch.setattr("hostlink.app.screens.class_screen.handing_out", held_back)

    async def story(pilot: Any, app: Any) -> None:
        screen = await _open(pilot, app, wait, is_settled, find_action)
        await pilot.press("h", "escape")
        await wait(pilot, lambda: app.screen is app.desk and not screen.is_attached)
        assert all(each.doing.startswith("is being loaded") for each in app.boards.by_port.values())
        is_left.set()
        await wait(pilot, lambda: screen.is_at_rest)
        assert [app.desk.states.held(port).spec for port in app.boards.by_port] == ["LAMP@1"] * 3

    stage.play(story, size=(80, 24))


def test_a_label_of_the_register_that_no_board_has_is_told(
    stage: Any, wait: Any, is_settled: Any, find_action: Any, tmp_path: Path
) -> None:
    """With what to do: to label the board that is meant."""
    write_register(tmp_path)
    (tmp_path / "class.toml").write_text(
        'title = "Tuesday"\nhand_out = "lamp.bas"\n[[learner]]\nname = "Ada"\nboard = "Red"\n',
        encoding="utf-8",
    )

    async def story(pilot: Any, app: Any) -> None:
        await _open(pilot, app, wait, is_settled, find_action)
        await pilot.press("h")
        (note,) = app._notifications
        assert note.message == (
            "No board of the class is plugged in. No board is known as Red. On the desk, label one "
            "that is here with Escape, then D, then L."
        )

    stage.play(story, size=(80, 24))


def test_a_wrong_register_is_told_and_opens_nothing(
    stage: Any, wait: Any, is_settled: Any, find_action: Any, tmp_path: Path, shown: Any
) -> None:
    """With the line of each mistake."""
    write_register(tmp_path, more='bord = "Red"\nhandout = "LAMP"')

    async def story(pilot: Any, app: Any) -> None:
        screen = await _open(pilot, app, wait, is_settled, find_action)
        assert isinstance(screen, ErrorDialogue)
        assert "line 12" in shown(app)
        assert "line 13" in shown(app)
        assert "\\x0a" not in shown(app)  # in the last line, which has one row for both
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story, size=(80, 24))
