"""How long a job takes is said before it begins: on a board at 300 baud, by that board's clock."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

SLOW = "practice://slow?time=virtual&baud=300"
WORTH_SAYING_S = 20.0
_FIGURE = re.compile(r"(?:about ([0-9,]+) s|([0-9,]+) s at most)")


def told_s(text: str) -> float:
    """The sum of all times that were told."""
    return sum(float((a or b).replace(",", "")) for a, b in _FIGURE.findall(text))


def lasted_s(record: Path) -> float:
    """How long the wire was in use, by a recording."""
    rows = [row for row in record.read_text(encoding="utf-8").splitlines() if row[:1].isdigit()]
    return float(rows[-1].split()[0]) / 1000


@pytest.fixture
def slow(place: Path, monkeypatch: pytest.MonkeyPatch, hostlink: Callable) -> str:
    """A board that talks at 300 baud and holds a program, also in its EEPROM, and its backup."""
    shipped = Path(__file__).parents[2] / "hostlink" / "board" / "profiles" / "practice.toml"
    text = shipped.read_text(encoding="utf-8").replace("baud = 57600", "baud = 300")
    (place / "slow.toml").write_text(text, encoding="utf-8")
    monkeypatch.setenv("HOSTLINK_PORT", SLOW)
    monkeypatch.setenv("HOSTLINK_PROFILE", "slow.toml")
    for words in (("load", "shipped:tide"), ("store", "ONE"), ("backup",)):
        assert hostlink(*words).status == 0
    return "slow"


@pytest.mark.one_in(5)
@pytest.mark.parametrize(
    "words",
    [
        ("load", "shipped:hail"),
        ("load", "shipped:hail", "--changes"),
        ("save", "TIDE"),
        ("store", "ONE"),
        ("recall", "ONE"),
        ("backup",),
        ("putback", "backup@1"),
        ("restart", "--yes"),
        ("survey",),
        ("survey", "--storing"),
    ],
    ids=" ".join,
)
@pytest.mark.usefixtures("slow")
def test_a_long_job_says_how_long_it_takes(
    hostlink: Callable, place: Path, words: tuple[str, ...]
) -> None:
    """What is said is the right order: from half of what it took to three times that."""
    told = hostlink(*words, "--record", "wire.txt")
    assert told.status == 0, told.err
    lasted = lasted_s(place / "wire.txt")
    assert lasted > WORTH_SAYING_S
    assert 0.5 * lasted < told_s(told.err) < 3 * lasted, (lasted, told.err)


@pytest.mark.usefixtures("place")
def test_a_quick_job_does_not(hostlink: Callable) -> None:
    """At 57,600 baud there is nothing to wait for."""
    hostlink("load", "shipped:tide")
    assert told_s(hostlink("save", "TIDE").err) == 0
