"""The checks go on after a failure, and none can pass by not having been run."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.fixture
def steps(script):
    """Return the module with the steps."""
    return script("check_steps")


@pytest.fixture
def running(script):
    """Return the module that runs tools and tests."""
    return script("check_run")


@pytest.fixture
def checks(steps, project):
    """Return what steps share, over an empty project."""
    return steps.Checks(project[0])


def closing_line(running, folder, body):
    """Run real pytest over one test file; return its status and the closing line as found."""
    (folder / "test_it.py").write_text(body)
    if body == LEAVES_OUT:
        (folder / "conftest.py").write_text(LEAVING_OUT)
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", str(folder)]
    bare = {**os.environ, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}  # they take most of the time
    done = subprocess.run(
        command, cwd=folder, capture_output=True, text=True, check=False, env=bare
    )
    found = [
        m.group(1) for line in done.stdout.splitlines() if (m := running.PYTEST_SUMMARY.match(line))
    ]
    return done.returncode, found[-1] if found else ""


# A test that a hook leaves out, so that it is neither run nor counted as skipped.
LEAVES_OUT = "def test_a(): pass\ndef test_b(): assert 0"
LEAVING_OUT = """
def pytest_collection_modifyitems(config, items):
    config.hook.pytest_deselected(items=[item for item in items if item.name == "test_b"])
    items[:] = [item for item in items if item.name != "test_b"]
"""


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
        (LEAVES_OUT, "", "1 deselected, which CI does not allow"),
    ],
    ids=["passed", "failed", "none", "one-skipped", "all-skipped", "one-left-out"],
)
def test_real_pytest_runs_are_judged(running, tmp_path, body, here, in_ci):
    """Failures, an empty run and, in CI, skips are problems, as real pytest reports them."""
    status, summary = closing_line(running, tmp_path, body)
    assert summary
    assert running.pytest_problem(status, summary, ci=False) == here
    assert running.pytest_problem(status, summary, ci=True) == in_ci


def test_other_pythons_may_leave_out_slow_tests_but_skip_none(running):
    """What is deselected on purpose is no problem in CI; a skipped test still is."""
    for summary, problem in (
        ("5 passed, 2 deselected in 1s", ""),
        ("5 passed, 1 skipped, 2 deselected in 1s", "1 skipped, which CI does not allow"),
    ):
        assert running.pytest_problem(0, summary, ci=True, quick=True) == problem


def test_silent_pytest_is_a_problem(running):
    """A pytest that ends well without a closing line has proven nothing."""
    assert running.pytest_problem(0, "", ci=False) == "pytest printed no closing line"


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


def test_commands_report_status_and_output(running, tmp_path, capsys):
    """A command's output is shown and kept, with stderr, and its status is told."""
    code = "import os, sys; print(os.environ['X']); print('b', file=sys.stderr); sys.exit(3)"
    status, lines = running.run([sys.executable, "-c", code], tmp_path, {"X": "a"})
    assert (status, sorted(lines)) == (3, ["a", "b"])
    assert "a\n" in capsys.readouterr().out


def test_types_are_checked_for_each_system_with_a_cache_of_its_own(steps, checks, monkeypatch):
    """A system whose types are wrong is named; the others are checked all the same."""
    seen = {}

    def passes(command):
        seen[command[4]] = command[6]
        return "status 1" if command[4] == "win32" else ""

    monkeypatch.setattr(steps, "passes", passes)
    assert steps.mypy(checks) == "status 1 for win32"
    assert set(seen) == set(steps.SYSTEMS)
    assert len(set(seen.values())) == len(steps.SYSTEMS)


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


def test_pytest_counts_lines_where_no_other_python_does_it_quicker(
    steps, running, checks, monkeypatch, tmp_path
):
    """Not where only some tests run, which says nothing about what is covered."""
    commands = []
    monkeypatch.setattr(steps, "ROOT", tmp_path)
    monkeypatch.setattr(running, "run", lambda command, **_: commands.append(command) or (0, []))
    checks.place.version = (3, 11)
    checks.ci = True
    for others in ({}, {(3, 13): None}):
        monkeypatch.setattr(steps.pythons, "find", lambda others=others: others)
        (tmp_path / ".coverage").touch()
        steps.pytest(checks)
        assert not (tmp_path / ".coverage").exists()  # of an older run
    checks.pytest_arguments = ["-k", "x"]
    steps.pytest(checks)
    assert ["--cov" in command for command in commands] == [True, False, False]


