"""The command survey: measures an unknown board and proposes a profile."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.options import DISCARD_HELP, NumberRange, WholeRange, shared
from hostlink.cli.output import as_json, data, is_terminal, say, table
from hostlink.cli.stopping import ask_yes_no
from hostlink.errors import ExitStatus, HostlinkError, UsageError
from hostlink.words import plural

if TYPE_CHECKING:
    from pathlib import Path

    from hostlink.archive import Archive
    from hostlink.board.port.ports import Identity
    from hostlink.board.profile.model import Profile
    from hostlink.board.survey.steps import Consent
    from hostlink.jobs.survey_results import Difference
    from hostlink.jobs.surveying import Surveyed, SurveyOptions

_USUAL_LONGEST = 128  # characters; beyond them some boards clear their program or hang
_LONG_LINES = (
    "Long lines of up to {most} characters will be typed. Beyond its limit a board may lose its "
    "program, run what remains of the line, or hang until it is restarted."
)
_STORING = (
    "Measuring with test lines takes one to four minutes, at 1200 baud and below up to fifteen. "
    "The expected time is shown after the board has answered the first questions."
)
_SLOTS = (
    "A test program will be stored in the board's EEPROM. What a slot without a name holds is "
    "kept first and stored again; where slots have names, QZ7 is overwritten. A board that hangs "
    "when an empty slot is recalled is restarted."
)
_FILLING = (
    "The memory will be filled completely. Some boards then accept no input until they are "
    "restarted; hostlink restarts them if the port allows it."
)


@click.command()
@click.option(
    "--storing",
    is_flag=True,
    help="Store test lines too; the program is kept, put back and proven.",
)
@click.option(
    "--long-line",
    "longest",
    type=WholeRange(32, 1000),
    default=None,
    is_flag=False,
    flag_value=_USUAL_LONGEST,
    metavar="[MOST]",
    help="With --storing: type lines of up to 128 characters, or MOST, to find the limit.",
)
@click.option("--eeprom", is_flag=True, help="With --storing: overwrite stored programs too.")
@click.option("--fill", is_flag=True, help="With --storing: fill the memory to see what happens.")
@click.option("--discard-board", is_flag=True, help=f"With --storing. {DISCARD_HELP}")
@click.option(
    "--against", default=None, metavar="PROFILE", help="Say where the board differs from a profile."
)
@click.option("--keep", default=None, metavar="NAME", help="Keep the result as a profile.")
@click.option("--details", is_flag=True, help="Show each value, with its evidence.")
@click.option(
    "--clock",
    type=NumberRange(0.1, 100),
    default=None,
    metavar="MHZ",
    help="The board's clock, 0.1 to 100 MHz, to warn of speeds that it cannot make.",
)
@shared(link=True, json=True, yes=True)
def survey(
    common: CommonOptions,
    storing: bool,
    longest: int | None,
    eeprom: bool,
    fill: bool,
    discard_board: bool,
    against: str | None,
    keep: str | None,
    details: bool,
    clock: float | None,
) -> int:
    """Measure what a board does, and offer the result as a profile.

    Without --storing it types only direct lines that change nothing: empty lines, a remark,
    questions, words. --storing also finds what the board does to lines, what they cost, how fast
    it stores them: what it holds is kept in the archive first, put back afterwards and proven.
    """
    from hostlink.board.profile.file import find_profile
    from hostlink.board.survey.steps import Consent
    from hostlink.jobs.profiles import check_new_name
    from hostlink.jobs.surveying import SurveyOptions

    expected = find_profile(against) if against else None
    if keep:
        check_new_name(keep, replace=common.yes)
    consent = Consent(storing, longest or 0, eeprom, fill)
    _ask_for(common, consent)
    options = SurveyOptions(
        name=keep or "surveyed",
        consent=consent,
        discard_board=discard_board,
        speeds=(common.baud,) if common.baud else (),
        clock_hz=int((clock or 0) * 1_000_000),
    )
    return _survey(common, options, expected, keep, details=details)


def _survey(
    common: CommonOptions,
    options: SurveyOptions,
    expected: Profile | None,
    keep: str | None,
    *,
    details: bool,
) -> int:
    """Measure, show and keep; return the exit status.

    expected: the profile to compare with, or None. keep: the name to keep the result under, or
    None. details: show every value, with its evidence.
    """
    from hostlink.cli.progress import Teller
    from hostlink.jobs.survey_results import differences_from
    from hostlink.jobs.surveying import survey as survey_job

    with common.archive() as archive:
        with Teller(quiet=common.quiet) as teller:
            with common.session(archive, teller.emit) as session:
                result = survey_job(session, archive, options)
                identity = session.identity
            teller.close()
        differences = differences_from(result.findings, expected) if expected else []
        if not common.json and expected is not None:
            _show_differences(differences, expected)
        elif not common.json:
            _show(result, details=details)
        kept = _keep(common, archive, identity, result.profile, keep)
    if common.json:
        as_json(_as_dict(result, differences if expected else None, kept))
    return ExitStatus.REFUSED if differences else ExitStatus.DONE


def _ask_for(common: CommonOptions, consent: Consent) -> None:
    """Describe what goes beyond test lines, and ask for consent at a terminal.

    Raises UsageError if such an option is given without --storing, click's Abort without consent.
    """
    if consent.storing:
        say(_STORING, quiet=common.quiet)
    beyond = [
        (consent.longest, "--long-line", _LONG_LINES.format(most=consent.longest)),
        (consent.slots, "--eeprom", _SLOTS),
        (consent.filling, "--fill", _FILLING),
    ]
    for wanted, option, warning in beyond:
        if not wanted:
            continue
        if not consent.storing:
            raise UsageError(f"{option} needs --storing.", kept="Nothing was sent.")
        say(warning)
        if is_terminal() and not common.yes and not ask_yes_no("Go on?"):
            raise click.Abort


def _show(result: Surveyed, *, details: bool) -> None:
    from hostlink.jobs.survey_results import finding_rows

    data(result.told)
    if details:
        data("")
        table(["value", "found", "how sure", "evidence"], finding_rows(result.findings))
        data("")
        for sort, words in result.words.items():
            data(f"words {sort}: {', '.join(words) or 'none'}")
    data("")
    data(result.held)
    if not details:
        say("Repeat with --details to see each value's evidence.")


def _show_differences(differences: list[Difference], expected: Profile) -> None:
    from hostlink.jobs.survey_results import value_words

    if differences:
        table(
            ["value", "the board", f"profile {expected.name}", "evidence"],
            [
                [each.name, value_words(each.board), value_words(each.profile), each.evidence]
                for each in differences
            ],
        )
    say(f"{plural(len(differences), 'difference')} from profile {expected.name}.")


def _as_dict(
    result: Surveyed, differences: list[Difference] | None, kept: Path | None
) -> dict[str, object]:
    found: dict[str, object] = {
        "findings": [
            {
                "name": finding.name,
                "value": _plain(finding.value),
                "confidence": finding.confidence,
                "evidence": finding.evidence,
            }
            for finding in result.findings
        ],
        "lines": result.lines,
        "told": result.told,
        "kind": result.kind or None,
        "words": {sort: list(words) for sort, words in result.words.items()},
        "notes": list(result.notes),
        "kept": str(kept) if kept is not None else None,
    }
    if differences is not None:
        found["differences"] = [
            {
                "name": each.name,
                "board": _plain(each.board),
                "profile": _plain(each.profile),
                "evidence": each.evidence,
            }
            for each in differences
        ]
    return found


def _plain(value: object) -> object:
    return value.decode("latin-1") if isinstance(value, bytes) else value


def _keep(
    common: CommonOptions, archive: Archive, identity: Identity, profile: Profile, name: str | None
) -> Path | None:
    """Write the profile and use it for this board from now on; return its file, None if not kept.

    name: what to keep it under. If it is None, a person at a terminal is asked until the answer can
    be used or is empty, so that a wrong name does not lose what was measured.
    """
    from hostlink.jobs.profiles import give_profile, keep_profile

    if name is None and is_terminal() and not (common.json or common.quiet or common.yes):
        name = _ask_for_name()
    if not name:
        return None
    path = keep_profile(profile, name, replace=common.yes)
    give_profile(archive, identity, name)
    say(
        f"Kept as {path}. hostlink now uses this profile for this board; for another one, give "
        f"--profile {name}.",
        quiet=common.quiet,
    )
    return path


def _ask_for_name() -> str:
    """Ask for the name of a new profile until one can be used; return "" for none."""
    from hostlink.jobs.profiles import check_new_name

    while True:
        name: str = click.prompt(
            "Name to keep this profile under (Enter: do not keep it)",
            default="",
            show_default=False,
            err=True,
        ).strip()
        try:
            if name:
                check_new_name(name, replace=False)
        except HostlinkError as error:
            say(str(error))
        else:
            return name
