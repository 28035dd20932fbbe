"""First contact with a new chip, command by command: met, written, recognised, loaded, saved.

The chip has a bootloader and nothing else. What a person types is typed to the command line; the
port is the simulated chip's. Its firmware is the tests' own, which keeps programs and runs none.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from intelhex import IntelHex

from hostlink.archive import Archive
from hostlink.cli.entry import run_line

# The same ways as elsewhere, over a chip that takes its time.
pytestmark = pytest.mark.no_cover

LISTING = '10 PRINT "ALIVE"\n20 END\n'


@pytest.fixture
def typed(
    bootloader_board: Any,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> Callable[..., tuple[int, str, str]]:
    """Types a command for the new chip; its exit status, data and talk."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(tmp_path / "archive.sqlite3"))
    monkeypatch.setenv("HOSTLINK_PORT", bootloader_board.port)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setattr(
        "hostlink.jobs.session.opening.open_port",
        lambda name, baud, *kind: (bootloader_board.open(baud), bootloader_board.clock),  # noqa: ARG005
    )

    def command(*words: str) -> tuple[int, str, str]:
        capsys.readouterr()
        status = run_line(list(words))
        said = capsys.readouterr()
        return status, said.out, said.err

    return command


@pytest.mark.slow
def test_a_new_chip_comes_to_its_first_program(
    typed: Callable[..., tuple[int, str, str]], workshop: Any, bootloader_board: Any, tmp_path: Path
) -> None:
    """Each step says what was seen; in the end its program is proven and in the archive."""
    raw = workshop.firmware(BAUD=57600, LINE_MS=15, RX_RING=64).read_bytes()
    made = IntelHex()
    made.puts(0, raw)
    made.write_hex_file(str(tmp_path / "class.hex"))
    (tmp_path / "alive.bas").write_text(LISTING, encoding="ascii")

    status, out, _ = typed("meet", "--yes")
    assert status == 1
    assert "the chip is ATmega328P, its flash is blank" in out
    assert out.splitlines()[-1].startswith("The chip is alive and has no BASIC yet")

    status, out, _ = typed("firmware", "review", "class.hex")
    assert status == 0
    assert "evening class board" in out
    assert "57600 baud at 16 MHz" in out

    steps = ("--new-board", "--label", "Red", "--load", "alive.bas")
    status, _, err = typed("firmware", "write", "class.hex", "--role", "computer", "--yes", *steps)
    assert status == 0, err
    assert "evening class board" in err
    assert "It is called Red from now on." in err
    assert "ALIVE@1 is in its memory, proven." in err
    assert bootloader_board.flash().startswith(raw)

    status, out, err = typed("meet", "--yes")
    assert status == 0, out + err
    assert out.splitlines()[-1].startswith("This is Red. It talks")

    status, _, err = typed("save", "FIRST")
    assert status == 0, err
    status, out, _ = typed("show", "FIRST@1")
    assert (status, out) == (0, LISTING)
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        (write,) = archive.writes()
    assert (write.board, write.outcome, write.role) == ("Red", "done", "computer")
