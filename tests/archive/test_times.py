"""Clocks that were wrong, and times at either end of the calendar."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.times import days_of, is_utc_text, local_text, parse_utc, utc_text
from hostlink.errors import UsageError

MakeContent = Callable[..., Content]
ENDS = (
    "0001-01-01T00:00:00.000Z",
    "0001-01-01T09:00:00.000Z",
    "9999-12-31T15:00:00.000Z",
    "9999-12-31T23:59:59.999Z",
)
# POSIX: the sign is west of Greenwich, so these are 14 hours before and 12 behind.
ZONES = ("AHEAD-14", "UTC0", "BEHIND12")


@pytest.fixture(params=ZONES)
def zone(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """The computer's time zone, as TZ sets it."""
    if not hasattr(time, "tzset"):
        pytest.skip("this system has no tzset")
    monkeypatch.setenv("TZ", request.param)
    time.tzset()
    yield request.param
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize(
    ("text", "first", "end"),
    [
        ("2031", (2031, 1, 1), (2032, 1, 1)),
        ("2031-12", (2031, 12, 1), (2032, 1, 1)),
        ("2032-02", (2032, 2, 1), (2032, 3, 1)),
        ("2032-02-29", (2032, 2, 29), (2032, 3, 1)),
        (" 2031-12-31 ", (2031, 12, 31), (2032, 1, 1)),
    ],
)
def test_a_year_a_month_and_a_day_have_a_beginning_and_an_end(
    text: str, first: tuple[int, int, int], end: tuple[int, int, int]
) -> None:
    """Written as ISO 8601 writes calendar dates, the last two parts optional."""
    assert days_of(text) == (datetime(*first), datetime(*end))


@pytest.mark.parametrize("text", ["9999", "9999-12", "9999-12-31"])
def test_the_last_days_of_the_calendar_end_with_it(text: str) -> None:
    """There is no year 10000 to begin."""
    assert days_of(text)[1] == datetime.max


@pytest.mark.parametrize("text", ["", "31", "2031-1", "2031-02-29", "0000", "2031-00", "٢٠٣١"])
def test_other_texts_are_no_dates(text: str) -> None:
    """Two digits for month and day, and only days that there are."""
    with pytest.raises(UsageError, match="is not a date"):
        days_of(text)


def test_a_clock_that_was_once_wrong_dates_what_was_kept_then_and_no_more(
    path: Path, content: MakeContent
) -> None:
    """The clock of one evening said 2037. Later revisions have their own times, are the later
    ones anyway, and a search finds the latest."""
    right = datetime(2031, 9, 3, 18, 30, tzinfo=UTC)
    now = right

    with Archive.open(path, now=lambda: now) as archive:
        archive.keep("TIDE", content("10 REM FIRST\n"), Origin("edit"))
        now = datetime(2037, 1, 1, tzinfo=UTC)
        archive.keep("TIDE", content("10 REM WRONG\n"), Origin("edit"))
        now = right + timedelta(days=1)
        last = archive.keep("TIDE", content("10 REM LAST\n"), Origin("edit")).revision
        assert last.at == now
        assert archive.revision("TIDE") == last
        assert [one.at.year for one in archive.history("TIDE")] == [2031, 2037, 2031]
        assert [one.number for one in archive.history("TIDE")] == [1, 2, 3]
        assert archive.program("TIDE").latest == 3
        assert [each.item.spec for each in archive.find("rem")] == ["TIDE@3"]
        assert [each.item.spec for each in archive.find("wrong")] == ["TIDE@2"]
        assert archive.keep("TIDE", content("10 REM NEXT\n"), Origin("edit")).revision.number == 4
        assert archive.prove().findings == ()