@pytest.mark.parametrize(
    ("ci", "arguments", "quick"),
    [(False, [], True), (True, [], False), (False, ["tests/link"], False)],
    ids=["here", "ci", "asked-for"],
)
def test_slow_tests_are_left_out_unless_ci_runs_or_tests_are_named(
    steps, running, checks, monkeypatch, tmp_path, ci, arguments, quick
):
    """A developer who names tests gets all of those."""
    commands = []
    monkeypatch.setattr(steps, "ROOT", tmp_path)
    monkeypatch.setattr(steps.pythons, "find", dict)
    monkeypatch.setattr(running, "run", lambda command, **_: commands.append(command) or (0, []))
    checks.ci, checks.pytest_arguments = ci, arguments
    steps.pytest(checks)
    assert (commands[0][-2:] == ["-m", "not slow"]) is quick


def test_a_quick_run_has_one_case_in_so_many_of_a_marked_test(steps):
    """The first case and each n-th after it; no test marked so is left out altogether."""
    test = "tests/cli/test_ended.py::test_a_closed_standard_input_is_an_empty_one"
    collect = [sys.executable, "-m", "pytest", "--collect-only", "-q", test]

    def cases(*options):
        done = subprocess.run(
            [*collect, *options], cwd=steps.ROOT, capture_output=True, text=True, check=True
        )
        return [line for line in done.stdout.splitlines() if line.startswith(test)]

    every = cases()
    assert len(every) > 14
    assert cases("-m", "not slow") == every[::14]


def test_the_tests_of_a_fresh_clone_are_compiled_once_beside_other_steps(running, tmp_path):
    """Compiled as pytest compiles them, so that no worker does it again; later not at all."""
    (tmp_path / "tests").mkdir()
    (tmp_path / "tests" / "test_it.py").write_text("def test_a(): assert True")
    version = sys.version_info[:2]
    process = running.compile_tests(sys.executable, version, folder=tmp_path)
    assert process.wait() == 0
    assert list(tmp_path.glob("tests/__pycache__/test_it.*-pytest-*.pyc"))
    assert running.compile_tests(sys.executable, version, folder=tmp_path) is None


def test_slow_steps_are_taken_in_ci_or_when_they_are_named(steps):
    """What is named is taken, and nothing else; the order is always that of the table."""
    quick = steps.steps_to_take(None, ci=False)
    assert [name for name in steps.STEPS if name not in quick] == list(steps.IN_CI)
    assert steps.steps_to_take(None, ci=True) == list(steps.STEPS)
    assert steps.steps_to_take(["pack", "mypy"], ci=False) == ["mypy", "pack"]


def test_tests_write_into_memory_where_there_is_room(running, tmp_path, monkeypatch):
    """Other users may enter; the folder is gone afterwards; without room none is made."""
    with running.temporary_folder(tmp_path / "none") as variables:
        assert variables == {}
    monkeypatch.setattr(running, "MEMORY_BYTES", 1)
    with running.temporary_folder(tmp_path) as variables:
        folder = Path(variables["TMPDIR"])
        assert folder.parent == tmp_path
        assert folder.stat().st_mode & 0o777 == 0o755  # tests that become another user get in
    assert list(tmp_path.iterdir()) == []
    monkeypatch.setattr(running, "MEMORY_BYTES", 1 << 62)
    with running.temporary_folder(tmp_path) as variables:
        assert variables == {}


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
    assert all((Path(steps.__file__).parents[1] / "hostlink" / p).is_dir() for p in steps.COVERED)
    checks.pytest_arguments = ["tests/link"]
    assert steps.coverage(checks) == ""


@pytest.fixture
def others(steps, monkeypatch):
    """Stands for two other Pythons; returns (environments made ready, commands of pytest run)."""
    made, ran = [], []
    found = {
        minor: steps.pythons.Interpreter((*minor, 1), f"/opt/python{minor[1]}")
        for minor in ((3, 12), (3, 13))
    }

    def prepare(place, kind):
        made.append((place.folder.name, place.base_python, place.version, kind))

    def run_pytest(python, arguments, *, variables, **_):
        ran.append((python, list(arguments), dict(variables)))
        return "", "1 passed in 0.1s"

    monkeypatch.setattr(
        steps.pythons, "find", lambda wanted: {m: found[m] for m in wanted if m in found}
    )
    monkeypatch.setattr(steps.environment.Environment, "prepare", prepare)
    monkeypatch.setattr(steps, "run_pytest", run_pytest)
    monkeypatch.setattr(steps, "compile_tests", lambda *_: None)
    return made, ran


