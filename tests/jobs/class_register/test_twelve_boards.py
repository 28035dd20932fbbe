"""An evening with twelve practice boards of three kinds, on virtual time.

Two are unplugged at bad moments, one restarts by itself while it is loaded, one has too little
memory. Nothing is lost, and whatever the table says is so at the moment when it says it.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.archive.records import LEARNER
from hostlink.board.dialogue.events import LineSent, Phase
from hostlink.jobs.class_register.class_table import ClassRow, class_table
from hostlink.jobs.class_register.evening import (
    at_each_seat,
    collecting,
    handing_out,
    not_served,
)
from hostlink.jobs.class_register.register import Register, read_register
from hostlink.jobs.class_register.seats import Seat, seats_of
from hostlink.jobs.events import Event
from hostlink.jobs.listing_source import from_bytes
from hostlink.jobs.loading import LoadOptions
from hostlink.jobs.many import Result, load_on_each
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.recognising import choose_profile
from hostlink.listing import Listing, canonical_lines

HANDOUT = "".join(f'{n} PRINT "LAMP {n}"\n' for n in range(10, 310, 10))
KINDS = ("practice", "capital", "token")
UNPLUGGED, RESTARTS, FULL = ("learner-2", "learner-5"), "learner-7", "learner-12"
MISHAPS = {
    UNPLUGGED[0]: "&unplug_after_bytes=200",  # while the handout is sent
    UNPLUGGED[1]: "&unplug_after_bytes=9",  # while it is read what the board holds
    RESTARTS: "&restart_after_bytes=300",
    FULL: "&program_bytes=300",
}


def unheard(_: str, __: Event) -> None:
    """For jobs of which only the results count."""


def address(number: int, mishaps: Mapping[str, str] = MISHAPS) -> str:
    kind = KINDS[number % 3]
    more = mishaps.get(f"learner-{number}", "")
    return f"practice://learner-{number}?time=virtual&restarts_on_open=no&kind={kind}{more}"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path / "practice"))
    (tmp_path / "lamp.bas").write_text(HANDOUT, encoding="utf-8")
    return tmp_path


@pytest.fixture
def register(folder: Path) -> Callable[..., Register]:
    """Writes and reads the register of the class: register(mishaps={})."""

    def read(mishaps: Mapping[str, str] = MISHAPS) -> Register:
        rows = ['title = "Tuesday evening"', 'hand_out = "lamp.bas"']
        for number in range(1, 13):
            where = address(number, mishaps)
            rows += ["[[learner]]", f'name = "Learner {number}"', f'board = "{where}"']
        path = folder / "class.toml"
        path.write_text("\n".join(rows), encoding="utf-8")
        return read_register(path)

    return read


def choose_in(archive: Archive) -> Callable[[str], LinkChoice]:
    def choose(port: str) -> LinkChoice:
        profile, is_guess = choose_profile(archive, port)
        return LinkChoice(port, profile, is_guess=is_guess, is_named=False)

    return choose


def failures(results: Mapping[str, Result[Any]]) -> dict[str, str]:
    return {name: str(result.error) for name, result in results.items() if result.error}


def held(folder: Path, number: int) -> dict[int, str]:
    """What a board holds, read from its own state file."""
    path = folder / "practice" / f"learner-{number}.json"
    kept: Mapping[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return {int(line): text.strip() for line, text in kept["basic"]["lines"].items()}


def typed_by(number: int) -> str:
    return f'10 PRINT "MINE {number}"\n20 PRINT {number}\n'


def type_on_each(folder: Path, register: Register, text: Callable[[int], str]) -> None:
    """Put a program of the learner's own into each board, of which the class's archive knows
    nothing, as from the board's own keyboard."""
    with Archive.open(folder / "elsewhere.sqlite3") as elsewhere:
        choose = choose_in(elsewhere)
        for learner in register.learners:
            number = int(learner.name.split()[1])
            choice = choose(learner.board.partition("&unplug")[0].partition("&restart_a")[0])
            material = from_bytes(text(number).encode(), "typed.bas", name="TYPED")
            (result,) = load_on_each([choice], elsewhere, material, LoadOptions(), unheard)
            assert result.error is None, result.error


