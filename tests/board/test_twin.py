"""A twin of a board does what its profile says: what is measured on one is true of the other."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive
from hostlink.board.profile.file import find_profile, shipped_profiles
from hostlink.board.twin import kind_like, twin_named
from hostlink.errors import UsageError
from hostlink.jobs.listing_source import find_material
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.recognising import choose_profile
from hostlink.jobs.session.session import Session
from hostlink.listing.measure import measure
from hostlink.practice.kind_checks import kind_faults

PROGRAM = """10 REM a Tide Table
20 LET A=1
30 PRINT "High at ";A
40 LET A=A+6
50 IF A<20 THEN GOTO 30
60 END
"""


@pytest.fixture
def session(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Session]:
    """Opens the twin of a profile by its address: session(profile, archive)."""
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path / "practice"))

    def open_twin(name: str, archive: Archive) -> Session:
        choice = LinkChoice(f"practice://twin?like={name}&time=virtual", find_profile(name))
        return open_session(choice, lambda event: None, archive=archive)  # noqa: ARG005

    return open_twin


@pytest.mark.parametrize("name", shipped_profiles())
def test_a_profile_makes_a_kind_that_can_be(name: str) -> None:
    """No value of it clashes with another."""
    kind = kind_like(find_profile(name))
    assert kind_faults(kind) == []
    assert kind.name == f"like-{name}"


@pytest.mark.parametrize("name", shipped_profiles())
def test_a_twin_is_loaded_and_saved_by_its_profile(
    name: str, session: Callable[..., Session], tmp_path: Path
) -> None:
    """At the first try, with nothing repaired; where it tells its free memory, what the byte ledger
    says."""
    (tmp_path / "tide.bas").write_text(PROGRAM, encoding="ascii")
    with (
        Archive.open(tmp_path / "archive.sqlite3") as archive,
        session(name, archive) as opened,
    ):
        material = find_material(str(tmp_path / "tide.bas"), archive)
        loaded = load(opened, archive, material, LoadOptions(despite_review=True))
        assert (loaded.report.lines, loaded.report.repairs, loaded.report.starts) == (6, 0, 1)
        saved = save(opened, archive, SaveOptions(name="TIDE"))
        assert saved.doubt is None
        rules = find_profile(name).rules
        if loaded.free is not None and (size := rules.storage.program_bytes):
            assert loaded.free == size - measure(material.listing, rules).total


@pytest.mark.parametrize("name", shipped_profiles())
def test_a_twin_that_nobody_named_is_loaded_proven(
    name: str, session: Callable[..., Session], tmp_path: Path
) -> None:
    """Under another name that tells nothing: recognised, or taken with care, with no repair."""
    (tmp_path / "tide.bas").write_text(PROGRAM.upper(), encoding="ascii")
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        with session(name, archive):
            pass  # made, and kept with its kind
        port = "practice://twin?time=virtual"
        profile, is_guess = choose_profile(archive, port)
        choice = LinkChoice(port, profile, is_guess=is_guess, is_named=False)
        with open_session(choice, lambda event: None, archive=archive) as opened:  # noqa: ARG005
            material = find_material(str(tmp_path / "tide.bas"), archive)
            loaded = load(opened, archive, material, LoadOptions(despite_review=True))
        assert (loaded.report.lines, loaded.report.repairs, loaded.report.starts) == (6, 0, 1)


def test_a_twin_stays_one(session: Callable[..., Session], tmp_path: Path) -> None:
    """Its kind is kept with its state: the name alone opens it the next time."""
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        with session("capital", archive) as opened:
            opened.attach()
        choice = LinkChoice("practice://twin?time=virtual", find_profile("capital"))
        with open_session(choice, lambda event: None, archive=archive) as again:  # noqa: ARG005
            again.attach()
            assert "bytes free." in again.dialogue.ask("MEM")


def test_an_address_names_its_twin() -> None:
    """None where it names none; a profile that is not there is told."""
    assert twin_named("practice://red?time=virtual") is None
    assert twin_named("/dev/ttyUSB0") is None
    kind = twin_named("practice://red?like=token")
    assert kind is not None
    assert kind.settings.interrupt == b"#"
    with pytest.raises(UsageError, match='no profile "strict"; it is a kind of practice board'):
        find_profile("strict")
    with pytest.raises(UsageError, match='There is no profile "nothing"'):
        twin_named("practice://red?like=nothing")
