"""A real archive file under `kill -9`, full disks, refused writes, and two processes at once.

Killed are real saves and loads on a practice board in virtual time, runs that are kept, a class's
work that is collected, and imports, in a process of their own that tells over a pipe each revision
and run it has answered for. What was told must be in the archive after the kill, exactly, and the
archive must be sound. Only where processes can be forked (POSIX). Kills in the middle of typing,
and what the draft holds then, are in bench_kill.py.
"""

from __future__ import annotations

import contextlib
import hashlib
import multiprocessing
import os
import random
import select
import signal
import sqlite3
import tempfile
import time
import traceback
from collections.abc import Iterator
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path

from soak_boards import Drawn
from soak_doing import PLAIN_SHARES
from soak_jobs import VirtualJob, in_memory, new_archive
from sqlite_utils import Database

from hostlink.archive import Archive, Content, Origin, RunEnd, RunText
from hostlink.archive.runs import RUN
from hostlink.errors import ArchiveError, HostlinkError
from hostlink.jobs.class_register.evening import collecting
from hostlink.jobs.class_register.register import Learner
from hostlink.jobs.session.session import Session

LONGEST_LIFE_S = 0.5
DEADLINE_S = 60.0
EACH_WRITER = 40


@dataclass
class Found:
    """What one kind of trial came to. troubles: what must not have happened, in words."""

    trials: int = 0
    acknowledged: int = 0
    refused: int = 0
    troubles: list[str] = field(default_factory=list)


def can_fork() -> bool:
    return hasattr(os, "fork")


# --- kill -9 -------------------------------------------------------------------------------------


def _work(path: Path, seed: int, told: int) -> None:
    """Work on and on in each way, and tell of each revision and run that was answered for."""
    with Archive.open(path) as archive:
        while True:
            seed += 1
            if spec := random.Random(seed).choice(WAYS)(archive, seed):
                os.write(told, f"{spec} {_digest(archive, spec)}\n".encode())


def _load_or_save(archive: Archive, seed: int) -> str:
    kind = random.Random(-seed).choice(["load", "save"])
    job = VirtualJob(seed, archive, kind=kind, fault="none")
    return archive.revision(job.made.material.name).spec if job.run().done else ""


def _collect(archive: Archive, seed: int) -> str:
    """Save a learner's work, as at the end of a class."""
    learner = Learner("Ada Brook", f"L{seed}")

    def do(job: VirtualJob, session: Session) -> None:
        collecting()(session, job.archive, learner)

    job = VirtualJob(seed, archive, kind="save", fault="none", doing=do)
    return archive.revision(learner.program).spec if job.run().done else ""


def _keep_run(archive: Archive, seed: int) -> str:
    rows = tuple(f"{seed} {at}" for at in range(50))
    return archive.keep_run(RunText(rows), RunEnd(), seconds=1.0, command="RUN").spec


def _import(archive: Archive, seed: int) -> str:
    """Take in the archive of another computer."""
    text = f"10 REM {seed}\n" * 20
    with new_archive() as other:
        content = Content(text.encode(), text, text, "practice", "latin-1", len(text))
        kept = other.keep(f"I{seed}", content, Origin("file"))
        archive.merge_file(other.path)
    return archive.revision(kept.revision.program).spec


WAYS = (_load_or_save, _load_or_save, _collect, _keep_run, _import)


def _digest(archive: Archive, spec: str) -> str:
    """The SHA-256 of a revision, or of the rows of a run."""
    if not spec.startswith(f"{RUN}@"):
        return archive.content(archive.revision(spec)).sha256
    return hashlib.sha256("\n".join(archive.run(spec).printed.rows).encode()).hexdigest()


def kills(count: int, seed: int = 9) -> Found:
    """Kill a working process that many times at random moments, each time a moment later."""
    chance, found = random.Random(seed), Found()
    acknowledged: dict[str, str] = {}
    with tempfile.TemporaryDirectory(prefix="hostlink-soak-") as name:
        path = Path(name) / "archive.sqlite3"
        Archive.open(path).close()
        for life in range(count):
            heard = _one_life(path, life, chance.uniform(0.005, LONGEST_LIFE_S))
            acknowledged.update(heard)
            found.troubles += _after_a_kill(path, heard, life)
        found.trials, found.acknowledged = count, len(acknowledged)
        with Archive.open(path, create=False) as archive:
            found.troubles += archive.prove().findings
            found.troubles += _missing(archive, acknowledged)
    return found


def _one_life(path: Path, life: int, seconds: float) -> dict[str, str]:
    """Fork, let it work for some seconds, kill it; what it had told."""
    hear, tell = os.pipe()
    child = os.fork()
    if child == 0:
        with contextlib.suppress(BaseException):
            os.close(hear)
            _work(path, (life + 1) * 10_000, tell)
        os._exit(1)
    os.close(tell)
    data, until = b"", time.monotonic() + seconds
    while (left := until - time.monotonic()) > 0:
        if select.select([hear], [], [], left)[0]:
            data += os.read(hear, 65536)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while more := os.read(hear, 65536):
        data += more
    os.close(hear)
    told: dict[str, str] = {}
    for row in data.decode().split("\n")[:-1]:  # the last one may be cut off
        spec, sha256 = row.split()
        told[spec] = sha256
    return told


def _after_a_kill(path: Path, heard: dict[str, str], life: int) -> list[str]:
    try:
        with Archive.open(path, create=False) as archive:
            with archive.reading("the structure") as db:
                state = db.execute("PRAGMA quick_check").fetchone()[0]
            troubles = [] if state == "ok" else [f"life {life}: {state}"]
            return troubles + _missing(archive, heard)
    except HostlinkError as error:
        return [f"life {life}: {error}"]