class Watcher:
    """Looks at the table while boards are at work, and notes what it says that is not so."""

    def __init__(self, register: Register, archive: Archive) -> None:
        self.register = register
        self.archive = archive
        self.cleared: set[str] = set()
        self.read_back: set[str] = set()
        self.ended: set[str] = set()
        self.looks = 0
        self.untrue: list[str] = []
        self._lock = threading.Lock()

    def emit(self, name: str, event: Event) -> None:
        if isinstance(event, Phase):
            with self._lock:
                self.cleared |= {name} if event.text.startswith("Clearing") else set()
                self.read_back |= {name} if event.text.startswith("Reading back") else set()
            self.look(name)
        elif isinstance(event, LineSent) and event.sent_lines % 10 == 0:
            self.look(name)

    def look(self, name: str) -> None:
        """Compare the table with what is known for certain at this moment."""
        before = set(self.ended)
        rows = {row.name: row for row in class_table(self.register, self.archive)}
        with self._lock:
            self.looks += 1
            for row in rows.values():
                if row.handed_out and not row.load and row.name not in self.read_back:
                    self.untrue.append(f"{row.name} proven before it was read back")
                if row.load == "not ended" and row.name in before:
                    self.untrue.append(f"{row.name} not ended, though it was")
            if name in self.cleared and name not in before and rows[name].load != "not ended":
                self.untrue.append(f"{name} at work, told as {rows[name].cells()}")

    def result(self, result: Result[Any]) -> None:
        self.ended.add(result.board)
        self.look("")


@pytest.mark.slow
def test_an_evening_of_twelve_boards(
    folder: Path, register: Callable[..., Register], archive: Archive
) -> None:
    """Handed out, to those that failed again, and collected: nothing is lost, all is true."""
    evening = register()
    type_on_each(folder, evening, typed_by)
    watcher = Watcher(evening, archive)
    job = handing_out(evening, archive)
    results = at_each_seat(
        evening, archive, job, choose_in(archive), watcher.emit, on_result=watcher.result
    )
    assert watcher.untrue == []
    assert watcher.looks > 60
    failed = set(failures(results))
    assert {"Learner 2", "Learner 5", "Learner 12"} <= failed
    assert failed <= {"Learner 2", "Learner 5", "Learner 7", "Learner 12"}
    rows = {row.name: row for row in class_table(evening, archive)}
    for number in range(1, 13):
        check_row(rows[f"Learner {number}"], held(folder, number), archive)
        check_not_lost(folder, number, archive)
    assert rows["Learner 2"].load == "cut off"
    assert rows["Learner 5"].load == ""
    assert (rows["Learner 12"].handed_out, rows["Learner 12"].saved) == ("", "LEARNER-12@1")
    assert "over: " in failures(results)["Learner 12"]

    typed = {f"LEARNER-{number}@1" for number in range(1, 13)}
    assert {row.saved for row in rows.values()} - typed <= {""}
    assert all(row.before_this for row in rows.values() if row.saved and row.handed_out)
    whole = register({FULL: MISHAPS[FULL]})  # they are plugged in again
    again = at_each_seat(whole, archive, handing_out(whole, archive), choose_in(archive), unheard)
    assert set(failures(again)) == {"Learner 12"}
    rows = {row.name: row for row in class_table(whole, archive)}
    for number in range(1, 13):
        check_row(rows[f"Learner {number}"], held(folder, number), archive)
        check_not_lost(folder, number, archive)
    assert [row.load for row in rows.values()] == [""] * 12
    assert [row.changed for row in rows.values()] == [0] * 11 + [None]
    collect_and_check(whole, archive)


def check_row(row: ClassRow, lines: dict[int, str], archive: Archive) -> None:
    """A handout that is told as loaded is on the board, line by line; else it is not all there."""
    wanted = Listing.from_text(HANDOUT).numbered()
    is_there = list(lines) == list(wanted) and all(
        lines[number].replace(" ", "") == line.text.replace(" ", "")
        for number, line in wanted.items()
    )
    assert is_there == bool(row.handed_out and not row.load), (row, lines)
    if row.handed_out:
        assert archive.content(archive.revision(row.handed_out)).text == HANDOUT


def check_not_lost(folder: Path, number: int, archive: Archive) -> None:
    """What a learner had typed is in the archive, or still on the board."""
    wanted = Listing.from_text(typed_by(number)).numbered()
    plain = {n: line.text.replace(" ", "") for n, line in wanted.items()}
    kept = [archive.content(rescue).text for rescue in archive.rescues()]
    names = {program.name for program in archive.programs()} & {f"LEARNER-{number}"}
    kept += [archive.content(archive.revision(name)).text for name in names]
    found = [
        {n: line.text.replace(" ", "") for n, line in Listing.from_text(text).numbered().items()}
        for text in kept
    ]
    on_board = {n: text.replace(" ", "") for n, text in held(folder, number).items()}
    assert plain in [*found, on_board], number


def collect_and_check(evening: Register, archive: Archive) -> None:
    """Unchanged handouts are noted and not kept again, and neither is what was kept before them."""
    before = {program.name: program.revisions for program in archive.programs()}
    results = at_each_seat(evening, archive, collecting(), choose_in(archive), unheard)
    assert failures(results) == {}
    assert {program.name: program.revisions for program in archive.programs()} == before
    assert archive.program("LEARNER-12").tags == (LEARNER,)
    rows = {row.name: row for row in class_table(evening, archive)}
    assert [row.as_handed_out for row in rows.values()] == [True] * 11 + [False]
    assert rows["Learner 12"].saved == "LEARNER-12@1"


