"""The soak finds every saboteur: its short form, under one fault each; and only saboteurs."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from hostlink.archive import Archive
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.loading import Loader
from hostlink.errors import ExitStatus, LinkError
from hostlink.link.wire import Wire

Script = Callable[[str], ModuleType]

# Saboteur, fault of the wire, and the number of a job that finds it; the long form, `soak.py
# --sabotage`, hunts all of them under every fault.
SHORT = [
    ("no rescue", "none", 6),
    ("kept already, without a look", "damage 0.1%", 10),
    ("an empty capture believed", "none", 43),
    ("a stored program overwritten", "damage 0.5%", 65),
    ("memory not put back", "damage 1.0%", 4),
    ("flash not kept", "damage 2.0%", 27),
    ("a difference accepted", "damage 0.5%", 57),
    ("no read-back", "stalls", 2),
    ("an error swallowed", "unplugged", 4),
    ("failed with status 0", "flood", 0),
    ("pages called proven", "mixture", 21),
    ("one capture for two", "none", 3),
    ("one left out of a backup", "damage 0.1%", 4),
    ("acknowledged before its commit", "damage 0.2%", 0),
    ("acknowledged before its sync", "damage 0.5%", 0),
    ("a revision deleted", "damage 1.0%", 2),
    ("a wait without a deadline", "damage 2.0%", 0),
    ("control characters passed on", "damage 0.1%", 71),
    ("an opening not warned of", "restart", 13),
    ("a restart unnoticed", "restart", 9),
]
FEW = 5  # jobs from that number on; the first one does it today


@pytest.fixture
def sabotage(script: Script) -> ModuleType:
    """The hunt, with its saboteurs loaded."""
    return script("soak_sabotage")


@pytest.mark.one_in(10)
@pytest.mark.parametrize(("saboteur", "fault", "number"), SHORT)
def test_a_broken_promise_is_found(
    sabotage: ModuleType, saboteur: str, fault: str, number: int
) -> None:
    """By a job that is silent where nothing is broken."""
    hunted = sabotage.hunt(saboteur, fault, number, FEW)
    assert hunted.found
    assert hunted.target.holds
    assert not sabotage.unbroken(fault, number, hunted.jobs).found


def test_every_saboteur_and_every_promise_is_tried(sabotage: ModuleType) -> None:
    """Here under some fault, in the long form under all; there are six promises."""
    assert [name for name, _, _ in SHORT] == list(sabotage.SABOTEURS)
    assert {each.promise for each in sabotage.SABOTEURS.values()} == {1, 2, 3, 4, 5, 6}
    faults = {fault for _, fault, _ in SHORT}
    assert faults == set(sabotage.FAULTS)
    assert len(sabotage.calls()) == len(sabotage.SABOTEURS) * len(sabotage.FAULTS)


def test_nothing_stays_broken(script: Script, sabotage: ModuleType) -> None:
    """After the block every name is what it was."""
    before = [vars(each).copy() for each in (Dialogue, Loader, Wire, Archive)]
    for name in sabotage.SABOTEURS:
        with script("soak_saboteurs").sabotaged(name):
            pass
    assert [vars(each).copy() for each in (Dialogue, Loader, Wire, Archive)] == before
    assert LinkError.status is ExitStatus.LINK_FAILED


def test_a_saboteur_whose_target_is_gone_is_an_error(script: Script) -> None:
    """Not one that is never found, which would look as if the soak were blind."""
    with pytest.raises(AssertionError, match="nothing in hostlink"):
        script("soak_saboteurs").everywhere(object(), None)


@pytest.fixture
def harmless(script: Script, sabotage: ModuleType, monkeypatch: pytest.MonkeyPatch) -> str:
    """The one saboteur there is, and it breaks nothing; under one fault."""
    saboteurs = script("soak_saboteurs")
    only = saboteurs.Saboteur("harmless", 3, "silent", list)
    for name in list(saboteurs.SABOTEURS):
        monkeypatch.delitem(saboteurs.SABOTEURS, name)
    monkeypatch.setitem(saboteurs.SABOTEURS, "harmless", only)
    monkeypatch.setattr(sabotage, "FAULTS", ("none",))
    return "harmless"


def test_who_breaks_nothing_is_not_found(
    script: Script, sabotage: ModuleType, harmless: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nor by a job that shows a trouble of its own anyway."""
    assert sabotage.hunt(harmless, "none", 10, 3).found == ""
    run, wrong = sabotage.VirtualJob.run, script("soak_truth").Trouble("silent", "x")
    monkeypatch.setattr(sabotage.VirtualJob, "run", lambda job: replace(run(job), troubles=[wrong]))
    assert sabotage.a_job_shows(10, "none")
    shown = sabotage.hunt(harmless, "none", 10, 1)
    assert (shown.jobs, shown.found, shown.target.holds) == (1, "", False)
    assert "silent: x" in sabotage.unbroken("none", 10, 1).found


@pytest.mark.usefixtures("harmless")
def test_the_long_form_fails_where_one_is_not_found(
    script: Script, capsys: pytest.CaptureFixture[str]
) -> None:
    """One object: a target for each saboteur and fault, and one for the same jobs unbroken."""
    arguments = ["--sabotage", "--jobs", "2", "--first", "3", "--workers", "1", "--json"]
    assert script("soak").main(arguments) == 1
    out = capsys.readouterr()
    told = json.loads(out.out)
    assert told["section"] == "sabotage"
    assert [(row["saboteur"], row["fault"], row["jobs"]) for row in told["rows"]] == [
        ("harmless", "none", 2),
        ("(nobody)", "none", 2),
    ]
    missed, silent = told["targets"]
    assert (missed["value"], missed["limit"], missed["holds"]) == (None, 200, False)
    assert (silent["value"], silent["holds"]) == (0, True)
    assert "harmless, none: not found" in out.err


def test_trouble_with_nothing_broken_fails(sabotage: ModuleType) -> None:
    """One is enough."""
    assert not sabotage.Hunted("", "none", 5, "job 3: lost: memory").target.holds
    assert sabotage.Hunted("", "none", 5).target.holds


def test_a_job_is_replayed_in_words(
    script: Script, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """What was drawn, what was told and when, what was wrong; and the wire in a file."""
    record = tmp_path / "wire.txt"
    soak = script("soak")
    assert soak.main(["--replay", "111", "--record", str(record)]) == 1
    told = capsys.readouterr().out
    assert told.startswith("job 111: recall, unplugged, on: skips a line\n")
    assert "skipped_line=" in told
    assert "beyond any host: job 111 (recall, unplugged, skips a line): lost: memory" in told
    assert "host" in record.read_text()
    assert soak.main(["--replay", "3"]) == 0
    assert soak.main(["--replay", "6", "--fault", "none", "--saboteur", "no rescue"]) == 1
