"""The actions that find, compare and share listings, or work on the archive as a whole."""

from __future__ import annotations

from functools import partial

from hostlink.app.actions.action import ARCHIVE, DeskAction
from hostlink.app.sentences import OVERWRITTEN

_action = partial(DeskAction, group=ARCHIVE)

ARCHIVE_ACTIONS = (
    _action(
        "find",
        "",
        "Find in the archive",
        "By name, title, tag or a line",
        lambda desk: desk.to_archive(),
        word="archive",
        letter="a",
        also="search programs library list browse shelf",
    ),
    _action(
        "history",
        "",
        "Revisions",
        "All revisions of the program",
        lambda desk: desk.screens.revisions(),
        word="revisions",
        letter="v",
        also="history versions older earlier undo retire restore",
    ),
    _action(
        "compare-board",
        "",
        "Compare with the board",
        "Line by line",
        lambda desk: desk.comparing.compare(""),
        also="difference diff changes same",
    ),
    _action(
        "give",
        "",
        "Give listings out",
        "As files or as one zip file",
        lambda desk: desk.workshop.give(),
        also="export share zip pack files write",
    ),
    _action(
        "sheet",
        "",
        "Write a listing sheet",
        "To type from, with codes",
        lambda desk: desk.workshop.sheet(),
        also="print paper page publish html",
    ),
    _action(
        "card",
        "",
        "Write the board's card",
        "Its words and limits",
        lambda desk: desk.workshop.card(),
        also="print reference page html commands help",
    ),
    _action(
        "publish",
        "",
        "Publish programs",
        "As a booklet to print, or as a web site",
        lambda desk: desk.screens.publish(),
        also="booklet book site web html print pages internet",
    ),
    _action(
        "rescues",
        "",
        "Rescues",
        OVERWRITTEN,
        lambda desk: desk.screens.rescues(),
        also="lost overwritten before recover undo",
    ),
    _action(
        "tags",
        "",
        "Tags and note",
        "Searches find the program by them",
        lambda desk: desk.archive_jobs.tags(),
        also="label keyword describe comment",
    ),
    _action(
        "compare-two",
        "",
        "Compare two listings",
        "Any two files, programs or revisions",
        lambda desk: desk.comparing.compare_two(),
        also="difference diff changes",
    ),
    _action(
        "export",
        "",
        "Export the archive",
        "As a BagIt folder, all of it or some programs",
        lambda desk: desk.archive_jobs.export(),
        also="bag folder share write copy",
    ),
    _action(
        "import",
        "",
        "Import into the archive",
        "A BagIt folder or another archive",
        lambda desk: desk.archive_jobs.take_in(),
        also="bag merge read take in",
    ),
    _action(
        "duplicate",
        "",
        "Duplicate the archive",
        "Into one new file, proven",
        lambda desk: desk.archive_jobs.duplicate(),
        also="copy safe backup file",
    ),
    _action(
        "prove",
        "",
        "Prove the archive",
        "Check every hash and reference, repair the index",
        lambda desk: desk.archive_jobs.prove(),
        also="check verify damage repair rebuild",
    ),
)
