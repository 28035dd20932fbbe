"""The keys and questions of the app that do what the jobs advise."""

from __future__ import annotations

from collections.abc import Callable

from hostlink.advice import Advice, Ways, advice_text
from hostlink.app.actions.table import way_to
from hostlink.errors import HostlinkError


def _with(action: str) -> str:
    """Return how an action of the desk is reached. action: its id."""
    return f"with {way_to(action)}"


_ASKED = "when you are asked"
_BOARDS = _with("boards")
_SURVEY = f"{_BOARDS}, then S"
_SETTINGS = f"in the settings ({way_to('settings')})"
_PUT_BACK = _with("put-back")
_SHRINK = _with("shrink")
_REVIEW = _with("findings")
_ARCHIVE = _with("find")
_STORED = _with("stored")
_PROVE = _with("prove")
_IMPORT = _with("import")


def _always(key: str) -> Callable[..., str]:
    """Return a function that names a key, whatever it is to act on."""
    return lambda *_: key


KEYS = Ways(
    ports=_BOARDS,
    meet=f"{_BOARDS}, then M",
    allow_restart=_ASKED,
    label_board=f"{_BOARDS}, then L",
    name_port=_BOARDS,
    name_speed=_SURVEY,
    name_profile=_SETTINGS,
    stop_running=_with("interrupt"),
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
    store=_STORED,
    answer_questions=f"in the file with its answers, or in the console after {way_to('run')}",
    answer_from_file=_with("run-input"),
    allow_time=_with("run-input"),
    load=lambda spec: f"with Ctrl+O, as {spec}, then Ctrl+L",
    load_despite_review=lambda spec: f"with Ctrl+O, as {spec}, then Ctrl+L",
    load_adapted=_always(_ASKED),
    name_listing=_with("name"),
    replace=_ASKED,
    shrink=_SHRINK,
    shrink_to_fit=_always(_SHRINK),
    review=_always(_REVIEW),
    mend=_always(_with("mend")),
    adapt=_always(_ASKED),
    review_rules=_REVIEW,
    write_sheet=_with("sheet"),
    keep=_always("with Ctrl+O"),
    expect=lambda what: f"on the command line, with `hostlink try {what} --expect`",
    programs=_ARCHIVE,
    shipped_programs=_ARCHIVE,
    rescues=_with("rescues"),
    history=_always(_with("history")),
    bring_back=_always(f"{_with('history')}, then T"),
    name_archive="at the command line, with --archive FILE",
    prove=_PROVE,
    rebuild=_PROVE,
    import_any=_IMPORT,
    import_this=lambda path: f"{_IMPORT}, from {path}",
    export=_with("export"),
    backups=_PUT_BACK,
    look_by_backup=_STORED,
    put_back=lambda spec: f"{_PUT_BACK}, {spec}",
    put_back_items=lambda spec, names: f"{_PUT_BACK}, {spec}, by marking {', '.join(names)}",
    put_back_by_profile=lambda spec: f"{_PUT_BACK}, {spec}",
    write_previous="with G on the firmware screen",
    write_previous_discarding="with G on the firmware screen",
    write_image="with W on the firmware screen",
    write_image_discarding="with W on the firmware screen",
    write_first_image=f"{_with('firmware')}, then W",
    firmware_history=_with("firmware-history"),
    say_role=_ASKED,
    say_board=_always(_ASKED),
    say_new_board=_ASKED,
    say_chip="at the command line, with --chip",
    say_bootloader_size=_ASKED,
)


def advised(advice: Advice) -> str:
    """Return advice in the app's keys."""
    return advice_text(advice, KEYS)


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
