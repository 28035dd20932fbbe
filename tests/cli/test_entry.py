"""The entry: help, exit statuses, where data and talk go, the environment."""

from __future__ import annotations

import dataclasses
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import click
import pytest

from hostlink import __version__
from hostlink.app.start import can_open_app
from hostlink.cli import ways
from hostlink.cli.entry import COMMANDS, LazyGroup, cli
from hostlink.cli.open_app import open_from_environment
from hostlink.errors import UsageError

HOSTLINK = (sys.executable, "-m", "hostlink")


def every_command() -> list[tuple[str, ...]]:
    """Each command, and each command of a group, as words."""
    context = click.Context(cli)
    found: list[tuple[str, ...]] = []
    for name in COMMANDS:
        command = cli.get_command(context, name)
        found.append((name,))
        if isinstance(command, click.Group):
            found += [(name, inner) for inner in command.commands]
    return found


def test_the_help_lists_what_each_command_says_of_itself() -> None:
    """The one line of help, read without loading the command, begins the command's own help."""
    assert isinstance(cli, LazyGroup)
    lines = dict(cli.help_lines())
    assert list(lines) == list(COMMANDS)
    for name, line in lines.items():
        command = cli.get_command(click.Context(cli), name)
        assert command is not None
        assert command.help is not None
        assert command.name == name
        assert command.help.split("\n\n")[0].replace("\n", " ") == line


