"""The command try: a listing run without a board, and held to what is expected of it."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable, Iterable
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hostlink.cli.commands.listings import material_for
from hostlink.cli.context import CommonOptions
from hostlink.cli.options import ANSWERS_HELP, NumberRange, WholeRange, shared
from hostlink.cli.output import as_json, data, listing_text, say, table
from hostlink.errors import ExitStatus, UsageError
from hostlink.sentences import LOOK_FOR_LOOP
from hostlink.words import plural, safe

if TYPE_CHECKING:
    from hostlink.board.profile.model import Profile
    from hostlink.jobs.listing_source import Material
    from hostlink.jobs.trying import Checked, Expectation, Setting
    from hostlink.practice.walk import End, Walk

_AT_ONCE = 500  # rows of a trace that are printed together
_FILE = click.Path(path_type=Path, dir_okay=False)


@click.command(name="try")
@click.argument("what", required=False)
@click.option("--input", type=_FILE, help=ANSWERS_HELP)
@click.option(
    "--pins",
    type=_FILE,
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
@click.option("--expect", is_flag=True, help="Keep what it prints as expected of the program.")
@click.option(
    "--trace",
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
    expect: bool,
    trace: bool,
    every: bool,
    tag: str | None,
    **asked: Any,
) -> int:
    """Run a listing without a board, and compare it with what is expected.

    It runs on a practice board of the kind that --profile names, or that it was written for. What
    it prints goes to stdout. Random numbers are the same each time. Exit status 1 where it stops
    with an error or comes to no end, 4 where it prints something else than was kept with --expect.
    """
    asked = {name: value for name, value in asked.items() if value is not None}
    if every:
        if what is not None or expect or trace or asked:
            raise click.UsageError("--all tries each program as it was tried with --expect.")
        return _try_all(common, tag)
    if trace and expect:
        raise click.UsageError("--trace shows how a program runs; --expect keeps what it prints.")
    if what is None or tag is not None:
        raise click.UsageError("Name a listing to try, or --all for those with expected output.")
    material = material_for(common, what)
    if expect and material.revision is None:
        raise UsageError(
            f"{material.label} is not kept in the archive, so nothing can be expected of it.",
            advice=lambda by: f"Keep it first {by.keep(material.word)}, and name the program.",
        )
    return _try_one(common, material, asked, keeps=expect, traces=trace)


def _try_one(
    common: CommonOptions, material: Material, asked: dict[str, Any], *, keeps: bool, traces: bool
) -> int:
    from hostlink.jobs import trying

    expected = None if keeps or traces else _expectation(common, material)
    profile = _profile(common, material, expected)
    setting = _setting(asked, material, profile, expected)
    walk = setting.begin(_text(common, material, profile), profile)
    if traces:
        show_trace(trying.trace(walk, setting), is_json=common.json)
    ended = setting.finish(walk)
    if keeps and material.revision is not None:
        with common.archive() as archive:
            expected = trying.expect(archive, material.revision, setting, walk, ended)
    if expected is not None and expected.setting != setting:
        expected = None
    differs = expected.differences(walk, ended) if expected is not None else []
    if common.json and not traces:
        as_json(_tried_dict(material, setting, walk, ended, expected, differs))
    elif not traces:
        _show(common, walk, expected, differs)
    _say_ended(common, setting, walk, ended)
    if expected is not None:
        return ExitStatus.READ_BACK_DIFFERS if differs else ExitStatus.DONE
    came_to_end = ended in ("end", "seconds") or (ended == "input" and setting.inputs)
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
        return written_for(material, common.the_profile()) or common.the_profile()
    usual = common.the_profile()
    names = guessed(material, usual).names
    return usual if not names or usual.name in names else find_profile(names[0])


def _setting(
    asked: dict[str, Any], material: Material, profile: Profile, expected: Expectation | None
) -> Setting:
    """Return how to try a listing: as asked, else as it was tried when its output was kept."""
    from hostlink.jobs.pin_file import pins_of, read_pin_file
    from hostlink.jobs.proving import inputs_of
    from hostlink.jobs.run.answers import read_answers
    from hostlink.jobs.trying import Setting, kind_for

    if expected is not None and not asked:
        return dataclasses.replace(expected.setting, profile=profile.name)
    known = Setting(profile.name, tuple(inputs_of(material) or ()), pins=pins_of(material))
    read: dict[str, Callable[[Path], object]] = {
        "input": lambda path: tuple(read_answers(path)),
        "pins": lambda path: read_pin_file(path, kind_for(profile).language.pins),
    }
    given: dict[str, Any] = {
        name: read[name](value) if name in read else value for name, value in asked.items()
    }
    if "input" in given:
        given["inputs"] = given.pop("input")
    return dataclasses.replace(known, **given)


def _text(common: CommonOptions, material: Material, profile: Profile) -> str:
    """Return the text as it would be loaded: that of a shipped program is adapted."""
    from hostlink.cli.progress import Teller
    from hostlink.jobs.language_of import in_language_of

    if material.shipped is None:
        return material.text
    emit = Teller(quiet=common.quiet).emit
    return in_language_of(profile, material, emit, despite=False, allow=lambda _: False).text


def _tried_dict(
    material: Material,
    setting: Setting,
    walk: Walk,
    ended: End,
    expected: Expectation | None,
    differs: list[str],
) -> dict[str, object]:
    return {
        "listing": material.label,
        "profile": setting.profile,
        "output": walk.output,
        "cut": walk.cut,
        "ended": ended,
        "error": walk.error or None,
        "line": walk.stood_at,
        "question": walk.question,
        "statements": walk.statements,
        "seconds": round(walk.seconds, 3),
        "free_bytes": walk.board.free(),
        "pins": [dataclasses.asdict(each) for each in walk.state.pins.changes],
        "expected": expected and {"revision": expected.revision, "differs": differs},
    }


def _show(
    common: CommonOptions, walk: Walk, expected: Expectation | None, differs: list[str]
) -> None:
    """Print what a program did, and whether that is what is expected."""
    from hostlink.jobs.stepping import put_out

    if walk.output:
        listing_text(walk.output)
    if changes := walk.state.pins.changes:
        rows = [[f"{each.ms:.0f}", each.pin, put_out(each)] for each in changes]
        table(["ms", "pin", "put out"], rows, right=("ms",))
    if expected is not None and differs:
        for row in (f"It is not what {expected.revision} did:", *differs):
            say(row)
    elif expected is not None:
        say(f"As expected: {expected.revision} did the same.", quiet=common.quiet)


def show_trace(steps: Iterable[dict[str, Any]], *, is_json: bool) -> None:
    """Print each statement as it is run; a trace of any length takes little memory."""
    rows = map(json.dumps if is_json else _trace_row, steps)
    before = "["
    while some := list(islice(rows, _AT_ONCE)):
        listing_text(before + ",\n".join(some) if is_json else "\n".join(some))
        before = ","
    if is_json:
        data("]" if before == "," else "[]")


def _trace_row(step: dict[str, Any]) -> str:
    sets = "".join(f" {name}={value}" for name, value in step["sets"].items())
    prints = f" {json.dumps(step['prints'])}" if step["prints"] else ""
    return f"{step['statement']:>7} {step['line'] or '':>6} {step['ms']:>10.1f}{sets}{prints}"


def _say_ended(common: CommonOptions, setting: Setting, walk: Walk, ended: End) -> None:
    """Tell how a program ended, and what it took."""
    at = "" if walk.stood_at is None else f" in line {walk.stood_at}"
    if ended == "error":
        say(f"It stopped with an error{at}: {safe(walk.error)}")
    elif ended == "input":
        asks = f' with "{safe(walk.question or "")}"'
        given = plural(len(setting.inputs), "answer")
        say(f"It asks{at}{asks}, and no answer is left after {given} (--input FILE).")
    elif ended == "statements":
        say(
            f"It did not end within {plural(setting.statements, 'statement')}; it was stopped{at}. "
            f"{LOOK_FOR_LOOP}, or stop it by --seconds or --statements."
        )
    elif ended == "seconds":
        say(f"It was stopped{at} after {setting.seconds:g} s.", quiet=common.quiet)
    if walk.cut:
        say(f"It printed more than {plural(walk.printed, 'byte')}; the rest is not shown.")
    say(
        f"{plural(walk.statements, 'statement')}, {walk.seconds:,.1f} s on the board "
        f"{setting.profile}; {plural(walk.board.free(), 'byte')} of its memory left.",
        quiet=common.quiet,
    )


def _try_all(common: CommonOptions, tag: str | None) -> int:
    from hostlink.jobs.trying import check_all

    with common.archive(create=False, read_only=True) as archive:
        found = list(check_all(archive, tag))
    good = sum(_result(each) == _AS_EXPECTED for each in found)
    heads = ["program", "tried", "expected", "result"]
    rows = [
        [each.expectation.program, each.spec, each.expectation.revision, _result(each)]
        for each in found
    ]
    if common.json:
        as_json([dict(zip(heads, row, strict=True)) for row in rows])
    else:
        table(heads, rows)
    say(f"{good} of {plural(len(found), 'program')} as expected.", quiet=common.quiet)
    return ExitStatus.DONE if good == len(found) else ExitStatus.READ_BACK_DIFFERS


_AS_EXPECTED = "as expected"


def _result(each: Checked) -> str:
    if each.failed:
        return f"not tried: {each.failed}"
    changed = [row for row in each.differs if not row.startswith("@@")]
    return f"differs: {' '.join(changed[:2])}" if changed else _AS_EXPECTED
