"""Make the twin of a board: a practice board that talks, stores and answers as a profile says.

`practice://NAME?like=PROFILE` is one, for practising without a surveyed board. Values that a
profile does not have are those of the practice board.
"""

from __future__ import annotations

import dataclasses
import re

from hostlink.board.dialogue.own_rows import NUMBER
from hostlink.board.dialogue.reported_errors import COMMON_FORMS
from hostlink.board.profile.checks import words_in
from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Commands, Profile
from hostlink.dialect import Dialect
from hostlink.listing.canonical import PLAIN_FORM
from hostlink.listing.rules import Form
from hostlink.listing.tokens import has_word, keywords
from hostlink.practice.address import parse_address
from hostlink.practice.complaint import Reason
from hostlink.practice.functions import FUNCTIONS, TEXT_FUNCTIONS
from hostlink.practice.kind import (
    WORDS,
    BoardKind,
    KindLanguage,
    KindShelf,
    KindStorage,
    Messages,
    literal,
)
from hostlink.practice.settings import BoardSettings

_LONGEST_LINE = 255  # where the profile knows no limit
_PAGE_LINES = 20  # of a board that pages; a profile does not say how many
_USUAL_BYTES, _USUAL_EEPROM = 999, 1024  # common practice, no source
# Statements that the practice board itself lacks.
_MORE = ("on", "def", "else", "read", "data", "restore", "dim")
_CASES = {"kept": "kept", "upper": "statements", "upper-everywhere": "all"}
_SAME = (  # values with one name in Talk and BoardSettings
    *("baud", "echo", "line_end", "reply_end", "prompt", "line_done", "receive_buffer", "line_ms"),
    *("char_ms", "line_cancel", "erase", "interrupt", "restarts_on_open", "restart_ms", "page_key"),
)
# Patterns that assign a board's own error words to the reasons for an error.
_HINTS = (
    (Reason.DIVISION, re.compile(r"\bdiv|zero", re.IGNORECASE)),
    (Reason.NO_LINE, re.compile(r"\bline|undefined", re.IGNORECASE)),
)


def twin_named(port: str) -> BoardKind | None:
    """Return the kind that an address asks for by like=PROFILE, or None.

    Raises UsageError or ProfileError if there is no such profile or it cannot be used.
    """
    if not port.startswith("practice:") or "like=" not in port:
        return None
    named = parse_address(port).like
    return kind_like(find_profile(named)) if named else None


def kind_like(profile: Profile) -> BoardKind:
    """Return the kind of practice board that a profile describes."""
    return BoardKind(
        name=f"like-{profile.name}",
        title=f"a practice board like {profile.name}",
        about=profile.about,
        source=f"The profile {profile.name}; values that it lacks are the practice board's.",
        settings=_settings(profile),
        storage=_storage(profile),
        messages=_messages(profile),
        language=_language(profile),
        shelf=_shelf(profile.commands),
    )


def _settings(profile: Profile) -> BoardSettings:
    talk, rules = profile.talk, profile.rules
    return BoardSettings(
        **{name: getattr(talk, name) for name in _SAME},
        longest_line=rules.form.longest_line or _LONGEST_LINE,
        page_lines=_PAGE_LINES if talk.page_prompt else 0,
        page_prompt=talk.page_prompt.encode("latin-1"),
        screen_width=rules.form.screen_width,
        program_bytes=rules.storage.program_bytes or _USUAL_BYTES,
        eeprom_bytes=rules.storage.eeprom_bytes or (_USUAL_EEPROM if profile.commands.store else 0),
        bootloader=False,
    )


def _storage(profile: Profile) -> KindStorage:
    form, held, language = profile.rules.form, profile.rules.storage, profile.rules.language
    tokens = held.kind == "tokens"
    blanks = "after-number"
    if held.squeezed and tokens:
        blanks = "squeezed"
    elif form.keeps_blank or form.spacing == "kept":
        blanks = "kept"
    return KindStorage(
        form=held.kind,
        case=_CASES[form.case],  # type: ignore[arg-type]
        blanks=blanks,  # type: ignore[arg-type]
        number_bytes=held.number_bytes,
        length_bytes=held.length_bytes,
        end_bytes=held.end_bytes,
        keywords=(*language.statements, *language.functions) if tokens else (),
        token_bytes=held.tokens if tokens else (),
        constant_bytes=held.constant_bytes,
        name_bytes=held.name_bytes,
        first_line=form.first_line,
        last_line=form.last_line,
        beyond=form.beyond_last,
        signed_numbers=form.signed_numbers,
        row=_row(form),
        row_width=form.screen_width if form.wrap_indent >= 0 else 0,
        when_full="stuck" if profile.talk.full_sign else "refused",
    )


