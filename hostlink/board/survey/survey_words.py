"""Summarise the result of a survey in a paragraph for people."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from hostlink.board.dialogue.learning import blanks_changed
from hostlink.board.profile.model import Profile
from hostlink.board.survey.findings import NEEDS_CONSENT, SurveyFinding
from hostlink.words import capital, plural, safe

_ENDS = {b"\r": "CR", b"\n": "LF", b"\r\n": "CR LF", b"\n\r": "LF CR"}
_KEYS = {3: "Ctrl+C", 8: "backspace", 21: "Ctrl+U", 24: "Ctrl+X", 27: "Escape", 127: "delete"}
_CASES = {
    "kept": "keeps small letters as they are",
    "upper": "turns small letters outside quotes into capitals, but leaves remarks",
    "upper-everywhere": "turns everything outside quotes into capitals, in remarks too",
}
_SPACINGS = {
    "kept": "keeps blanks as they are",
    "after-number": "changes blanks after the line number only",
    "free": blanks_changed(),
    "free-before-remarks": blanks_changed(in_front_of_remarks=True),
}


def survey_paragraph(
    profile: Profile, findings: Sequence[SurveyFinding], notes: Sequence[str], kind: str = ""
) -> str:
    """Return the result as a paragraph. kind: the name of the known kind, or ""."""
    return " ".join(_Telling(profile, findings).sentences(notes, kind))


class _Telling:
    """Makes sentences of the findings, and omits what was not found."""

    def __init__(self, profile: Profile, findings: Sequence[SurveyFinding]) -> None:
        self._profile = profile
        self._by_name: Mapping[str, SurveyFinding] = {
            one.name: one for one in findings if one.is_found
        }
        self._missing = [one for one in findings if not one.is_found]

    def sentences(self, notes: Sequence[str], kind: str) -> Iterator[str]:
        yield self._talks(kind)
        yield from self._rewrites()
        yield from self._memory()
        yield from self._numbers()
        yield from self._times()
        yield from self._keys()
        yield from self._words()
        yield from notes
        if any(NEEDS_CONSENT in one.evidence for one in self._missing):
            yield (
                "What it does to lines, how fast it stores them and what they cost was not "
                "measured: test lines are stored only with your consent."
            )

    def _found(self, name: str) -> bool:
        return name in self._by_name

    def _likely(self, name: str) -> str:
        """Return "probably " if a value is not certain, else ""."""
        return "probably " if self._by_name[name].confidence == "likely" else ""

    def _talks(self, kind: str) -> str:
        talk, commands = self._profile.talk, self._profile.commands
        end = _ENDS.get(talk.line_end, repr(talk.line_end)[1:])
        parts = [f"Your board talks at {talk.baud} baud", f"takes {end} as the end of a line"]
        if not talk.echo:
            parts.append("does not echo what is typed")
        if talk.prompt:
            parts.append(f'shows "{_shown(talk.prompt)}" when it waits')
        if talk.ready:
            parts.append(f'says "{_shown(talk.ready)}" after a direct command')
        if commands.answer_rows:
            parts.append(f"prints {_quoted(commands.answer_rows)} around a listing")
        if talk.idle_chatter:
            parts.append(f"prints {_quoted(talk.idle_chatter)} by itself")
        is_a = f" It is of kind {kind}." if kind else " It is of no known kind."
        return f"{', '.join(parts[:-1])} and {parts[-1]}.{is_a}"

    def _rewrites(self) -> Iterator[str]:
        form = self._profile.rules.form
        does = []
        if self._found("listing.case"):
            does.append(self._likely("listing.case") + _CASES[form.case])
        if self._found("listing.spacing"):
            does.append(_SPACINGS[form.spacing])
        if does:
            yield f"It {' and '.join(does)}."
        quotes = self._profile.rules.language.quotes
        if self._found("language.quotes") and "'" in quotes:
            yield "An apostrophe opens quoted text as a quotation mark does."
        if self._found("language.capitals_only") and self._profile.rules.language.capitals_only:
            yield "Its words must be in capitals."

    def _memory(self) -> Iterator[str]:
        storage, commands = self._profile.rules.storage, self._profile.commands
        if storage.program_bytes:
            says = self._likely("storage.program_bytes")
            yield (
                f"It {says}has {plural(storage.program_bytes, 'byte')} for a program; "
                f"{commands.free_memory} tells how much is free."
            )
        elif commands.free_memory:
            yield f"{commands.free_memory} tells how much of its memory is free."
        else:
            yield "No question about its free memory was found, so its size is not known."
        if self._found("storage.kind"):
            kept = "keeps keywords as tokens" if storage.kind == "tokens" else "keeps lines as text"
            more = storage.number_bytes + storage.length_bytes + storage.end_bytes
            yield f"It {kept}, with {plural(more, 'byte')} more for each line."

    def _numbers(self) -> Iterator[str]:
        form, language = self._profile.rules.form, self._profile.rules.language
        if self._found("listing.last_line"):
            yield f"Line numbers go from {form.first_line} to {form.last_line:,}."
        if self._found("listing.longest_line"):
            yield f"A line may have {form.longest_line} characters."
        if self._found("language.fractions"):
            if language.fractions:
                yield "Numbers may have fractions."
            elif self._found("language.largest_number"):
                yield f"It works with whole numbers up to {language.largest_number:,}."

    def _times(self) -> Iterator[str]:
        talk = self._profile.talk
        if self._found("talk.line_ms"):
            yield f"It {self._likely('talk.line_ms')}stores a line in {talk.line_ms:g} ms."
        if self._found("talk.receive_buffer") and talk.receive_buffer:
            held = plural(talk.receive_buffer, "byte")
            yield f"While it is busy it {self._likely('talk.receive_buffer')}holds {held}."
        if self._found("listing.screen_width") and self._profile.rules.form.screen_width:
            yield f"Its screen has {self._profile.rules.form.screen_width} columns."

    def _keys(self) -> Iterator[str]:
        talk = self._profile.talk
        if self._found("talk.interrupt"):
            if talk.interrupt:
                yield f"{_key(talk.interrupt)} stops a running program."
            else:
                yield "None of the usual keys stops a running program; a restart does."
        for name, does in (("erase", "takes a character back"), ("line_cancel", "cancels a line")):
            key = getattr(talk, name)
            if self._found(f"talk.{name}") and key:
                yield f"{_key(key)} {does}."

    def _words(self) -> Iterator[str]:
        if self._found("commands.store") and self._profile.commands.store:
            yield (
                f"{self._profile.commands.store} stores a program in its EEPROM and "
                f"{self._profile.commands.recall} brings it back."
            )
        language = self._profile.rules.language
        if self._found("language.statements"):
            lacking = [word for word in ("THEN", "ELSE", "FOR") if word not in language.statements]
            if "THEN" in lacking:
                yield "It has no THEN: the statement follows the condition."


def _shown(data: bytes) -> str:
    return safe(data.decode("latin-1").strip("\r\n"))


def _quoted(rows: Sequence[str]) -> str:
    """Return the first two rows in quotes."""
    return " and ".join(f'"{safe(row)}"' for row in rows[:2])


def _key(key: bytes) -> str:
    """Return the name of a key on a keyboard, with its byte."""
    name = _KEYS.get(key[0])
    if name is None and 32 < key[0] < 127:
        name = f"The character {chr(key[0])}"
    return f"{capital(name)} (byte {key[0]})" if name else f"Byte {key[0]}"
