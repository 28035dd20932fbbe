"""The commands load and save: programs into the board and out of it."""

from __future__ import annotations

import dataclasses
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.job_json import loaded_dict, saved_dict
from hostlink.cli.options import DISCARD_HELP, NOTE_HELP, shared
from hostlink.cli.output import as_json, is_terminal, say
from hostlink.cli.stopping import ask_yes_no
from hostlink.cli.ways import COMMANDS
from hostlink.errors import ListingError, RefusedError, UsageError
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.archive import Archive
    from hostlink.board.dialogue.learning import Learned
    from hostlink.cli.progress import Teller
    from hostlink.jobs.events import Emit
    from hostlink.jobs.language_of import Offer
    from hostlink.jobs.listing_source import Material
    from hostlink.jobs.loading import Loaded, LoadOptions
    from hostlink.jobs.session.session import Session

_WATCH_NAP_S = 0.5


@click.command()
@click.argument("what")
@click.option("--run", "run_it", is_flag=True, help="Run the program once it is proven.")
@click.option(
    "--as", "name", metavar="PROGRAM", default="", help="Keep the listing as this program."
)
@click.option("--changes", is_flag=True, help="Send only the lines that differ from the board's.")
@click.option(
    "--watch", is_flag=True, help="Watch the file; send the changed lines each time it is saved."
)
@click.option("--despite-review", is_flag=True, help="Load although the review found errors.")
@click.option(
    "--adapt",
    "adapt_it",
    is_flag=True,
    help="Rewrite a listing for the board's BASIC if it is written for another one.",
)
@click.option("--discard-board", is_flag=True, help=DISCARD_HELP)
@click.option(
    "--learn",
    is_flag=True,
    help="Note in the board's profile how it rewrites lines (capitals, blanks).",
)
@shared(link=True, many=True, json=True)
def load(
    common: CommonOptions,
    what: str,
    run_it: bool,
    name: str,
    changes: bool,
    watch: bool,
    despite_review: bool,
    adapt_it: bool,
    discard_board: bool,
    learn: bool,
) -> int | None:
    """Load a listing into the board, proven by reading it back.

    What the board holds is captured first and kept in the archive if it is not there yet; the
    listing itself is kept as a revision. Lines are sent as fast as the board can store them.
    """
    from hostlink.cli.named_listing import read_stdin
    from hostlink.cli.progress import Teller
    from hostlink.jobs.listing_source import find_material
    from hostlink.jobs.loading import LoadOptions

    _check_together(
        common, changes=changes, discard_board=discard_board, run_it=run_it, watch=watch
    )
    watched = _watched_file(what) if watch else None
    _check_name(name)
    stdin = read_stdin() if what == "-" else None
    with common.archive() as archive, Teller(quiet=common.quiet) as teller:
        material = find_material(what, archive, stdin=stdin)
        asking = _learning(common, learn, teller), _adapting(common, adapt_it, teller)
        options = LoadOptions(discard_board, changes, despite_review, name, *asking)
        if common.many:
            from hostlink.cli.commands.many import load_many

            teller.close()
            return load_many(common, archive, material, options)
        _load_one(common, archive, material, options, teller, run_it=run_it, watched=watched)
    return None


def _load_one(
    common: CommonOptions,
    archive: Archive,
    material: Material,
    options: LoadOptions,
    teller: Teller,
    *,
    run_it: bool,
    watched: Path | None,
) -> None:
    """Load into one board, then run the program or watch its file over the same open port.

    A listing that the profile refuses is refused before the port is opened. watched: the file
    whose changes are loaded until Ctrl+C, or None.
    """
    from hostlink.jobs.loading import for_board
    from hostlink.jobs.loading import load as load_job

    choice = common.link_choice(archive)
    if not choice.is_guess:
        material = for_board(choice.effective, material, options, teller.emit)
    with common.session(archive, teller.emit) as session:
        if not session.choice.is_guess:  # the speed is not known before
            _expect(common, session, material)
        loaded = load_job(session, archive, material, options)
        teller.close()
        if run_it:
            _run_loaded(common, session, loaded, teller.emit)
        else:
            _tell_loaded(common, loaded)
        if watched is not None:
            _watch(common, session, archive, watched, options)


def _adapting(common: CommonOptions, adapt_it: bool, teller: Teller) -> Callable[[Offer], bool]:
    """Return the function that decides whether a listing is adapted: by option, or by asking."""

    def may_adapt(offer: Offer) -> bool:
        if adapt_it or common.yes:
            say(f"{offer.says} {plural(len(offer.made.changes), 'line')} changed.")
            return True
        lines = plural(len(offer.made.changes), "line")
        question = f"Adapt it ({lines} would change) and load that?"
        return _agrees(common, teller, offer.says, question)

    return may_adapt


def _learning(common: CommonOptions, learn: bool, teller: Teller) -> Callable[[Learned], bool]:
    """Return the function that decides whether a profile notes what a board does to lines."""

    def may_learn(learned: Learned) -> bool:
        if learn or common.yes:
            say(learned.sentence, quiet=common.quiet)
            return True
        question = "Does this board always do that, and may its profile say so?"
        return _agrees(common, teller, learned.sentence, question)

    return may_learn


