"""The environment is made once, mended when broken and never left half made; no network is used."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

# Seen on Debian 12 with Python 3.11.2, the folder of ensurepip hidden.
DEBIAN_WITHOUT_VENV = """\
The virtual environment was not created successfully because ensurepip is not
available.  On Debian/Ubuntu systems, you need to install the python3-venv
package using the following command.

    apt install python3.11-venv
"""

# Seen with pip 23.2.1 in a network namespace without interfaces, shortened.
PIP_WITHOUT_NETWORK = """\
WARNING: Retrying (Retry(total=0, connect=None, read=None, redirect=None, status=None)) after \
connection broken by 'NewConnectionError('<pip._vendor.urllib3.connection.HTTPSConnection object \
at 0x7f>: Failed to establish a new connection: [Errno -3] Temporary failure in name resolution')'
ERROR: Could not find a version that satisfies the requirement sqlite-utils>=4.2
ERROR: No matching distribution found for sqlite-utils>=4.2
"""

MAKING = ["venv", "pip install", "import"]


def test_first_set_up_makes_and_installs(project):
    """The first set-up makes the environment, installs the project and says so in one line."""
    place, pythons, said = project
    place.prepare("run")
    assert pythons.stages() == MAKING
    assert pythons.commands[1][-2:] == ["--editable", "."]
    assert len(said) == 1
    assert place.ready("run")
    assert not place.begun.exists()


def test_second_set_up_is_silent_and_starts_no_process(project):
    """Where the stamp holds, nothing is said and no process is started."""
    place, pythons, said = project
    place.prepare("run")
    said.clear()
    pythons.commands.clear()
    place.prepare("run")
    assert (pythons.commands, said) == ([], [])


def test_test_set_up_serves_for_running_but_not_the_other_way(project):
    """An environment for testing can run hostlink; one for running is brought up to date."""
    place, pythons, _ = project
    place.prepare("run")
    assert not place.ready("test")
    pythons.commands.clear()
    place.prepare("test")
    assert pythons.stages() == ["pip --version", "pip install", "import"]
    assert pythons.commands[1][-1] == ".[test]"
    assert place.ready("run") and place.ready("test")


def test_an_environment_for_checking_serves_for_testing_too(project):
    """What the checks need is installed once; neither tests nor the program install again."""
    place, pythons, _ = project
    place.prepare("check")
    assert pythons.commands[1][-1] == ".[check]"
    assert place.ready("test") and place.ready("run")


def test_an_environment_of_another_python_stands_beside_and_is_its_own(project, script):
    """It has its folder, its stamps and its set-up's notes; `.venv` is left alone, and a stamp of
    one Python is none of another's."""
    place, pythons, said = project
    module = script("environment")
    other = module.Environment(
        place.root, base_python="/opt/python3.12", version=(3, 12), name=".venv-3.12",
        say=said.append,
    )  # fmt: skip
    pythons.place = other
    other.prepare("test")
    assert pythons.stages() == MAKING
    assert pythons.commands[0] == ["/opt/python3.12", "-m", "venv", str(place.root / ".venv-3.12")]
    assert pythons.commands[1][0] == str(other.python)
    assert (other.ready("test"), place.ready("test")) == (True, False)
    assert not place.folder.exists()
    assert other.aside == place.root / ".venv-3.12-setup"
    assert ".venv-3.12" in said[0]
    newer = module.Environment(place.root, version=(3, 13), name=".venv-3.12")
    assert not newer.ready("test")


def test_changed_project_file_is_installed_again(project):
    """A new pyproject.toml makes the stamp invalid; the environment is kept and updated."""
    place, pythons, _ = project
    place.prepare("run")
    (place.root / "pyproject.toml").write_text('[project]\nname = "y"\n')
    assert not place.ready("run")
    pythons.commands.clear()
    place.prepare("run")
    assert "venv" not in pythons.stages()
    assert place.ready("run")


def test_interrupted_set_up_is_made_anew(project):
    """After Ctrl-C in the middle of pip nothing counts as ready, and all is made anew."""
    place, pythons, _ = project
    pythons.interrupt_at = "pip install"
    with pytest.raises(KeyboardInterrupt):
        place.prepare("run")
    assert not place.ready("run")
    (place.folder / "half-installed").touch()
    pythons.interrupt_at = ""
    pythons.commands.clear()
    place.prepare("run")
    assert pythons.stages() == MAKING
    assert not (place.folder / "half-installed").exists()
    assert not list(place.aside.glob("old-*"))


def test_set_up_cut_off_for_testing_stops_running_too(project):
    """A valid stamp does not count while a later installation was cut off."""
    place, pythons, _ = project
    place.prepare("run")
    pythons.interrupt_at = "pip install"
    with pytest.raises(KeyboardInterrupt):
        place.prepare("test")
    assert not place.ready("run")


def test_debian_without_venv_package_names_it_and_leaves_nothing(project, script):
    """Without ensurepip the partial folder is deleted and the apt line is given."""
    place, pythons, _ = project
    pythons.answers["venv"] = (1, DEBIAN_WITHOUT_VENV)
    with pytest.raises(script("environment").SetupError, match="sudo apt install python3-venv"):
        place.prepare("run")
    assert not place.folder.exists()
    pythons.answers.clear()
    place.prepare("run")
    assert place.ready("run")


