"""Find values of a profile that contradict each other although each is valid by itself."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from hostlink.board.profile.model import Commands, Profile, Talk

DC1_DC3 = b"\x11\x13"  # reserved for XON/XOFF (RFC 2217 uses the same two)
_ASKING = ("list", "free_memory", "stored", "list_stored")  # commands that must change nothing
_ACTING = ("clear", "run", "store", "recall")
_LIKE_A_LINE = re.compile(r"\s*([0-9]|\{number\})")


@dataclass(frozen=True, slots=True)
class Clash:
    """A contradiction. keys: its "table.key" names, the one to change first. says: the reason."""

    keys: tuple[str, ...]
    says: str


def profile_clashes(profile: Profile) -> Iterator[Clash]:
    """Yield every contradiction in a profile, in no particular order."""
    for check in _CHECKS:
        yield from check(profile)


def _confirmation(profile: Profile) -> Iterator[Clash]:
    """Find lines that are confirmed by something that the board does not send."""
    talk = profile.talk
    if talk.line_done == "echo" and not talk.echo:
        yield Clash(
            ("talk.line_done", "talk.echo"),
            'talk.line_done is "echo", but talk.echo is false; a board without echo needs '
            'line_done = "prompt"',
        )
    # With neither echo nor prompt nothing confirms a line: it is timed.
    timed = not talk.echo and talk.line_done != "echo"
    if talk.line_done == "prompt" and not talk.prompt and not timed:
        yield Clash(
            ("talk.line_done", "talk.prompt"),
            'talk.line_done is "prompt", but talk.prompt is empty; write the prompt, or line_done '
            '= "echo" if that echo comes after storing, "after-prompt" if it comes before',
        )
    if talk.line_done != "after-prompt" and talk.after_prompt_ms:
        yield Clash(
            ("talk.after_prompt_ms", "talk.line_done"),
            'talk.after_prompt_ms counts only with line_done = "after-prompt"; set it to 0',
        )


def _signs(talk: Talk) -> dict[str, bytes]:
    names = ("line_end", "line_cancel", "erase", "interrupt", "page_key")
    return {name: getattr(talk, name) for name in names if getattr(talk, name)}


def _keys(profile: Profile) -> Iterator[Clash]:
    """Find characters with two meanings, or a meaning for a character that may be in a line."""
    talk, ranges = profile.talk, profile.rules.form.characters
    signs = _signs(talk)
    signs.pop("page_key", None)  # used only at the page prompt, where no line is typed
    seen: dict[bytes, str] = {}
    for name, sign in signs.items():
        if sign in seen and {name, seen[sign]} != {"line_cancel", "interrupt"}:
            yield Clash(
                (f"talk.{name}", f"talk.{seen[sign]}"),
                f"talk.{name} and talk.{seen[sign]} are the same; one of them must be empty",
            )
        seen[sign] = name
        if name == "interrupt":
            continue  # some boards are stopped by a printable character, sent to programs only
        inside = [byte for byte in sign[:1] if any(low <= byte <= top for low, top in ranges)]
        if inside:
            yield Clash(
                (f"talk.{name}", "listing.characters"),
                f"talk.{name} begins with byte {inside[0]}, which listing.characters allows in a "
                "line; leave it out there",
            )
    if talk.flow == "xon-xoff":
        for name, sign in _signs(talk).items():
            if set(sign) & set(DC1_DC3):
                yield Clash(
                    (f"talk.{name}", "talk.flow"),
                    f"talk.{name} holds byte 17 or 19, which xon-xoff needs for itself",
                )
    if bool(talk.page_prompt) != bool(talk.page_key):
        yield Clash(
            ("talk.page_prompt", "talk.page_key"),
            "talk.page_prompt and talk.page_key need each other; write both or neither",
        )


def _lines(profile: Profile) -> Iterator[Clash]:
    """Find line number limits that contradict each other or cannot be typed."""
    form, storage = profile.rules.form, profile.rules.storage
    if form.last_line < form.first_line:
        yield Clash(
            ("listing.last_line", "listing.first_line"),
            f"listing.last_line is {form.last_line}, below first_line, {form.first_line}",
        )
    if storage.number_bytes and form.last_line >= 256**storage.number_bytes:
        yield Clash(
            ("listing.last_line", "storage.number_bytes"),
            f"listing.last_line is {form.last_line}, which does not fit storage.number_bytes, "
            f"{storage.number_bytes}",
        )
    if form.longest_line and form.longest_line <= len(str(form.last_line)):
        yield Clash(
            ("listing.longest_line", "listing.last_line"),
            f"listing.longest_line is {form.longest_line}, too short for line {form.last_line}",
        )
    needed = {ord(ch) for ch in "0123456789 "}
    if not all(any(low <= byte <= top for low, top in form.characters) for byte in needed):
        yield Clash(
            ("listing.characters",),
            "listing.characters must hold the blank (32) and the digits (48 to 57)",
        )


def _memory(profile: Profile) -> Iterator[Clash]:
    """Find sizes, number limits and marks that contradict each other."""
    storage, language = profile.rules.storage, profile.rules.language
    taken = storage.empty_bytes + storage.reserve_bytes
    if storage.program_bytes and taken >= storage.program_bytes:
        name = "reserve_bytes" if storage.reserve_bytes > storage.empty_bytes else "empty_bytes"
        yield Clash(
            (f"storage.{name}", "storage.program_bytes"),
            f"storage.{name} is {getattr(storage, name)}, which leaves nothing of "
            f"program_bytes, {storage.program_bytes}",
        )
    if storage.tokens and storage.kind == "text":
        yield Clash(
            ("storage.tokens", "storage.kind"),
            'storage.tokens counts only with kind = "tokens"; leave it out',
        )
    if language.largest_number < language.smallest_number:
        yield Clash(
            ("language.largest_number", "language.smallest_number"),
            "language.largest_number is below smallest_number",
        )
    for name in ("separator", "abbreviation_mark"):
        mark = getattr(language, name)
        if mark and mark in language.quotes:
            yield Clash(
                (f"language.{name}", "language.quotes"),
                f"language.{name} and quotes share a mark; a board cannot tell them apart",
            )
    if language.separator and language.separator == language.abbreviation_mark:
        yield Clash(
            ("language.abbreviation_mark", "language.separator"),
            "language.abbreviation_mark and separator are the same; a board cannot tell them apart",
        )


def _words(profile: Profile) -> Iterator[Clash]:
    """Find slots without a command that uses them, and text outside the board's character set."""
    commands, talk, form = profile.commands, profile.talk, profile.rules.form
    if commands.slots and not (commands.store or commands.recall):
        yield Clash(
            ("commands.slots",),
            "commands.slots names places, but neither commands.store nor recall is given",
        )
    if any(map(is_like_line, talk.idle_chatter)):
        yield Clash(
            ("talk.idle_chatter",),
            "talk.idle_chatter holds a row that begins with a number, as lines do",
        )
    texts = {
        "talk.banner": (talk.banner,),
        "talk.idle_chatter": talk.idle_chatter,
        "talk.page_prompt": (talk.page_prompt,),
        "commands.answer_rows": commands.answer_rows,
        "commands.error_words": commands.error_words,
    }
    for key, words in texts.items():
        if any(not _encodable(word, form.charset) for word in words):
            yield Clash(
                (key, "listing.charset"),
                f"{key} holds characters that are not in listing.charset, {form.charset}",
            )
    yield from _typeable(commands, form.characters)


