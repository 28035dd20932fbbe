"""Sentences that several files say, each made here once, as tests/test_sentences.py checks.

A sentence that only one file says stays beside the code that decides on it. Each name says what
its sentence says. A text that begins with a small letter is a clause, for the middle of a sentence.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from hostlink.words import plural, safe

if TYPE_CHECKING:
    from pathlib import Path

    from hostlink.advice import Ways

# --- what happened -------------------------------------------------------------------------------

THE_BOARD = "the small board with the USB socket"
MEMORY_IS_LOST = "what its memory holds is lost"
CONTENTS_UNKNOWN = "what it holds is not known"
EMPTIED = "it restarted or lost its supply since, or was cleared at its keyboard"
RESTARTED_AT_OPENING = "restarted when its port was opened, and lost its memory then"
NO_RESTART_LINE = "a plain network connection has no restart line"
UNREADABLE_NOW = "now cannot be read"
NOT_KEPT = "not kept, as you asked"
FAR_TOO_LONG = "has a line that is far too long"
BY_NEWER_HOSTLINK = "was written by a newer hostlink"
NOBODY_TO_ASK = "and nobody can be asked here"
NOT_ALL_FITS = "Not all of it can go on this board"
NO_BOARD_HERE = "No board is plugged in"
BOARD_AWAY = "The board is not here"
MAY_HAVE_NO_BOOTLOADER = "this board may have none"
ANALOG_PIN = "ADC0 is an analog input."
RESTARTED = "The board was restarted."
ONLY_RESTART_HELPS = "only a restart helps"
DAMAGED = "the wire damages bytes"
NO_LABEL = "a board without a label"
LIKE_KIND = "like a board of kind"
SO_FULL = "its memory is so full that it"
TAKES_NOTHING = "takes nothing more"
IS_SILENT = "is silent, or its program prints rarely"
VARIABLES_LOST = "its variables may be lost"
NO_STOPPING_KEY = "No key is known that stops a program on this board"
UNKNOWN_KIND = "hostlink does not know this kind of board yet"
UNNAMED_LISTING = "The listing has no name, so it is not kept."
LOOKING_FOR_PROMPT = "looking for the board's prompt"
UNNAMED_PROGRAM = "a program without a name"
MUTE = "The board is mute until the rest is written."
WORD_TABLE_MISSING = "No table of BASIC words was recognised"
ASKED_FOR_ROLE = "Which board is this image for?"
ASKED_FOR_LABEL = "What do you call this board?"


def proven(what: str) -> str:
    """Return the clause that something was loaded and read back correctly."""
    return f"{what} is on the board, proven"


def ends_in_error(what: str, number: int | None, message: str) -> str:
    """Return the clause that a program ended by an error of BASIC.

    number: of the line, None if the board named none. message: the board's words.
    """
    where = "" if number is None else f" in line {number}"
    return f"{what} stopped with an error{where}: {safe(message)}"


def line_is(number: int | None, text: str) -> str:
    """Return a sentence that shows a line of a program, "" if its text is not known."""
    return f"Line {number} is: {number} {safe(text)}." if text else ""


def no_more_input(question: str, where: str = "") -> str:
    """Return the sentence that no input is left for a question. where: such as " in line 10"."""
    return f'The program asks "{safe(question.strip())}"{where}, and there is no more input.'


def not_ended(limit: str) -> str:
    """Return the clause that a program did not end by itself. limit: seconds or statements."""
    return f"The program did not end within {limit}"


def left_out(rows: Sequence[str]) -> str:
    """Return the sentence on rows without a number, which are not part of a program."""
    return f"Left out, without a number: {plural(len(rows), 'line')}, such as {rows[0][:40]!r}."


def no_numbered_line(purpose: str = "", listing: str = "The listing") -> str:
    """Return the sentence that a listing is not a program. purpose: what was to be done with it."""
    so = f", so there is nothing to {purpose}" if purpose else ""
    return f"{listing} has no numbered line{so}."


def no_name_of(thing: str, name: str) -> str:
    """Return the clause that says that a name cannot be used. thing: a profile, for instance."""
    return f'"{safe(name[:60])}" cannot be the name of a {thing}'


def no_program(more: str = "", *, restarted: bool = False) -> str:
    """Return the sentence that a board has nothing to keep. restarted: by opening its port."""
    return f"The board holds no program{more}{f': it {RESTARTED_AT_OPENING}' if restarted else ''}."


def no_pin(pin: object) -> str:
    """Return the clause that a board lacks a pin."""
    return f"the board has no pin {pin}"


def cannot_run(words: str) -> str:
    """Return the clause that a practice board lacks words that a real one of its kind runs."""
    return f"the practice board cannot run {words}, which a real board of this kind can"


def no_archive_at(path: Path) -> str:
    """Return the clause that a file that should be an archive is not there."""
    return f"There is no archive at {path}"


def no_port_address(name: str) -> str:
    """Return the clause that no port can be opened by this name."""
    return f'"{safe(name)}" is not an address of a port'


def free_memory_unsaid(why: str) -> str:
    """Return the sentence that the free memory is not known. why: a sentence."""
    return f"The board did not say how much memory is free: {why}"


# --- what was kept -------------------------------------------------------------------------------

UNTOUCHED = "The program on the board was not touched."
FILE_UNTOUCHED = "It was not touched."
NOT_RESTARTED = "the board was not restarted"
LISTING_UNCHANGED = "The listing was not changed."
BOARD_UNCHANGED = "Nothing on the board was changed."
BOARD_READ = "The board was read; nothing was changed."
NOT_OVERWRITTEN = "It was not overwritten."
NOTHING_SENT = "Nothing was sent to the board."
NOTHING_KEPT = "Nothing was kept in the archive."
PARTLY_THERE = "the board holds a part of it"
LEFT_ALONE = "It was left as it is."
STILL_ON_BOARD = "The program is still on the board."
MAY_HAVE_ONE_MORE = (
    "Whatever the board held is still there, but what was typed to read it may have arrived "
    "damaged and become one more line."
)
BACK_IN_MEMORY = "They are in its memory again."
STILL_IN_MEMORY = "The program is still in the board's memory."
ARCHIVE_UNCHANGED = "The archive was not changed."
REVISIONS_KEPT = "The archive keeps every revision that was acknowledged."
STILL_READABLE = "Its text can still be read with any SQLite tool."
PRINTED_ABOVE = "what it printed is above"
NO_PORT_OPENED = "No port was opened."
PORT_NOT_OPENED = "The port was not opened."


def is_unchanged(what: str = "Memory") -> str:
    """Return the sentence that memory or a slot was not changed, or was put back."""
    return f"{what} holds what it held before."


def held_before(spec: str = "") -> str:
    """Return the sentence that what a board held is in the archive. spec: as what, if known."""
    return f"What it held before is kept{f' as {spec}' if spec else ''}."


def programs_kept(backup: str) -> str:
    """Return the sentence that the programs of a board are in a backup. backup: its spec."""
    return f"Its programs are kept as {backup}."


def printed_in(path: Path) -> str:
    """Return the sentence that says in which file the output of a run is."""
    return f"What it printed is in {path}."


def last_known(spec: str) -> str:
    """Return the clause that a lost program is in the archive."""
    return f"its last known program is kept as {spec}"


def may_hold_another(what: str, spec: str) -> str:
    """Return the sentence that memory or a slot may have changed. spec: what it held, if kept."""
    kept = f"is kept as {spec}" if spec else f"was {NOT_KEPT}"
    return f"{what} may hold another program; what it held {kept}."


# --- what to do ----------------------------------------------------------------------------------

CHECK_WIRE = "Check the cable and the speed."
CHECK_WIRE_AND_PROFILE = "Check the cable and the speed, and that the profile fits this board."
NAME_IDLE_ROW = (
    "If the board prints a row by itself, stop what prints it, or, unless it begins with a number, "
    "name it as idle_chatter in its profile, which a survey writes, with {number} for a number "
    "that changes."
)
IF_IT_PRINTS = "If the board prints rows by itself, stop that."
STOP_PRINTING = "Stop what prints it, then try again."
CHECK_FILE = "Check the name of the file."
CHECK_FILE_OR_FOLDER = "Check the name of the file or folder."
LOOK_AT_DISK = "Check the disk and its free space, then try again."
PRESS_RESTART = "Press the board's own restart button"
PLUG_IN = f"Plug {THE_BOARD} into this computer"
CHECK_FAR = "Check that the remote computer still serves the board"
PLUG_IN_AGAIN = "Plug the board in again, then repeat what you did"


def give_answers(how: str) -> str:
    """Return the advice for a program that ran out of answers. how: a way to give them."""
    return f"Give an answer for each question: {how}."


LOOK_FOR_LOOP = "Look for an endless loop"
CLOSE_OTHER = "Close the other program, then try again."
START_FRESH = "start the practice board fresh"
REPEAT = "Repeat the command to complete it."
TRY_WHEN_FINISHED = "Try again when it has finished."
WHAT_LEARNING_DOES = "this board's profile then says so, and the load is proven by it"


def mend_or_change(what: str) -> str:
    """Advise to mend a listing, or to change `what`, certain characters in it, by hand."""
    return f"Mend the listing, or change {what} by hand."


def check_it_is(what: str) -> str:
    """Advise on a name that leads to something unexpected, in a sentence. what: file or folder."""
    return f"Check that it is the {what} you meant."


def when_link_is_back(job: str) -> str:
    """Advise to repeat a job later, in a sentence. job: Load, or Save."""
    return f"{job} again when the link is back."


def stop_it(by: Ways) -> str:
    """Advise to stop a program that runs, in a clause."""
    return f"stop it {by.stop_running} ({VARIABLES_LOST})"


def let_be_lost(by: Ways) -> str:
    """Advise to give up what a board holds, in a clause."""
    return f"say that it may be lost {by.discard_board}"


def name_speed(by: Ways) -> str:
    """Advise to name the speed of a board, if it is known, in a sentence."""
    return f"If you know the board's speed, name it {by.name_speed}."


def name_another_file(by: Ways) -> str:
    """Advise to name another file, or to replace one that exists, in a sentence."""
    return f"Name another file, or replace it {by.replace}."


def go_back(by: Ways, way: str = "") -> str:
    """Advise to write a board's previous firmware, in a clause. way: how, if not as usual."""
    return f"go back to the firmware before it {way or by.write_previous}"


def look_in_duplicate(by: Ways) -> str:
    """Advise on something damaged in the archive, in a clause."""
    return f"look for it in a duplicate of the archive {by.name_archive}"


def find_how_far(by: Ways) -> str:
    """Advise to find out which part of a board answers, in a clause."""
    return f"find out how far it answers {by.meet}"


def lift_wire(driver: str = "the other board", driven: str = "this one") -> str:
    """Advise to disconnect the wire by which another board drives a pin, in a clause."""
    return f"lift the wire by which {driver} drives {driven}'s RX pin"
