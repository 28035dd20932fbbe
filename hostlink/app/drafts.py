"""Text in the editor that is nowhere else, kept on disk while it is typed.

Rules:
1. Each window has a draft of its own, and holds a lock as long as it is open. So two windows never
   overwrite each other's draft, and a draft whose lock is free was left behind.
2. A draft is replaced whole: whenever the app ends, the file holds the text before or after.
3. A draft is deleted only when its text is in the archive, a window has taken it over, or the user
   has given it up.
4. The disk ends up with what was wanted last, whichever thread comes first: slow writing never
   restores a draft that was dropped meanwhile.
"""

from __future__ import annotations

import contextlib
import threading
import uuid
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import IO

from hostlink.app.sentences import STILL_IN_EDITOR
from hostlink.errors import RefusedError, file_errors
from hostlink.locking import try_lock
from hostlink.writing import write_whole

_LARGEST = 64_000_000  # bytes; far more than the longest listing that hostlink opens


@dataclass(frozen=True, slots=True)
class Draft:
    """What was in an editor.

    name: the program it goes by, "" for none. origin: the revision, program or file that it was
    made from, "" for none. row, column: the place of the cursor, from 0. at: when it was written,
    in ISO 8601 with an offset from UTC.
    """

    text: str
    name: str = ""
    origin: str = ""
    row: int = 0
    column: int = 0
    at: str = ""


@dataclass(frozen=True, slots=True)
class LeftDraft:
    """A draft of a window that is no longer open. path: its file."""

    path: Path
    draft: Draft


class Drafts:
    """The drafts of one user; one of them belongs to this window."""

    def __init__(self, folder: Path) -> None:
        """Create the drafts. folder: made when the first draft is kept."""
        self.folder = folder
        self._path = folder / f"{uuid.uuid4().hex}.json"
        self._lock: IO[bytes] | None = None
        self._wanted: Draft | None = None
        self._is_due = False  # the disk is not yet what is wanted
        self._settling = threading.Lock()
        self.is_kept = False  # a draft of this window is on disk

    def keep(self, draft: Draft) -> None:
        """Write this window's draft. Raises RefusedError where it cannot be written."""
        self.want(draft)
        self.settle()

    def want(self, draft: Draft | None) -> None:
        """Note the draft that the next `settle` writes, or None to have it deleted."""
        self._wanted = draft
        self._is_due = True

    def settle(self) -> None:
        """Write or delete the draft as last wanted, in any thread. Raises RefusedError."""
        with self._settling:
            if not self._is_due:  # another thread has done it; this window may be closed
                return
            self._is_due = False  # first, so that what is wanted from now on is due again
            draft = self._wanted
            if draft is not None:
                self._write(draft)
            elif self.is_kept:
                _delete(self._path)
            self.is_kept = draft is not None

    def _write(self, draft: Draft) -> None:
        import json

        with file_errors(
            RefusedError,
            f"The draft of the listing cannot be written in {self.folder}",
            kept=STILL_IN_EDITOR,
            advice="Keep it in the archive before you close the window.",
        ):
            self.folder.mkdir(parents=True, exist_ok=True)
            if self._lock is None:
                self._lock = _lock_of(self._path).open("ab")
                with contextlib.suppress(OSError):  # a file system without locks
                    try_lock(self._lock)
            write_whole(self._path, json.dumps(asdict(draft)).encode("ascii"))

    def close(self) -> None:
        """Release this window's draft, which the next window then offers."""
        if self._lock is not None:
            self._lock.close()
            self._lock = None
            if not self.is_kept:
                _delete(_lock_of(self._path))

    def left(self) -> list[LeftDraft]:
        """Return the drafts of windows that are no longer open, the newest first."""
        found = []
        with contextlib.suppress(OSError):
            for path in self.folder.glob("*.json"):
                draft = _read(path)
                if draft is not None and path != self._path and _is_free(path):
                    found.append(LeftDraft(path, draft))
        return sorted(found, key=lambda each: each.draft.at, reverse=True)

    def give_up(self, left: LeftDraft) -> None:
        """Delete a draft that was left behind, unless another window has taken it over."""
        if _is_free(left.path):
            _delete(left.path)
            _delete(_lock_of(left.path))

    def take_over(self, left: LeftDraft) -> None:
        """Take over a draft that another window left behind. Raises RefusedError."""
        self.keep(left.draft)
        self.give_up(left)


def written_at(draft: Draft) -> datetime | None:
    """Return when a draft was written, None where it does not say."""
    try:
        return datetime.fromisoformat(draft.at)
    except ValueError:
        return None


def _lock_of(path: Path) -> Path:
    # Not the draft itself: that file is replaced at each writing, and its lock with it.
    return path.with_suffix(".lock")


def _is_free(path: Path) -> bool:
    """Return whether no window holds the draft at path; without locks nobody can hold it."""
    try:
        with _lock_of(path).open("ab") as file:
            return try_lock(file)
    except OSError:
        return True


def _read(path: Path) -> Draft | None:
    """Return the draft in a file, None where the file holds something else."""
    import json

    try:
        if path.stat().st_size > _LARGEST:
            return None
        held = json.loads(path.read_bytes())
        draft = Draft(**held)
    except (OSError, ValueError, TypeError, RecursionError):
        return None
    texts = (draft.text, draft.name, draft.origin, draft.at)
    places = (draft.row, draft.column)
    sound = all(isinstance(each, str) for each in texts)
    return draft if sound and all(type(each) is int and each >= 0 for each in places) else None


def _delete(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink()
