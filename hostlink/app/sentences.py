"""Sentences that several screens say, each made here once; see hostlink/sentences.py."""

from __future__ import annotations

LEAVE_BOARD = "Leave the board as it is"
INTO_EDITOR = "takes the listing into the editor"
UNDOABLE = f"Enter {INTO_EDITOR}, where Ctrl+Z takes it back; nothing is kept or sent."
EDITOR_STAYS = "The editor stays as it was"
TEXT_NOT_KEPT = "The text in the editor is not in the archive."
NEXT_START_OFFERS = "the next start of hostlink offers it"
WHICH_PROGRAMS = "Programs by name, parted by blanks; none means all."
WHAT_CAN_BE_NAMED = "A file, a listing sheet, a program, a revision such as TIDE@2"
OVERWRITTEN = "What boards held before it was overwritten"
RUN_PROGRAM = "Run the program on the board"
NO_BOARD = "No board is attached."
SHOWS_BOARDS = "shows the boards that are here"