def test_no_network_is_a_plain_sentence(project, script):
    """Without network one sentence says so, and the next set-up goes on from there."""
    place, pythons, _ = project
    pythons.answers["pip install"] = (1, PIP_WITHOUT_NETWORK)
    with pytest.raises(script("environment").SetupError, match=r"^There is no network") as caught:
        place.prepare("run")
    assert "\n" not in str(caught.value)
    assert (place.aside / "log.txt").read_text() == PIP_WITHOUT_NETWORK
    assert not place.ready("run")
    pythons.answers.clear()
    pythons.commands.clear()
    place.prepare("run")
    assert "venv" not in pythons.stages()


def test_no_network_keeps_a_working_environment(project, script):
    """An environment that stood before is not thrown away because the network is missing."""
    place, pythons, _ = project
    place.prepare("run")
    pythons.answers["pip install"] = (1, PIP_WITHOUT_NETWORK)
    with pytest.raises(script("environment").SetupError):
        place.prepare("test")
    assert place.ready("run")


@pytest.mark.parametrize(
    ("output", "sentence"),
    [
        ("ERROR: Could not install: [Errno 28] No space left on device", "The disk is full"),
        ("SSLError(... CERTIFICATE_VERIFY_FAILED ...) Max retries exceeded", "not trusted"),
        ("chatter\nERROR: something odd happened.\n", r"\(something odd happened\)"),
        ("", "no reason was given"),
    ],
)
def test_other_failures_of_the_installation(project, script, output, sentence):
    """A full disk, an untrusted certificate and anything else are each told plainly."""
    place, pythons, _ = project
    pythons.answers["pip install"] = (1, output)
    with pytest.raises(script("environment").SetupError, match=sentence):
        place.prepare("run")
    assert not place.ready("run")


@pytest.mark.parametrize("damage", ["interpreter", "base", "pip"])
def test_broken_environment_is_made_anew(project, damage):
    """A lost interpreter, an uninstalled base Python or a pip that fails: all is made anew."""
    place, pythons, _ = project
    place.prepare("run")
    if damage == "interpreter":
        place.python.unlink()
        pythons.answers["pip --version"] = (127, "no such file")
    elif damage == "base":
        (place.folder / "pyvenv.cfg").write_text("home = /nowhere/at/all\n")
    else:
        place.stamp("run").unlink()
        pythons.answers["pip --version"] = (1, "No module named pip")
    assert not place.ready("run")
    pythons.commands.clear()
    place.prepare("run")
    assert pythons.stages()[-3:] == MAKING
    assert place.ready("run")


def test_moved_project_is_made_anew(project):
    """Commands in an environment carry its old path, so a moved project gets a new one."""
    place, pythons, _ = project
    place.prepare("run")
    stamp = place.stamp("run")
    stamp.write_text(stamp.read_text().replace(str(place.root), "/elsewhere"))
    pythons.commands.clear()
    place.prepare("run")
    assert pythons.stages() == MAKING


@pytest.mark.parametrize("kind", ["folder", "file"])
def test_what_is_not_ours_is_left_alone(project, script, kind):
    """A .venv that is no Python environment is neither deleted nor written to."""
    place, pythons, _ = project
    if kind == "folder":
        place.folder.mkdir()
    mine = place.folder / "mine" if kind == "folder" else place.folder
    mine.write_text("precious")
    with pytest.raises(script("environment").SetupError, match="left alone"):
        place.prepare("run")
    assert mine.read_text() == "precious"
    assert pythons.commands == []


def test_unwritable_project_is_a_plain_sentence(project, script):
    """Where nothing can be written the set-up says so."""
    place, _, _ = project
    place.aside.write_text("a file where a folder is needed")
    with pytest.raises(script("environment").SetupError, match="could not write in"):
        place.prepare("run")


def test_only_one_set_up_at_a_time_and_a_killed_one_frees_the_lock(project, script, scripts_folder):
    """A second set-up touches nothing while another runs; when that one is killed it may."""
    place, pythons, said = project
    code = (
        "import sys; sys.path.insert(0, sys.argv[2])\n"
        "import environment\n"
        "place = environment.Environment(sys.argv[1])\n"
        "place.aside.mkdir()\n"
        "with place._lock():\n"
        "    print('held', flush=True); sys.stdin.read()\n"
    )
    command = [sys.executable, "-c", code, str(place.root), str(scripts_folder)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout.readline().strip() == b"held"
        with pytest.raises(script("environment").SetupError, match="still running"):
            place.prepare("run")
        assert pythons.commands == []
        other.kill()
    place.prepare("run")
    assert place.ready("run")
    assert len(said) == 1


def test_become_hands_on_the_status(scripts_folder: Path):
    """The command that is become decides the exit status and gets its arguments unchanged."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "import environment\n"
        "child = 'import sys; print(sys.argv[1:]); sys.exit(4)'\n"
        "sys.exit(environment.become([sys.executable, '-c', child, 'a b', '*']))\n"
    )
    command = [sys.executable, "-c", code, str(scripts_folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (4, "['a b', '*']\n")
