"""The section of the benchmark that measures the listing workshop."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.listing import Listing, measure, review
from hostlink.listing.shrinking.shrink import shrink

SCRIPTS = Path(__file__).parents[2] / "scripts"


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Any:
    """The module, imported as the benchmark imports it."""
    import importlib

    monkeypatch.syspath_prepend(str(SCRIPTS))
    yield importlib.import_module("bench_listing")
    for name in ("bench_listing", "bench_report"):
        sys.modules.pop(name, None)


def test_the_listing_measured_fills_the_memory_and_gives_every_step_work(bench: Any) -> None:
    """Within one line of 999 bytes, sound, and each level but abbreviations saves something."""
    rules = find_profile("practice").rules
    text = bench.full_listing(rules)
    assert 970 <= measure(Listing.from_text(text), rules).total <= 999
    assert not review(Listing.from_text(text), rules, deep=True).errors
    saved = {step.level: step.saved for step in shrink(Listing.from_text(text), rules).steps}
    assert saved.pop("abbreviations") == 0
    assert all(saved.values()), saved


def test_a_listing_made_has_as_many_lines_as_asked_and_every_target(bench: Any) -> None:
    """So that the figure a line is one."""
    rules = find_profile("practice").rules
    listing = Listing.from_text(bench.a_listing(200))
    assert len(listing.numbered()) == 200
    found = {f.rule for f in review(listing, rules, deep=True).findings}
    assert not found & {"missing-jump-target", "unknown-word", "for-without-next"}


def test_slow_work_and_work_that_grows_too_fast_fail(bench: Any) -> None:
    """11 ms for the full listing, or a line that takes three times as long in a long listing."""
    good = {"review": (0.009, 0.1, 1.0)}
    assert bench.section_of(good, 999).holds
    assert not bench.section_of({"review": (0.011, 0.1, 1.0)}, 999).holds
    assert not bench.section_of({"review": (0.009, 0.1, 3.0)}, 999).holds


def test_time_is_measured_and_the_median_counts(
    bench: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A clock of the test's own: runs of 1, 9 and 2 seconds have the median 2."""
    ticks = iter([0.0, 1.0, 1.0, 10.0, 10.0, 12.0])
    monkeypatch.setattr(bench.time, "process_time", lambda: next(ticks))
    calls: list[str] = []
    assert bench.cpu_seconds(calls.append, "text", 3) == 2.0
    assert calls == ["text"] * 4
