"""What a profile rightly says of a kind of practice board, worked out from the kind's own values.

It is what somebody would write who knows the board from inside. So what hostlink then does wrong
on it is not the profile's fault.
"""

from __future__ import annotations

import dataclasses
import re

from soak_drawn import Knowledge

from hostlink.board.profile.model import Commands, Profile, Talk
from hostlink.listing.rules import Form, Language, Rules, Storage
from hostlink.practice.complaint import Reason
from hostlink.practice.kind import BoardKind
from hostlink.practice.storing import storing

_FIELD = re.compile(r"\{[a-z_]+\}")
_ERASES = b"\b \b"  # the answer that wipes a character from a screen
_LATEST_MS = 2.0  # beside the board's own time for a line
_CASE = {"kept": "kept", "statements": "upper", "all": "upper-everywhere"}
_SPACING = {"kept": "kept", "after-number": "after-number", "squeezed": "free"}


def profile_of(kind: BoardKind) -> Profile:
    """Return the profile that fits a kind of practice board."""
    return Profile(
        name=kind.name,
        title=kind.title,
        source="worked out from the kind of practice board",
        talk=_talk(kind),
        commands=_commands(kind),
        rules=Rules(_form(kind), _storage(kind), _language(kind)),
    )


def _talk(kind: BoardKind) -> Talk:
    settings = kind.settings
    # Where nothing but a word of its own comes after a command, a stored line has its echo alone.
    ready = _rows(kind.messages.done)[-1:] if not settings.prompt else []
    line_done = settings.line_done
    if line_done == "prompt" and not settings.prompt:
        line_done = "after-prompt"
    busy = settings.char_ms > 0 or settings.wrap_ms > 0 or not settings.transmit_buffer
    return Talk(
        baud=settings.baud,
        echo=settings.echo,
        line_end=settings.line_end,
        reply_end=settings.end_echo or settings.reply_end,
        prompt=settings.prompt,
        ready=b"".join(row.encode("latin-1") + settings.reply_end for row in ready),
        line_done=line_done,
        receive_buffer=settings.receive_buffer,
        line_ms=settings.line_ms + _LATEST_MS,
        char_ms=settings.char_ms,
        line_window=max(1, settings.receive_buffer) if busy and settings.echo else 0,
        line_cancel=settings.line_cancel,
        erase=settings.erase if settings.erase_answer == _ERASES else b"",
        interrupt=settings.interrupt,
        banner=max(_rows(kind.messages.greeting), key=len, default=""),
        restarts_on_open=settings.restarts_on_open,
        restart_ms=settings.restart_ms,
        start_questions=tuple(question.strip() for question in kind.messages.questions),
        full_sign=settings.too_long_answer if kind.storage.typed_within else b"",
        page_prompt=settings.page_prompt.decode("latin-1") if settings.page_lines else "",
        page_key=(settings.page_key or b" ") if settings.page_lines else b"",
    )


def _rows(template: str) -> list[str]:
    """The parts of a template that always stand there, without the ends of rows."""
    parts = (part.strip() for part in _FIELD.split(template.replace("\r\n", "{end}")))
    return [part for part in parts if part]


def _commands(kind: BoardKind) -> Commands:
    messages, words = kind.messages, dict(kind.language.words)
    named = {"named": ' "{name}"' if kind.shelf.quoted else " {name}"}.get(kind.shelf.slots, "")
    errors = _errors(kind)
    full = _begins(messages.error, messages.text(Reason.FULL))
    asks = words["memory"]
    return Commands(
        list=words["list"][0],
        answer_rows=tuple(
            dict.fromkeys(
                row
                for each in (messages.done, messages.list_begin, messages.list_end)
                for row in _rows(each)
            )
        ),
        clear=words["new"][0],
        run=words["run"][0],
        free_memory=asks[0] if asks else f"PRINT {kind.language.free}" * bool(kind.language.free),
        free_answer=messages.memory.split("{end}")[0] if asks else "{free}",
        store=words["store"][0] + named if words["store"] else "",
        recall=words["recall"][0] + named if words["recall"] else "",
        stored=words["stored"][0] if words["stored"] and kind.shelf.shows == "names" else "",
        list_stored=words["stored"][0] if kind.shelf.shows == "program" else "",
        error_words=errors,
        error_forms=_error_forms(kind),
        full_words=(full,) if full else (),
    )


def _errors(kind: BoardKind) -> tuple[str, ...]:
    """How the board's messages of errors begin."""
    sign = _sign(kind.messages.error)
    if sign.strip():
        return (sign,)
    texts = [kind.messages.text(reason) for reason in Reason]
    return tuple(dict.fromkeys(_begins(kind.messages.error, text) for text in texts))


