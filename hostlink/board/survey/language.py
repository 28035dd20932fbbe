"""Find which words and forms of BASIC a board knows, by direct lines.

Each candidate word is typed in a line that does not affect a program, and compared with the same
line with a word that no BASIC knows. A word with the same answer is unknown. If a line prints a
value, the value shows that the word is known. If only the error can show it, a word that is refused
like nonsense may still be known, and stays unsure. Words that clear, run, continue, store, recall,
write to memory, call machine code or wait are never typed. Some words are typed only while memory
holds nothing of the user's (`in_memory`), because they could start a program.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from hostlink.board.dialogue.common_words import NONSENSE
from hostlink.board.survey.bench import Bench


@dataclass(frozen=True, slots=True)
class WordTest:
    """A direct line for a word.

    {w}: the place of the word. prints: what it must print, None if only its error shows it, "" for
    any number. other: another line that shows it as well.
    """

    line: str
    prints: str | None = None
    other: str = ""


_STATEMENTS: Mapping[str, WordTest] = {
    "PRINT": WordTest("{w} 4", "4"),
    "?": WordTest("{w} 4", "4"),
    "IF": WordTest("{w} 1=1 THEN PRINT 4", "4", "{w} 1=1 PRINT 4"),
    "THEN": WordTest("IF 1=1 {w} PRINT 4", "4"),
    "ELSE": WordTest("IF 1=2 THEN PRINT 3 {w} PRINT 4", "4"),
    "LET": WordTest("{w} A=A"),
    "REM": WordTest("{w} X"),
    "'": WordTest("{w} X"),
    "AND": WordTest("PRINT 3 {w} 3", ""),
    "OR": WordTest("PRINT 0 {w} 3", ""),
}
_FUNCTIONS: Mapping[str, WordTest] = {
    "ABS": WordTest("PRINT {w}(-7)", "7"),
    "SGN": WordTest("PRINT {w}(-7)", "-1"),
    "INT": WordTest("PRINT {w}(7)", "7"),
    "SQR": WordTest("PRINT {w}(16)", "4"),
    "RND": WordTest("PRINT {w}(9)", ""),
    "LEN": WordTest('PRINT {w}("ABC")', "3"),
    "ASC": WordTest('PRINT {w}("A")', "65"),
    "VAL": WordTest('PRINT {w}("7")', "7"),
    "CHR$": WordTest("PRINT {w}(65)", "A"),
    "STR$": WordTest("PRINT {w}(7)", "7"),
    "LEFT$": WordTest('PRINT {w}("AB",1)', "A"),
    "RIGHT$": WordTest('PRINT {w}("AB",1)', "B"),
    "MID$": WordTest('PRINT {w}("ABC",2,1)', "B"),
    "EXP": WordTest("PRINT {w}(0)", "1"),
    "COS": WordTest("PRINT {w}(0)", "1"),
    "SIN": WordTest("PRINT {w}(1)", ""),
    "TAN": WordTest("PRINT {w}(1)", ""),
    "ATN": WordTest("PRINT {w}(1)", ""),
    "LOG": WordTest("PRINT {w}(2)", ""),
    "NOT": WordTest("PRINT {w} 0", ""),
    "TAB": WordTest("PRINT {w}(3);4", "   4"),
}
_BESIDE_UNKNOWN = "each in a direct line, compared with a word that no BASIC has"
_IN_MEMORY: Mapping[str, WordTest] = {
    "GOTO": WordTest("{w} 9999"),
    "GOSUB": WordTest("{w} 9999"),
    "RETURN": WordTest("{w}"),
    "FOR": WordTest("{w} Q=1 TO 2"),
    "TO": WordTest("FOR Q=1 {w} 2"),
    "STEP": WordTest("FOR Q=1 TO 2 {w} 1"),
    "NEXT": WordTest("{w} Q"),
    "STOP": WordTest("{w}"),
    "END": WordTest("{w}"),
    "DIM": WordTest("{w} Q(3)"),
    "DATA": WordTest("{w} 1"),
    "RESTORE": WordTest("{w}"),
    "ON": WordTest("{w} 1 GOTO 9999"),
}
_FAILING = ("GOTO", "GOSUB", "RETURN", "NEXT")  # these fail while memory holds nothing
_NUMBER = re.compile(r"\s*-?[0-9]*\.?[0-9]+(E[+-]?[0-9]+)?\s*")


class Words:
    """Sorts candidate words into known, unknown and unsure."""

    def __init__(self, bench: Bench, candidates: frozenset[str]) -> None:
        """candidates: words of the known kinds, in capitals; no others are asked for."""
        self._bench = bench
        self._candidates = candidates
        self._nonsense: dict[str, tuple[str, ...] | None] = {}
        self.known: list[str] = []
        self.unknown: list[str] = []
        self.unsure: list[str] = []

    def find(self) -> None:
        """Sort the words that can be asked for with any memory content."""
        if self._bench.ask("PRINT 4") is None or not self._is_known("PRINT", _STATEMENTS["PRINT"]):
            self.unsure = sorted(self._candidates)
            self._note("no word could be tested without PRINT")
            return
        for word, form in {**_STATEMENTS, **_FUNCTIONS}.items():
            if word in self._candidates:
                self._sort(word, form)
        asked = {*_STATEMENTS, *_FUNCTIONS}
        self.unsure += sorted(word for word in self._candidates if word not in asked)
        self._note(_BESIDE_UNKNOWN)

    def find_in_memory(self) -> None:
        """Sort the words that need a memory without anything of the user's."""
        if "PRINT" not in self.known:
            return
        for word, form in _IN_MEMORY.items():
            if word in self._candidates:
                self.unsure.remove(word)
                self._sort(word, form)
        for word in _FAILING:
            line = _IN_MEMORY[word].line.format(w=word)
            self._bench.note_refusal(self._bench.ask(line) or (), line)
        self._note(_BESIDE_UNKNOWN)

    def _sort(self, word: str, form: WordTest) -> None:
        is_known = self._is_known(word, form)
        if not is_known and form.other:
            is_known = self._is_known(word, WordTest(form.other, form.prints))
        place = {True: self.known, False: self.unknown, None: self.unsure}
        place[is_known].append(word)

    def _is_known(self, word: str, form: WordTest) -> bool | None:
        """Return whether a word is known, or None if its line does not show it."""
        rows = self._asked(form.line, word)
        if rows is None:
            return None
        if form.prints and _prints(rows, form.prints):
            return True
        nonsense = self._of_nonsense(form.line, word)
        if rows == nonsense or nonsense is None:
            return False if form.prints is not None and nonsense is not None else None
        if form.prints is None:
            return True
        refusals = self._bench.profile.commands.error_words
        if refusals and any(row.strip().startswith(refusals) for row in rows):
            return False  # a known word would have printed a value
        if form.prints == "" and len(rows) == 1 and _NUMBER.fullmatch(rows[0]):
            return True
        return None if form.prints == "" else False

    def _of_nonsense(self, line: str, word: str) -> tuple[str, ...] | None:
        """Return the answer to the same line with a word that no BASIC knows."""
        other = NONSENSE + ("$" if word.endswith("$") else "(" if word.endswith("(") else "")
        key = line.format(w=other)
        if key not in self._nonsense:
            self._nonsense[key] = self._asked(line, other)
            self._bench.note_refusal(self._nonsense[key] or (), line.format(w=""))
        return self._nonsense[key]

    def _asked(self, line: str, word: str) -> tuple[str, ...] | None:
        """Return the rows that answer a line, without repetitions of the word."""
        rows = self._bench.ask(line.format(w=word))
        if rows is None:
            return None
        return tuple(row.replace(word, "").replace(word.rstrip("$("), "") for row in rows)

    # --- what follows for the language -----------------------------------------------------------

    def _note(self, how: str) -> None:
        """Record the words of the board's language."""
        bench = self._bench
        bench.words = {
            "known": tuple(self.known),
            "unknown": tuple(self.unknown),
            "unsure": tuple(self.unsure),
        }
        if not self.known:
            bench.findings.missing("language.statements", how)
            return
        language = bench.base.rules.language
        says = f"{len(self.known)} words known, {len(self.unknown)} not, {how}"
        for name, forms in (
            ("statements", {**_STATEMENTS, **_IN_MEMORY}),
            ("functions", _FUNCTIONS),
        ):
            had = getattr(language, name)
            mine = [word for word in self.known if word in forms and word not in had]
            words = tuple(word for word in had if word not in self.unknown) + tuple(mine)
            if guessed := [word for word in words if word not in self.known]:
                begun = f"{says}; not sure of {', '.join(guessed)}"
                bench.findings.add(f"language.{name}", words, begun, "likely")
            else:
                bench.findings.add(f"language.{name}", words, says)
        jumps = [word for word in language.jumps if word not in self.unknown]
        jumps += [word for word in ("THEN", "ELSE") if word in self.known and word not in jumps]
        bench.findings.add("language.jumps", tuple(jumps), says)
        remarks = [word for word in language.remarks if word not in self.unknown]
        if "'" in self.known and "'" not in remarks:
            remarks.append("'")
        bench.findings.add("language.remarks", tuple(remarks), says)


def _prints(rows: tuple[str, ...], value: str) -> bool:
    """Return whether an answer is one printed value, apart from blanks around it."""
    return (
        len(rows) == 1
        and rows[0].strip() == value.strip()
        and rows[0].startswith(value[: len(value) - len(value.lstrip(" "))])
    )


def candidates_of(words: frozenset[str]) -> frozenset[str]:
    """Return the words for which a survey has a test."""
    return words & frozenset({*_STATEMENTS, *_FUNCTIONS, *_IN_MEMORY})