def test_each_other_python_runs_the_core_in_an_environment_of_its_own(
    steps, checks, others, capsys
):
    """The Python of `.venv`, which runs all tests, is left out; the rest is said."""
    made, ran = others
    checks.place.version = (3, 11)
    assert steps.other_pythons(checks) == ""
    assert sorted(made) == [
        (".venv-3.12", "/opt/python12", (3, 12), "test"),
        (".venv-3.13", "/opt/python13", (3, 13), "test"),
    ]
    places = [
        steps.environment.Environment(steps.ROOT, name=name)
        for name in (".venv-3.12", ".venv-3.13")
    ]
    assert [python for python, *_ in ran] == [str(place.python) for place in places]
    assert ran[0][1:] == (steps.pythons.core_arguments(between=True), {})
    said = (
        "tested on Python 3.11 (all), 3.12.1 (part of the core), 3.13.1 (core); not found here: "
        "3.14"
    )
    assert checks.pythons_summary == said
    assert said in capsys.readouterr().out


def test_other_pythons_are_made_ready_beside_the_first_steps(steps, others, monkeypatch, capsys):
    """So that their tests begin at once; their environments are not made a second time."""
    made, ran = others
    compiled = []
    monkeypatch.setattr(
        steps, "compile_tests", lambda _, version, tests=(): compiled.append((version, tests))
    )
    steps_taken = {"pytest": lambda _: "", "other-pythons": steps.other_pythons}
    monkeypatch.setattr(steps, "STEPS", steps_taken)
    assert steps.main(["--ci"]) == 0
    assert "tested on Python" in capsys.readouterr().out
    assert len(made) == 1 + len(ran)  # the first is `.venv` itself
    assert {version: list(tests) for version, tests in compiled[1:]} == {
        (3, 12 + at): [word for word in arguments if word not in steps.COUNT_LINES]
        for at, (_, arguments, _) in enumerate(ran)
    }


def test_the_newest_python_counts_the_lines_that_tests_pass(steps, checks, others):
    """It runs some more tests than the others, and by the quick way of counting."""
    _, ran = others
    checks.place.version = (3, 11)
    steps.other_pythons(checks)
    _, arguments, variables = ran[-1]
    assert arguments[-2:] == ["--cov", "--cov-report="]
    for path in steps.pythons.COVERING:
        assert path in arguments and f"--ignore={path}" not in arguments
    assert variables == {"COVERAGE_CORE": "sysmon"}


def test_a_python_whose_tests_fail_fails_the_step_and_stops_no_other(
    steps, checks, others, monkeypatch
):
    """Each Python with a problem is named."""
    _, ran = others

    def run_pytest(python, _, **__):
        ran.append(python)
        return ("status 1" if "3.12" in python else ""), ""

    monkeypatch.setattr(steps, "run_pytest", run_pytest)
    checks.place.version = (3, 11)
    assert steps.other_pythons(checks) == "Python 3.12.1: status 1"
    assert len(ran) == 2


def test_a_python_that_cannot_be_set_up_fails_the_step(steps, checks, others, monkeypatch):
    """Its problem is told, its tests are not run, and the summary does not claim that they were."""
    _, ran = others

    def prepare(place, _):
        if place.version == (3, 13):
            raise steps.environment.SetupError("There is no network.")

    monkeypatch.setattr(steps.environment.Environment, "prepare", prepare)
    checks.place.version = (3, 11)
    assert steps.other_pythons(checks) == "Python 3.13.1: There is no network."
    assert len(ran) == 1
    assert checks.pythons_summary == (
        "tested on Python 3.11 (all), 3.12.1 (part of the core); not found here: 3.14"
    )


def test_other_pythons_are_left_out_where_only_some_tests_were_asked_for(steps, checks, others):
    """A developer who runs a part of the tests waits for no other Python, and none is claimed."""
    made, ran = others
    checks.pytest_arguments = ["tests/link"]
    assert steps.other_pythons(checks) == ""
    assert (made, ran, checks.pythons_summary) == ([], [], "")
