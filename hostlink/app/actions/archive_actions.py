"""What one can do with several boards, and with the archive as a whole."""

from __future__ import annotations

from hostlink.app.actions.action import ARCHIVE, BOARD, DeskAction
from hostlink.app.sentences import OVERWRITTEN

ARCHIVE_ACTIONS = (
    DeskAction(
        "several",
        "",
        "Several boards at once",
        "Load, save or back up each of them",
        lambda desk: desk.screens.several(),
        BOARD,
        also="many all class boards together every",
    ),
    DeskAction(
        "run-input",
        "",
        "Run with an input file",
        "Its answers come from a file",
        lambda desk: desk.input_run.ask(),
        BOARD,
        also="answers input file run output",
    ),
    DeskAction(
        "firmware-history",
        "",
        "Firmware written before",
        "To which board; and back to the image before",
        lambda desk: desk.screens.firmware_history(),
        BOARD,
        also="image history record flash back previous",
    ),
    DeskAction(
        "rescues",
        "",
        "Rescues",
        OVERWRITTEN,
        lambda desk: desk.screens.rescues(),
        ARCHIVE,
        also="lost overwritten before recover undo",
    ),
    DeskAction(
        "tags",
        "",
        "Tags and note",
        "Of the program; the search finds it by them",
        lambda desk: desk.archive_jobs.tags(),
        ARCHIVE,
        also="label keyword describe comment",
    ),
    DeskAction(
        "compare-two",
        "",
        "Compare two listings",
        "Any two files, programs, revisions",
        lambda desk: desk.comparing.compare_two(),
        ARCHIVE,
        also="difference diff changes",
    ),
    DeskAction(
        "export",
        "",
        "Export the archive",
        "As a BagIt folder, all of it or some programs",
        lambda desk: desk.archive_jobs.export(),
        ARCHIVE,
        also="bag folder share write copy",
    ),
    DeskAction(
        "import",
        "",
        "Import into the archive",
        "A BagIt folder or another archive",
        lambda desk: desk.archive_jobs.take_in(),
        ARCHIVE,
        also="bag merge read take in",
    ),
    DeskAction(
        "duplicate",
        "",
        "Duplicate the archive",
        "Into one new file, proven",
        lambda desk: desk.archive_jobs.duplicate(),
        ARCHIVE,
        also="copy safe backup file",
    ),
    DeskAction(
        "prove",
        "",
        "Prove the archive",
        "Every hash and reference; mend the index",
        lambda desk: desk.archive_jobs.prove(),
        ARCHIVE,
        also="check verify damage repair rebuild",
    ),
)
