"""One small tree of errors; every foreign error is translated into it once, at the boundary.

    HostlinkError
    ├── UsageError        the request makes no sense (status 2)
    ├── ListingError      a listing cannot be read or used
    ├── FaultyFileError   a file that a person wrote is wrong; names file and line
    │   ├── ProfileError      a profile
    │   └── RegisterError     a class register
    ├── RefusedError      the job was not begun, or waits for consent
    │   ├── NotKnownError     what a board holds is not known, so it is not overwritten
    │   │   └── NoListingError    it answers LIST with something else
    │   ├── NotClearedError   a board refuses to clear its memory
    │   └── LineTooLongError  a typed line has more characters than the board takes
    ├── ProgramError      the program on the board stopped with an error of its own
    ├── ArchiveError      the archive cannot be opened, written or trusted, or lacks something
    ├── LinkError         the line to the board failed; `reason` says how (status 3)
    │   └── NoEndError        a program did not end by itself; the line works (status 1)
    ├── ReadBackError     the board holds something other than was sent (status 4)
    └── Interrupted       the user stopped the job (status 130)

A message answers three questions in this order: what happened, what was kept (not lost), what to
do. They stay apart in the object so that a screen can lay them out; `str()` joins them.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from enum import Enum, IntEnum
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from hostlink.advice import Advice, Ways


class ExitStatus(IntEnum):
    """What the process returns to the shell."""

    DONE = 0
    REFUSED = 1
    WRONG_USE = 2
    LINK_FAILED = 3
    READ_BACK_DIFFERS = 4
    INTERRUPTED = 130  # by Ctrl+C; by another signal the command line makes it 128 and its number


class LinkReason(Enum):
    """Why a link failed, so that a user interface can choose its advice."""

    NOT_FOUND = "not found"
    BUSY = "busy"
    NOT_PERMITTED = "not permitted"
    GONE = "gone"
    SILENT = "silent"
    UNREADABLE = "unreadable"
    LOOPED = "what is sent comes back"
    RUNNING = "running"
    RESTARTED = "restarted"
    FLOODING = "flooding"
    DAMAGED = "damaged"
    TOO_LONG = "took too long"
    FULL = "its memory is full and takes nothing"
    UNKNOWN = "unknown"


class ArchiveReason(Enum):
    """Why the archive did not do what was asked, for callers that can do something else then."""

    NOT_THERE = "nothing of that name or number is kept"
    INVALID = "no program or revision can have that name"
    UNKNOWN = "unknown"


class Needed(Enum):
    """What a user has to say for a refused job to be done, so that an interface can ask for it."""

    NAME = "a name for the program"
    AFTER_RESTART = "that it may be saved although the board restarted"
    LOSS = "that what the board holds may be lost"
    NEW_BOARD = "that the board is new, with nothing on it"
    WHICH_BOARD = "which board it is"
    ROLE = "what an image is for"
    BOOTLOADER_SIZE = "how large the bootloader is"


class HostlinkError(Exception):
    """Root of everything hostlink raises on purpose.

    what: one sentence, what happened. kept: what was not lost, or "". advice: what to do, or "";
    text, or made in each interface's own terms (hostlink.advice).
    """

    status = ExitStatus.REFUSED

    def __init__(self, what: str, *, kept: str = "", advice: Advice = "") -> None:
        super().__init__(what)
        self.what = what
        self.kept = kept
        self.advice = advice

    def __str__(self) -> str:
        return self.words()

    def words(self, by: Ways | None = None) -> str:
        """Return the whole message. by: the terms in which an interface gives its advice."""
        from hostlink.advice import advice_text  # needed only when something failed

        return " ".join(
            part for part in (self.what, self.kept, advice_text(self.advice, by)) if part
        )

    def but(
        self, *, what: str | None = None, kept: str | None = None, advice: Advice | None = None
    ) -> Self:
        """Return the same error with other words, for a job that knows more of what happened.

        None leaves a part as it is. Raise the result from this error, which stays unchanged.
        """
        other = type(self).__new__(type(self), *self.args)
        other.__dict__.update(self.__dict__)
        other.what = self.what if what is None else what
        other.kept = self.kept if kept is None else kept
        other.advice = self.advice if advice is None else advice
        return other


class UsageError(HostlinkError):
    """The request makes no sense as it stands."""

    status = ExitStatus.WRONG_USE


class ListingError(HostlinkError):
    """A listing cannot be read, or cannot be used for what was asked."""


class FaultyFileError(HostlinkError):
    """A file that a person wrote is wrong. Each row of `what` is a fault, with file and line."""


class ProfileError(FaultyFileError):
    """A profile is wrong."""


class RegisterError(FaultyFileError):
    """A class register is wrong."""


class RefusedError(HostlinkError):
    """The job was not begun. needed: what the user could say to let it go on, None if nothing."""

    def __init__(
        self, what: str, *, kept: str = "", advice: Advice = "", needed: Needed | None = None
    ) -> None:
        super().__init__(what, kept=kept, advice=advice)
        self.needed = needed


class NotKnownError(RefusedError):
    """The contents of a board are unknown, so they are overwritten only if the user agrees."""

    def __init__(self, what: str, *, kept: str = "", advice: Advice = "") -> None:
        super().__init__(what, kept=kept, advice=advice, needed=Needed.LOSS)


class NoListingError(NotKnownError):
    """The answer to LIST is not a listing: the board may not run a BASIC at all."""


class NotClearedError(RefusedError):
    """A board refuses the command that clears its memory, which is therefore unchanged."""


class LineTooLongError(RefusedError):
    """A typed line has more characters than the board takes; the next line may be typed."""


class ProgramError(HostlinkError):
    """The program on the board ran, and stopped with an error of BASIC."""


class ArchiveError(HostlinkError):
    """The archive cannot be opened, written or trusted, or lacks what was asked for."""

    def __init__(
        self,
        what: str,
        *,
        reason: ArchiveReason = ArchiveReason.UNKNOWN,
        kept: str = "",
        advice: Advice = "",
    ) -> None:
        super().__init__(what, kept=kept, advice=advice)
        self.reason = reason


class LinkError(HostlinkError):
    """The line to the board failed."""

    status = ExitStatus.LINK_FAILED

    def __init__(
        self,
        what: str,
        *,
        reason: LinkReason = LinkReason.UNKNOWN,
        kept: str = "",
        advice: Advice = "",
    ) -> None:
        super().__init__(what, kept=kept, advice=advice)
        self.reason = reason


class NoEndError(LinkError):
    """A program on the board did not end by itself, within its time or what it may print."""

    status = ExitStatus.REFUSED


class ReadBackError(HostlinkError):
    """The board holds something other than was sent, or two captures cannot be made to agree."""

    status = ExitStatus.READ_BACK_DIFFERS


class Interrupted(HostlinkError):
    """The user stopped the job; the message states the condition of the board."""

    status = ExitStatus.INTERRUPTED


def system_words(error: OSError | ValueError) -> str:
    """Return why something failed with a file: the system's words, or those of the exception."""
    if isinstance(error, UnicodeDecodeError):
        return f"it is not {error.encoding.upper()} text"
    words = error.strerror if isinstance(error, OSError) else ""
    return words or str(error) or type(error).__name__


@contextmanager
def file_errors(
    kind: type[HostlinkError], what: str, *, kept: str = "", advice: Advice = ""
) -> Iterator[None]:
    """Raise an error of `kind` if the block cannot use a file.

    It translates OSError, and ValueError for a path that no file can have. what: what failed; the
    system's reason is added.
    """
    try:
        yield
    except (OSError, ValueError) as error:
        raise kind(f"{what}: {system_words(error)}.", kept=kept, advice=advice) from error