def test_the_app_is_not_opened_on_a_terminal_that_cannot_draw(
    hostlink: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """TERM=dumb, as an editor's shell has: `hostlink` shows its help, `practice` says why not."""
    screen = SimpleNamespace(isatty=lambda: True)
    monkeypatch.setattr("hostlink.app.start.sys", SimpleNamespace(stdin=screen, stdout=screen))
    monkeypatch.setenv("TERM", "xterm")
    assert can_open_app()
    monkeypatch.setenv("TERM", "dumb")
    assert hostlink().out == hostlink("--help").out
    told = hostlink("practice")
    assert (told.status, told.out) == (2, "")
    assert "The app needs a terminal that can draw." in told.err


def test_help_lists_every_command_at_80_columns(hostlink: Callable) -> None:
    """`hostlink --help` fits a terminal of 80 columns and names every command."""
    told = hostlink("--help")
    assert told.status == 0
    assert max(map(len, told.out.splitlines())) <= 80
    assert all(re.search(rf"^  {name} +\S", told.out, re.MULTILINE) for name in COMMANDS)


@pytest.mark.parametrize("words", every_command(), ids=" ".join)
def test_each_help_fits_80_columns(words: tuple[str, ...], hostlink: Callable) -> None:
    """Each command explains itself and every option of its own, whole, within 80 columns."""
    told = hostlink(*words, "--help")
    assert told.status == 0
    assert told.out.startswith(f"Usage: hostlink {' '.join(words)}")
    assert max(map(len, told.out.splitlines())) <= 80
    assert not re.search(r"[a-z]\.\.\.$", told.out, re.MULTILINE)
    options = re.findall(r"^  (?:-\w, )?(--[a-z-]+)(.*)", told.out, re.MULTILINE)
    assert len(options) >= 1
    # An option's help stands beside it or, after a long name, on the next row.
    assert not re.search(r"^  (?:-\w, )?--[a-z-]+(?: [A-Z]+)?\n(?! {10,}\S)", told.out, re.M)


def _spoken_commands() -> list[tuple[str, str]]:
    """Each command line that a message, help or guide of ours names, with where it stands."""
    root = Path(__file__).parents[2]
    places = [*(root / "hostlink").rglob("*.py"), root / "README.md"]
    found = []
    for place in places:
        text = place.read_text(encoding="utf-8").replace('"\n', "\n")
        text = re.sub(r'\n\s+f?"', "", text)  # a message that goes on in the next row
        for said in re.findall(r"`hostlink ([^`]+)`", text):
            found.append((str(place.relative_to(root)), " ".join(said.split())))
    for field in dataclasses.fields(ways.COMMANDS):
        way = getattr(ways.COMMANDS, field.name)
        said = way if isinstance(way, str) else way(*["x"] * way.__code__.co_argcount)
        found += [("cli/ways.py", one) for one in re.findall(r"`hostlink ([^`]+)`", said)]
    return found


def test_what_is_advised_is_there() -> None:
    """Every `hostlink …` in a message, in help or in the guide is a command with such options."""
    context = click.Context(cli)
    spoken = _spoken_commands()
    assert len(spoken) > 50
    for place, said in spoken:
        name, *words = said.split()
        if name.startswith(("-", "[", "{", "(")):
            continue
        command = cli.get_command(context, name)
        assert command is not None, (place, said)
        if isinstance(command, click.Group) and words:
            command = command.commands.get(words[0])
            assert command is not None, (place, said)
        known = {name for option in command.params for name in option.opts} | {"--help"}
        assert {word for word in words if word.startswith("-") and word != "-"} <= known, (
            place,
            said,
        )


def test_a_command_for_one_board_takes_one_port(hostlink: Callable) -> None:
    """Two --port, of which one would be passed over, are refused; load takes them all."""
    told = hostlink("run", "--port", "practice://a", "--port", "practice://b")
    assert told.status == 2
    assert "give one --port" in told.err


def test_without_a_command_there_is_help(hostlink: Callable) -> None:
    """`hostlink` alone shows what there is, and is no error."""
    told = hostlink()
    assert told.status == 0
    assert "Begin here:" in told.out


def test_the_version_is_the_package_s(hostlink: Callable) -> None:
    """--version prints the name and the version on stdout."""
    told = hostlink("--version")
    assert (told.status, told.out) == (0, f"hostlink {__version__}\n")


@pytest.mark.parametrize(
    ("word", "near"), [("laod", "load"), ("programms", "programs"), ("comapre", "compare")]
)
def test_a_mistyped_command_is_answered_with_the_nearest(
    word: str, near: str, hostlink: Callable
) -> None:
    """A typing error gets the command that was meant, and wrong use's status."""
    told = hostlink(word)
    assert told.status == 2
    assert f"Did you mean {near}" in told.err


def test_a_word_like_no_command_gets_no_guess(hostlink: Callable) -> None:
    """Where nothing is near, nothing is suggested but help."""
    told = hostlink("xyzzy")
    assert told.status == 2
    assert "mean" not in told.err
    assert "hostlink --help" in told.err


@pytest.mark.parametrize("group", ["firmware", "archive"])
def test_a_group_without_a_command_shows_its_help(group: str, hostlink: Callable) -> None:
    """Row by row, as --help does, and with the status of wrong use."""
    told = hostlink(group)
    assert told.status == 2
    assert told.err == hostlink(group, "--help").out


def test_a_proven_load_ends_with_status_0(hostlink: Callable) -> None:
    """A load that is proven ends with 0."""
    assert hostlink("load", "tide").status == 0


def test_a_refused_listing_ends_with_status_1(hostlink: Callable, listing: Callable) -> None:
    """A listing that the board could not run is refused with 1."""
    assert hostlink("load", listing("10 GOTO 99")).status == 1


def test_an_unknown_option_ends_with_status_2(hostlink: Callable) -> None:
    """An option that does not exist is wrong use."""
    assert hostlink("load", "tide", "--fast").status == 2


def test_a_port_that_is_missing_ends_with_status_3(hostlink: Callable) -> None:
    """A port that does not exist is a failed link."""
    assert hostlink("save", "--port", "/dev/no-such-port").status == 3


def test_a_read_back_that_differs_ends_with_status_4(hostlink: Callable, listing: Callable) -> None:
    """A board that holds something else than was sent ends with 4."""
    too_big = listing(*(f'{number} PRINT "{"X" * 40}"' for number in range(10, 400, 10)))
    told = hostlink("load", too_big, "--despite-review", "--discard-board")
    assert told.status == 4
    assert "The board changed the program that it was sent" in told.err


def test_an_interrupted_command_ends_with_status_130(
    hostlink: Callable, monkeypatch: pytest.MonkeyPatch, listing: Callable
) -> None:
    """Ctrl+C before the work has begun ends with 130 and a word."""

    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("hostlink.jobs.listing_source.find_material", interrupted)
    told = hostlink("load", listing("10 END"))
    assert told.status == 130
    assert "Stopped" in told.err


def test_data_on_stdout_and_talk_on_stderr(hostlink: Callable, listing: Callable) -> None:
    """What a program prints is data; how the load went is talk."""
    told = hostlink("load", listing('10 PRINT "LAMP ON"'), "--run")
    assert told.out == "LAMP ON\n"
    assert "proven" in told.err
    assert "LAMP ON" not in told.err


@pytest.mark.one_in(4)
@pytest.mark.parametrize(
    "words",
    [
        ("load", "tide"),
        ("save", "tide"),
        ("store", "TIDE"),
        ("recall", "TIDE"),
        ("boards",),
        ("programs",),
        ("find", "TIDE"),
        ("note", "TIDE", "high water"),
        ("tag", "TIDE", "harbour"),
        ("retire", "TIDE"),
        ("return", "TIDE"),
        ("archive", "duplicate", "spare.sqlite3"),
    ],
    ids=lambda words: words[0],
)
def test_quiet_says_nothing_when_all_is_well(words: tuple[str, ...], hostlink: Callable) -> None:
    """With --quiet stderr stays empty as long as nothing goes wrong."""
    assert hostlink("load", "tide").status == 0
    assert hostlink("store", "TIDE").status == 0
    told = hostlink(*words, "--quiet")
    assert (told.status, told.err) == (0, "")


def test_quiet_still_says_what_went_wrong(hostlink: Callable) -> None:
    """--quiet does not hide an error."""
    told = hostlink("load", "no-such-listing", "--quiet")
    assert told.status == 1
    assert "no-such-listing" in told.err


def test_the_environment_gives_the_options(
    hostlink: Callable, monkeypatch: pytest.MonkeyPatch, place: Path
) -> None:
    """Each shared option can come from its variable, and the option itself wins."""
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(place / "other.sqlite3"))
    monkeypatch.setenv("HOSTLINK_PORT", "practice://two?time=virtual&baud=9600")
    monkeypatch.setenv("HOSTLINK_BAUD", "9600")
    monkeypatch.setenv("HOSTLINK_QUIET", "1")
    told = hostlink("load", "tide")
    assert (told.status, told.err) == (0, "")
    assert (place / "other.sqlite3").exists()
    assert (place / "practice" / "two.json").exists()
    monkeypatch.setenv("HOSTLINK_JSON", "1")
    assert [each["name"] for each in hostlink("programs").json] == ["TIDE"]
    monkeypatch.setenv("HOSTLINK_PROFILE", "no-such-profile")
    assert hostlink("review", "tide").status == 2
    assert hostlink("review", "tide", "--profile", "practice").status == 0
    assert hostlink("load", "tide", "--port", "practice://three?time=virtual").status != 0
    monkeypatch.delenv("HOSTLINK_PROFILE")
    told = hostlink("load", "tide", "--port", "practice://three?time=virtual", "--baud", "57600")
    assert told.status == 0
    assert (place / "practice" / "three.json").exists()


