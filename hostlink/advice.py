"""Advice that each interface gives in its own terms: a command and an option, or a key.

The layers below know what helps, but not whether somebody types commands or presses keys. Their
advice is a text, or a function that makes a text from `Ways`, such as

    lambda by: f"Plug the board in and look at the ports {by.ports}."

The command line fills in one `Ways`, the app another. mypy checks that each of them names every
way, and that no advice asks for an unknown one; a table with an enum as its key would have only
the second check.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import TypeAlias

_BEFORE_MARK = re.compile(r"\s+(?=[.,;:!?)](?![\w`]))")

By: TypeAlias = Callable[[str], str]
"""How something is done with a named thing: a program, a backup, a folder."""


# Most commands load this class at their start, and it has one instance for each interface: no
# comparison, representation or freezing is generated, which would take twice as long.
@dataclass(kw_only=True, eq=False, repr=False)
class Ways:
    """How a user does each thing that is advised: a phrase such as "with --port", or "".

    discard_board: overwrite what a board holds although it is not kept. previous: the firmware that
    was there before. items: the items of a backup to restore.
    """

    # the port and how to talk
    ports: str
    meet: str
    allow_restart: str
    label_board: str
    name_port: str
    name_speed: str
    name_profile: str
    stop_running: str
    survey: str
    survey_discarding: str
    learn: str
    keep_no_record: str
    record_elsewhere: str
    # what a board holds
    discard_board: str
    restart_discarding: str
    look_in_console: str
    save_with_name: str
    save_all_the_same: str
    store: str
    answer_questions: str
    answer_from_file: str
    allow_time: str
    load: By
    load_despite_review: By
    load_adapted: By
    # listings
    name_listing: str
    replace: str
    shrink: str
    shrink_to_fit: Callable[[str, int, str], str]
    review: Callable[[str, str], str]
    mend: Callable[[str, str], str]
    adapt: Callable[[str, str, str], str]
    review_rules: str
    write_sheet: str
    keep: By
    expect: By
    # the archive
    programs: str
    shipped_programs: str
    rescues: str
    history: By
    bring_back: By
    name_archive: str
    prove: str
    rebuild: str
    import_any: str
    import_this: By
    export: str
    export_learners: str
    # backups and firmware
    backups: str
    look_by_backup: str
    put_back: By
    put_back_items: Callable[[str, Sequence[str]], str]
    put_back_by_profile: By
    write_previous: str
    write_previous_discarding: str
    write_image: str
    write_again: By
    write_image_discarding: str
    write_first_image: str
    firmware_history: str
    say_role: str
    say_board: By
    say_new_board: str
    say_chip: str
    say_bootloader_size: str


Advice: TypeAlias = str | Callable[[Ways], str]


def advice_text(advice: Advice, by: Ways | None = None) -> str:
    """Return advice as text. by: the interface's ways; None leaves out how each thing is done."""
    if isinstance(advice, str):
        return advice
    return _BEFORE_MARK.sub("", advice(by or _UNTOLD)).strip()


def join_advice(*parts: Advice) -> Advice:
    """Join several pieces of advice to one, without the empty ones."""
    held = [part for part in parts if part]
    if all(isinstance(part, str) for part in held):
        return " ".join(advice_text(part) for part in held)
    return lambda by: " ".join(text for part in held if (text := advice_text(part, by)))


class _Untold(str):
    """A way that has no words, whether read or called."""

    __slots__ = ()

    def __call__(self, *_: object) -> str:
        return ""


_UNTOLD = Ways(**dict.fromkeys((field.name for field in fields(Ways)), _Untold()))
