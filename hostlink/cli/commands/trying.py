"""The command try: run a listing without a board, and compare it with what is expected."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterable
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.drawing import draw_options, show_drawing, wants_drawing
from hostlink.cli.named_listing import material_in
from hostlink.cli.options import ANSWERS, FILE, NumberRange, WholeRange, shared
from hostlink.cli.output import as_json, data, listing_text, say, table
from hostlink.cli.stopping import stoppable
from hostlink.cli.ways import COMMANDS
from hostlink.errors import ExitStatus, HostlinkError, UsageError
from hostlink.sentences import (
    ANALOG_PIN,
    LOOK_FOR_LOOP,
    cannot_run,
    ends_in_error,
    give_answers,
    left_out,
    line_is,
    no_more_input,
    not_ended,
)
from hostlink.words import capital, plural

if TYPE_CHECKING:
    from hostlink.archive import Archive, Run
    from hostlink.board.profile.model import Profile
    from hostlink.jobs.listing_source import Material
    from hostlink.jobs.trying import Setting, Tried

_AT_ONCE = 500  # rows of a trace that are printed together


@click.command(name="try")
@click.argument("what", required=False)
@ANSWERS
@click.option(
    "--pins",
    type=FILE,
    help=f"A CSV file of the inputs at its pins, rows of ms,pin,value; {ANALOG_PIN}",
)
@click.option(
    "--seconds",
    type=NumberRange(0.001, 86_400),
    metavar="SECONDS",
    help="Stop it after this many seconds of the board's own time, 0.001 to 86400.",
)
@click.option(
    "--statements",
    type=WholeRange(1, 1_000_000_000),
    metavar="COUNT",
    help="The most statements to run, 1 to 1000000000; 1000000 if not given.",
)
@click.option(
    "--expect", is_flag=True, help="Keep what it prints as the program's expected output."
)
@click.option(
    "--trace",
    is_flag=True,
    help="Print every statement that is run: its number, its line, the time in ms, the variables "
    "that it sets, what it prints.",
)
@draw_options("what it puts out at pins, else the numbers it prints")
@click.option("--all", "every", is_flag=True, help="Try every program with expected output.")
@click.option("--tag", metavar="TAG", help="With --all: try only those with this tag.")
@shared(profile=True, json=True, yes=True)
def try_listing(
    common: CommonOptions,
    what: str | None,
    expect: bool,
    trace: bool,
    every: bool,
    tag: str | None,
    plot: bool,
    svg: Path | None,
    csv: Path | None,
    **asked: Any,
) -> int:
    """Run a listing without a board, and compare it with what is expected.

    It runs on a practice board of the kind that --profile names, or that it was written for. What
    it prints goes to stdout. Random numbers are the same each time. Exit status 1 if it does not
    run to its end, unless that is expected; 4 if it prints something other than expected.
    """
    from hostlink.jobs.drawing import drawing_of_walk

    asked = {name: value for name, value in asked.items() if value is not None}
    draws = wants_drawing(plot, svg, csv, also=common.json or trace)
    if every:
        if what is not None or expect or trace or asked or draws:
            raise click.UsageError("--all tries each program as it was tried with --expect.")
        return _try_all(common, tag)
    if trace and expect:
        raise click.UsageError("--trace shows how a program runs; --expect keeps what it prints.")
    if what is None or tag is not None:
        raise click.UsageError("Name a listing to try, or --all for those with expected output.")
    with material_in(common, what, read_only=not expect) as (material, archive):
        tried = _tried(common, material, archive, asked, expect=expect, trace=trace)
    if not (trace or Path("-") in (svg, csv)):
        _show(common, tried, has_table=not plot)
    _say_compared(common, tried, is_new=expect)
    _say_ended(common, tried)
    if draws:
        title = f"{tried.label}, tried as on the board {tried.profile.name}"
        show_drawing(common, drawing_of_walk(title, tried.walk), plot=plot, svg=svg, csv=csv)
    return _status(tried)


def _tried(
    common: CommonOptions,
    material: Material,
    archive: Archive | None,
    asked: dict[str, Any],
    *,
    expect: bool,
    trace: bool,
) -> Tried:
    """Run a listing as asked for, and keep what it does or compare it with what is expected."""
    from hostlink.jobs import trying

    revision = material.revision
    if expect and revision is None:
        raise UsageError(
            f"{material.label} is not in the archive, so no expected output can be kept for it.",
            advice=lambda by: f"Keep it first {by.keep(material.word)}, and name the program.",
        )
    kept = trying.expectations(archive, material.name) if archive and revision else {}
    expected, before = next(iter(kept.values()), (None, None))
    profile = _profile(common, material, before)
    setting = _setting(asked, material, profile, before)
    walk = setting.begin(_text(common, material, profile), profile)
    if loose := material.listing.loose:
        say(left_out(loose))
    if lacked := walk.lacked:
        say(f"{capital(cannot_run(', '.join(lacked)))}; it stops there.")
    with stoppable() as stopped:
        if trace:
            show_trace(trying.trace(walk, setting, stopped), is_json=common.json)
        ended = setting.finish(walk, stopped)
    partly = ended == "stopped" or walk.missing
    if expected and not expect and (partly or before != setting):
        why = "stopped" if partly else "tried with other settings"
        say(f"It was {why}, so it is not compared with {expected.revision}.")
        expected = None
    tried = trying.Tried(material.label, profile, setting, walk, ended, expected)
    if archive and revision and expect:
        return trying.expect(archive, revision, tried)
    return tried


def _status(tried: Tried) -> ExitStatus:
    if tried.expected is not None:
        return ExitStatus.READ_BACK_DIFFERS if tried.differs else ExitStatus.DONE
    if tried.ended == "stopped":
        return ExitStatus.INTERRUPTED
    return ExitStatus.DONE if tried.ended == "end" else ExitStatus.REFUSED


def _profile(common: CommonOptions, material: Material, before: Setting | None) -> Profile:
    """Return the profile that was named, else that of the board that a listing was written for."""
    from hostlink.board.profile.file import find_profile
    from hostlink.jobs.language_of import guessed_kind, written_for

    if common.profile:
        return common.the_profile()
    if before is not None:
        return find_profile(before.profile)
    usual = common.the_profile()
    is_known = material.shipped is not None or material.held is not None
    if not is_known and usual.name in guessed_kind(material, usual).names:
        return usual
    profile = written_for(material, usual) or usual
    if not is_known and profile is not usual:
        say(
            f"{material.label} seems to be written for boards of the kind {profile.name}, so it is "
            f"tried on one; --profile {usual.name} tries it on one of that kind."
        )
    return profile


def _setting(
    asked: dict[str, Any], material: Material, profile: Profile, before: Setting | None
) -> Setting:
    """Return how to try a listing: as asked, else as it was tried when its output was kept."""
    from hostlink.jobs.pin_file import pins_of, read_pin_file
    from hostlink.jobs.proving import inputs_of
    from hostlink.jobs.run.answers import read_answers
    from hostlink.jobs.trying import Setting, kind_for

    known = before or Setting("", tuple(inputs_of(material) or ()), pins=pins_of(material))
    given = dict(asked)
    if "input_path" in given:
        given["inputs"] = tuple(read_answers(given.pop("input_path")))
    if "pins" in given:
        given["pins"] = read_pin_file(given["pins"], kind_for(profile).language.pins)
    return dataclasses.replace(known, profile=profile.name, **given)


def _text(common: CommonOptions, material: Material, profile: Profile) -> str:
    """Return the text as it would be loaded; that of a shipped program is adapted."""
    from hostlink.cli.progress import Teller
    from hostlink.jobs.language_of import LanguageError, in_language_of

    if material.shipped is None:
        return material.text
    emit = Teller(quiet=common.quiet).emit
    try:
        return in_language_of(profile, material, emit, despite=False, allow=lambda _: False).text
    except LanguageError as error:
        raise error.but(
            kept="Nothing was run.",
            advice="Try it on another kind of board, or rewrite the forms named above by hand.",
        ) from error


def _show(common: CommonOptions, tried: Tried, *, has_table: bool) -> None:
    """Print what a program did."""
    from hostlink.jobs.stepping import put_out

    walk = tried.walk
    if common.json:
        as_json(tried.as_dict())
        return
    if tried.output:
        listing_text(tried.output)
    bank = walk.state.pins
    if bank.changes and has_table:
        rows = [[f"{each.ms:.0f}", each.pin, put_out(each)] for each in bank.changes]
        table(["ms", "pin", "put out"], rows, right=("ms",))
        if bank.missing:
            say(bank.missing)


def _say_compared(common: CommonOptions, tried: Tried, *, is_new: bool) -> None:
    """Say whether a program did what is expected. is_new: that was kept just now."""
    expected = tried.expected
    if expected is None or common.json:
        return
    if is_new:
        say(f"This is expected from {expected.revision} on.", quiet=common.quiet)
    elif tried.differs:
        for row in (f"It is not what {expected.revision} did:", *tried.differs):
            say(row)
    else:
        say(f"As expected: {expected.revision} did the same.", quiet=common.quiet)


def show_trace(steps: Iterable[dict[str, Any]], *, is_json: bool) -> None:
    """Print each statement as it is run; a trace of any length takes little memory."""
    rows = map(json.dumps if is_json else _trace_row, steps)
    before = "["
    if not is_json:
        data(f"{'statement':>9} {'line':>6} {'ms':>10} sets, prints")
    while some := list(islice(rows, _AT_ONCE)):
        listing_text(before + ",\n".join(some) if is_json else "\n".join(some))
        before = ","
    if is_json:
        data("]" if before == "," else "[]")


def _trace_row(step: dict[str, Any]) -> str:
    sets = "".join(f" {name}={value}" for name, value in step["sets"].items())
    prints = f" {json.dumps(step['prints'])}" if step["prints"] else ""
    return f"{step['statement']:>9} {step['line'] or '':>6} {step['ms']:>10.1f}{sets}{prints}"


def _say_ended(common: CommonOptions, tried: Tried) -> None:
    """Say how a program ended, how long it ran, and how much memory is left."""
    walk, setting = tried.walk, tried.setting
    at = "" if walk.stood_at is None else f" in line {walk.stood_at}"
    if walk.missing:
        where = f"The practice board stopped{at}, at {walk.missing}"
        say(f"{where}: this is not an error in the listing.")
    elif tried.ended == "error":
        number = walk.stood_at or 0
        say(ends_in_error("The program", number, tried.error))
        say(line_is(number, walk.board.lines.get(number, b"").decode("latin-1")))
    elif tried.ended == "input":
        say(f"{no_more_input(walk.question or '', at)} {give_answers(COMMANDS.answer_from_file)}")
    elif tried.ended == "statements":
        say(
            f"{not_ended(plural(setting.statements, 'statement'))}; it was stopped{at}. "
            f"{LOOK_FOR_LOOP}, or allow more with --statements."
        )
    elif tried.ended == "stopped":
        say(f"It was stopped{at}; what it did until then is shown.")
    elif tried.ended == "seconds":
        say(f"{not_ended(f'{setting.seconds:g} s')}; it was stopped{at}.")
    if walk.unasked:
        say(f"Not asked for: {plural(walk.unasked, 'answer')}.", quiet=common.quiet)
    if walk.cut:
        say(f"It printed more than {plural(walk.printed, 'byte')}; the rest is not shown.")
    say(
        f"{plural(walk.statements, 'statement')}, {walk.seconds:,.1f} s on the board "
        f"{setting.profile}; {plural(walk.board.free(), 'byte')} of its memory left.",
        quiet=common.quiet,
    )


def _try_all(common: CommonOptions, tag: str | None) -> int:
    from hostlink.jobs.trying import check_all

    with common.archive(create=False, read_only=True) as archive, stoppable() as stopped:
        rows = [_result(*each) for each in check_all(archive, tag, stopped)]
    heads = ["program", "tried", "expected", "result"]
    if common.json:
        as_json([dict(zip(heads, row, strict=True)) for row in rows])
    else:
        table(heads, rows)
    good = sum(row[-1] == _AS_EXPECTED for row in rows)
    say(f"{good} of {plural(len(rows), 'program')} as expected.", quiet=common.quiet)
    if stopped():
        say("It was stopped; the other programs were not tried.")
        return ExitStatus.INTERRUPTED
    return ExitStatus.DONE if good == len(rows) else ExitStatus.READ_BACK_DIFFERS


_AS_EXPECTED = "as expected"
_DIFFERS = {"-": "expected", "+": "now"}


def _result(expected: Run, tried: Tried | HostlinkError) -> list[str]:
    """Return the cells of a row: program, revision tried, revision expected, and the result."""
    names = [expected.program, "", expected.revision]
    if isinstance(tried, HostlinkError):
        return [*names, f"not tried: {tried.what}"]
    names[1] = tried.label
    if tried.walk.missing:
        return [*names, f"not known: {cannot_run(tried.walk.missing)}"]
    first = {row[0]: " ".join(row[1:].split()) for row in reversed(tried.differs)}
    told = [f'{said} "{first[sign]}"' for sign, said in _DIFFERS.items() if sign in first]
    return [*names, f"differs: {', '.join(told)}" if told else _AS_EXPECTED]