@pytest.mark.parametrize("speed", ["fast", "49", "4000001", "9" * 5000])
def test_the_app_opens_at_no_impossible_speed(monkeypatch: pytest.MonkeyPatch, speed: str) -> None:
    """The variable has the range of the option, and a long number is no traceback."""
    monkeypatch.setenv("HOSTLINK_BAUD", speed)
    with pytest.raises(UsageError, match=r'^HOSTLINK_BAUD is ".{2,20}", which is not a speed'):
        open_from_environment()


def test_yes_comes_from_the_environment(
    hostlink: Callable, monkeypatch: pytest.MonkeyPatch, place: Path
) -> None:
    """HOSTLINK_YES answers what would be asked."""
    (place / "old.bas").write_text("10 END\n", encoding="utf-8")
    assert hostlink("show", "tide", "-o", "old.bas").status == 1
    monkeypatch.setenv("HOSTLINK_YES", "1")
    assert hostlink("show", "tide", "-o", "old.bas").status == 0
    assert "FERRY" in (place / "old.bas").read_text(encoding="utf-8")


def test_a_home_folder_sign_in_the_archive_s_name_is_understood(
    hostlink: Callable, monkeypatch: pytest.MonkeyPatch, place: Path
) -> None:
    """~ in HOSTLINK_ARCHIVE means the home folder, though no shell has replaced it."""
    monkeypatch.setenv("HOME", str(place))
    monkeypatch.setenv("USERPROFILE", str(place))
    monkeypatch.setenv("HOSTLINK_ARCHIVE", "~/mine.sqlite3")
    assert hostlink("load", "tide").status == 0
    assert hostlink("show", "TIDE@1").status == 0
    assert (place / "mine.sqlite3").exists()


