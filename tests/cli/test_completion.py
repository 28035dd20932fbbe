"""Words of the command line are completed in real shells, by the lines that the README gives."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hostlink.cli.entry import COMMANDS

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
    terminal: Any,
    require_program: Callable[[str], str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Tab makes a command of its beginning, and an option of one of its own commands."""
    begin, needs = SHELLS[shell]
    require_program(shell)
    assert [name for name in COMMANDS if name.startswith("resta")] == ["restart"]
    monkeypatch.setenv(
        "PATH", os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
    )
    monkeypatch.setenv("HOME", str(place))
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
