"""The command try: a listing run without a board, and held against what is expected of it."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterable
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.commands.listings import material_for
from hostlink.cli.context import CommonOptions
from hostlink.cli.options import NumberRange, WholeRange, shared
from hostlink.cli.output import as_json, data, listing_text, say, table
from hostlink.errors import ExitStatus, UsageError
from hostlink.words import plural, safe

if TYPE_CHECKING:
    from hostlink.board.profile.model import Profile
    from hostlink.jobs.listing_source import Material
    from hostlink.jobs.trying import Checked, Expectation, Setting, Traced, Tried


_AT_ONCE = 500  # rows of a trace that are printed together


@dataclasses.dataclass(frozen=True, slots=True)
class Asked:
    """The options on how to try a listing, None where they were not given."""

    input_path: Path | None
    pins_path: Path | None
    statements: int | None
    seconds: float | None

    @property
    def given(self) -> bool:
        """Return whether any was given."""
        return any(getattr(self, each.name) is not None for each in dataclasses.fields(self))


@click.command(name="try")
@click.argument("what", required=False)
@click.option(
    "--input",
    "input_path",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A file whose lines answer the program's questions.",
)
@click.option(
    "--pins",
    "pins_path",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A CSV file of what comes to its pins, rows of ms,pin,value; ADC0 is an analog input.",
)
@click.option(
    "--seconds",
    type=NumberRange(0.001, 86_400),
    metavar="SECONDS",
    help="Stop it after so many seconds of the board's own time, 0.001 to 86400: for a program "
    "that never ends.",
)
@click.option(
    "--statements",
    type=WholeRange(1, 1_000_000_000),
    metavar="COUNT",
    help="The most statements to run, 1 to 1000000000; 1000000 if not given.",
)
@click.option(
    "--expect",
    "keeps",
    is_flag=True,
    help="Keep what it prints, and how it was tried, as expected of the program.",
)
@click.option(
    "--trace",
    "traces",
    is_flag=True,
    help="Print every statement that is run: its number, its line, the time in ms, the variables "
    "that it sets, what it prints.",
)
@click.option("--all", "every", is_flag=True, help="Try every program of which output is expected.")
@click.option("--tag", metavar="TAG", help="With --all: only programs with this tag.")
@shared(profile=True, json=True)
def try_listing(
    common: CommonOptions,
    what: str | None,
    input_path: Path | None,
    pins_path: Path | None,
    seconds: float | None,
    statements: int | None,
    keeps: bool,
    traces: bool,
    every: bool,
    tag: str | None,
) -> int:
    """Run a listing without a board, and compare it with what is expected.

    It runs on a practice board of the kind that --profile names, or that it was written for. What
    it prints goes to stdout. Random numbers are the same each time. Exit status 1 where it stops
    with an error or comes to no end, 4 where it prints something else than was kept with --expect.
    """
    asked = Asked(input_path, pins_path, statements, seconds)
    if every:
        if what is not None or keeps or traces or asked.given:
            raise click.UsageError("--all tries each program as it was tried with --expect.")
        return _try_all(common, tag)
    if traces and keeps:
        raise click.UsageError("--trace shows how a program runs; --expect keeps what it prints.")
    if what is None or tag is not None:
        raise click.UsageError("Name a listing to try, or --all for those with expected output.")
    return _try_one(common, what, asked, keeps=keeps, traces=traces)


def _try_one(common: CommonOptions, what: str, asked: Asked, *, keeps: bool, traces: bool) -> int:
    from hostlink.board.dialogue.events import Warned
    from hostlink.jobs.trying import begin, difference, expect, finish, prepared, trace

    material = material_for(common, what)
    expected = None if keeps else _expectation(common, material)
    profile = _profile(common, material, expected)
    setting = _setting(asked, material, profile, expected)
    if expected is not None and expected.setting != setting:
        expected = None
    material = prepared(
        material,
        profile,
        lambda event: say(event.text, quiet=common.quiet) if isinstance(event, Warned) else None,
    )
    walk = begin(material.text, setting, profile)
    if traces:
        show_trace(trace(walk, setting), is_json=common.json)
    tried = finish(walk, setting)
    if traces:
        _say_ended(common, setting, tried)
        return _status(setting, tried)
    if keeps:
        revision = material.revision
        if revision is None:
            raise UsageError(
                f"{material.label} is not kept in the archive, so nothing can be expected of it.",
                advice=lambda by: f"Keep it first {by.keep(material.word)}, and name the program.",
            )
        with common.archive() as archive:
            expected = expect(archive, revision, setting, tried)
    differs = difference(expected, tried) if expected is not None else ""
    _show(common, material, setting, tried, expected, differs)
    if keeps:
        return ExitStatus.DONE
    if expected is not None:
        return ExitStatus.READ_BACK_DIFFERS if differs else ExitStatus.DONE
    return _status(setting, tried)


def _status(setting: Setting, tried: Tried) -> ExitStatus:
    came_to_end = tried.ended in ("end", "seconds") or (tried.ended == "input" and setting.inputs)
    return ExitStatus.DONE if came_to_end else ExitStatus.REFUSED


def _expectation(common: CommonOptions, material: Material) -> Expectation | None:
    from hostlink.jobs.trying import expectations

    if material.revision is None:
        return None
    with common.archive(create=False, read_only=True) as archive:
        return expectations(archive, material.name).get(material.revision.program)


def _profile(common: CommonOptions, material: Material, expected: Expectation | None) -> Profile:
    """Return the profile that was named, else that of the board that a listing was written for."""
    from hostlink.board.profile.file import find_profile
    from hostlink.jobs.language_of import guessed, written_for

    if common.profile:
        return common.the_profile()
    if expected is not None:
        return find_profile(expected.setting.profile)
    if material.shipped is not None or material.held is not None:
        return written_for(material) or common.the_profile()
    usual, names = common.the_profile(), guessed(material).names
    return usual if not names or usual.name in names else find_profile(names[0])


def _setting(
    asked: Asked, material: Material, profile: Profile, expected: Expectation | None
) -> Setting:
    """Return how to try a listing: as asked, else as it was tried when its output was kept."""
    from hostlink.jobs.adapting import inputs_of
    from hostlink.jobs.pin_file import pins_of, read_pin_file
    from hostlink.jobs.run.answers import read_answers
    from hostlink.jobs.trying import Setting, kind_for
    from hostlink.practice.walk import MOST_STATEMENTS

    known = expected.setting if expected is not None and not asked.given else None
    if known is not None:
        return dataclasses.replace(known, profile=profile.name)
    inputs = (
        inputs_of(material) or () if asked.input_path is None else read_answers(asked.input_path)
    )
    pins = pins_of(material)
    if asked.pins_path is not None:
        pins = read_pin_file(asked.pins_path, kind_for(profile).language.pins)
    return Setting(
        profile.name,
        tuple(inputs),
        statements=asked.statements or MOST_STATEMENTS,
        seconds=asked.seconds or 0.0,
        pins=pins,
    )


def _show(
    common: CommonOptions,
    material: Material,
    setting: Setting,
    tried: Tried,
    expected: Expectation | None,
    differs: str,
) -> None:
    """Print what a program did, and whether that is what is expected."""
    from hostlink.jobs.stepping import put_out
    from hostlink.jobs.trying import changed_rows

    if common.json:
        told: dict[str, object] = {"listing": material.label, "profile": setting.profile}
        told |= dataclasses.asdict(tried)
        told["expected"] = expected and {
            "revision": expected.revision,
            "same": not differs,
            "output": expected.output,
        }
        as_json(told)
        return
    if tried.output:
        listing_text(tried.output)
    if tried.changes:
        table(
            ["ms", "pin", "put out"],
            [[f"{each.ms:.0f}", each.pin, put_out(each)] for each in tried.changes],
            right=("ms",),
        )
    if differs:
        say(f"It is not what {expected and expected.revision} printed: {differs}")
        for row in changed_rows(expected, tried)[2:] if expected is not None else ():
            say(row)
    elif expected is not None:
        say(f"As expected: {expected.revision} printed the same.", quiet=common.quiet)
    _say_ended(common, setting, tried)


def show_trace(steps: Iterable[Traced], *, is_json: bool) -> None:
    """Print each statement as it is run; a trace of any length takes little memory."""
    rows = map(_json_row if is_json else _trace_row, steps)
    before = "["
    while some := list(islice(rows, _AT_ONCE)):
        text = before + ",\n".join(some) if is_json else "\n".join(some)
        listing_text(text)
        before = ","
    if is_json:
        data("]" if before == "," else "[]")


def _trace_row(step: Traced) -> str:
    sets = "".join(f" {name}={value}" for name, value in step.sets.items())
    prints = f" {json.dumps(step.prints)}" if step.prints else ""
    return f"{step.statement:>7} {step.line or '':>6} {step.ms:>10.1f}{sets}{prints}"


def _json_row(step: Traced) -> str:
    told = {name: getattr(step, name) for name in ("statement", "line", "ms", "sets", "prints")}
    return json.dumps(told)


def _say_ended(common: CommonOptions, setting: Setting, tried: Tried) -> None:
    wrong = _how_it_ended(setting, tried)
    if wrong:
        say(wrong)
    say(
        f"{plural(tried.statements, 'statement')}, {tried.seconds:,.1f} s on the board "
        f"{setting.profile}; "
        f"{plural(tried.free_bytes, 'byte')} of its memory left.",
        quiet=common.quiet,
    )


def _how_it_ended(setting: Setting, tried: Tried) -> str:
    """Return the message on a program that did not simply end, or ""."""
    at = "" if tried.line is None else f" in line {tried.line}"
    match tried.ended:
        case "error":
            return f"It stopped with an error{at}: {safe(tried.error)}"
        case "input":
            asks = f' with "{safe(tried.question)}"' if tried.question.strip() else ""
            given = plural(len(setting.inputs), "answer")
            return f"It asks{at}{asks}, and no answer is left after {given} (--input FILE)."
        case "statements":
            return (
                f"It did not end within {plural(setting.statements, 'statement')}; it was stopped"
                f"{at}. Look for a loop without an end, or stop it by --seconds or --statements."
            )
        case "seconds":
            return f"It was stopped{at} after {setting.seconds:g} s."
    return ""


def _try_all(common: CommonOptions, tag: str | None) -> int:
    from hostlink.jobs.trying import check_all

    with common.archive(create=False, read_only=True) as archive:
        found = list(check_all(archive, tag))
    good = sum(each.good for each in found)
    if common.json:
        as_json([_checked_dict(each) for each in found])
    else:
        table(
            ["program", "tried", "expected", "result"],
            [
                [each.expectation.program, each.spec, each.expectation.revision, _result(each)]
                for each in found
            ],
        )
    say(f"{good} of {plural(len(found), 'program')} as expected.", quiet=common.quiet)
    return ExitStatus.DONE if good == len(found) else ExitStatus.READ_BACK_DIFFERS


def _result(each: Checked) -> str:
    if each.failed:
        return f"not tried: {each.failed}"
    return f"differs: {each.differs}" if each.differs else "as expected"


def _checked_dict(each: Checked) -> dict[str, object]:
    return {
        "program": each.expectation.program,
        "tried": each.spec,
        "expected": each.expectation.revision,
        "same": each.good,
        "differs": each.differs or None,
        "error": each.failed or None,
    }
