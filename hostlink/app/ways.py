"""How a user of the app follows advice: with which key, or in answer to which question."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from hostlink.advice import Advice, Ways, advice_text
from hostlink.app.actions.table import way_to, with_keys
from hostlink.errors import HostlinkError
from hostlink.sentences import REVISIONS_KEPT


class _KeysNow(Ways):
    """A `Ways` that names each action by the key that it has now."""

    def __getattribute__(self, name: str) -> Any:
        way = super().__getattribute__(name)
        return with_keys(way) if isinstance(way, str) else way


_ASKED = "when you are asked"
_SURVEY = "with <boards>, then <boards.survey>"


def _always(way: str) -> Callable[..., str]:
    """Return a function that ignores its arguments and returns this phrase."""
    return lambda *_: with_keys(way)


def _of(way: str, before: str = ", ") -> Callable[[str], str]:
    """Return a function that returns this phrase followed by the thing that it acts on."""
    return lambda what: f"{with_keys(way)}{before}{what}"


def _load(spec: str) -> str:
    return f"with {way_to('open')}, as {spec}, then {way_to('load')}"


KEYS = _KeysNow(
    ports="with <boards>",
    meet="with <boards>, then <boards.meet>",
    allow_restart=_ASKED,
    label_board="with <boards>, then <boards.label>",
    name_port="with <boards>, then <boards.other>",
    name_speed=_SURVEY,
    name_profile="in the settings (<settings>)",
    stop_running="with <interrupt>",
    survey=_SURVEY,
    survey_discarding=_SURVEY,
    learn=_ASKED,
    keep_no_record="",
    record_elsewhere="",
    discard_board=_ASKED,
    restart_discarding="with <restart>, without keeping",
    look_in_console="in the console (<console>)",
    save_with_name="with <save>",
    save_all_the_same=_ASKED,
    store="with <stored>",
    answer_questions="in the file with its answers, or in the console after <run>",
    answer_from_file="with <run-input>",
    allow_time="with <run-input>",
    load=_load,
    load_despite_review=_load,
    load_adapted=_always(_ASKED),
    name_listing="with <name>",
    replace=_ASKED,
    shrink="with <shrink>",
    shrink_to_fit=_always("with <shrink>"),
    review=_always("with <findings>"),
    mend=_always("with <mend>"),
    adapt=_always("with <adapt>"),
    review_rules="with <findings>",
    write_sheet="with <sheet>",
    keep=_always("with <open>"),
    expect=lambda what: f"on the command line, with `hostlink try {what} --expect`",
    programs="with <find>",
    shipped_programs="with <find>",
    rescues="with <rescues>",
    history=_always("with <history>"),
    bring_back=_always("with <history>, then <revisions.retire>"),
    name_archive="with HOSTLINK_ARCHIVE in the environment of the app",
    prove="with <prove>",
    rebuild="with <prove>",
    import_any="with <import>",
    import_this=_of("with <import>", ", from "),
    export="with <export>",
    export_learners="by naming each program",
    backups="with <put-back>",
    look_by_backup="with <stored>",
    put_back=_of("with <put-back>"),
    put_back_items=lambda spec, names: (
        f"with {way_to('put-back')}, {spec}, by marking {', '.join(names)}"
    ),
    put_back_by_profile=_of("with <put-back>"),
    write_previous="with <firmware.back> on the firmware screen",
    write_previous_discarding="with <firmware.back> on the firmware screen",
    write_image="with <firmware.write> on the firmware screen",
    write_again=_of("with <firmware.write> on the firmware screen", ", from "),
    write_image_discarding="with <firmware.write> on the firmware screen",
    write_first_image="with <firmware>, then <firmware.write>",
    firmware_history="with <firmware-history>",
    say_role=_ASKED,
    say_board=_always(_ASKED),
    say_new_board=_ASKED,
    say_chip="at the command line, with --chip",
    say_bootloader_size=_ASKED,
)


def in_keys(advice: Advice) -> str:
    """Return advice in the app's keys."""
    return advice_text(advice, KEYS)


def error_rows(error: HostlinkError) -> list[str]:
    """Return an error in rows for a box: what happened, what was not lost, what to do."""
    advice = in_keys(error.advice)
    # Escape closes the box before it opens the line of words.
    when = " after closing this" if way_to("words") in advice else ""
    rows = (error.what, error.kept, advice and f"What to do{when}: {advice}")
    return [row for row in rows if row]


def shown_error(error: BaseException) -> HostlinkError:
    """Return an error as the app shows it, with its advice in the app's keys.

    An error that is no HostlinkError is returned as a fault in hostlink.
    """
    if isinstance(error, HostlinkError):
        return error.but(advice=in_keys(error.advice))
    return HostlinkError(
        f"Something went wrong inside hostlink: {type(error).__name__}: {error}",
        kept=REVISIONS_KEPT,
        advice="Please tell the authors what you did; close the app and open it again.",
    )