def test_a_wrong_clock_of_another_archive_makes_none_of_its_revisions_the_latest(
    path: Path, tmp_path: Path, content: MakeContent
) -> None:
    """Two copies of one archive meet: of the program the highest number is the latest, on both
    sides, whatever the clock of the one that gave it said."""
    year = 2031
    with (
        Archive.open(path, now=lambda: datetime(2031, 9, 3, tzinfo=UTC)) as ours,
        Archive.open(tmp_path / "b.sqlite3", now=lambda: datetime(year, 9, 3, tzinfo=UTC)) as other,
    ):
        ours.keep("TIDE", content("10 REM 1\n"), Origin("edit"))
        other.merge_file(ours.path)
        year = 2037
        other.keep("TIDE", content("10 REM 2\n"), Origin("edit"))
        ours.keep("TIDE", content("10 REM 3\n"), Origin("edit"))
        third = ours.keep("TIDE", content("10 REM 4\n"), Origin("edit")).revision
        ours.merge_file(other.path)
        other.merge_file(ours.path)
        assert ours.revision("TIDE").uuid == other.revision("TIDE").uuid == third.uuid
        order = [one.uuid for one in ours.history("TIDE")]
        assert order == [one.uuid for one in other.history("TIDE")] and order[-1] == third.uuid
        assert ours.prove().clean and other.prove().clean


@pytest.mark.parametrize("text", ENDS)
def test_a_time_at_either_end_of_the_calendar_is_shown_in_any_zone(zone: str, text: str) -> None:
    """Where the local time lies beyond what the calendar holds, it is told in UTC."""
    at = parse_utc(text)
    assert utc_text(at) == text and is_utc_text(text)
    assert len(local_text(at).split()) == 2
    if zone == "UTC0":
        assert local_text(at, "%H:%M") == text[11:16]


@pytest.mark.parametrize("day", [datetime(1, 1, 1), datetime(9999, 12, 31, 23)])
def test_a_local_day_at_either_end_can_be_stored(zone: str, day: datetime) -> None:
    """As --since takes it: beyond the calendar in UTC it is taken as if it were UTC."""
    assert is_utc_text(utc_text(day)), zone


def test_a_time_in_another_zone_is_stored_in_utc() -> None:
    """The same moment, and texts that sort as the moments do."""
    east = timezone(timedelta(hours=14))
    assert utc_text(datetime(2031, 9, 4, 1, tzinfo=east)) == "2031-09-03T11:00:00.000Z"


@pytest.mark.one_in(6)
@pytest.mark.parametrize("text", ENDS)
def test_an_archive_with_times_at_either_end_does_all_that_others_do(
    zone: str,
    text: str,
    path: Path,
    tmp_path: Path,
    content: MakeContent,
    held_records: Callable[..., Any],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """They came with an import: listed, searched, retired, brought back, kept on, exported."""
    from hostlink.cli.entry import run_line

    with Archive.open(tmp_path / "other.sqlite3") as other:
        board = other.board_seen(serial="S1")
        other.keep("TIDE", content("10 REM\n"), Origin("board", "red", board.uuid))
        other.rescue(content("10 REM R\n"), Origin("rescue", board_uuid=board.uuid))
        other.keep_backup(board.uuid, [], profile="practice")
        image = other.keep_image(b"\x01")
        other.begin_write(board.uuid, image, previous=None, role="computer", part="p")
        other.note("TIDE", "x")
        other.retire("TIDE")
        exported = held_records(other)
    for records in exported.held.values():
        for record in records:
            record |= {key: text for key in record if key.endswith(("_at", "_seen"))}
            record |= {key: None for key in record if key == "ended_at"}
    with Archive.open(path) as archive:
        archive.merge(exported)
        assert archive.history("TIDE")[0].at == parse_utc(text)
        archive.bring_back("TIDE")
        archive.retire("TIDE")
        archive.keep("TIDE", content("10 REM NEW\n"), Origin("edit"))
        assert not archive.program("TIDE").retired
        assert archive.prove().findings == ()
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(path))
    for words in (
        ["programs"], ["programs", "--rescues"], ["history", "TIDE"], ["find", "rem"],
        ["backup", "--list"], ["firmware", "history"], ["boards"],
        ["archive", "export", str(tmp_path / "bag"), "--since", "0001-01-01"],
        ["archive", "export", str(tmp_path / "bag2"), "--since", "9999-12-31"],
    ):  # fmt: skip
        assert run_line(words) == 0, (words, zone)
        assert "Traceback" not in capsys.readouterr().err


@pytest.mark.parametrize("value", [None, 7, b"2031-09-03T10:00:00.000Z", "2031-09-03"])
def test_what_is_no_text_of_a_time_is_none(value: object) -> None:
    """Damage puts any type into a column."""
    assert not is_utc_text(value)