def _row(form: Form) -> str:
    """Return the form of a listed line, without the blank that may belong to the line's text."""
    own = form.list_form == PLAIN_FORM and form.spacing == "kept" and not form.keeps_blank
    return "{number}{text}" if own else form.list_form


def _messages(profile: Profile) -> Messages:
    talk, commands = profile.talk, profile.commands
    ready = literal(talk.ready.decode("latin-1"))
    rows = "".join(
        f"{literal(row.replace(NUMBER, '0'))}{{end}}" for row in commands.answer_rows[:1]
    )
    banner = literal(talk.banner) or "{end}" + literal(profile.title or profile.name)
    own = Messages(
        questions=talk.start_questions,
        greeting=f"{banner}{{end}}",
        done=rows + ready,
        list_end=rows if ready else "",
        memory=commands.free_answer + "{end}",
        recalled="",
    )
    if not commands.error_words:
        return own
    return _with_errors(own, commands, ready)


def _with_errors(own: Messages, commands: Commands, ready: str) -> Messages:
    """Return the messages with a board's own error words and its way to name a line."""
    words = commands.error_words
    texts = {Reason.PUZZLED: words[0]}
    for reason, hint in _HINTS:
        texts[reason] = next((word for word in words if hint.search(word)), words[0])
    if commands.full_words:
        texts |= dict.fromkeys((Reason.FULL, Reason.PROGRAM_FULL), commands.full_words[0])
    form = (commands.error_forms or COMMON_FORMS)[0]
    form = form.replace("{line}", "{row}").replace("\n", "{end}")
    before, _, after = form.partition("{message}")
    error = f"{{where}}{{what}}{after}" if before else "{what}{where}"
    return dataclasses.replace(
        own,
        error=error + "{end}" + ready,
        where=before or after,
        wrong_answer=literal(words[-1]) + "{end}",
        errors=tuple((reason, literal(said)) for reason, said in texts.items()),
    )


def _language(profile: Profile) -> KindLanguage:
    commands, language = profile.commands, profile.rules.language
    typed = {
        "list": commands.list,
        "new": commands.clear,
        "run": commands.run,
        "store": commands.store,
        "recall": commands.recall,
        "stored": commands.stored or commands.list_stored,
    }
    words = dict(WORDS) | {each: _first_word(said) for each, said in typed.items()} | {"toss": ()}
    ends = tuple(word for word in ("END", "STOP") if word in language.statements)
    words["end"] = ends or words["end"]
    for each in _MORE:
        words[each] = tuple({each.upper()} & {*language.statements})
    if "GO" in language.statements:
        words |= {each: (each.upper(), f"GO {each[2:].upper()}") for each in ("goto", "gosub")}
    asked = re.fullmatch(r"(?:PRINT *|\?)(.+)", commands.free_memory)
    if commands.free_memory and asked is None:
        words["memory"] = _first_word(commands.free_memory)
    # A profile that does not state the forms of its BASIC has those of the practice board.
    forms = {each.name: getattr(language, each.name) for each in dataclasses.fields(Dialect)}
    own = KindLanguage(**forms) if language.number else KindLanguage(pins=language.pins)
    has_text = "strings" in own.means
    known = (name for name in FUNCTIONS if has_text or name not in TEXT_FUNCTIONS)
    own = dataclasses.replace(
        own,
        words=tuple(words.items()),
        functions=tuple(name for name in known if name in language.functions),
        logic="AND" in language.statements,
        small_letters=not language.capitals_only,
        quotes=language.quotes,
        free=asked[1] if asked else "",
    )
    held = (word.removesuffix("(") for word in keywords(language) if has_word(language, word))
    runs = _words_run(own)
    return dataclasses.replace(own, lacks=tuple(word for word in held if word not in runs))


def _words_run(own: KindLanguage) -> set[str]:
    """Return the words of BASIC that a kind of practice board runs, without brackets."""
    words = {word for _, words in own.words for word in words}
    words |= {"TO", "STEP", "RND", own.free.partition("(")[0], *own.functions}
    words |= {"THEN"} if own.then_takes != "none" else set()
    words |= {"AND", "OR", "NOT"} if own.logic else set()
    words |= {"FN"} if "DEF" in words else set()
    return words | {form.word for form in own.pins.forms.values()}


def _first_word(typed: str) -> tuple[str, ...]:
    return tuple(words_in(typed)[:1])


def _shelf(commands: Commands) -> KindShelf:
    if not (commands.store and commands.recall):
        return KindShelf(slots="none")
    return KindShelf(
        slots="one" if commands.has_unnamed_slot else "named",
        quoted='"{name}"' in commands.store,
        runs_at_start=False,
        shows="names" if commands.stored else "program" if commands.list_stored else "nothing",
    )