def _agrees(common: CommonOptions, teller: Teller, fact: str, question: str) -> bool:
    """Say a fact and ask about it; return False if nobody can be asked."""
    if common.quiet or common.many or not (is_terminal() and sys.stdin.isatty()):
        return False
    teller.close()
    say(fact)
    return ask_yes_no(question)


def _check_together(
    common: CommonOptions, *, changes: bool, discard_board: bool, run_it: bool, watch: bool
) -> None:
    """Refuse options of load that contradict each other."""
    if watch and common.json:
        raise UsageError("--json prints one answer, and --watch gives many: choose one of them.")
    if changes and discard_board:
        raise UsageError(
            "--changes needs to know what the board holds, and --discard-board does not look: "
            "choose one of them."
        )
    if common.many and (watch or run_it):
        raise UsageError("--run and --watch are for one board: name one --port.")


def _watched_file(what: str) -> Path:
    """Return the listing file to watch. Raises UsageError if there is no such file."""
    if what == "-" or not Path(what).is_file():
        raise UsageError("--watch needs a listing file that can be saved again.")
    return Path(what)


def _check_name(name: str) -> None:
    """Refuse a name that no program can have; "" stands for none given."""
    from hostlink.archive.names import checked_name

    if name:
        checked_name(name)


def _expect(common: CommonOptions, session: Session, material: Material) -> None:
    from hostlink.jobs.loading import expected_seconds

    seconds = expected_seconds(material, session.dialogue.pacing)
    say(
        f"{material.label}: about {max(1, round(seconds))} s at {session.profile.talk.baud} baud.",
        quiet=common.quiet,
    )


def _run_loaded(common: CommonOptions, session: Session, loaded: Loaded, tell: Emit) -> None:
    """Run what was loaded; with --json both are one document, even if the run fails."""
    from hostlink.cli.commands.run import RUN_SECONDS, run_now
    from hostlink.cli.input_lines import input_lines

    if not common.json:
        _tell_loaded(common, loaded)
    done = run_now(session, input_lines(), RUN_SECONDS, tell, is_json=common.json)
    if common.json:
        as_json({**loaded_dict(loaded), **done.as_dict()})
    done.check()


def _tell_loaded(common: CommonOptions, loaded: Loaded) -> None:
    report = loaded.report
    if common.json:
        as_json(loaded_dict(loaded))
        return
    took = f", sent in {report.seconds:.1f} s" if report.seconds is not None else ""
    say(f"{loaded.words} ({plural(report.lines, 'line')}{took}).", quiet=common.quiet)


def _watch(
    common: CommonOptions, session: Session, archive: Archive, path: Path, options: LoadOptions
) -> None:
    """Send the changed lines each time the file is saved, until Ctrl+C."""
    from hostlink.jobs.listing_source import read_file
    from hostlink.jobs.loading import load as load_job

    say(f"Watching {path}; Ctrl+C ends it.", quiet=common.quiet)
    options = dataclasses.replace(options, changes_only=True)
    seen = _stamp(path)
    while not session.wire.cancelled():
        time.sleep(_WATCH_NAP_S)
        if (now := _stamp(path)) in (seen, None):
            continue
        seen = now
        try:
            _tell_loaded(common, load_job(session, archive, read_file(path), options))
        except (ListingError, RefusedError) as error:
            say(f"{error.words(COMMANDS)} The board keeps what it holds.")
    say(
        "No longer watching. The board has not been read since the last load.",
        quiet=common.quiet,
    )


def _stamp(path: Path) -> tuple[int, int] | None:
    """Return the file's time of change and size; None while an editor replaces it."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size


@click.command()
@click.argument("program", required=False, default="")
@click.option("--note", metavar="TEXT", default="", help=NOTE_HELP)
@shared(link=True, many=True, json=True, yes=True)
def save(common: CommonOptions, program: str, note: str) -> int | None:
    """Save the board's program into the archive, proven.

    The program is captured at least twice; only captures that agree are kept. Without PROGRAM it
    goes to the program that the board was last known to hold; with several boards each goes to a
    program named after its board and the day, unless the archive holds it already.
    """
    from hostlink.cli.progress import Teller
    from hostlink.jobs.saving import SaveOptions
    from hostlink.jobs.saving import save as save_job

    _check_name(program)
    options = SaveOptions(program, note, common.yes)
    if common.many:
        from hostlink.cli.commands.many import save_many

        if program:
            raise UsageError(
                "Several boards are each saved under a name of their own: leave PROGRAM out."
            )
        with common.archive() as archive:
            return save_many(common, archive, options)
    with common.archive() as archive, Teller(quiet=common.quiet) as teller:
        with common.session(archive, teller.emit) as session:
            saved = save_job(session, archive, options)
        teller.close()
    revision = saved.revision
    if common.json:
        as_json(saved_dict(saved))
        return saved.status
    say(
        f"{revision.spec}, {plural(revision.line_count, 'line')}, "
        f"{plural(revision.size_bytes or 0, 'byte')}, {saved.proof}.",
        quiet=common.quiet and saved.doubt is None,
    )
    return saved.status
