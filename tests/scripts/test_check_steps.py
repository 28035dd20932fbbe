"""The checks go on after a failure, and none can pass by not having been run."""

from __future__ import annotations

import subprocess
import sys

import pytest


@pytest.fixture
def steps(script):
    """Return the module with the steps."""
    return script("check_steps")


@pytest.fixture
def checks(steps, project):
    """Return what steps share, over an empty project."""
    return steps.Checks(project[0])


def closing_line(steps, folder, body):
    """Run real pytest over one test file; return its status and the closing line as found."""
    (folder / "test_it.py").write_text(body)
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", str(folder)]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    found = [
        m.group(1) for line in done.stdout.splitlines() if (m := steps.PYTEST_SUMMARY.match(line))
    ]
    return done.returncode, found[-1] if found else ""


@pytest.mark.parametrize(
    ("body", "here", "in_ci"),
    [
        ("def test_a(): pass", "", ""),
        ("def test_a(): assert 0", "status 1", "status 1"),
        ("x = 1", "status 5 (no test was found)", "status 5 (no test was found)"),
        (
            "import pytest\ndef test_a(): pass\ndef test_b(): pytest.skip('no')",
            "",
            "1 skipped, which CI does not allow",
        ),
        (
            "import pytest\ndef test_a(): pytest.skip('no')",
            "",
            "1 skipped, which CI does not allow",
        ),
    ],
    ids=["passed", "failed", "none", "one-skipped", "all-skipped"],
)
def test_real_pytest_runs_are_judged(steps, tmp_path, body, here, in_ci):
    """Failures, an empty run and, in CI, skips are problems, as real pytest reports them."""
    status, summary = closing_line(steps, tmp_path, body)
    assert summary
    assert steps.pytest_problem(status, summary, ci=False) == here
    assert steps.pytest_problem(status, summary, ci=True) == in_ci


def test_silent_pytest_is_a_problem(steps):
    """A pytest that ends well without a closing line has proven nothing."""
    assert steps.pytest_problem(0, "", ci=False) == "pytest printed no closing line"


def test_a_failing_step_stops_no_other(steps, checks, monkeypatch, capsys):
    """Steps after a failure, or after a tool that cannot be started, are still taken."""

    def missing(_):
        raise FileNotFoundError("no such tool")

    taken = {"one": lambda _: "status 1", "two": missing, "three": lambda _: ""}
    monkeypatch.setattr(steps, "STEPS", taken)
    outcomes = steps.take(list(taken), checks)
    assert [bool(outcome.problem) for outcome in outcomes] == [True, True, False]
    capsys.readouterr()
    assert [line.split(" s  ")[1] for line in steps.table(outcomes).splitlines()] == [
        "status 1",
        "could not be run: no such tool",
        "good",
    ]


@pytest.mark.parametrize(("problem", "status"), [("", 0), ("status 2", 1)])
def test_status_tells_whether_all_is_good(steps, monkeypatch, capsys, problem, status):
    """One bad step makes the whole status 1, and the table names it."""
    monkeypatch.setattr(steps.environment.Environment, "prepare", lambda *_: None)
    monkeypatch.setattr(steps, "STEPS", {"one": lambda _: problem, "two": lambda _: ""})
    assert steps.main([]) == status
    assert (problem or "0 of 3 steps failed") in capsys.readouterr().out


def test_pytest_closing_line_ends_the_output(steps, monkeypatch, capsys):
    """What pytest counted is the last thing printed."""

    def pytest_step(checks):
        checks.pytest_summary = "3 passed in 0.10s"
        return ""

    monkeypatch.setattr(steps.environment.Environment, "prepare", lambda *_: None)
    monkeypatch.setattr(steps, "STEPS", {"pytest": pytest_step, "wheel": lambda _: ""})
    steps.main([])
    assert capsys.readouterr().out.splitlines()[-1] == "===== 3 passed in 0.10s ====="


def test_options_and_pytest_arguments_are_split(steps):
    """What stands after -- is pytest's, whatever it looks like."""
    chosen, theirs = steps.options(["--ci", "--only", "mypy", "--", "--only", "x", "--", "-k"])
    assert (chosen.ci, chosen.only, theirs) == (True, ["mypy"], ["--only", "x", "--", "-k"])


