"""How a user of the command line follows advice: with which command or option."""

from __future__ import annotations

import dataclasses
import re
import shlex
from collections.abc import Sequence

from hostlink.advice import Advice, By, Ways, advice_text


def _with(*words: str) -> str:
    return f"with `hostlink {' '.join(word for word in words if word)}`"


def _on(command: str, *more: str) -> By:
    """Return a function that names a command with its argument quoted for a shell."""
    return lambda what: _with(command, shlex.quote(what), *more)


def _profile(name: str) -> str:
    return f"--profile {shlex.quote(name)}" if name else ""


def _keep(what: str) -> str:
    """Return how a listing is kept: a shipped one has no file to take its name from."""
    from hostlink.jobs.listing_source import SHIPPED

    name = what.removeprefix(SHIPPED)
    return _with("keep", shlex.quote(what), "" if name == what else f"--as {shlex.quote(name)}")


def _put_back_items(spec: str, names: Sequence[str]) -> str:
    return _with("putback", spec, *(f"--item {shlex.quote(name)}" for name in names))


COMMANDS = Ways(
    ports=_with("boards"),
    meet=_with("meet"),
    allow_restart="with --yes",
    label_board=_with("boards --label LABEL --port PORT"),
    name_port="with --port",
    name_speed="with --baud",
    name_profile="with --profile",
    stop_running="with --stop-running",
    survey=_with("survey --storing"),
    survey_discarding=_with("survey --storing --discard-board --keep NAME"),
    learn="with --learn",
    keep_no_record="by leaving out --record",
    record_elsewhere="with --record",
    discard_board="with --discard-board",
    restart_discarding=_with("restart --discard-board"),
    look_in_console=f"{_with('console')} at a terminal",
    save_with_name=_with("save NAME"),
    save_all_the_same="with --yes",
    store=_with("store"),
    answer_questions="at the keyboard, through a pipe, or from a file with --input FILE",
    answer_from_file="with --input FILE",
    allow_time="with --seconds",
    load=_on("load"),
    load_despite_review=_on("load", "--despite-review"),
    load_adapted=_on("load", "--adapt"),
    name_listing="with --as NAME",
    replace="with --yes",
    shrink=_with("shrink WHAT"),
    shrink_to_fit=lambda what, room, profile: _with(
        "shrink", what, "--to-fit", f"--room {room}", _profile(profile), "-o NEW-FILE"
    ),
    review=lambda what, profile: _with("review", what, _profile(profile)),
    mend=lambda what, profile: _with("mend", what, _profile(profile), "-o NEW-FILE"),
    adapt=lambda what, source, target: _with(
        "adapt", what, f"--from {shlex.quote(source)}", _profile(target)
    ),
    review_rules=_with("review --rules"),
    write_sheet=_with("sheet"),
    keep=_keep,
    expect=_on("try", "--expect"),
    programs=_with("programs"),
    shipped_programs=_with("programs --shipped"),
    rescues=_with("programs --rescues"),
    history=_on("history"),
    bring_back=_on("return"),
    name_archive="with --archive FILE",
    prove=_with("archive prove"),
    rebuild=_with("archive prove --rebuild"),
    import_any=_with("archive import"),
    import_this=_on("archive import"),
    export=_with("archive export"),
    export_learners="with --learners",
    backups=_with("backup --list"),
    look_by_backup=_with("backup"),
    put_back=_on("putback"),
    put_back_items=_put_back_items,
    put_back_by_profile=_on("putback", "--profile NAME"),
    write_previous=_with("firmware write --previous"),
    write_previous_discarding=_with("firmware write --previous --discard-board"),
    write_image=_with("firmware write IMAGE"),
    write_again=_on("firmware write"),
    write_image_discarding=_with("firmware write IMAGE --discard-board"),
    write_first_image=_with("firmware write IMAGE --new-board")
    + " (in place of IMAGE, the name of your file, which ends in .hex)",
    firmware_history=_with("firmware history"),
    say_role="with --role computer or --role display",
    say_board=lambda role: f"with --this-board {role or 'computer'}",
    say_new_board="with --new-board",
    say_chip="with --chip",
    say_bootloader_size="with --bootloader-bytes",
)


IN_MEET = dataclasses.replace(
    COMMANDS,
    allow_restart=_with("meet --yes"),
    name_port=_with("meet --port PORT"),
    name_speed=_with("meet --baud BAUD"),
    name_profile=_with("meet --profile NAME"),
    stop_running=_with("meet --stop-running"),
)
"""The commands, with each that repeats `meet` written out."""

IN_CLASS = dataclasses.replace(COMMANDS, load_adapted=lambda _: "with --adapt")
"""The commands and options, as `class` names them."""

IN_CONSOLE = dataclasses.replace(COMMANDS, look_in_console="here", stop_running="by interrupt!")
"""The commands, as the console names them."""

_AT_A_BOARD = re.compile(
    r"`hostlink (?!backup --list|[^`]*--port)"
    r"((?:meet|survey|restart|console|save|store|load|putback|backup|firmware write)\b[^`]*)`"
)


def at_port(text: str, port: str) -> str:
    """Return advice with the board's port in each command that talks to a board.

    port: as the user gave it; "" leaves the text as it is.
    """
    if not port:
        return text
    named = f"--port {shlex.quote(port)}"
    text = _AT_A_BOARD.sub(lambda found: f"`hostlink {found[1]} {named}`", text)
    return text.replace(
        "`hostlink boards --label LABEL --port PORT`", f"`hostlink boards --label LABEL {named}`"
    )


def in_commands(advice: Advice, port: str = "", by: Ways | None = None) -> str:
    """Return advice in commands and options. port: as for `at_port`. by: COMMANDS if None."""
    return at_port(advice_text(advice, by or COMMANDS), port)
