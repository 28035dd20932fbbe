"""Counting slips: any number of workers finds the same, since each part has a seed of its own."""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType

import pytest

Script = Callable[[str], ModuleType]


def test_the_figures_do_not_depend_on_the_workers(
    script: Script, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each part is drawn from a seed of its own, and all parts are counted."""
    figures = script("slips_figures")
    monkeypatch.setattr(figures, "PART", 20)
    told = []
    for workers in ("1", "2"):
        assert figures.main(["--count", "50", "--workers", workers]) == 0
        told.append(capsys.readouterr().out)
    assert told[0] == told[1]
    assert "| all | 50 |" in told[0]
    parts = [figures.figures((f"1 {begun}", 20))[0] for begun in (0, 20)]
    assert parts[0] != parts[1]
