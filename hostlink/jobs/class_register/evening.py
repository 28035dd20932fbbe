"""Handing out to a class and collecting from it: one job at each seat, all at the same time.

A board that is plugged in late is served when it appears. A board whose job failed is tried again
only after it was unplugged.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import TypeVar

from hostlink.archive import Archive, Board
from hostlink.archive.records import LEARNER
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Profile
from hostlink.errors import HostlinkError, RefusedError
from hostlink.jobs.class_register.class_table import handed_out
from hostlink.jobs.class_register.register import Learner, Register
from hostlink.jobs.class_register.seats import Seat, seats_of
from hostlink.jobs.language_of import SHIPPED_FOR, find_original
from hostlink.jobs.listing_source import Material, from_archive
from hostlink.jobs.loading import Loaded, LoadOptions, keep_material, load
from hostlink.jobs.many import BoardJobs, EmitAt, Result
from hostlink.jobs.saving import Saved, SaveOptions, save
from hostlink.jobs.session.last_known import last_fill, learner_of, unfinished_load
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.recognising import choose_profile
from hostlink.jobs.session.session import Session
from hostlink.sentences import NOTHING_KEPT, STILL_ON_BOARD
from hostlink.words import fold, safe

V = TypeVar("V")
SeatJob = Callable[[Archive, Learner, Session], V]
"""A job at a learner's board."""
_LOOK_S = 0.5  # between two looks at the ports while waiting for boards


def handing_out(
    register: Register,
    archive: Archive,
    *,
    what: str = "",
    own: bool = False,
    options: LoadOptions | None = None,
) -> SeatJob[Loaded]:
    """Return the job that loads each learner's handout into their board.

    what: a handout for all, instead of those in the register. own: load the learner's own program
    if the archive has one. Each handout is kept now as one revision for all, by the profile of the
    first board that is plugged in. Raises RefusedError if a learner would get nothing, and the
    errors of `find_original`.
    """
    chosen = options or LoadOptions()
    ports = [seat.port for seat in seats_of(register, archive) if seat.port]
    profile, _ = choose_profile(archive, ports[0] if ports else "")
    kept: dict[str, Material] = {}
    given: dict[str, Material] = {}
    for learner in (each for each in register.learners if each.board):
        word = what or learner.hand_out
        material = own_work(learner.program, archive) if own else None
        if material is None and word not in kept:
            kept[word] = _kept(learner, word, profile, archive, chosen)
        given[learner.name] = material or kept[word]

    def job(archive: Archive, learner: Learner, session: Session) -> Loaded:
        captured = _keep_work(session, archive, learner)
        made = own_work(learner.program, archive) if own else None
        options = replace(chosen, learner=learner.program, captured=captured)
        return load(session, archive, made or given[learner.name], options)

    return job


def _keep_work(session: Session, archive: Archive, learner: Learner) -> Capture | None:
    """Save the work on a board before a handout overwrites it; return the capture, None if none.

    The work belongs to the learner of the board's last handout, perhaps in another class; without
    one, to this learner. The load rescues what may not be theirs: the rest of a load that was cut
    off, the program of a board that restarted, or what was typed after another learner's work was
    saved.
    """
    session.attach()
    board, seen = session.board_in(archive), list[Capture]()
    holder = learner_of(last_fill(archive, board))
    whose = learner if fold(holder) in ("", fold(learner.program)) else Learner("", holder)
    last = learner_of(last_fill(archive, board, or_saved=True))
    is_theirs = fold(last) in ("", fold(whose.program))
    if is_theirs and not unfinished_load(archive, board, begun=session.begun):
        with contextlib.suppress(RefusedError):
            options = replace(_as_work(archive, board, whose), unless_held=True)
            save(session, archive, options, seen.append)
    return seen[0] if seen else None


