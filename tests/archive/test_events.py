"""The record of all jobs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.errors import ArchiveError, Interrupted, LinkError, RefusedError

MakeContent = Callable[..., Content]


def test_a_job_is_recorded_with_all_it_touched(archive: Archive, content: MakeContent) -> None:
    """Board, program, revision, rescue, times and detail are there afterwards."""
    board = archive.board_seen(location="practice://red")
    archive.board_label(board.uuid, "Red")
    revision = archive.keep("TIDE", content("10 A\n"), Origin("edit")).revision
    rescue = archive.rescue(content("10 B\n"), Origin("rescue"))
    with archive.event("load", board_uuid=board.uuid, program="tide", detail={"baud": 9600}) as job:
        job.revision, job.rescue = revision, rescue
        job.detail["repairs"] = 2
    event = archive.events(1)[0]
    assert (event.job, event.board, event.board_uuid) == ("load", "Red", board.uuid)
    assert (event.program, event.revision, event.rescue) == ("TIDE", "TIDE@1", "rescue@1")
    assert event.outcome == "done"
    assert event.detail == {"baud": 9600, "repairs": 2}
    assert event.ended_at is not None and event.ended_at > event.started_at


@pytest.mark.parametrize(
    ("error", "outcome"),
    [
        (LinkError("The port has gone."), "failed"),
        (RefusedError("It needs consent."), "refused"),
        (Interrupted("Stopped."), "interrupted"),
        (KeyboardInterrupt(), "interrupted"),
        (ValueError("odd"), "failed"),
    ],
)
def test_how_a_job_ended_is_recorded_and_its_error_goes_on(
    archive: Archive, error: BaseException, outcome: str
) -> None:
    """The error leaves the block unchanged; the record has its kind and words."""
    with pytest.raises(type(error)) as caught, archive.event("load"):
        raise error
    assert caught.value is error
    event = archive.events()[0]
    assert event.outcome == outcome
    assert event.detail["error"] == (str(error) or "KeyboardInterrupt")


def test_a_block_may_set_its_own_outcome(archive: Archive) -> None:
    """What the job says of itself is kept."""
    with archive.event("load") as job:
        job.outcome = "same already"
    assert archive.events()[0].outcome == "same already"


def test_a_job_that_was_cut_off_has_no_end(archive: Archive) -> None:
    """A begun event without an end stays visible as such, and can be ended once."""
    uuid = archive.begin_event("write")
    event = archive.events()[0]
    assert (event.ended_at, event.outcome) == (None, "")
    archive.end_event(uuid, "done")
    with pytest.raises(ArchiveError, match="has ended already"):
        archive.end_event(uuid, "failed")
    with pytest.raises(ArchiveError, match="not in the archive"):
        archive.end_event("no-such", "done")
    assert archive.events()[0].outcome == "done"


def test_a_program_not_yet_kept_is_named_in_the_detail(archive: Archive) -> None:
    """Loading a file that is no program of the archive is still recorded by name."""
    archive.begin_event("load", program="new.bas")
    assert archive.events()[0].detail == {"program": "new.bas"}
    assert archive.events(program="new.bas") == []


def test_events_of_one_board_or_program(archive: Archive, content: MakeContent) -> None:
    """The record can be read by board, by program, and the newest few only."""
    red = archive.board_seen(location="practice://red")
    archive.keep("TIDE", content("10 A\n"), Origin("edit"))
    archive.begin_event("load", board_uuid=red.uuid)
    archive.begin_event("save", program="TIDE")
    assert [event.job for event in archive.events()] == ["save", "load"]
    assert [event.job for event in archive.events(board_uuid=red.uuid)] == ["load"]
    assert [event.job for event in archive.events(program="tide")] == ["save"]
    assert [event.job for event in archive.events(job="load")] == ["load"]
    assert archive.events(job="backup") == []
    assert [event.job for event in archive.events(1)] == ["save"]


def test_detail_that_json_does_not_know_stops_no_job(archive: Archive, tmp_path: Path) -> None:
    """Paths become text, infinite numbers and half characters do no harm."""
    archive.begin_event("load", detail={"file": tmp_path, "echo": "\ud800\x00"})
    assert archive.events()[0].detail == {"file": str(tmp_path), "echo": "?\x00"}
    archive.begin_event("load", detail={"rate": float("inf")})
    assert archive.events()[0].detail == {"detail": "{'rate': inf}"}


def test_an_end_that_cannot_be_recorded_does_not_hide_the_error(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The job's own error comes first; that the record failed is added to it."""

    def broken(*_: object, **__: object) -> None:
        raise ArchiveError("The end of this job was not kept: the disk is full.")

    monkeypatch.setattr(archive, "end_event", broken)
    with pytest.raises(LinkError) as caught, archive.event("load"):
        raise LinkError("The port has gone.")
    assert any("disk is full" in note for note in caught.value.__notes__)
