"""The benchmark: that it measures what it says, and that it can fail."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from hostlink.practice.settings import BoardSettings


def board(**values: Any) -> BoardSettings:
    held = {"baud": 9600, "receive_buffer": 63, "latency_ms": 16, "line_ms": 15, **values}
    return BoardSettings(**held)


# --- the link section ----------------------------------------------------------------------------


def test_the_listing_is_the_fixed_one(script: Any) -> None:
    """40 lines, 1,026 bytes with line ends, never changed since the first figures were kept."""
    link = script("bench_link")
    lines = link.listing()
    text = "".join(line.typed + "\n" for line in lines.values())
    assert len(lines) == 40
    assert len(text) == 1026
    digest = "1abbce0c2bb5df06eab1b02da5be806ac95ba05cc61f117192001a6e3e54046e"
    assert hashlib.sha256(text.encode()).hexdigest() == digest


def test_the_bound_is_its_formula_worked_by_hand(script: Any) -> None:
    """Three wires, each ruled by another term; worked on paper.

    Echo and prompt rule at 9600 baud: 1,026 + 40 * 3 = 1,146 bytes back (a line end of two bytes
    for one, a prompt of two), 1.19375 s, and 16 ms. Storing rules at 115200: 40 * 15 ms and 1 ms.
    Without echo bytes the listing itself would rule.
    """
    link = script("bench_link")
    lines = [line.typed.encode() for line in link.listing().values()]
    assert link.bound(board(), lines) == pytest.approx((1.20975, 1026, 1146, 0.6))
    fast = link.bound(board(baud=115200, latency_ms=1), lines)
    assert fast == pytest.approx((0.601, 1026, 1146, 0.6))
    terse = board(prompt=b"", reply_end=b"", line_ms=2, latency_ms=1)
    assert link.bound(terse, lines)[0] == pytest.approx(1026 * 10 / 9600 + 0.001)


def test_a_row_holds_its_targets_on_a_usual_wire(script: Any) -> None:
    """9600 baud, 16 ms, 15 ms, 63 bytes: near the bound, 10 times faster than by hand, no loss."""
    link = script("bench_link")
    row = link.measure(board(), link.listing())
    assert row["bound_s"] <= row["hostlink_s"] <= 1.05 * row["bound_s"]
    assert row["hostlink_s"] < row["line_s"] < row["fixed_s"]
    # 10 ms for each of 1,026 bytes and 100 ms for each of 39 line ends before the last answer.
    assert row["fixed_s"] == pytest.approx(10.26 + 3.9, abs=0.05)
    # A byte out, a byte back and the latency for each of 1,026, and 15 ms for each line.
    assert row["char_echo_s"] == pytest.approx(1026 * (2 / 960 + 0.016) + 0.6, abs=0.2)
    assert row["job_s"] > row["hostlink_s"] + row["bytes_back"] / 960
    assert (row["lost"], row["lost_otherwise"], row["miscounted"]) == (0, 0, 0)
    assert all(target.holds for target in link.targets_of([row]))


def test_a_profile_that_promises_too_much_loses_bytes_and_the_count_shows_it(script: Any) -> None:
    """The sender told of 63 bytes of buffer on a board that has 2 loses bytes; the board counts."""
    link = script("bench_link")
    weak = board(receive_buffer=2, baud=57600)
    pacing = link.pacing_of(link.fitting_profile(board(baud=57600)))
    lines = [line.typed.encode() for line in link.listing().values()]
    run = link.run_core(weak, link.Sender(lines, pacing), link.listing())
    assert run.lost > 0
    assert run.seconds is None or run.lost


def test_waiting_for_an_echo_that_was_lost_is_no_time_at_all(script: Any) -> None:
    """A hand way that hangs has no time, so that no target can be met by it."""
    link = script("bench_link")
    silent = board(echo=False)
    lines = [b"10 PRINT"]
    run = link.run_core(silent, link.CharacterEcho(lines, b"\r", b"+ "), link.listing())
    assert run.seconds is None


def test_the_section_measures_every_combination(script: Any) -> None:
    """4 speeds, 3 receive buffers, 2 latencies, 2 line times: 48 kinds of wire."""
    link = script("bench_link")
    kinds = {(b.baud, b.receive_buffer, b.latency_ms, b.line_ms) for b in link.boards()}
    assert len(link.boards()) == len(kinds) == 48


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"hostlink_s": 1.3}, "times the bound"),
        ({"line_s": 1.19}, "line at a time"),
        ({"fixed_s": 11.9}, "hand-set delays"),
        ({"char_echo_s": 11.9}, "each echo"),
        ({"char_echo_s": 12.1, "hostlink_s": None}, "times the bound"),
        ({"lost": 1}, "lost"),
        ({"miscounted": 1}, "counted"),
    ],
)
def test_each_target_fails_when_it_should(script: Any, change: dict[str, float], name: str) -> None:
    """A row just past a limit fails the target of that limit."""
    link = script("bench_link")
    row = {
        "baud": 9600,
        "receive_buffer": 63,
        "latency_ms": 16,
        "line_ms": 15,
        "bound_s": 1.2,
        "hostlink_s": 1.2,
        "line_s": 1.2,
        "fixed_s": 12,
        "char_echo_s": 12,
        "lost": 0,
        "miscounted": 0,
    }
    assert all(target.holds for target in link.targets_of([row]))
    failed = [target.name for target in link.targets_of([{**row, **change}]) if not target.holds]
    assert any(name in target for target in failed)
    assert not any(target.holds for target in link.targets_of([])[:4])


# --- the start section ---------------------------------------------------------------------------


def test_starts_are_timed_with_byte_code(
    script: Any, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A start that is timed finds its byte code, also where the environment forbids writing it."""
    monkeypatch.setenv("PYTHONDONTWRITEBYTECODE", "1")
    source = tmp_path / "lamp.py"
    source.write_text("LIT = 1\n", encoding="ascii")
    environment = script("bench_python").compiled_environment(tmp_path)
    subprocess.run(
        [sys.executable, "-c", "import lamp"],
        env={**environment, "PYTHONPATH": str(tmp_path)},
        check=True,
    )
    assert list((tmp_path / "bytecode").rglob("lamp.*.pyc"))


