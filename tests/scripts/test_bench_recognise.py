"""The recognition section of the benchmark: its floor, its figures, and targets that can fail."""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType

import pytest

from hostlink.board.profile.file import find_profile

Script = Callable[[str], ModuleType]


def test_a_row_is_right_about_its_board_and_its_floor(script: Script) -> None:
    """Kind `token` at 9600 baud; its floor worked on paper.

    Five lines are answered. Empty ones, after the CR that it wants no line end of: 1 byte and 3
    back (LF and the prompt of two). REM: 3 + 1 and 3. QZ: 2 + 1, and LF, "Syntax Error", LF and the
    prompt. PRINT SIZE: 10 + 1, and LF, "999", LF and the prompt. Ten bits a byte, 16 ms each.
    """
    row = script("bench_recognise").measure(find_profile("token"), 9600)
    assert row["found"] == "token"
    answered = (2 + 3) + (1 + 3) + (4 + 3) + (3 + 16) + (11 + 7)
    assert row["questions"] == 5
    assert row["floor_s"] == pytest.approx(answered * 10 / 9600 + 5 * 0.016, abs=0.01)
    assert row["floor_s"] < row["seconds"] <= 3.0


def test_both_targets_hold_and_can_fail(script: Script, monkeypatch: pytest.MonkeyPatch) -> None:
    """A recogniser that is slower, or takes a board for another kind, is told."""
    bench = script("bench_recognise")
    section = bench.run()
    assert section.holds
    assert {row["baud"] for row in section.rows} == set(bench.SPEEDS)
    wrong = {**section.rows[0], "found": "none", "seconds": 3.5, "baud": 9600}
    monkeypatch.setattr(bench, "_rows", lambda: iter([*section.rows, wrong]))
    assert [target.holds for target in bench.run().targets] == [False, False]