def _typeable(commands: Commands, ranges: tuple[tuple[int, int], ...]) -> Iterator[Clash]:
    """Find commands with characters that cannot be typed at the board."""
    for name in ("list", "clear", "run", "free_memory", "store", "recall", "stored", "list_stored"):
        typed = getattr(commands, name).replace("{name}", "")
        if any(not any(low <= ord(ch) <= top for low, top in ranges) for ch in typed):
            yield Clash(
                (f"commands.{name}", "listing.characters"),
                f"commands.{name} holds characters that listing.characters does not allow",
            )


# Words by which one BASIC or another erases, overwrites or starts something: common practice, no
# source.
_CHANGING = frozenset(
    (
        *("NEW", "CLEAR", "CLR", "SCR", "SCRATCH", "ERASE", "DELETE", "DEL", "KILL", "TOSS", "BYE"),
        *("SAVE", "LOAD", "STORE", "STOW", "FETCH", "ESAVE", "ELOAD", "CHAIN", "MERGE", "FORMAT"),
        *("RUN", "CONT", "GOTO", "GOSUB", "POKE", "OUT"),
    )
)


def _harmless(profile: Profile) -> Iterator[Clash]:
    """Find commands that would store a line, or questions that change what the board holds."""
    commands = profile.commands
    for name in (*_ASKING, *_ACTING):
        typed = getattr(commands, name)
        if typed.lstrip()[:1].isdigit():
            yield Clash(
                (f"commands.{name}",),
                f'commands.{name} is "{typed}", which a board would store as a line of the program',
            )
    first = {name: words_in(getattr(commands, name))[:1] for name in _ACTING}
    for other in ("clear", "store", "recall"):
        if first["run"] and first["run"] == first[other]:
            yield Clash(
                ("commands.run", f"commands.{other}"),
                f"commands.run and commands.{other} begin with the same word",
            )
    yield from _only_asking(commands, first)
    if commands.list and commands.list.upper() in (
        commands.free_memory.upper(),
        commands.stored.upper(),
    ):
        yield Clash(
            ("commands.list", "commands.free_memory", "commands.stored"),
            f'commands.list, "{commands.list}", is also the command for something else',
        )


