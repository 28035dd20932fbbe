"""The firmware section of the benchmark: its bound, its figures, and that its targets can fail."""

from __future__ import annotations

import importlib
from pathlib import Path
from types import ModuleType

import pytest

SCRIPTS = Path(__file__).parent.parent.parent / "scripts"


@pytest.fixture
def firmware(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The module scripts/bench_firmware.py."""
    monkeypatch.syspath_prepend(str(SCRIPTS))
    return importlib.import_module("bench_firmware")


def test_the_bound_is_its_formula_worked_by_hand(firmware: ModuleType) -> None:
    """One page at 115200 baud and 16 ms: 281 bytes take 24.392 ms, the page 4.5, four latencies
    64; 241 such pages take 22.387 s. Worked on paper."""
    assert firmware.bound(115_200, 16, 1) == pytest.approx(0.0928924, abs=1e-6)
    assert firmware.bound(115_200, 16) == pytest.approx(22.38706, abs=1e-4)
    assert firmware.read_bound(57_600, 1) == pytest.approx(512 * (1410 / 57_600 + 0.002))


def test_a_row_holds_its_targets(firmware: ModuleType) -> None:
    """The usual wire: within 1.1 times the minimum, every byte accounted for."""
    row = firmware.measure(115_200, 16)
    assert row["bound_s"] <= row["hostlink_s"] + 1e-6 <= 1.1 * row["bound_s"]
    assert (row["pages"], row["wrong"]) == (241, 0)
    assert all(target.holds for target in firmware.targets_of([row]))


@pytest.mark.parametrize(
    "change",
    [{"hostlink_s": 24.7}, {"read_s": 24.5}, {"wrong": 1}, {"bytes_out": 35_185}, {"pages": 240}],
)
def test_each_target_fails_when_it_should(firmware: ModuleType, change: dict[str, float]) -> None:
    """A row just past a limit fails, and no rows at all prove nothing."""
    row = {
        "pages": 241,
        "bytes_out": 35_186,
        "bytes_back": 32_776,
        "bound_s": 22.408,
        "hostlink_s": 22.408,
        "read_bound_s": 22.2,
        "read_s": 22.2,
        "wrong": 0,
    }
    assert all(target.holds for target in firmware.targets_of([row]))
    assert not all(target.holds for target in firmware.targets_of([{**row, **change}]))
    assert not all(target.holds for target in firmware.targets_of([]))