def test_unknown_step_is_wrong_use(steps, capsys):
    """A step that does not exist ends with status 2 and the list of those that do."""
    with pytest.raises(SystemExit) as caught:
        steps.options(["--only", "pytset"])
    assert caught.value.code == 2
    assert "'pytest'" in capsys.readouterr().err


def test_commands_report_status_and_output(steps, tmp_path, capsys):
    """A command's output is shown and kept, with stderr, and its status is told."""
    code = "import os, sys; print(os.environ['X']); print('b', file=sys.stderr); sys.exit(3)"
    status, lines = steps.run([sys.executable, "-c", code], tmp_path, {"X": "a"})
    assert (status, sorted(lines)) == (3, ["a", "b"])
    assert "a\n" in capsys.readouterr().out


def test_system_packages_are_left_alone_outside_ci(steps, checks, monkeypatch):
    """Without --ci nothing on the computer is installed or even asked for."""
    monkeypatch.setattr(steps, "passes", lambda *_: pytest.fail("ran a command"))
    monkeypatch.setattr(steps, "is_installed", lambda _: pytest.fail("asked"))
    assert steps.system_packages(checks) == ""


def test_only_missing_system_packages_are_installed(steps, checks, monkeypatch):
    """In CI, as root on Debian, the list is refreshed and only what is missing is installed."""
    commands = []

    def passes(command, **_):
        commands.append(list(command))
        return ""

    checks.ci = True
    monkeypatch.setattr(steps.shutil, "which", lambda _: "/usr/bin/dpkg-query")
    monkeypatch.setattr(steps, "is_installed", lambda name: name != "bwbasic")
    monkeypatch.setattr(steps.os, "geteuid", lambda: 0, raising=False)
    monkeypatch.setattr(steps, "passes", passes)
    assert steps.system_packages(checks) == ""
    assert [command[:2] for command in commands] == [["apt-get", "update"], ["apt-get", "install"]]
    assert "bwbasic" in commands[1]
    assert "tmux" not in commands[1]


@pytest.mark.parametrize(
    ("debian", "user", "says"), [(None, 0, "not Debian"), ("/usr/bin/dpkg-query", 1000, "sudo")]
)
def test_where_packages_cannot_be_installed_it_says_so(
    steps, checks, monkeypatch, debian, user, says
):
    """Elsewhere than on Debian, or without root, CI is told what is missing instead of passing."""
    checks.ci = True
    monkeypatch.setattr(steps.shutil, "which", lambda _: debian)
    monkeypatch.setattr(steps, "is_installed", lambda _: False)
    monkeypatch.setattr(steps.os, "geteuid", lambda: user, raising=False)
    problem = steps.system_packages(checks)
    assert says in problem
    assert "bwbasic" in problem


def test_pytest_counts_lines_only_when_it_runs_everything(steps, checks, monkeypatch):
    """A part of the tests says nothing about what is covered."""
    commands = []
    monkeypatch.setattr(steps, "run", lambda command, **_: commands.append(command) or (0, []))
    steps.pytest(checks)
    checks.pytest_arguments = ["-k", "x"]
    steps.pytest(checks)
    assert ["--cov" in command for command in commands] == [True, False]


def test_a_package_below_its_share_is_named(steps, checks, monkeypatch, tmp_path):
    """Each package is judged alone; without data, or after a part of the tests, none is."""
    monkeypatch.setattr(steps, "ROOT", tmp_path)
    assert "before" in steps.coverage(checks)
    (tmp_path / ".coverage").touch()
    judged = []

    def passes(command, **_):
        judged.append(command[-1])
        return "status 2" if "/link/" in command[-1] else ""

    monkeypatch.setattr(steps, "passes", passes)
    assert steps.coverage(checks) == "less than 95 %: link"
    assert judged == [f"--include=hostlink/{package}/*" for package in steps.COVERED]
    assert all(
        (steps.Path(steps.__file__).parents[1] / "hostlink" / p).is_dir() for p in steps.COVERED
    )
    checks.pytest_arguments = ["tests/link"]
    assert steps.coverage(checks) == ""