def _missing(archive: Archive, acknowledged: dict[str, str]) -> list[str]:
    """Acknowledged revisions that are not there exactly."""
    troubles = []
    for spec, sha256 in acknowledged.items():
        try:
            if _digest(archive, spec) != sha256:
                troubles.append(f"{spec} is not what was acknowledged")
        except ArchiveError as error:
            troubles.append(f"{spec} was acknowledged: {error}")
    return troubles


# --- writes that are refused ---------------------------------------------------------------------


class Refusing(Archive):
    """An archive whose write number `at`, and every later one, SQLite itself refuses.

    how: "disk full" (no page may be added), "read-only", or "refused once" (read-only for this
    write alone, so that nothing else stops a job that goes on anyway).
    """

    at = -1
    how = "read-only"
    begun = 0

    @contextlib.contextmanager
    def writing(self, what: str) -> Iterator[Database]:
        with super().writing(what) as db:
            self.begun += 1
            once = self.how == "refused once"
            refuse = self.begun == self.at + 1 if once else 0 <= self.at < self.begun
            if refuse and self.how == "disk full":
                pages = db.execute("PRAGMA page_count").fetchone()[0]
                db.execute(f"PRAGMA max_page_count = {pages}")
                db.execute("CREATE TABLE too_much AS SELECT zeroblob(100000) AS held")
            elif refuse:
                db.execute("PRAGMA query_only = ON")
            try:
                yield db
            finally:
                if once:
                    db.execute("PRAGMA query_only = OFF")

    def allow(self) -> None:
        """From now on everything may be written."""
        self.at = -1
        with self.reading("the settings") as db:
            db.execute("PRAGMA query_only = OFF")
            db.execute("PRAGMA max_page_count = 1073741823")


def refusals(jobs: int) -> dict[str, Found]:
    """So many jobs of every kind with the first, second, ... write refused, until none is."""
    results = {how: Found() for how in ("disk full", "read-only", "refused once")}
    for name, found in results.items():
        for kind in PLAIN_SHARES:
            for number in range(jobs):
                _refuse_in_turn(kind, 500_001 + number, found, how=name)
    return results


def _refuse_in_turn(kind: str, seed: int, found: Found, *, how: str) -> None:
    for at in range(100):
        with (
            tempfile.TemporaryDirectory(prefix="hostlink-soak-", dir=in_memory()) as folder,
            Refusing.open(Path(folder) / "archive.sqlite3") as archive,
        ):
            # With a small chip there are as many writes to refuse as with a larger one.
            small = Drawn(small_chip=True)
            job = VirtualJob(seed, archive, kind=kind, fault="none", drawn=small)
            archive.at, archive.how = at, how
            archive.begun = 0
            outcome = job.run()
            was_refused = archive.begun > at
            archive.allow()
            found.trials += 1
            found.refused += was_refused
            where = f"{kind} {seed}, write {at}"
            found.troubles += [f"{where}: {trouble}" for trouble in outcome.trouble]
            found.troubles += [f"{where}: {each}" for each in archive.prove().findings]
            # What is remembered of the board may be refused, if all that follows is not.
            may_be_done = kind == "firmware" or how == "refused once"
            if was_refused and outcome.done and not may_be_done:
                found.troubles.append(f"{where}: done, though a write was refused")
            if not was_refused:
                return
    found.troubles.append(f"{kind} {seed}: no end of writes")


# --- two at once ---------------------------------------------------------------------------------


def _write_beside(path: Path, who: int, answer: Connection) -> None:
    """Keep revisions of one program and run jobs, while another process does the same."""
    told: dict[str, str] = {}
    troubles: list[str] = []
    try:
        with Archive.open(path) as archive:
            for turn in range(EACH_WRITER):
                text = f"10 REM {who} {turn}\n"
                content = Content(text.encode(), text, text, "practice", "latin-1", len(text))
                revision = archive.keep("BOTH", content, Origin("edit")).revision
                told[revision.spec] = revision.sha256
                if turn % 4 == 0:
                    job = VirtualJob(10_000_000 * (who + 1) + turn, archive, fault="none")
                    outcome = job.run()  # what it finds newly kept is of both writers
                    troubles += outcome.of("lost") + outcome.of("uncaught")
                archive.find("rem")
    except (HostlinkError, sqlite3.Error):
        troubles.append(traceback.format_exc().splitlines()[-1])
    answer.send((told, troubles))


def two_at_once(turns: int = 1) -> Found:
    """Two processes on one archive; no refusal, no number twice or left out, nothing lost."""
    found, context = Found(), multiprocessing.get_context("fork")
    for _ in range(turns):
        with tempfile.TemporaryDirectory(prefix="hostlink-soak-") as name:
            path = Path(name) / "archive.sqlite3"
            pairs = [context.Pipe(duplex=False) for _ in range(2)]
            writers = [
                context.Process(target=_write_beside, args=(path, who, tell))
                for who, (_, tell) in enumerate(pairs)
            ]
            for writer in writers:
                writer.start()
            told: dict[str, str] = {}
            for hear, _ in pairs:
                if not hear.poll(DEADLINE_S):
                    found.troubles.append("a writer does not end")
                    continue
                revisions, troubles = hear.recv()
                if told.keys() & revisions.keys():
                    found.troubles.append("one number was given twice")
                told.update(revisions)
                found.troubles += troubles
            for writer in writers:
                writer.join(DEADLINE_S)
                writer.kill()
            found.trials += 1
            found.acknowledged += len(told)
            with Archive.open(path, create=False) as archive:
                found.troubles += _missing(archive, told)
                found.troubles += archive.prove().findings
                numbers = [one.number for one in archive.history("BOTH")]
                if numbers != list(range(1, len(told) + 1)):
                    found.troubles.append("numbers are missing")
    return found