def _sign(error: str) -> str:
    """What stands in front of every message, "" where the line that failed does."""
    return error.removeprefix("{end}").partition("{")[0]


def _begins(error: str, what: str) -> str:
    """What one message always begins with; the line that failed may stand in front of it."""
    template = error.replace("{what}", what).replace("{where}", "")
    return next((part for part in _FIELD.split(template) if part.strip()), "").strip("\r\n")


def _error_forms(kind: BoardKind) -> tuple[str, ...]:
    """How a message names its line, in the fields of hostlink.board.dialogue.reported_errors."""
    messages = kind.messages
    where = messages.where.replace("{row}", "{line}")
    own = "{where}" in messages.text(Reason.PUZZLED)
    text = f"{{message}} {where}" if own else messages.error
    text = text.replace("{where}", where)
    sign = _sign(messages.error)
    text = text.replace(f"{sign}{{what}}", "{message}") if sign.strip() else text
    rows = text.replace("{what}", "{message}").split("{end}")
    done = _rows(messages.done)  # looked for after every answer, and left out of it
    return ("\n".join(row for row in rows if row and row not in done),)


def _form(kind: BoardKind) -> Form:
    settings, storage = kind.settings, kind.storage
    indent = len(storing(storage, kind.language).row(1, b""))
    row = re.sub(r"\{number[^}]*\}", "{number}", storage.row).strip()
    keeps = storage.blanks == "kept" and "}{" not in row
    ends_early = settings.too_long == "ends"
    return Form(
        first_line=storage.first_line,
        last_line=min(storage.last_line, storage.listed_last),
        longest_line=settings.longest_line - ends_early,
        case=_CASE[storage.case],  # type: ignore[arg-type]
        spacing=_SPACING[storage.blanks],  # type: ignore[arg-type]
        # Blanks in front of the number are always allowed, and those after it are the text's own.
        list_form=row.replace("}{", "} {"),
        keeps_blank=keeps,
        signed_numbers=storage.signed_numbers,
        beyond_last=storage.beyond,
        screen_width=storage.row_width or settings.screen_width,
        wrap_indent=indent if storage.row_width else -1,
    )


def _storage(kind: BoardKind) -> Storage:
    settings, storage = kind.settings, kind.storage
    costs = dict(storage.token_bytes)
    return Storage(
        program_bytes=settings.program_bytes,
        kind=storage.form,
        number_bytes=storage.number_bytes,
        length_bytes=storage.length_bytes,
        end_bytes=storage.end_bytes,
        blank_after_number="all" if storage.blanks == "kept" else "dropped",
        constant_bytes=storage.constant_bytes,
        name_bytes=storage.name_bytes,
        squeezed=storage.form == "tokens" and storage.blanks == "squeezed",
        eeprom_bytes=settings.eeprom_bytes if kind.shelf.slots != "none" else 0,
        tokens=tuple(
            (word.removesuffix("("), costs.get(word, storage.keyword_bytes))
            for word in storage.keywords
        ),
    )


def _language(kind: BoardKind) -> Language:
    words = dict(kind.language.words)
    free = kind.language.free.partition("(")[0]
    statements = [word for each in words.values() for word in each]
    known = [*statements, "THEN", "TO", "STEP", *kind.storage.keywords]
    functions = tuple(dict.fromkeys(["RND", "ABS", *([free] if free else [])]))
    return Language(
        statements=tuple(word for word in dict.fromkeys(known) if word not in functions),
        functions=functions,
        remarks=words["rem"],
        separator=":",
        computed_jumps=True,
        quotes=kind.language.quotes,
        optional=("LET", "THEN", "END"),
        capitals_only=not kind.language.small_letters,
    )


def with_knowledge(profile: Profile, known: Knowledge) -> Profile:
    """Return a profile that knows no more of the editing keys and the free memory than that."""
    talk, commands = profile.talk, profile.commands
    return dataclasses.replace(
        profile,
        talk=dataclasses.replace(
            talk,
            line_cancel=talk.line_cancel if known.cancel else b"",
            erase=talk.erase if known.erase else b"",
        ),
        commands=dataclasses.replace(
            commands, free_memory=commands.free_memory if known.asks else ""
        ),
    )


def boards_of(kind: BoardKind, **changed: object) -> BoardKind:
    """Return the kind with other settings, such as how much it holds."""
    settings = dataclasses.replace(kind.settings, **changed)  # type: ignore[arg-type]
    return dataclasses.replace(kind, settings=settings)
