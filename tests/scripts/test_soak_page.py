"""The soak's table is the sum of its runs, each with the version and the jobs it is of."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import hostlink

Script = Callable[[str], ModuleType]


def run(first: int, version: str = "1.2.3", **found: int) -> dict[str, Any]:
    """What a run of 50 jobs prints, with a fuzzed reader beside it. found: by its first job."""
    job = {"what": "stalls", "trials": 50, "refused": 3, "expected": 0.25, **found}
    rows = [job, {**job, "what": "on: plain"}, {"what": "fuzzed bag", "trials": 7, "uncaught": 1}]
    return {"section": "soak", "version": version, "first": first, "jobs": 50, "rows": rows}


SABOTAGE = {
    "section": "sabotage",
    "version": "1.2.3",
    "first": 0,
    "jobs": 0,
    "rows": [
        {"saboteur": "no rescue", "fault": "stalls", "jobs": 2, "found": "job 1: lost: memory"},
        {"saboteur": "no rescue", "fault": "flood", "jobs": 200, "found": ""},
        {"saboteur": "(nobody)", "fault": "stalls", "jobs": 9, "found": "job 3: lost\njob 4: lost"},
    ],
}


def test_runs_are_added_up_and_each_job_counts_once(script: Script) -> None:
    """Though it stands in two rows; a saboteur that was not found is a trouble."""
    lines = script("soak_page").table([run(50), run(0, silent=1, lost=2, hangs=4), SABOTAGE])
    assert lines.splitlines()[0] == "hostlink 1.2.3; jobs 0 to 99."
    assert lines.splitlines()[4:] == [
        "| jobs, stalls | 100 | 6 | 1 | 0.500 | 2 | 4 |",
        "| fuzzed bag | 14 | 0 | 0 | 0.000 | 0 | 2 |",
        "| saboteurs, each under each fault | 2 | 0 | 0 | 0.000 | 0 | 1 |",
        "| saboteurs' jobs, nothing broken | 9 | 0 | 0 | 0.000 | 0 | 2 |",
    ]


def test_versions_and_gaps_are_told(script: Script) -> None:
    """Runs that do not touch are no single range; two versions are both named."""
    told = script("soak_page").table([run(200, "1.2.4"), run(0)]).splitlines()[0]
    assert told == "hostlink 1.2.3, 1.2.4; jobs 0 to 49, 200 to 249."


def test_what_a_soak_prints_goes_into_the_page(
    script: Script, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A run as it is, with its version and its jobs; the marks and the rest of the page stay."""
    soak, page = script("soak"), script("soak_page")
    counts = ("--jobs", "3", "--kills", "0", "--fuzz", "0", "--workers", "1", "--first", "7")
    assert soak.main([*counts, "--json"]) == 0
    (tmp_path / "run.json").write_text(capsys.readouterr().out)
    (tmp_path / "page.md").write_text("before\n{}\n{}\nafter\n".format(*page.MARKS))
    page.write([tmp_path / "run.json"], tmp_path / "page.md")
    text = (tmp_path / "page.md").read_text()
    assert f"{page.MARKS[0]}\n\nhostlink {hostlink.__version__}; jobs 7 to 9.\n" in text
    assert text.endswith(f"\n{page.MARKS[1]}\nafter\n")
    assert sum(row["trials"] for row in json.loads((tmp_path / "run.json").read_text())["rows"]) > 3


def test_the_soaks_figures_are_of_this_version(script: Script) -> None:
    """They were found on the version that they stand beside."""
    page = script("soak_page")
    _, _, rest = page.PAGE.read_text(encoding="utf-8").partition(page.MARKS[0])
    assert rest.lstrip().startswith(f"hostlink {hostlink.__version__.rpartition('.')[0]}.")


def test_jobs_keep_no_profiles_among_those_of_the_user(
    script: Script, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A job keeps one for each board it meets, in the folder that the environment names."""
    soak, folders = script("soak"), list[str]()
    monkeypatch.setenv("HOSTLINK_PROFILES", str(tmp_path))
    monkeypatch.setattr(
        soak, "follow", lambda _: folders.append(os.environ["HOSTLINK_PROFILES"]) or 0
    )
    assert soak.main([]) == 0
    assert folders and folders != [str(tmp_path)]
    assert os.environ["HOSTLINK_PROFILES"] == str(tmp_path)