def _kept(
    learner: Learner, word: str, profile: Profile, archive: Archive, options: LoadOptions
) -> Material:
    """Return a handout, kept once, so that boards of several kinds do not each add a revision."""
    name = safe(learner.name)
    if not word:
        raise RefusedError(
            f"There is nothing to hand out to {name}.",
            kept="Nothing was sent.",
            advice='Name a listing in the register, such as hand_out = "TIDE".',
        )
    try:
        material = find_original(word, archive)
        of = profile if material.shipped is None else find_profile(SHIPPED_FOR)
        revision = keep_material(of, lambda _: None, archive, material, options)
    except HostlinkError as error:
        what = f"{name} cannot be given their handout. {error.what}"
        raise error.but(what=what, kept="Nothing was sent.") from error
    return replace(material, revision=revision)


def own_work(program: str, archive: Archive) -> Material | None:
    """Return the newest revision of a learner's program, None if there is none yet."""
    kept = archive.programs(retired=None, tag=LEARNER)
    if not any(fold(each.name) == fold(program) for each in kept):
        return None
    return from_archive(program, archive)


def collecting(*, consent: bool = False) -> SeatJob[Saved]:
    """Return the job that saves a learner's program from their board.

    A program that equals the handout is not kept again; the event notes that. consent: also save
    what may not be theirs: from a board that restarted or had another learner's handout since.
    """

    def job(archive: Archive, learner: Learner, session: Session) -> Saved:
        session.attach()
        board = session.board_in(archive)
        holder = learner_of(last_fill(archive, board))
        if not consent and fold(holder) not in ("", fold(learner.program)):
            name = safe(learner.name)
            raise RefusedError(
                f"This board's last handout was to {holder}: what it holds may not be {name}'s.",
                kept=f"{STILL_ON_BOARD} {NOTHING_KEPT}",
                advice=lambda by: f"Save it for {name} all the same {by.save_all_the_same}.",
            )
        options = replace(_as_work(archive, board, learner), after_restart=consent)
        return save(session, archive, options)

    return job


def _as_work(archive: Archive, board: Board, learner: Learner) -> SaveOptions:
    """Return the options that save a board's program as the work of a learner."""
    given = handed_out(archive, learner.program, board)
    return SaveOptions(learner.program, learner=learner.name, handed_out=given)


def at_each_seat(
    register: Register,
    archive: Archive,
    job: SeatJob[V],
    choose: Callable[[str], LinkChoice],
    emit: EmitAt,
    cancelled: Callable[[], bool] = lambda: False,
    on_result: Callable[[Result[V]], None] = lambda _: None,
    *,
    is_over: Callable[[], bool] | None = None,
    nap: Callable[[float], object] = time.sleep,
) -> dict[str, Result[V]]:
    """Do a job at each learner's board that is plugged in; return the results by name.

    choose: returns how to talk to the board at a port. is_over: returns whether to stop waiting for
    boards that are absent or whose job failed; None waits for none. nap: sleeps for a number of
    seconds. Events and results have the learner's name.
    """
    results: dict[str, Result[V]] = {}
    tried: set[str] = set()
    with BoardJobs[V](archive, emit, cancelled) as jobs:
        while True:
            seats = seats_of(register, archive)
            here = [seat for seat in seats if seat.port]
            tried &= {seat.learner.name for seat in here}
            for seat in here if not cancelled() else ():
                if _is_pending(seat, results) and seat.learner.name not in {*tried, *jobs.busy}:
                    tried.add(seat.learner.name)
                    work = partial(job, archive, seat.learner)
                    jobs.start(choose(seat.port), seat.learner.name, work)
            for result in jobs.ended(None if is_over is None else _LOOK_S):
                results[result.board] = result
                on_result(result)
            if jobs.busy:
                continue
            waiting = [each for each in seats if each.learner.board and _is_pending(each, results)]
            if is_over is None or not waiting or cancelled() or is_over():
                return results
            nap(_LOOK_S)


def _is_pending(seat: Seat, results: dict[str, Result[V]]) -> bool:
    """Return whether a learner's job is not done yet or has failed."""
    result = results.get(seat.learner.name)
    return result is None or result.error is not None


def not_served(register: Register, results: dict[str, Result[V]]) -> list[Learner]:
    """Return the learners whose board never appeared, so that nothing was tried."""
    return [each for each in register.learners if each.board and each.name not in results]
