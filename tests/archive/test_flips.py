"""A byte of the file is flipped: nothing wrong is served, and prove finds what stumbles over it.

`scripts/soak_damage.py --every 1` flips every byte; here are some of each page, the same ones each
time, and those that were once found to be served as right.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
import soak_damage

from hostlink.archive import Archive
from hostlink.errors import ArchiveError


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The bytes of an archive with one of everything."""
    return soak_damage.sound_file(tmp_path_factory.mktemp("sound") / "archive.sqlite3")


def test_the_sound_archive_is_proven_clean_and_answers_everything(
    sound: bytes, tmp_path: Path
) -> None:
    """Each question has an answer of some length, so that a wrong one can be told from it."""
    path = tmp_path / "archive.sqlite3"
    path.write_bytes(sound)
    with Archive.open(path) as archive:
        assert archive.prove().findings == ()
        right = soak_damage.answers(archive)
        assert soak_damage.wrong(right, soak_damage.answers(archive)) == ([], False)
    for name, answer in right.items():
        assert not isinstance(answer, ArchiveError), (name, answer)
        assert answer or name == "holds", name
    assert len(right["carried"]) > 30
    assert soak_damage.ask_all(path, right) == []


@pytest.mark.slow
def test_whichever_byte_is_flipped_nothing_wrong_is_served(tmp_path: Path) -> None:
    """One flip of two thousand, all over the file: each answer is right, refused, or names what it
    lacks; prove finds it; a duplicate says so; and no error is SQLite's or Python's own."""
    trials, bad = 0, dict[str, list[str]]()
    for what, troubles in soak_damage.flip_all(tmp_path, every=2000, seed=7):
        trials += 1
        if troubles:
            bad[what] = troubles
    assert bad == {}
    assert trials > 40


@pytest.mark.one_in(10)
@pytest.mark.parametrize(
    ("held", "instead", "of"),
    [
        (b"tide", b"tidf", "name_key"),
        (b"moon.bas", b"moon.bat", "origin_where"),
        (b"practice", b"practicf", "profile"),
        (b"READY", b"READX", "banner"),
        (b"Sea", b"Seb", "title"),
        (b"slow", b"snow", "note"),
        (b"clock", b"cloak", "tag"),
        (b"2026-", b"2036-", "time"),
        (b"2026-11", b"2026-1:", "time"),
        (b"board", b"boarc", "origin"),
        (b"ATmega328P", b"ATmega328X", "part"),
        (b"memory", b"memorx", "kind"),
        (b"load", b"loae", "job"),
        (b"one", b"onf", "image"),
        (b"S1", b"S2", "serial"),
    ],
)
def test_each_place_of_a_value_is_proven(
    sound: bytes, tmp_path: Path, held: bytes, instead: bytes, of: str
) -> None:
    """Wherever the value stands in the file: in a row or an index prove finds the change, and in
    space that is free it changes no answer."""
    path = tmp_path / "archive.sqlite3"
    path.write_bytes(sound)
    with Archive.open(path) as archive:
        right = soak_damage.answers(archive)
    places, at = list[int](), sound.find(held)
    while at >= 0:
        places.append(at)
        at = sound.find(held, at + 1)
    found = 0
    for place in places[:6]:
        soak_damage.clear(tmp_path)
        path.write_bytes(sound[:place] + instead + sound[place + len(held) :])
        assert soak_damage.ask_all(path, right) == [], (of, place)
        soak_damage.clear(tmp_path)
        path.write_bytes(sound[:place] + instead + sound[place + len(held) :])
        found += bool(_findings(path))
    assert found, of


def _findings(path: Path) -> object:
    """What prove says of a file, or why it cannot be opened."""
    try:
        with Archive.open(path, create=False) as archive:
            return archive.prove().findings
    except ArchiveError as error:
        return error


@pytest.mark.parametrize(
    ("ask", "wrong"),
    [
        (lambda right: {"latest": right["revision"]}, "latest: Revision"),
        (lambda right: {"listing": right["rescue"]}, "listing: Content"),
        (lambda right: {"programs": [right["merged"]]}, "programs: Revision"),
        (lambda _: {"role": "display"}, "role: display"),
    ],
)
def test_the_trial_would_notice(
    sound: bytes, tmp_path: Path, ask: Callable[..., dict[str, object]], wrong: str
) -> None:
    """An answer that is another's is called wrong, and one that is short counts as stumbled."""
    path = tmp_path / "archive.sqlite3"
    path.write_bytes(sound)
    with Archive.open(path) as archive:
        right = soak_damage.answers(archive)
    (told,), stumbled = soak_damage.wrong(right, ask(right))
    assert told.startswith(wrong) and stumbled
    assert soak_damage.wrong(right, {"rescues": []}) == ([], True)
