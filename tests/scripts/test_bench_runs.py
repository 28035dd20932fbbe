"""The section of the benchmark on kept runs: it measures, and its targets can fail."""

from __future__ import annotations

from typing import Any

import pytest


@pytest.mark.slow
def test_a_small_run_has_every_figure(script: Any) -> None:
    """Asks, keys and the drawing are measured, and what was asked is found."""
    bench = script("bench_runs")
    section = bench.run(kept=200, numbers=3_000)
    assert len(section.rows) == 4 and all(float(str(row["value"])) > 0 for row in section.rows)
    assert [target.limit for target in section.targets] == [30, 50]
    assert "3,000 numbers" in section.notes[0]


def test_the_targets_can_fail(script: Any) -> None:
    """Each by itself."""
    bench = script("bench_runs")
    assert bench.section_of([], 30.0, 50.0, "").holds
    assert not bench.section_of([], 30.1, 50.0, "").holds
    assert not bench.section_of([], 30.0, 50.1, "").holds
