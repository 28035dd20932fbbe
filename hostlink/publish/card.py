"""Make the card of a kind of board: its words, limits, messages and keys on one page."""

from __future__ import annotations

from collections.abc import Iterator

from hostlink.board.profile.model import Profile
from hostlink.publish.page import escaped, facts, key_name, page, paragraphs

STYLE = """
.words { line-height: 1.7; margin: 0; max-width: none; }
.words span { display: inline-block; margin-right: 3ch; }
.columns { columns: 2; column-gap: 8mm; }
.columns section { break-inside: avoid; }
.columns h2:first-child { margin-top: 0; }
.columns section + section h2:first-child { margin-top: 5mm; }
table.pairs td { padding: 0 0 0.8mm; vertical-align: top; }
table.pairs td:first-child { padding-right: 4mm; white-space: nowrap; color: var(--faint); }
@media screen and (max-width: 640px) { .columns { columns: 1; } }
"""

_BEYOND = 2**63 - 1  # the largest value in a profile means no limit


def card(profile: Profile) -> str:
    """Return the card of a kind of board as an HTML page."""
    name = profile.title or profile.name
    language = profile.rules.language
    sections = [
        ("Statements and their words", _words(language.statements)),
        ("Functions", _words(language.functions)),
        ("Writing a line", _pairs(_writing(profile))),
        ("Limits", _pairs(_limits(profile))),
        ("At the prompt", _pairs(_commands(profile))),
        ("Keys", _pairs(_keys(profile))),
        ("On the line", _pairs(_line(profile))),
        ("Messages begin with", _words(tuple(w.strip() for w in profile.commands.error_words))),
    ]
    shown = "".join(
        f"<section>\n<h2>{escaped(head)}</h2>\n{body}</section>\n"
        for head, body in sections
        if body
    )
    body = (
        f"<h1>{escaped(name[:1].upper() + name[1:])}</h1>\n"
        f'<p class="byline">card of the profile {escaped(profile.name)}</p>\n'
        f"{facts(_facts(profile))}{paragraphs(profile.about)}"
        f'<div class="columns">\n{shown}</div>\n'
    )
    return page(f"{name}: card", body, kind="card", style=STYLE)


def _facts(profile: Profile) -> list[tuple[str, str]]:
    size = profile.rules.storage.program_bytes
    return [
        ("memory", f"{size:,} bytes for a program" if size else "size not known"),
        ("line numbers", f"{profile.rules.form.first_line} to {profile.rules.form.last_line:,}"),
        ("speed", f"{profile.talk.baud} baud"),
    ]


def _words(words: tuple[str, ...]) -> str:
    spans = " ".join(f"<span>{escaped(word)}</span>" for word in words)
    return f'<p class="words">{spans}</p>\n' if words else ""


def _pairs(pairs: Iterator[tuple[str, str]]) -> str:
    """Return a table of names and values. A value is HTML."""
    rows = "".join(f"<tr><td>{escaped(name)}</td><td>{value}</td></tr>\n" for name, value in pairs)
    return f'<table class="pairs">\n{rows}</table>\n' if rows else ""


def _code(value: str) -> str:
    return f"<code>{escaped(value)}</code>"


def _writing(profile: Profile) -> Iterator[tuple[str, str]]:
    language, form = profile.rules.language, profile.rules.form
    if language.separator:
        yield "several statements", f"{_code(language.separator)} between them"
    else:
        yield "several statements", "each in a line of its own"
    yield (
        "jumps",
        " ".join(_code(word) for word in language.jumps)
        + ("; also to a computed line" if language.computed_jumps else ""),
    )
    yield "remark", " ".join(_code(word) for word in language.remarks)
    yield "quoted text", " or ".join(_code(f"{mark}TEXT{mark}") for mark in language.quotes)
    if language.abbreviation_mark:
        yield "abbreviated words", f"end in {_code(language.abbreviation_mark)}"
    if language.optional:
        yield "may be left out", " ".join(_code(word) for word in language.optional)
    if form.case != "kept":
        spared = " and remarks" if form.case == "upper" else ""
        yield "small letters", f"become capitals outside quoted text{spared}"


def _limits(profile: Profile) -> Iterator[tuple[str, str]]:
    rules = profile.rules
    language, storage = rules.language, rules.storage
    longest = rules.form.longest_line
    yield "longest line", f"{longest} characters" if longest else "not known"
    if rules.form.screen_width:
        yield "screen", f"{rules.form.screen_width} columns"
    bounds = f"{language.smallest_number:,} to {language.largest_number:,}"
    yield "whole numbers", bounds if language.largest_number < _BEYOND else "no limit known"
    fixed = storage.number_bytes + storage.length_bytes + storage.end_bytes
    what = "a byte for each word" if storage.kind == "tokens" else "its text"
    yield "a stored line", f"{fixed} bytes and {what}"


def _commands(profile: Profile) -> Iterator[tuple[str, str]]:
    commands = profile.commands
    for name, command in (
        ("show the program", commands.list),
        ("run it", commands.run),
        ("empty the memory", commands.clear),
        ("bytes free", commands.free_memory),
        ("store it", commands.store.replace("{name}", "NAME")),
        ("bring it back", commands.recall.replace("{name}", "NAME")),
        ("what is stored", commands.stored or commands.list_stored),
    ):
        if command:
            yield name, _code(command)
    yield "delete line 20", f"{_code('20')} alone"


def _keys(profile: Profile) -> Iterator[tuple[str, str]]:
    talk = profile.talk
    for name, key in (
        ("stop a program", talk.interrupt),
        ("take back a character", talk.erase),
        ("cancel the line", talk.line_cancel),
        ("next screenful", talk.page_key),
    ):
        if key:
            yield name, f"<kbd>{escaped(key_name(key))}</kbd>"


def _line(profile: Profile) -> Iterator[tuple[str, str]]:
    talk = profile.talk
    yield "format", "8 data bits, no parity, 1 stop bit"
    if talk.prompt.strip():
        yield "prompt", _code(talk.prompt.decode("latin-1").strip())
    yield "opening the port", "restarts the board" if talk.restarts_on_open else "does not restart"
    if talk.restarts_on_open:
        yield "caution", "a restart loses the program: save it first"
