"""The benchmark of the app: every part of it runs, on a small scale."""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any

import pytest

SCRIPTS = Path(__file__).parent.parent.parent / "scripts"


@pytest.mark.slow
def test_each_part_is_measured(monkeypatch: pytest.MonkeyPatch) -> None:
    """A first painting, the list of an archive and its search, and a flood: none takes no time.

    What the app is asked for by name has to be there; a benchmark that no test runs breaks unseen.
    """
    monkeypatch.syspath_prepend(str(SCRIPTS))
    for name in ("HOSTLINK_PRACTICE", "HOSTLINK_SETTINGS"):
        monkeypatch.setenv(name, "")  # the benchmark sets them; they are as before afterwards
    bench: Any = importlib.import_module("bench_app")
    section = bench.run(
        programs=20, flood_s=0.2, runs=1, bunches=3, idle_for=(0.5, 0.0), kills=2, keys_typed=4
    )
    values = {row["what"]: row["value"] for row in section.rows}
    for what in ("hostlink", "the list opens", "slowest keystroke", "slowest key", bench.SLOWEST):
        assert values[what] > 0, what
    assert values["transcript kept"] > 0
    assert {"idle app with a board", "idle console with a board"} <= set(values)
    assert values["bunches of keys"] == 3
    assert values["bunches with a key lost or misplaced"] == 0
    assert values["kills while typing"] == 2
    assert values["kills with a draft that was never typed"] == 0
    assert {target.name for target in section.targets} >= {
        "first paint, times a bare app",
        "key during a flood, slowest, ms",
    }


def test_a_loss_is_told_from_the_first_key_that_is_missing(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Nothing kept loses everything; what was kept whole loses nothing; a draft of other text is
    wrong.
    """
    from hostlink.app.drafts import Draft, Drafts

    monkeypatch.syspath_prepend(str(SCRIPTS))
    bench: Any = importlib.import_module("bench_kill")
    typed = [(10.0, "1"), (11.0, "0"), (12.5, "\r")]
    assert bench._loss(tmp_path, typed, 13.0) == bench.Loss(3.0, 3, True)
    for text, loss in (
        ("10", bench.Loss(0.5, 1, True)),
        ("10\n", bench.Loss(0.0, 0, True)),
        ("1x", bench.Loss(0.5, 1, False)),
    ):
        left = Drafts(tmp_path / "drafts")
        left.keep(Draft(text))
        left.close()
        assert bench._loss(tmp_path, typed, 13.0) == loss
        left.want(None)
        left.settle()