def test_a_reader_that_goes_away_is_no_error(hostlink: Callable) -> None:
    """`hostlink show ... | head -1`: the rest is dropped without a word and with status 0."""
    assert hostlink("load", "tide").status == 0
    show = subprocess.Popen(
        [*HOSTLINK, "show", "TIDE"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert show.stdout is not None
    assert show.stderr is not None
    show.stdout.close()
    told = show.stderr.read().decode()
    show.stderr.close()
    assert (show.wait(timeout=120), told) == (0, "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_output_that_cannot_be_written_is_one_clear_error(hostlink: Callable) -> None:
    """A full disk under stdout is told in a sentence, with status 1."""
    assert hostlink("load", "tide").status == 0
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [*HOSTLINK, "show", "TIDE"], stdout=full, stderr=subprocess.PIPE, check=False
        )
    told = done.stderr.decode()
    assert done.returncode == 1
    assert "The output could not be written: No space left on device." in told
    assert "Traceback" not in told
    assert "Exception" not in told


def test_a_shell_gets_its_completions(monkeypatch: pytest.MonkeyPatch) -> None:
    """The completion protocol of click answers with the commands that begin so."""
    monkeypatch.setenv("_HOSTLINK_COMPLETE", "bash_complete")
    monkeypatch.setenv("COMP_WORDS", "hostlink re")
    monkeypatch.setenv("COMP_CWORD", "1")
    done = subprocess.run(HOSTLINK, capture_output=True, text=True, check=False)
    assert {"plain,review", "plain,recall", "plain,retire", "plain,return"} <= set(
        done.stdout.split()
    )


def test_listing_programs_loads_only_what_it_needs(hostlink: Callable) -> None:
    """`hostlink programs` is the quickest look there is: no board, listing, profile or firmware."""
    assert hostlink("load", "tide").status == 0
    code = (
        "import sys\n"
        "from hostlink.cli.entry import run_line\n"
        "run_line(['programs'])\n"
        "print(*sys.modules, sep='\\n', file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "TIDE" in done.stdout
    ours = {name for name in done.stderr.split() if name.startswith("hostlink.")}
    assert "hostlink.archive.programs" in ours
    unwanted = ("board", "listing", "link", "jobs", "practice", "firmware", "app")
    assert [name for name in ours if name.split(".")[1] in unwanted] == []
    assert "hostlink.archive.exchange.merging" not in ours


def test_looking_makes_no_archive(hostlink: Callable, place: Path) -> None:
    """Where there is no archive yet, listing programs tells where it will be and makes nothing."""
    told = hostlink("programs", "--json")
    assert (told.status, told.json) == (0, [])
    assert str(place / "archive.sqlite3") in hostlink("programs").err
    assert not (place / "archive.sqlite3").exists()
