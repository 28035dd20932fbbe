"""The section of the benchmark that measures the practice board beside bwbasic."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest

SCRIPTS = Path(__file__).parents[2] / "scripts"


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Any:
    """The module, imported as the benchmark imports it."""
    import importlib

    monkeypatch.syspath_prepend(str(SCRIPTS))
    yield importlib.import_module("bench_practice")
    for name in ("bench_practice", "bench_report"):
        sys.modules.pop(name, None)


def test_the_program_measured_prints_what_python_works_out(bench: Any) -> None:
    """So that both interpreters are known to have done the work; every statement is counted."""
    count, seconds, printed = bench.ours()
    total = statements = 0
    for outer in range(1, 31):
        for inner in range(1, 1001):
            total += inner * 3 - outer
            statements += 3
            if total > 10000:
                total -= 10000
                statements += 1
        statements += 5  # FOR, GOSUB, LET, RETURN, NEXT
    assert printed.split() == [str(total)]
    assert count == statements + 4  # LET, FOR, PRINT, END
    assert seconds > 0


def test_a_trace_is_measured_in_a_process_of_its_own(
    bench: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its CPU time and its largest memory come from the system."""
    monkeypatch.setattr(bench, "TRACED", 200)
    cpu, memory = bench.traced(tmp_path, "--json")
    assert cpu > 0
    assert memory > 5  # the largest also counts the moment before it became another program
