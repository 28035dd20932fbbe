"""survey: measure an unknown board, propose a profile."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from hostlink.cli.desk import Desk, Number, shared
from hostlink.cli.output import as_json, data, is_terminal, say, table
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.board.profile import Profile
    from hostlink.jobs.surveying import Difference, Surveyed


@click.command()
@click.option(
    "--storing",
    is_flag=True,
    help="Store test lines too; the program is kept, put back and proven.",
)
@click.option("--long-line", is_flag=True, help="Type an over-long line to find the limit.")
@click.option(
    "--against", default=None, metavar="PROFILE", help="Say where the board differs from a profile."
)
@click.option("--keep", default=None, metavar="NAME", help="Keep the result as a profile.")
@click.option(
    "--clock",
    type=Number(0.1, 100),
    default=None,
    metavar="MHZ",
    help="The board's clock, 0.1 to 100 MHz, to warn of speeds that it cannot make.",
)
@shared(link=True, json=True, yes=True)
def survey(
    desk: Desk,
    storing: bool,
    long_line: bool,
    against: str | None,
    keep: str | None,
    clock: float | None,
) -> int:
    """Measure how a board talks, and offer the result as a profile.

    Only blank lines, a direct comment, the listing and questions are sent, nothing that begins
    with a digit. --storing also measures the time per line and the receive buffer: what the board
    holds is kept in the archive first, put back afterwards and proven.
    """
    from hostlink.board.profile_file import find_profile
    from hostlink.cli.progress import Teller
    from hostlink.errors import ExitStatus
    from hostlink.jobs.surveying import SurveyOptions, check_new_name
    from hostlink.jobs.surveying import against as differences_against
    from hostlink.jobs.surveying import survey as survey_job

    expected = find_profile(against) if against else None
    check_new_name(keep or "")
    options = SurveyOptions(
        name=keep or "surveyed",
        storing=storing,
        long_line=long_line,
        speeds=(desk.baud,) if desk.baud else (),
        clock_hz=int((clock or 0) * 1_000_000),
    )
    with desk.archive() as archive, Teller(quiet=desk.quiet) as teller:
        with desk.session(archive, teller.emit) as session:
            result = survey_job(session, archive, options)
        teller.close()
    differences = differences_against(result.findings, expected) if expected else []
    if desk.json:
        as_json(_as_dict(result, differences if expected else None))
    elif expected is not None:
        _show_differences(differences, expected)
    else:
        _show(result)
    _keep(desk, result.profile, keep)
    return ExitStatus.REFUSED if differences else ExitStatus.DONE


def _show(result: Surveyed) -> None:
    from hostlink.jobs.surveying import finding_rows

    table(
        ["value", "found", "how sure", "evidence"],
        finding_rows(result.findings),
    )
    data("")
    data(f"The board holds {plural(result.lines, 'line')}, as before the survey.")


def _show_differences(differences: list[Difference], expected: Profile) -> None:
    from hostlink.jobs.surveying import value_words

    if differences:
        table(
            ["value", "the board", f"profile {expected.name}", "evidence"],
            [
                [each.name, value_words(each.board), value_words(each.profile), each.evidence]
                for each in differences
            ],
        )
    say(f"{plural(len(differences), 'difference')} from profile {expected.name}.")


def _as_dict(result: Surveyed, differences: list[Difference] | None) -> dict[str, object]:
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


def _keep(desk: Desk, profile: Profile, name: str | None) -> None:
    """Write the profile where --profile NAME finds it; a person at a terminal is asked."""
    from hostlink.jobs.surveying import keep_profile

    if name is None and is_terminal() and not (desk.json or desk.quiet or desk.yes):
        name = click.prompt(
            "Name to keep this profile under (nothing for not at all)",
            default="",
            show_default=False,
            err=True,
        ).strip()
    if not name:
        return
    path = keep_profile(profile, name, replace=desk.yes)
    say(f"Kept as {path}; use it with --profile {name}.", quiet=desk.quiet)
