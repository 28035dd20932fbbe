"""What is asked at a terminal around a write of firmware, and the first steps of a new board."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from hostlink.cli.context import CommonOptions
from hostlink.cli.output import say
from hostlink.cli.stopping import ask_word, ask_yes_no
from hostlink.errors import HostlinkError, RefusedError
from hostlink.sentences import ASKED_FOR_LABEL, ASKED_FOR_ROLE

if TYPE_CHECKING:
    from hostlink.archive import Archive
    from hostlink.cli.firmware_teller import PageTeller
    from hostlink.jobs.firmware.asking import Question
    from hostlink.jobs.firmware.request import FirstSteps, WriteRequest
    from hostlink.jobs.listing_source import Material
    from hostlink.jobs.loading import Loaded
    from hostlink.jobs.session.session import Session


def may_ask(common: CommonOptions) -> bool:
    """Return whether a person can be asked: at a terminal, and not told to answer yes to all."""
    from hostlink.jobs.rehearsing import is_rehearsal

    return sys.stdin.isatty() and not common.yes and not is_rehearsal()


def asker(common: CommonOptions, teller: PageTeller) -> Callable[[Question], WriteRequest | None]:
    """Return a function that asks what a refused write needs to know."""

    def ask(question: Question) -> WriteRequest | None:
        if not may_ask(common) or len(question.answers) != 1:
            return None
        teller.close()
        say(question.asks)
        _, says, request = question.answers[0]
        return request if ask_yes_no(f"{says}?") else None

    return ask


def ask_role() -> str:
    """Ask what an image is for."""
    from hostlink.jobs.cautions import ROLES_TOLD

    for role, does in ROLES_TOLD.items():
        say(f"  {role}: {does}")
    return ask_word(ASKED_FOR_ROLE, choices=tuple(ROLES_TOLD))


def check_first_steps(archive: Archive, steps: FirstSteps, port: str) -> None:
    """Refuse a label or a listing that cannot be used, before the port is opened."""
    from hostlink.archive.boards import checked_label
    from hostlink.jobs.boards import check_free_label
    from hostlink.jobs.listing_source import find_material

    checked_label(steps.label)
    if steps.label:
        check_free_label(archive, port, steps.label)
    if steps.load:
        find_material(steps.load, archive)


_WRITTEN = "The firmware is written and read back."


def take_first_steps(
    common: CommonOptions,
    session: Session,
    archive: Archive,
    steps: FirstSteps,
    teller: PageTeller,
) -> Loaded | None:
    """Label a board that has its first firmware, and load its first program if wanted."""
    session.attach()
    label = _label(common, session, archive, steps)
    material = _first_program(common, archive, steps, teller)
    if material is None:
        return None
    from hostlink.jobs.loading import LoadOptions
    from hostlink.jobs.loading import load as load_job

    try:
        loaded = load_job(session, archive, material, LoadOptions())
    except RefusedError as error:
        kept = f"{_WRITTEN} The program was not loaded."
        raise error.but(kept=kept) from error
    except HostlinkError as error:
        kept = f"{_WRITTEN} {error.kept}"
        raise error.but(kept=kept.strip()) from error
    teller.close()
    run = f"hostlink run --port {label or session.choice.port}"
    say(
        f"{loaded.spec or loaded.label} is in its memory, proven. `{run}` runs it.",
        quiet=common.quiet,
    )
    return loaded


def _label(common: CommonOptions, session: Session, archive: Archive, steps: FirstSteps) -> str:
    """Label the board as the option or an answer says, asking until it can be used; return it."""
    from hostlink.jobs.boards import label_board

    while True:
        label = steps.label
        if not label and may_ask(common):
            label = ask_word(f"{ASKED_FOR_LABEL} (a colour, for instance; Enter: no label)")
        if not label:
            return ""
        try:
            label_board(archive, session.choice.port, label)
        except HostlinkError as error:
            if steps.label:
                raise error.but(kept=_WRITTEN) from error
            say(error.what)
            continue
        say(f"It is called {label} from now on.", quiet=common.quiet)
        return label


def _first_program(
    common: CommonOptions, archive: Archive, steps: FirstSteps, teller: PageTeller
) -> Material | None:
    from hostlink.jobs.firmware.first_program import first_program
    from hostlink.jobs.listing_source import find_material

    if steps.load:
        return find_material(steps.load, archive)
    if not may_ask(common):
        return None
    teller.close()
    material = first_program()
    return material if ask_yes_no(f"Load {material.label}, which prints and counts?") else None
