"""The main job, told step by step on the practice board; no hardware and no keyboard is needed.

Every step is a real hostlink command, shown so that it can be typed again. The first one that
fails ends the tour with its status. What is kept goes to the
archive of practice boards (or HOSTLINK_ARCHIVE), not to the user's own.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

PROGRAM = "tide"
SHIPPED = f"shipped:{PROGRAM}"
FRESH_BOARD = "practice://tour?fresh"
BOARD = "practice://tour"
# Settings of the user's own board, which the practice board does not have.
ELSEWHERE = ("HOSTLINK_PORT", "HOSTLINK_PROFILE", "HOSTLINK_BAUD", "HOSTLINK_JSON")
FIRST_NUMBER = re.compile(r"^\s*(\d+)", re.MULTILINE)


@dataclass(frozen=True)
class Step:
    """One sentence for the newcomer, then one hostlink command (its arguments).

    status: what the command ends with when all is well (a comparison that finds something: 1).
    """

    sentence: str
    arguments: tuple[str, ...]
    status: int = 0


def steps(changed_file: Path) -> tuple[Step, ...]:
    """Return the tour; `changed_file` is where the changed listing stands by then."""
    changed = str(changed_file)
    return (
        Step("These programs come with hostlink.", ("programs", "--shipped")),
        Step(
            f"Load {PROGRAM} into an empty practice board. The listing goes out line by line, is "
            "read back and compared, so it is proven; then it is run.",
            ("load", SHIPPED, "--port", FRESH_BOARD, "--run"),
        ),
        Step(
            f"The listing was changed in a file: a line was put before the first. Load {changed}. "
            "What the board held is never overwritten unsaved.",
            ("load", changed, "--port", BOARD, "--run"),
        ),
        Step(
            f"Save it from the board as a new revision of {PROGRAM}. The wire has no checksum, so "
            "it is captured twice and both captures must agree.",
            ("save", PROGRAM, "--port", BOARD),
        ),
        Step("Every revision is kept, with where it came from.", ("history", PROGRAM)),
        Step("What did the change do?", ("compare", f"{PROGRAM}@1", PROGRAM), status=1),
        Step(
            "All of it is in the archive, one file. Prove that it is sound, and see where it is.",
            ("archive", "prove"),
        ),
    )


def changed_listing(listing: str) -> str:
    """Return the listing with one more line before its first. Raises ValueError if there is none.

    The line announces the change, so that it shows when the program runs.
    """
    first = FIRST_NUMBER.search(listing)
    if first is None or int(first.group(1)) < 2:
        raise ValueError(f"the listing of {PROGRAM} has no line number to go before")
    return f'{int(first.group(1)) - 1} PRINT "CHANGED IN CLASS"\n{listing}'


def shown(arguments: Sequence[str]) -> str:
    """Return the command as the newcomer types it in the project's folder."""
    windows = sys.platform == "win32"
    start = ["py", r"scripts\start.py"] if windows else ["python3", "scripts/start.py"]
    command = [*start, *arguments]
    return subprocess.list2cmdline(command) if windows else shlex.join(command)


def hostlink(
    arguments: Sequence[str], *, capture: bool = False
) -> subprocess.CompletedProcess[str]:
    """Run one hostlink command in this Python; nothing is read from the keyboard."""
    return subprocess.run(
        [sys.executable, "-P", "-m", "hostlink", *arguments],
        stdin=subprocess.DEVNULL,
        env={
            **{name: value for name, value in os.environ.items() if name not in ELSEWHERE},
            "HOSTLINK_PORT": BOARD,
        },
        stdout=subprocess.PIPE if capture else None,
        text=True,
        check=False,
    )


def tell(text: str = "") -> None:
    """Print at once, so that the words stand before what the next command prints."""
    print(text, flush=True)


def take(tour: Sequence[Step], run: Callable[[Sequence[str]], int]) -> int:
    """Go through the steps; return 0, or the status of the first command that went wrong."""
    for number, step in enumerate(tour, 1):
        tell(f"\n{number} of {len(tour)}. {step.sentence}")
        tell(f"    $ {shown(step.arguments)}\n")
        status = run(step.arguments)
        if status != step.status:
            tell(f"\nThe tour stops here: this command ended with status {status}.")
            return status or 1
    return 0


def main() -> int:
    """Write the changed listing, take the tour, say what to do next."""
    tell("A tour of hostlink's main job, on the practice board: nothing has to be plugged in.")
    tell(
        f"To type its commands yourself, set HOSTLINK_PORT={BOARD} first: then all of them use the"
    )
    tell("archive of practice boards, which is apart from yours.")
    listing = hostlink(["show", SHIPPED], capture=True)
    if listing.returncode != 0:
        return listing.returncode
    folder = Path(tempfile.mkdtemp(prefix="hostlink-tour-"))
    changed = folder / f"{PROGRAM}-changed.bas"
    try:
        changed.write_text(changed_listing(listing.stdout), encoding="utf-8")
    except ValueError as error:
        tell(f"The tour stops here: {error}.")
        return 1
    status = take(steps(changed), lambda arguments: hostlink(arguments).returncode)
    if status == 0:
        tell("\nThat was the main job. Next, with a board of your own:")
        for arguments in (["boards"], ["--help"]):
            tell(f"    $ {shown(arguments)}")
        tell("Opening a port may restart a board, and what is in its memory is then lost:")
        tell("store what matters in its EEPROM, or note it, before you do so for the first time.")
    return status


if __name__ == "__main__":
    try:
        sys.exit(main())
    except KeyboardInterrupt:
        sys.exit(130)
    except BrokenPipeError:  # the reader of our output went away, as with `| head`
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
