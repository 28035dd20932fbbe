"""The section on many boards: real boards in real time, and a limit that can fail."""

from __future__ import annotations

import importlib
from pathlib import Path
from types import ModuleType

import pytest

SCRIPTS = Path(__file__).parent.parent.parent / "scripts"


@pytest.fixture
def boards(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The script, imported as bench.py imports it."""
    monkeypatch.syspath_prepend(str(SCRIPTS))
    return importlib.import_module("bench_boards")


@pytest.mark.slow
def test_boards_are_loaded_in_real_time(boards: ModuleType) -> None:
    """One round with two boards: neither is faster than its wire allows, both are timed."""
    section = boards.run(rounds=1, boards=2)
    (row,) = section.rows
    # 1,026 bytes go out and come back at 57600 baud, 10 bits each: no clock runs faster than that.
    assert row["one_board_s"] > 1026 * 10 / 57600
    assert row["2_boards_s"] > 1026 * 10 / 57600
    assert [target.limit for target in section.targets] == [1.2]


@pytest.mark.parametrize(("every", "holds"), [([1.1, 1.2, 1.1], True), ([1.3, 1.1, 1.3], False)])
def test_the_target_can_fail(boards: ModuleType, every: list[float], holds: bool) -> None:
    """The medians are compared with the limit: one slow round does not decide, two do."""
    assert boards.section_of([1.0, 1.0, 1.0], every, 8).holds is holds


def test_a_board_that_fails_is_no_figure(
    boards: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A load that did not end proven is an error, and never a time."""
    monkeypatch.setattr(boards, "BAUD", 300)
    monkeypatch.setattr(
        boards,
        "LinkChoice",
        lambda port, profile, _: importlib.import_module(
            "hostlink.jobs.session.session"
        ).LinkChoice(f"{port}&unplug_after_bytes=20&time=virtual", profile, 300),
    )
    with pytest.raises(RuntimeError, match="was not loaded"):
        boards.run(rounds=1, boards=2)
