"""The keys and questions of the app that do what the jobs advise."""

from __future__ import annotations

from collections.abc import Callable

from hostlink.advice import Advice, Ways, told
from hostlink.errors import HostlinkError

_ASKED = "when you are asked"
_SURVEY = "with Alt+Y, then S"
_SETTINGS = "in the settings (Alt+S)"
_PUT_BACK = "with Alt+P"


def _always(key: str) -> Callable[..., str]:
    """Return a function that names a key, whatever it is to act on."""
    return lambda *_: key


KEYS = Ways(
    ports="with Alt+Y",
    meet="with Alt+Y, then M",
    allow_restart=_ASKED,
    label_board="with Alt+Y, then L",
    name_port="with Alt+Y",
    name_speed=_SURVEY,
    name_profile=_SETTINGS,
    stop_running="with Alt+X",
    survey=_SURVEY,
    survey_discarding=_SURVEY,
    learn=_ASKED,
    keep_no_record="",
    record_elsewhere="",
    discard_board=_ASKED,
    restart_discarding="by its own button",
    look_in_console="in the console (Ctrl+T)",
    save_with_name="with Ctrl+G",
    save_all_the_same=_ASKED,
    store="with Alt+O",
    answer_from_file="",
    allow_time="",
    load=lambda spec: f"with Ctrl+O, as {spec}, then Ctrl+L",
    load_despite_review=lambda spec: f"with Ctrl+O, as {spec}, then Ctrl+L",
    name_listing="with Alt+N",
    replace=_ASKED,
    shrink="with Alt+D",
    shrink_to_fit=_always("with Alt+D"),
    review=_always("with Alt+V"),
    mend=_always("with Alt+M"),
    review_rules="with Alt+V",
    write_sheet="with Alt+W",
    keep=_always("with Ctrl+O"),
    programs="with Ctrl+F",
    shipped_programs="with Ctrl+F",
    rescues="with Ctrl+F",
    history=_always("with Alt+H"),
    name_archive="at the command line, with --archive FILE",
    prove="at the command line, with `hostlink archive prove`",
    rebuild="at the command line, with `hostlink archive prove --rebuild`",
    import_any="at the command line, with `hostlink archive import`",
    import_this=lambda path: f"at the command line, with `hostlink archive import {path}`",
    export="at the command line, with `hostlink archive export`",
    backups=_PUT_BACK,
    look_by_backup="with Alt+O",
    put_back=lambda spec: f"with Alt+P, {spec}",
    put_back_items=lambda spec, names: f"with Alt+P, {spec}, by marking {', '.join(names)}",
    put_back_by_profile=lambda spec: f"with Alt+P, {spec}",
    write_previous="with G on the firmware screen",
    write_previous_discarding="with G on the firmware screen",
    write_image="with W on the firmware screen",
    write_image_discarding="with W on the firmware screen",
    write_first_image="with Alt+I, then W",
    firmware_history="with Alt+I, then a lone -",
    say_role=_ASKED,
    say_board=_always(_ASKED),
    say_new_board=_ASKED,
    say_chip="at the command line, with --chip",
    say_bootloader_size=_ASKED,
)


def advised(advice: Advice) -> str:
    """Return advice in the app's keys."""
    return told(advice, KEYS)


def shown_error(error: BaseException) -> HostlinkError:
    """Return an error as the app shows it: one of ours with its advice in the app's keys, any other
    one as a fault in hostlink.
    """
    if isinstance(error, HostlinkError):
        return error.but(advice=advised(error.advice))
    return HostlinkError(
        f"Something went wrong inside hostlink: {type(error).__name__}: {error}",
        kept="The archive keeps every revision that was acknowledged.",
        advice="Please tell the authors what you did; close the app and open it again.",
    )