@pytest.mark.slow
def test_each_learner_has_one_program_over_the_evenings(
    folder: Path, register: Callable[..., Register], archive: Archive
) -> None:
    """Whatever board it was typed on; the same work is kept once, and can be handed out again."""
    evening = register({})
    choose = choose_in(archive)
    at_each_seat(evening, archive, handing_out(evening, archive), choose, unheard)
    type_on_each(folder, evening, lambda n: HANDOUT + f"310 PRINT {n}\n")
    at_each_seat(evening, archive, collecting(), choose, unheard)
    at_each_seat(evening, archive, collecting(), choose, unheard)
    rows = class_table(evening, archive)
    assert [row.saved for row in rows] == [f"LEARNER-{n}@1" for n in range(1, 13)]
    assert {row.changed for row in rows} == {1}

    boards = [learner.board for learner in evening.learners]
    text = evening.path.read_text(encoding="utf-8").replace("{", "{{")
    for board in boards:
        text = text.replace(f'"{board}"', "{}")
    evening.path.write_text(text.format(*(f'"{each}"' for each in boards[3:] + boards[:3])))
    moved = read_register(evening.path)
    assert [learner.board for learner in moved.learners] == boards[3:] + boards[:3]
    results = at_each_seat(moved, archive, collecting(), choose, unheard)
    assert {str(each.error).partition(" to ")[0] for each in results.values()} == {
        "This board's last handout was"
    }
    given = at_each_seat(moved, archive, handing_out(moved, archive, own=True), choose, unheard)
    assert failures(given) == {}
    assert {row.handed_out for row in class_table(moved, archive)} == {
        f"LEARNER-{n}@1" for n in range(1, 13)
    }
    type_on_each(folder, moved, lambda n: HANDOUT + f"320 PRINT {n}\n")
    at_each_seat(moved, archive, collecting(), choose, unheard)
    assert [row.saved for row in class_table(moved, archive)] == [
        f"LEARNER-{n}@2" for n in range(1, 13)
    ]


def test_a_board_that_comes_late_is_handed_its_program(
    register: Callable[..., Register], archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When it appears; one that failed is tried again once it was unplugged in between."""
    evening = register({UNPLUGGED[0]: MISHAPS[UNPLUGGED[0]]})
    whole = seats_of(register({}), archive)
    naps: list[float] = []

    def seats(read: Register, opened: Archive) -> list[Seat]:
        if len(naps) >= 4:
            return whole
        gone = {"Learner 3"} if len(naps) < 2 else {"Learner 2"}
        return [
            Seat(seat.learner, seat.board) if seat.learner.name in gone else seat
            for seat in seats_of(read, opened)
        ]

    monkeypatch.setattr("hostlink.jobs.class_register.evening.seats_of", seats)
    told: list[tuple[str, bool]] = []
    job = handing_out(evening, archive)
    results = at_each_seat(
        evening,
        archive,
        job,
        choose_in(archive),
        unheard,
        on_result=lambda one: told.append((one.board, one.error is None)),
        is_over=lambda: len(naps) > 20,
        nap=naps.append,
    )
    assert failures(results) == {}
    assert told.count(("Learner 2", False)) >= 1
    assert told[-1] == ("Learner 2", True)
    assert ("Learner 3", True) in told[11:]
    assert {name for name, _ in told} == {learner.name for learner in evening.learners}
    assert not_served(evening, results) == []


def test_waiting_ends_in_time_or_when_it_is_stopped(
    register: Callable[..., Register], archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was not here is named; nothing is tried after a stop."""
    evening = register({})
    monkeypatch.setattr(
        "hostlink.jobs.class_register.evening.seats_of",
        lambda read, _: [Seat(learner) for learner in read.learners],
    )
    naps: list[float] = []
    for cancelled, is_over in (
        (lambda: len(naps) > 3, lambda: False),
        (lambda: False, lambda: len(naps) > 3),
    ):
        naps.clear()
        results = at_each_seat(
            evening,
            archive,
            collecting(),
            choose_in(archive),
            unheard,
            cancelled,
            is_over=is_over,
            nap=naps.append,
        )
        assert results == {}
        assert len(naps) == 4
        assert len(not_served(evening, results)) == 12


def test_lines_are_compared_as_the_board_lists_them() -> None:
    """The rules by which the rows above are checked: blanks of a listing do not count there."""
    profile, _ = choose_profile(None, "practice://x")
    one, other = (Listing.from_text(text).numbered() for text in ("10 PRINT 1\n", "10  PRINT 1\n"))
    assert canonical_lines(one, profile.rules) == canonical_lines(other, profile.rules)
