"""Words of the command line are completed in real shells, by the lines that the README gives."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hostlink.cli.entry import COMMANDS, cli

README = Path(__file__).parents[2] / "README.md"
# How each shell begins without the user's own files, and what its completion needs besides.
SHELLS = {
    "bash": (("bash", "--norc", "--noprofile"), ""),
    "zsh": (("zsh", "-f"), "autoload -Uz compinit; compinit -u -D"),
    "fish": (("fish", "--no-config"), ""),
}


def line_of(shell: str) -> str:
    """The line that the README gives for a shell."""
    found = re.search(rf"^\| {shell} \| `([^`]+)` \|", README.read_text("utf-8"), re.MULTILINE)
    assert found is not None
    return found.group(1).replace("\\|", "|")  # a bar within a table


@pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX terminal")
@pytest.mark.parametrize("shell", SHELLS)
def test_a_shell_completes_the_words_of_hostlink(
    shell: str,
    place: Path,
    hostlink: Callable[..., Any],
    terminal: Any,
    require_program: Callable[[str], str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Tab makes a command of its beginning, and an option, a port, a label and a program."""
    begin, needs = SHELLS[shell]
    assert hostlink("boards", "--label", "Reddish", "--port", "practice://red").status == 0
    assert hostlink("load", "twelfths", "--as", "MYOWN").status == 0
    require_program(shell)
    assert [name for name in COMMANDS if name.startswith("resta")] == ["restart"]
    monkeypatch.setenv(
        "PATH", os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
    )
    monkeypatch.setenv("HOME", str(place))
    (place / "place_of_a_listing.bas").write_text("10 END\n", encoding="ascii")
    terminal.start(100, 20, *begin)
    for line in filter(None, (needs, line_of(shell), "echo rea''dy")):
        terminal.type(line)
        terminal.press("Enter")
    terminal.until(lambda text: "\nready" in text)
    terminal.type("hostlink resta")
    terminal.press("Tab")
    terminal.until(lambda text: "hostlink restart" in text)
    terminal.type(" --discard-b")
    terminal.press("Tab")
    terminal.until(lambda text: bool(re.search(r"hostlink restart +--discard-board", text)))
    for begun, whole in (
        ("load myo", "load MYOWN"),
        ("show twe", "show TWELFTHS"),
        ("retire my", "retire MYOWN"),
        ("load --port redd", "load --port Reddish"),
        ("save --port prac", "save --port practice://"),
        ("card --profile tok", "card --profile token"),
        ("mend place_of_", "mend place_of_a_listing.bas"),
    ):
        terminal.press("C-u")
        terminal.type(f"hostlink {begun}")
        terminal.press("Tab")
        terminal.until(lambda text, whole=whole: f"hostlink {whole}" in text)


def test_completing_fails_without_a_word(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A damaged archive completes nothing, and says nothing in the middle of a line."""
    (place / "archive.sqlite3").write_bytes(b"no archive" * 500)
    monkeypatch.setenv("_HOSTLINK_COMPLETE", "bash_complete")
    for words, found in (("hostlink retire T", ""), ("hostlink show hai", "plain,HAIL")):
        monkeypatch.setenv("COMP_WORDS", words)
        monkeypatch.setenv("COMP_CWORD", "2")
        with pytest.raises(SystemExit):
            cli.main(prog_name="hostlink")
        said = capsys.readouterr()
        assert (said.out.strip(), said.err) == (found, "")
