"""The benchmark of the app: every part of it runs, on a small scale."""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any

import pytest

SCRIPTS = Path(__file__).parent.parent.parent / "scripts"


def test_each_part_is_measured(monkeypatch: pytest.MonkeyPatch) -> None:
    """A first painting, the list of an archive and its search, and a flood: none takes no time.

    What the app is asked for by name has to be there; a benchmark that no test runs breaks unseen.
    """
    monkeypatch.syspath_prepend(str(SCRIPTS))
    for name in ("HOSTLINK_PRACTICE", "HOSTLINK_SETTINGS"):
        monkeypatch.setenv(name, "")  # the benchmark sets them; they are as before afterwards
    bench: Any = importlib.import_module("bench_app")
    section = bench.run(programs=20, flood_s=0.2, runs=1, bunches=3, idle_for=(0.5, 0.0))
    values = {row["what"]: row["value"] for row in section.rows}
    for what in ("hostlink", "the list opens", "slowest keystroke", "slowest key"):
        assert values[what] > 0, what
    assert values["transcript kept"] > 0
    assert {"idle app with a board", "idle console with a board"} <= set(values)
    assert values["bunches of keys"] == 3
    assert values["bunches with a key lost or misplaced"] == 0
    assert {target.name for target in section.targets} >= {
        "first paint, times a bare app",
        "key during a flood, slowest, ms",
    }