def _only_asking(commands: Commands, first: Mapping[str, Sequence[str]]) -> Iterator[Clash]:
    """Find questions with a word that changes the board. first: first words of acting commands."""
    for name in _ASKING:
        found = words_in(getattr(commands, name))
        if found and found[0] in _CHANGING:
            yield Clash(
                (f"commands.{name}",),
                f"commands.{name} begins with {found[0]}, which changes what a board holds or "
                "does; it may only ask",
            )
        for other, begins in first.items():
            if begins and begins[0] in found:
                yield Clash(
                    (f"commands.{name}", f"commands.{other}"),
                    f"commands.{name} holds {begins[0]}, which commands.{other} uses to change "
                    "what the board holds or does; it may only ask",
                )


def is_like_line(row: str) -> bool:
    """Return whether a row of a profile begins with a number, as lines of a program do."""
    return _LIKE_A_LINE.match(row) is not None


def words_in(typed: str) -> list[str]:
    """Return the words of a command in capitals, without quoted text and without {name}."""
    return re.findall(r"[A-Z]+", re.sub(r'"[^"]*"?|\{name\}', "", typed.upper()))


def _unnamed(profile: Profile) -> Iterator[Clash]:
    """Find store and recall commands that do not fit each other or the named places."""
    commands = profile.commands
    both = commands.store and commands.recall
    if both and ("{name}" in commands.store) != ("{name}" in commands.recall):
        yield Clash(
            ("commands.store", "commands.recall"),
            "only one of commands.store and commands.recall holds {name}",
        )
    if commands.has_unnamed_slot and commands.slots:
        yield Clash(
            ("commands.slots", "commands.store"),
            "commands.slots names places, but commands.store has no {name}",
        )
    if commands.list_stored and not commands.has_unnamed_slot:
        yield Clash(
            ("commands.list_stored", "commands.store"),
            "commands.list_stored shows one place without a name, but commands.store names them",
        )


def _full(profile: Profile) -> Iterator[Clash]:
    """Find words for a full memory that are not among the error messages."""
    commands = profile.commands
    for word in commands.full_words:
        if not word.startswith(commands.error_words):
            yield Clash(
                ("commands.full_words", "commands.error_words"),
                f'commands.full_words has "{word}", which commands.error_words does not have',
            )


def _encodable(text: str, charset: str) -> bool:
    try:
        text.encode(charset)
    except UnicodeEncodeError:
        return False
    return True


_CHECKS: tuple[Callable[[Profile], Iterator[Clash]], ...] = (
    _confirmation,
    _keys,
    _lines,
    _memory,
    _words,
    _harmless,
    _unnamed,
    _full,
)
