"""Review a listing for one kind of board: errors, risks, and whether it fits.

"error": the board would refuse, lose or change something, or the program fails when it runs.
"warning": the board accepts it, but it may not be what was intended.
"advice": nothing is wrong, but something could be improved.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from hostlink.listing.canonical import canonical_line
from hostlink.listing.charset import cannot_take, character_name
from hostlink.listing.finding import RULES, Finding, Severity, at_place, check_rules
from hostlink.listing.measure import Ledger, measure
from hostlink.listing.mending.lookalike import like_number, lookalike_words, lookalikes
from hostlink.listing.parse import LARGEST_NUMBER, Line, Listing
from hostlink.listing.reviewing.jumps import Reference, jumps
from hostlink.listing.reviewing.soundness import soundness
from hostlink.listing.rules import Form, Language, Rules
from hostlink.listing.tokens import scan
from hostlink.sentences import mend_or_change
from hostlink.words import capital, plural


@dataclass(frozen=True, slots=True)
class Review:
    """The result of a review: findings in source order, and the byte ledger.

    Findings about the whole listing come first. silenced: number of findings omitted because their
    rules are silenced.
    """

    findings: tuple[Finding, ...]
    ledger: Ledger
    silenced: int = 0

    @property
    def errors(self) -> tuple[Finding, ...]:
        """Return the findings that are errors."""
        return tuple(finding for finding in self.findings if finding.severity == "error")

    @property
    def warnings(self) -> tuple[Finding, ...]:
        """Return the findings that are warnings."""
        return tuple(finding for finding in self.findings if finding.severity == "warning")

    @property
    def advice(self) -> tuple[Finding, ...]:
        """Return the findings that are advice."""
        return tuple(finding for finding in self.findings if finding.severity == "advice")


def review(
    listing: Listing, rules: Rules, *, deep: bool = False, silenced: Collection[str] = ()
) -> Review:
    """Review a listing under the rules of a board. Never raises on any text.

    deep: also check control flow, loops, variables and keywords. Since boards differ, most of these
    findings are warnings. silenced: names of rules whose findings are omitted. Raises UsageError
    for an unknown rule.
    """
    quiet = check_rules(silenced)
    ledger = measure(listing, rules)
    findings = [
        *_whole(listing, ledger, exact=rules.storage.exact),
        *_numbers(listing, rules),
        *(finding for line in listing for finding in _form(line, rules.form)),
        *(finding for line in listing for finding in _small_keywords(line, rules.language)),
        *_jumps(listing, rules.language),
        *(soundness(listing, rules) if deep else ()),
    ]
    letters = [each for line in listing for each in lookalikes(line, rules.language)]
    findings = [f for f in findings if not any(each.covers(f) for each in letters)]
    findings += [each.finding for each in letters]
    heard = [finding for finding in findings if finding.rule not in quiet]
    order = tuple(sorted(heard, key=lambda f: (f.line_at, f.column)))
    return Review(order, ledger, len(findings) - len(heard))


def _on(line: Line, rule: str, message: str, advice: str, severity: Severity = "error") -> Finding:
    return Finding(line.at, line.number, 0, rule, message, advice, severity)


def _shown(number: int | None) -> str:
    """Return a line number for a message, without the digits of an absurdly large one."""
    if number == LARGEST_NUMBER:
        return "with more than 18 digits"
    return str(number)


def _whole(listing: Listing, ledger: Ledger, *, exact: bool) -> Iterator[Finding]:
    """Yield findings about the listing as a whole."""
    if not listing.numbered():
        yield Finding(
            *(0, None, 0, "empty-listing"),
            message=f"{capital(RULES['empty-listing'])}.",
            advice="A line to be stored begins with its line number.",
            severity="error",
        )
    if ledger.over:
        yield Finding(
            *(0, None, 0, "does-not-fit"),
            message=f"{plural(ledger.over, 'byte')} over: {ledger.total:,} of {ledger.limit:,}.",
            advice="Shorten texts and remarks; the byte ledger shows what each line costs.",
            severity="error" if exact else "warning",
        )


def _numbers(listing: Listing, rules: Rules) -> Iterator[Finding]:
    """Yield findings about the line numbers."""
    seen: dict[int, Line] = {}
    highest = -1
    for line in listing:
        if line.number is None:
            yield _no_number(line)
            continue
        yield from _number(line, rules.form)
        if not line.text:
            yield _bare(line, seen.get(line.number))
        elif line.number in seen:
            yield _repeated(seen[line.number], line, rules)
        elif line.number < highest:
            yield _on(
                *(line, "descending-line-number"),
                f"Line {_shown(line.number)} comes after line {_shown(highest)}.",
                "A board sorts its lines; check that the number is intended.",
                "warning",
            )
        seen[line.number] = line
        highest = max(highest, line.number)


def _no_number(line: Line) -> Finding:
    advice = "Give it a number, or join it to the line before it."
    if like := like_number(line.typed.lstrip(" ")):
        advice = lookalike_words(like)
    return _on(
        *(line, "no-line-number"),
        f"Row {line.at:,} has no line number; a board would run it at once and not store it.",
        advice,
    )


def _number(line: Line, form: Form) -> Iterator[Finding]:
    """Yield findings about one line number."""
    if line.number is not None and not form.first_line <= line.number <= form.last_line:
        yield _on(
            *(line, "line-number-out-of-range"),
            f"Line number {_shown(line.number)} is outside {form.first_line} to {form.last_line}.",
            "Give the line a number that the board takes.",
        )


def _bare(line: Line, first: Line | None) -> Finding:
    """Return the finding for a bare number: an error if it deletes a line of the listing."""
    lost = first is not None and bool(first.text)
    return _on(
        *(line, "bare-line-number"),
        f"Row {line.at:,} is only the number {_shown(line.number)}, which deletes that line"
        + (f" of row {first.at:,}." if first is not None and lost else "."),
        "Remove it, or add the missing text after it.",
        "error" if lost else "warning",
    )


def _repeated(first: Line, line: Line, rules: Rules) -> Finding:
    """Return the finding for a repeated number: an error if the two lines differ."""
    alike = not first.text or canonical_line(first, rules) == canonical_line(line, rules)
    return _on(
        *(line, "repeated-line-number"),
        f"Line {_shown(line.number)} is in row {first.at:,} and again in row {line.at:,}; "
        "a board keeps only the last.",
        "Remove one of them, or give it another number.",
        "warning" if alike else "error",
    )


def _form(line: Line, form: Form) -> Iterator[Finding]:
    """Yield findings about the length and the characters of one line."""
    length = len(line.typed)
    if form.longest_line and length > form.longest_line:
        yield Finding(
            *(line.at, line.number, form.longest_line + 1, "line-too-long"),
            message=f"The line is {length:,} characters long, {length - form.longest_line:,} more "
            f"than the {form.longest_line:,} that the board takes.",
            advice="Shorten it, or split it in two.",
            severity="error",
        )
    strange = cannot_take(line.typed, form)
    if strange:
        kinds = dict.fromkeys(char for _, char in strange)
        names = ", ".join(character_name(char) for char in list(kinds)[:5])
        more = f" and {len(kinds) - 5:,} more" if len(kinds) > 5 else ""
        count = plural(len(strange), "character")
        yield Finding(
            *(line.at, line.number, strange[0][0] + 1, "character-not-on-board"),
            message=f"The board cannot take {count} of the line: {names}{more}.",
            advice=mend_or_change("them"),
            severity="error",
        )


def _small_keywords(line: Line, language: Language) -> Iterator[Finding]:
    """Yield a finding for keywords in small letters that the board does not recognise."""
    if not language.capitals_only:
        return
    words = [span for span in scan(line.text, language) if span.word]
    small = [span for span in words if span.text != span.text.upper()]
    if small:
        first = small[0]
        others = f" (and {len(small) - 1:,} more)" if len(small) > 1 else ""
        yield at_place(
            *(line, first.start, "keyword-in-small-letters"),
            f"{first.text} is in small letters{others}; this board knows its words in capitals "
            "only, so the line fails when it runs.",
            f"Write {first.word}.",
            "error",
        )


def _jumps(listing: Listing, language: Language) -> Iterator[Finding]:
    """Yield findings about jumps, in stored lines and in direct commands."""
    held = listing.numbered()
    for line in listing:
        for jump in jumps(line.text, language):
            if jump.target is None:
                yield _unchecked(line, jump, language.computed_jumps)
            elif jump.target not in held:
                yield at_place(
                    *(line, jump.start, "missing-jump-target"),
                    f"{jump.word} {jump.digits[:20]}: there is no line {_shown(jump.target)}.",
                    "Add the line, or correct the number.",
                    "error",
                )


def _unchecked(line: Line, jump: Reference, computed: bool) -> Finding:
    if computed:
        rule = "computed-jump"
        message = f"{jump.word} goes to a computed line, which cannot be checked."
        advice = "Make sure that the expression can only give lines that exist."
    else:
        rule, message = "jump-without-line-number", f"No plain line number follows {jump.word}."
        advice = "Write the number of the line to go to."
    return at_place(line, jump.start, rule, message, advice)
