"""Sentences that several screens say, each made here once; see hostlink/sentences.py."""

from __future__ import annotations

LEAVE_IT = "Leave it as it is"
LEAVE_BOARD = "Leave the board as it is"
INTO_EDITOR = "takes the listing into the editor"
UNDOABLE = f"Enter {INTO_EDITOR}, where Ctrl+Z undoes it; nothing is kept or sent."
EDITOR_STAYS = "The text in the editor stays as it is"
TEXT_NOT_KEPT = "The text in the editor is not in the archive."
NEXT_START_OFFERS = "the next start of hostlink offers it"
WHICH_PROGRAMS = "Programs by name, with blanks between them; none means all."
WHAT_CAN_BE_NAMED = "A file, a listing sheet, a program, a revision such as TIDE@2"
AT_CURSOR = "The one at the cursor"
GOES_TO_LINE = "Enter goes to the line."
SHOWS_WORDS = "shows words for all jobs"
NOTHING_WRONG = "The review found nothing wrong."
STOPPING = "Stopping, in good order"
ASKED_FOR_NAME = "What is the program called?"
STILL_IN_EDITOR = "The listing is still in the editor."
NOTHING_SENT_YET = "Nothing has been sent yet."
OVERWRITTEN = "What boards held before it was overwritten"
PROGRAM_ENDED = "The program has ended"
RUN_PROGRAM = "Run the program on the board"
NO_BOARD = "No board is attached."
SHOWS_BOARDS = "shows the boards that are here"


def under_which_name(thing: str, do: str = "keep") -> str:
    """Return the question for the name of something. do: keep, or store."""
    return f"Under which name do you want to {do} {thing}?"
