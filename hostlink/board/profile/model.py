"""A profile: how one kind of board talks, stores and limits programs.

The values here are plain; reading and checking the TOML file is `hostlink.board.profile.file`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from hostlink.listing.reading import Reader
from hostlink.listing.rules import Rules

ONE_PLACE = "EEPROM"
"""What the one place for a stored program is called on a board where it has no name."""

LineDone = Literal["echo", "prompt", "after-prompt"]


@dataclass(frozen=True, slots=True)
class Talk:
    """How the board talks on the line. Times in milliseconds, sizes in bytes.

    baud: line speed, 8 data bits, no parity, one stop bit.
    echo: whether it sends back what it hears.
    line_end: bytes that end a typed line. reply_end: bytes that end a line from the board.
    prompt: bytes shown at the start of a line when it waits for one, b"" if it has none.
    ready: bytes that end the answer to a direct command, where that is not the prompt: some boards
        show a row such as "Ready" then, and nothing after a line that was stored.
    line_done: what the board sends only *after* a line is stored, and so confirms it: "echo" (the
        echo of the line end), "prompt", or "after-prompt" (the prompt comes first, or the echo of
        the line end if there is no prompt; storing takes up to after_prompt_ms more, 0 for
        line_ms). A confirmation sent before storing loses bytes.
    receive_buffer: bytes the board can hold while it is busy; 0 where none may arrive.
    line_ms: time to store one line. char_ms: time to take one character, 0 where it keeps up with
        the wire. line_window: most bytes that may be unechoed inside a line; 0 for no limit.
    flow: "none", or "xon-xoff" where the board pauses the host with DC3 and DC1.
    line_cancel, erase, interrupt: bytes that abandon the line being typed, take one character
        back, and stop a running program; b"" where the board has none.
    banner: text that the board shows after a restart (a part of it that is always the same).
    restarts_on_open: whether raising DTR restarts the board. restart_ms: from restart to prompt.
    start_questions: what it asks after a restart, before anything else works; each is answered
        with an empty line.
    full_sign: bytes with which it answers each character while its memory is too full for any
        line, b"" if it sends none.
    idle_chatter: texts the board may send by itself while it waits. page_prompt, page_key: what it
        shows when a listing stops after a page, and the key that makes it go on.
    """

    baud: int = 9600
    echo: bool = True
    line_end: bytes = b"\r"
    reply_end: bytes = b"\r\n"
    prompt: bytes = b"> "
    ready: bytes = b""
    line_done: LineDone = "after-prompt"
    after_prompt_ms: float = 0.0
    receive_buffer: int = 0
    line_ms: float = 50.0
    char_ms: float = 0.0
    line_window: int = 1
    flow: Literal["none", "xon-xoff"] = "none"
    line_cancel: bytes = b""
    erase: bytes = b""
    interrupt: bytes = b"\x03"
    banner: str = ""
    restarts_on_open: bool = True
    restart_ms: float = 2000.0
    start_questions: tuple[str, ...] = ()
    full_sign: bytes = b""
    idle_chatter: tuple[str, ...] = ()
    page_prompt: str = ""
    page_key: bytes = b""


@dataclass(frozen=True, slots=True)
class Commands:
    """What is typed at the prompt for each task; "" where the board cannot do it.

    free_memory is a direct command, free_answer the row of its answer that holds the number, as
    {free}; a negative one is a number of 16 bits shown with its sign.
    store, recall: with the field {name}, or without where the board has one unnamed place.
    stored: lists what is stored. list_stored: shows the program in the one unnamed place, as list
    shows the one in memory. slots: the names that the board allows, empty if it allows any word.
    error_words: how its error messages begin.
    error_forms: how they name the line, see dialogue/reported_errors.py; empty for the common ones.
    full_words: those of its error messages that say that its memory is full.
    answer_rows: rows that the board shows around what a direct command answers, such as OK after a
    listing; {number} stands for a number that changes, as in {number} LINES.
    """

    list: str = "LIST"
    answer_rows: tuple[str, ...] = ()
    clear: str = "NEW"
    run: str = "RUN"
    free_memory: str = ""
    free_answer: str = "{free}"
    store: str = ""
    recall: str = ""
    stored: str = ""
    list_stored: str = ""
    slots: tuple[str, ...] = ()
    error_words: tuple[str, ...] = ()
    error_forms: tuple[str, ...] = ()
    full_words: tuple[str, ...] = ()

    @property
    def has_unnamed_slot(self) -> bool:
        """Return whether the board stores one program, in a place without a name."""
        typed = self.store or self.recall
        return bool(typed) and "{name}" not in typed

    @property
    def places(self) -> tuple[str, ...]:
        """Return the names of the places for stored programs, () if the user chooses them."""
        return (ONE_PLACE,) if self.has_unnamed_slot else self.slots


CAREFUL = "tiny"
"""The name of the profile to begin with when nothing is known about a board."""

HEARD = "recognised"
"""The name of a profile made of what was heard; no profile of the user may have it."""


@dataclass(frozen=True, slots=True)
class Profile:
    """One kind of board.

    name: a short word to call it by. title: one line for the user. source: where its values are
    from. evidence: for a measured profile, value name to how it was found.
    """

    name: str
    title: str = ""
    about: str = ""
    source: str = ""
    talk: Talk = field(default_factory=Talk)
    commands: Commands = field(default_factory=Commands)
    rules: Rules = field(default_factory=Rules)
    evidence: tuple[tuple[str, str], ...] = ()

    @property
    def is_unmeasured(self) -> bool:
        """Return whether nobody has named or measured what kind of board this is."""
        return self.name in (CAREFUL, HEARD)

    @property
    def tables(self) -> dict[str, object]:
        """Return the parts of the profile by the tables of its file, [board] left out."""
        rules = self.rules
        return {
            "talk": self.talk,
            "commands": self.commands,
            "listing": rules.form,
            "storage": rules.storage,
            "language": rules.language,
            "pins": rules.language.pins,
        }

    @property
    def size_words(self) -> tuple[str, ...]:
        """Return the functions in the question for the free memory."""
        language = self.rules.language
        asked = {span.word for span in Reader(language).spans(self.commands.free_memory)}
        return tuple(word for word in language.functions if word.upper() in asked)