def test_start_times_are_held_against_a_bare_python(script: Any) -> None:
    """The limits are multiples of `python -c pass`, and a command that loads textual fails."""
    start = script("bench_start")
    medians = {"python -c pass": 0.01, "hostlink --help": 0.05, "hostlink programs": 0.12}
    assert start.section_of(medians, [], 5).holds
    assert not start.section_of({**medians, "hostlink --help": 0.051}, [], 5).holds
    assert not start.section_of({**medians, "hostlink programs": 0.121}, [], 5).holds
    assert not start.section_of(medians, ["hostlink --help"], 5).holds


def test_a_loaded_package_is_seen(script: Any, tmp_path: Path) -> None:
    """A command that imports a package is told apart from one that does not."""
    start = script("bench_start")
    code = "import hostlink.errors, {}"
    assert start.loads(("-c", code.format("json.decoder")), tmp_path / "a", "json")
    assert not start.loads(("-c", code.format("math")), tmp_path / "a", "json")
    with pytest.raises(RuntimeError):
        start.loads(("-c", "pass"), tmp_path / "a", "json")


# --- the frame -----------------------------------------------------------------------------------


def test_json_is_one_object_and_the_status_follows_the_targets(
    script: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """--json prints section, rows and targets; a target that fails, or none at all, gives 1."""
    bench, report = script("bench"), script("bench_report")
    good = report.Section("link", [{"baud": 9600, "x": None}], [report.Target.at_most("x", 1, 2)])
    monkeypatch.setattr(bench, "run_section", lambda _, **__: good)
    assert bench.main(["link", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {
        "section": "link",
        "rows": [{"baud": 9600, "x": None}],
        "targets": [{"name": "x", "value": 1, "limit": 2, "holds": True}],
    }
    assert bench.main(["link"]) == 0
    assert "9600  -" in capsys.readouterr().out
    for bad in ([report.Target.at_least("x", 1, 2)], []):
        failing = dataclasses.replace(good, targets=bad)
        monkeypatch.setattr(bench, "run_section", lambda _, failing=failing, **__: failing)
        assert bench.main(["link"]) == 1


def test_a_section_that_cannot_be_measured_fails_in_words(
    script: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A section that breaks off gives status 1 and one sentence, and the next is still run."""
    bench, report = script("bench"), script("bench_report")
    good = report.Section("start", [{"x": 1}], [report.Target.at_most("x", 1, 2)])

    def run(name: str, **_: bool) -> Any:
        if name == "link":
            raise RuntimeError("no wire")
        return good

    monkeypatch.setattr(bench, "run_section", run)
    assert bench.main(["link", "start"]) == 1
    told = capsys.readouterr()
    assert told.err == "link: could not be measured: no wire\n"
    assert told.out.startswith("start")


def test_an_unknown_section_is_named(script: Any, capsys: pytest.CaptureFixture[str]) -> None:
    """A misspelt section is wrong use, and the known ones are listed."""
    with pytest.raises(SystemExit) as caught:
        script("bench").main(["lnik"])
    assert caught.value.code == 2
    assert 'no section "lnik"' in capsys.readouterr().err


def test_every_section_has_a_module_with_run(script: Any) -> None:
    """The registry names only what there is."""
    for name in script("bench").SECTIONS:
        assert callable(script(f"bench_{name}").run)
