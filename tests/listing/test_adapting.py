"""Adapting a listing: each rule alone, lines that become two, and what has no equal."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hostlink.board.profile.file import find_profile
from hostlink.listing import Language, Listing, Rules
from hostlink.listing.adapting.adapt import REWRITES, Adapted, adapt
from hostlink.listing.adapting.forms import guess_origin
from hostlink.listing.adapting.lines import APART, LENGTH

PRACTICE = find_profile("practice").rules
CAPITAL = find_profile("capital").rules
TOKEN = find_profile("token").rules
PALO_ALTO = find_profile("palo-alto").rules
READY = find_profile("ready").rules
ECMA = find_profile("ecma-55").rules
FNQ = "5 DEF FNQ(X)=SGN(X)*INT(ABS(X))\n"


def adapted(text: str, source: Rules, target: Rules) -> Adapted:
    """A listing adapted from one kind to another."""
    return adapt(Listing.from_text(text), source.language, target)


def with_forms(rules: Rules, **forms: object) -> Rules:
    """The rules with other forms of the language."""
    return replace(rules, language=replace(rules.language, **forms))  # type: ignore[arg-type]


KINDS = ("practice", "capital", "token", "ready", "palo-alto", "ecma-55")
PIECES = (
    *("IF ", "THEN ", "GOTO ", "PRINT ", "RND(", "FOR ", "TO ", "REM ", "INPUT ", "LET ", "ELSE "),
    *('"', "'", ":", ";", ",", " ", "10", "A", "B$", "(", ")", "=", "<", ">", "#", "?", "@", "^"),
)
NO_LET = with_forms(
    PRACTICE,
    statements=tuple(word for word in PRACTICE.language.statements if word != "LET"),
)
ENDS = with_forms(PRACTICE, semicolon="ends", number="bare", comma_columns=14)
LOOSE = with_forms(CAPITAL, ends_line=())
BARE = with_forms(PRACTICE, number="bare")
TOKEN_SIGNED = with_forms(TOKEN, number="signed")
TOKEN_REFUSING = with_forms(TOKEN, overflow="refused")
ECMA_LOOSE = with_forms(ECMA, optional=("LET",))
NO_DEF = with_forms(
    READY, functions=tuple(word for word in READY.language.functions if word != "FN")
)
WHOLE_PRINT = f'{FNQ}10 INPUT A:PRINT FNQ((A+1)/(A-1));" ";FNQ(5/-1)'
# Rule, line written, line expected, the rules of both boards.
CASES: list[tuple[str, str, str, Rules, Rules]] = [
    ("then-dropped", "10 IF A=1 THEN PRINT 5", "10 IF A=1 PRINT 5", PRACTICE, CAPITAL),
    ("then-dropped", "10 IFA=1THENPRINT", '10 IFA=1 PRINT ""', PRACTICE, CAPITAL),
    (
        "then-added",
        "10 IF A=1 PRINT 5",
        "10 IF A=1 THEN PRINT 5",
        CAPITAL,
        with_forms(PRACTICE, optional=("LET",)),
    ),
    (
        "then-added",
        "10 IF A=1 B=2",
        "10 IF A=1 THEN B=2",
        CAPITAL,
        with_forms(PRACTICE, optional=("LET",)),
    ),
    ("goto-spelled", "10 IF A>B THEN 10", "10 IF A>B GOTO 10", PRACTICE, CAPITAL),
    ("goto-spelled", "10 IF A THEN 10: END", "10 IF A GOTO 10: END", TOKEN, LOOSE),
    ("spelled", "10 STOP", "10 END", CAPITAL, READY),
    ("names", "10 ABLE=ABC+A1", "10 AB=AB+A1", READY, TOKEN),
    ("names", "10 ABLE$=ABC$", "10 AB$=AB$", READY, TOKEN),
    ("question", '10 INPUT "Q";A', '10 PRINT "Q";:INPUT A', READY, PRACTICE),
    (
        "goto-dropped",
        "10 IF A=1 THEN GOTO 10",
        "10 IF A=1 THEN 10",
        PRACTICE,
        with_forms(PRACTICE, then_takes="line"),
    ),
    ("bare-condition", "10 IF A GOTO 10", "10 IF A<>0 GOTO 10", CAPITAL, PRACTICE),
    ("spelled", "10 ? 3", "10 PRINT 3", CAPITAL, TOKEN),
    ("spelled", "10 ?A", "10 PRINT A", CAPITAL, TOKEN),
    ("spelled", "10 STOP", "10 END", TOKEN, PRACTICE),
    ("spelled", "10 P. 5", "10 PRINT 5", PALO_ALTO, CAPITAL),
    ("spelled", "10 ' a: note", "10 REM a: note", CAPITAL, TOKEN),
    ("spelled", "10 A=1:'it's", "10 A=1:REM it's", CAPITAL, TOKEN),
    ("capitals", '10 let a=5:print a;"x"', '10 LET A=5:PRINT A;"x"', TOKEN_SIGNED, READY),
    ("signs", "10 IF A><B THEN 10", "10 IF A<>B THEN 10", PRACTICE, TOKEN),
    ("signs", "10 IF A#B GOTO 10", "10 IF A<>B GOTO 10", PALO_ALTO, CAPITAL),
    ("then-added", "10 IF A=1 AND B=2 END", "10 IF A=1 AND B=2 THEN END", TOKEN, READY),
    ("signs", "10 IF A>=B THEN 10", "10 IF A=>B THEN 10", PRACTICE, TOKEN),
    ("signs", "10 IF A=>B THEN 10", "10 IF A>=B THEN 10", TOKEN, PRACTICE),
    ("let-added", "10 A=4", "10 LET A=4", PRACTICE, with_forms(PRACTICE, optional=("THEN",))),
    ("let-dropped", "10 LET A=4", "10 A=4", PRACTICE, NO_LET),
    ("statement-separator", "10 A=1; B=2", "10 A=1: B=2", PALO_ALTO, CAPITAL),
    ("quotes", "10 PRINT 'A'", '10 PRINT "A"', CAPITAL, TOKEN),
    ("random", "10 A=RND(6)", "10 A=RND(6)+1", PRACTICE, CAPITAL),
    ("random", "10 A=5-RND(6)", "10 A=5-(RND(6)+1)", PRACTICE, CAPITAL),
    ("random", "10 A=RND(RND(6))*2", "10 A=(RND(RND(6)+1)+1)*2", PRACTICE, CAPITAL),
    ("random", "10 A=RND(6)", "10 A=RND(6)-1", CAPITAL, PRACTICE),
    ("random", "10 A=RND(6)", "10 A=INT(RND(0)*6)+1", PRACTICE, READY),
    ("random", "10 A=2*RND(B+1)", "10 A=2*INT(RND(0)*(B+1))", CAPITAL, READY),
    ("random", "10 A=2*RND(B+1)", "10 A=2*(INT(RND*(B+1))+1)", PRACTICE, ECMA_LOOSE),
    ("whole-division", "10 A=7/2", "10 A=INT(7/2)", PRACTICE, READY),
    ("whole-division", "10 B=-2:A=-B/2*C/3", f"{FNQ}10 B=-2:A=-FNQ(FNQ(B/2)*C/3)", PRACTICE, READY),
    ("whole-division", "10 INPUT A:PRINT (A+1)/(A-1);5/-1", WHOLE_PRINT, PRACTICE, READY),
    ("whole-division", "10 A=5*-7/ABS(-2)", f"{FNQ}10 A=FNQ(5*-7/ABS(-2))", PRACTICE, READY),
    ("whole-division", "10 A=2-7^2/(1+1)^2", "10 A=2-INT(7^2/(1+1)^2)", TOKEN_REFUSING, READY),
    ("names", "10 AB=1:A=ABC+AB", "10 W=1:A=W+W", READY, CAPITAL),
    ("names", "10 FORI=1TON1:PRINTI:NEXTI", "10 FORI=1TOW\n11 PRINT I:NEXTI", TOKEN, CAPITAL),
    ("power", "10 A=B^2-2^3*C", "10 A=(B*B)-(2*2*2)*C", TOKEN, CAPITAL),
    ("comparison-sign", "10 A=(B>1)", "10 A=(-(B>1))", CAPITAL, TOKEN),
    ("comparison-sign", "10 A=B>1", "10 A=-(B>1)", CAPITAL, TOKEN),
    (
        "comparison-sign",
        "10 IF (A>1)*(B>2) THEN 10",
        "10 IF (-(A>1))*(-(B>2)) GOTO 10",
        TOKEN,
        CAPITAL,
    ),
    ("comparison-sign", "10 PRINT A=2", "10 PRINT -(A=2)", CAPITAL, TOKEN),
    ("comparison-sign", "10 IF A=5=1 PRINT A", "10 IF -(A=5)=1 PRINT A", CAPITAL, TOKEN),
    ("comparison-sign", "10 FOR I=A=5 TO B<3", "10 FOR I=-(A=5) TO -(B<3)", CAPITAL, TOKEN),
    ("comparison-sign", "10 A=ABS(B=5)", "10 A=ABS(-(B=5))", TOKEN, CAPITAL),
    ("comparison-sign", "10 PRINT A=SIZE", "10 PRINT -(A=SIZE)", PALO_ALTO, TOKEN),
    ("whole-root", "10 A=SQR(SQR(B)+1)*2", "10 A=INT(SQR(INT(SQR(B))+1))*2", TOKEN, READY),
    ("computed-jump", "10 GOSUB 10+N\n11 END", "10 ON N+1 GOSUB 10,11\n11 END", PRACTICE, READY),
    ("computed-jump", "10 GOTO N-1+9\n11 END", "10 ON N-1 GOTO 10,11\n11 END", PRACTICE, READY),
    (
        "computed-jump",
        "10 GOTO 13-5 + N-1\n11 END\n12 END",
        "10 ON -5 + N-1+4 GOTO 10,11,12\n11 END\n12 END",
        PRACTICE,
        READY,
    ),
    (
        "computed-jump",
        "10 GOTO N + 11 + M\n11 END",
        "10 ON N + M+2 GOTO 10,11\n11 END",
        TOKEN,
        READY,
    ),
    (
        "computed-jump",
        "10 INPUT N:GOSUB 101+N\n100 END\n101 END",
        "10 INPUT N:ON N+2 GOSUB 100,101\n100 END\n101 END",
        CAPITAL,
        READY,
    ),
    ("free-memory", "10 A=ROOM()/2", "10 A=SIZE/2", PRACTICE, TOKEN),
    ("free-memory", "10 PRINT SIZE", "10 PRINT ROOM()", TOKEN, PRACTICE),
    (
        "zones",
        '10 PRINT A,"X"',
        '10 PRINT A;" X"',
        PRACTICE,
        with_forms(PRACTICE, comma_columns=14),
    ),
    ("zones", "10 PRINT A,", '10 PRINT A;" ";', PRACTICE, with_forms(PRACTICE, comma_columns=14)),
    ("number-blanks", '10 PRINT "A=";A', '10 PRINT "A= ";A', PRACTICE, BARE),
    ("number-blanks", "10 PRINT A;B", '10 PRINT A;" ";B', PRACTICE, BARE),
    ("number-blanks", "10 PRINT A;", '10 PRINT " ";A;', PRACTICE, BARE),
    ("number-blanks", '10 PRINT A;"X"', '10 PRINT A;" X"', with_forms(BARE, number="spaced"), BARE),
    ("input-list", "10 INPUT A,B:END", "10 INPUT A:INPUT B:END", TOKEN, CAPITAL),
    ("bare-print", "10 PRINT", '10 PRINT ""', PRACTICE, CAPITAL),
    ("bare-print", "10 PRINT:PRINT", '10 PRINT:PRINT "";', CAPITAL, TOKEN),
    ("bare-print", "10 IF A=1 PRINT", '10 IF A=1 PRINT "",', CAPITAL, PALO_ALTO),
    ("separators", '10 PRINT "A";B', '10 PRINT "A",B', TOKEN, CAPITAL),
    ("separators", '10 ? "A";5', '10 ? "A ",5', READY, CAPITAL),
    ("separators", '10 PRINT "A",B', '10 PRINT "A";B', CAPITAL, BARE),
    ("separators", '10 PRINT "A";B', '10 PRINT "A";:PRINT B', TOKEN, ENDS),
    ("separators", '10 PRINT "A",', '10 PRINT "A";', PALO_ALTO, CAPITAL),
    ("question", '10 INPUT "Q",A', '10 PRINT "Q";:INPUT A', TOKEN, PRACTICE),
]


@pytest.mark.parametrize(
    ("rule", "line", "wanted", "source", "target"), CASES, ids=[f"{c[0]}: {c[1]}" for c in CASES]
)
def test_a_rule_writes_its_form(
    rule: str, line: str, wanted: str, source: Rules, target: Rules
) -> None:
    """One line, one rule: what is found becomes what the other board takes, with the reason."""
    made = adapted(line, source, target)
    assert made.listing.text() == wanted + "\n"
    assert made.needs == ()
    why = next(each.why for each in REWRITES if each.name == rule)
    assert any(why in change.why for change in made.changes)


def test_every_rule_is_tried() -> None:
    """The table has a test of each rule, and no two rules of one name."""
    names = [rule.name for rule in REWRITES]
    assert len(set(names)) == len(names)
    assert {case[0] for case in CASES} == set(names)


@pytest.mark.parametrize("rules", [PRACTICE, CAPITAL, TOKEN, PALO_ALTO])
def test_for_its_own_board_a_listing_stays(rules: Rules) -> None:
    """No rule applies between a language and itself, whatever blanks the lines have."""
    text = '10  FOR I = 1 TO 5\n20 PRINT  "A"\n30 NEXT I\n40 IF  A>1  GOTO 20\n'
    made = adapted(text, rules, rules)
    assert made.listing.text() == text
    assert not (made.changes or made.needs or made.notes)
    assert made.before == made.after


@settings(max_examples=3 * settings().max_examples)
@given(
    rows=st.lists(st.lists(st.sampled_from(PIECES), max_size=12).map("".join), max_size=3),
    source=st.sampled_from(KINDS),
    target=st.sampled_from(KINDS),
)
def test_any_text_can_be_adapted(rows: list[str], source: str, target: str) -> None:
    """Nothing raises; each line keeps its number; for its own board only lines are divided."""
    text = "".join(f"{number} {row}\n" for number, row in enumerate(rows, 10))
    made = adapted(text, find_profile(source).rules, find_profile(target).rules)
    assert set(Listing.from_text(text).numbered()) <= set(made.listing.numbered())
    assert source != target or {why for each in made.changes for why in each.why} <= {APART, LENGTH}


def test_quoted_text_and_remarks_are_never_changed() -> None:
    """What looks like a form inside them stays as it is."""
    text = '10 PRINT "IF A THEN 10: ? FNQ(A)"\n20 REM IF A THEN 10; A><B\n'
    assert adapted(text, PRACTICE, CAPITAL).listing.text() == text


def test_a_line_that_becomes_two_takes_a_free_number() -> None:
    """Where statements cannot share a line the rest goes behind it, and jumps stay right."""
    made = adapted("10 FOR I=1 TO 3:PRINT I:NEXT I\n20 GOTO 10\n", TOKEN, CAPITAL)
    assert made.listing.text() == "10 FOR I=1 TO 3\n11 PRINT I:NEXT I\n20 GOTO 10\n"
    assert [change.after for change in made.changes] == [("10 FOR I=1 TO 3", "11 PRINT I:NEXT I")]
    assert made.changes[0].cost_bytes == made.after - made.before == 3


def test_a_line_too_long_is_closed_up_or_divided() -> None:
    """Blanks go first; then a PRINT is divided, which shows the same; a condition stays whole."""
    short = replace(PRACTICE, form=replace(PRACTICE.form, longest_line=24))
    made = adapted('10 IF A = 1 THEN PRINT "X"\n20 PRINT A;" CUPS ";B;" BOXES";', TOKEN, short)
    assert (
        made.listing.text() == '10 IFA=1THENPRINT"X"\n20 PRINT A;" CUPS ";\n21 PRINT B;" BOXES";\n'
    )
    assert not made.needs
    assert {why for change in made.changes for why in change.why} == {LENGTH}
    made = adapted('10 IF A=1 THEN PRINT "ABCDEFGH";A\n30 END', TOKEN, short)
    text = '10 IF A=1 THEN 12\n11 GOTO 30\n12 PRINT "ABCDEFGH";A\n30 END\n'
    assert made.listing.text() == text
    made = adapted('10 PRINT "ABCDEFGHIJKLMNOPQRS"\n', TOKEN, short)
    assert [need.what for need in made.needs] == ["a line has at most 24 characters"]


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("10 A=B*1000+C*2000+D*30000", "10 V=B*1000+C*2000\n11 A=V+D*30000\n"),
        ("10 PRINT (B+10000)*(C+20000)", "10 V=(B+10000)*(C+20000)\n11 PRINT V\n"),
        ("10 IF A>B*1000+C*2000 THEN 10", "10 V=B*1000\n11 IF A>V+C*2000 THEN 10\n"),
        ("10 A=RND(100)+RND(200)+RND(300)", "10 V=RND(100)+RND(200)\n11 A=V+RND(300)\n"),
    ],
)
def test_a_long_expression_goes_to_a_spare_variable(line: str, wanted: str) -> None:
    """Its first terms are assigned in front of the statement, as far as the line is too long."""
    short = replace(TOKEN, form=replace(TOKEN.form, longest_line=25))
    made = adapted(line, TOKEN, short)
    assert made.listing.text() == wanted
    assert not made.needs


@pytest.mark.parametrize(
    "line",
    [
        "10 IF RND(99)>B*1000+RND(2000) THEN 10",
        "10 V=ABS(B+100000000000000000)",
        "10 ON ERROR PRINT A+B+C+D+E+F",
    ],
)
def test_an_expression_stays_where_its_order_or_room_forbids(line: str) -> None:
    """Random numbers keep their order; one term, and ON without a jump, cannot be divided."""
    short = replace(TOKEN, form=replace(TOKEN.form, longest_line=25))
    made = adapted(line, TOKEN, short)
    assert "a line has at most 25 characters" in [need.what for need in made.needs]


def test_a_jump_to_many_lines_is_divided() -> None:
    """Each list is short enough for its line; what is computed is computed once."""
    rows = "".join(f"{number} RETURN\n" for number in range(201, 221))
    made = adapted(f"10 GOSUB 200+RND(20)\n20 END\n{rows}", PRACTICE, READY)
    listed = [",".join(map(str, range(first, first + 8))) for first in (201, 209)]
    assert made.changes[0].after == (
        "10 V=INT(RND(0)*20)+1",
        f"11 IF V<9 THEN ON V GOSUB {listed[0]}:GOTO 20",
        f"12 IF V<17 THEN ON V-8 GOSUB {listed[1]}:GOTO 20",
        "13 ON V-16 GOSUB 217,218,219,220",
    )
    assert not made.needs


@pytest.mark.parametrize(
    ("jump", "others"),
    [
        ("GOTO 100+10*N", (100, 101)),
        ("GOTO 102-N", (100, 101, 102)),
        ("GOTO 100+(A=5)", (100, 101)),
        ("GOTO 100+N", (100, 110, 120)),
        ("GOSUB 100+N", (100, 101, 103)),
        ("GOSUB 100+N", (80, 100, 101)),
        ("GOSUB 100+N", (100,)),
        ("GOSUB 100+N/2*10", (100, 101)),
    ],
)
def test_a_jump_that_may_mean_any_line_is_left_and_named(
    jump: str, others: tuple[int, ...]
) -> None:
    """Only what is added to a base among lines that stand apart can be listed behind ON."""
    rows = "".join(f"{number} RETURN\n" for number in others)
    made = adapted(f"10 INPUT A,N:{jump}\n{rows}", TOKEN, READY)
    assert not any("ON " in line.text for line in made.listing.numbered().values())
    assert "a jump needs a plain line number" in [need.what for need in made.needs]


def test_without_a_number_in_front_the_definition_is_missing() -> None:
    """The function for whole division needs a line before all others."""
    made = adapted("0 INPUT B:A=B/2\n", PRACTICE, READY)
    assert [need.what for need in made.needs] == [
        "no free line number before it; renumber the listing first"
    ]


def test_without_a_free_number_the_line_stays_and_renumbering_is_named() -> None:
    """Nothing is lost where there is no number between two lines."""
    text = "10 FOR I=1 TO 3:PRINT I:NEXT I\n11 GOTO 10\n"
    made = adapted(text, TOKEN, CAPITAL)
    assert made.listing.text() == text
    assert [(need.what, need.lines) for need in made.needs] == [
        ("no free line number after it; renumber the listing first", (10,))
    ]


def test_a_condition_is_never_torn_from_its_statements() -> None:
    """Statements behind IF that need lines of their own are jumped to, and round."""
    text = "10 IF A=1 THEN PRINT 1:PRINT 2\n"
    target = with_forms(PRACTICE, separator="")
    made = adapted(f"{text}20 END\n", PRACTICE, target)
    assert made.listing.text() == "10 IF A=1 THEN 12\n11 GOTO 20\n12 PRINT 1\n13 PRINT 2\n20 END\n"
    made = adapted(text, PRACTICE, target)
    assert made.listing.text() == "10 IF A=1 THEN 12\n11 END\n12 PRINT 1\n13 PRINT 2\n"
    made = adapted(f"{text}12 END\n", PRACTICE, target)
    assert made.listing.text() == f"{text}12 END\n"
    assert [need.lines for need in made.needs] == [(10,)]


@pytest.mark.parametrize(
    ("line", "what", "source", "target"),
    [
        ('10 LET C$="HI"', "strings: this board has no variables for text", TOKEN, CAPITAL),
        (
            f"10 A={'+'.join('BCDEFGHIJKLMNOPQRSTUVWXYZ')}+X1",
            "names: this board has no names of more than one letter",
            TOKEN,
            CAPITAL,
        ),
        ("10 A=B^C", "^: this board has no powers", READY, CAPITAL),
        (
            "10 CLEAR",
            "CLEAR: boards differ in whether it clears the program or only its variables",
            PRACTICE,
            READY,
        ),
        ("10 PRINT ROOM()", "ROOM: this board has no such word", PRACTICE, CAPITAL),
        (
            "10 PRINT A=B",
            "a comparison used as a number: this board does not allow it",
            CAPITAL,
            PRACTICE,
        ),
        ("10 PRINT 7/2", "division: only one of the two boards keeps fractions", READY, PRACTICE),
        (
            "10 PRINT 6/2",
            "division: only one of the two boards keeps fractions",
            PRACTICE,
            NO_DEF,
        ),
        (
            "10 PRINT RND(0)",
            "RND: it gave fractions, and gives whole numbers on this board",
            READY,
            PRACTICE,
        ),
        ("10 IF A=1 AND B=2 END", "AND: this board has no such word", TOKEN, CAPITAL),
        ('10 IF "A"="A" END', "a comparison of texts: this board has none", TOKEN, CAPITAL),
        (
            "10 PRINT 'SAY \"HI\"'",
            "a quotation mark inside a text: this board does not allow it",
            CAPITAL,
            TOKEN,
        ),
        ("10 @(1)=5", "@: whether this board has it is not known", PALO_ALTO, TOKEN),
        (
            "10 LET A=1,B=2",
            "several assignments after one LET: write each as a statement",
            PALO_ALTO,
            PRACTICE,
        ),
        (
            "10 PRINT #3,A,B",
            "# in PRINT: whether this board can set the width of numbers is not known",
            PALO_ALTO,
            PRACTICE,
        ),
        (
            "10 PRINT SQR(10)",
            "SQR: it gave fractions, and gives whole numbers on this board",
            READY,
            TOKEN,
        ),
        ("10 GOSUB 100*N", "a jump needs a plain line number", PRACTICE, READY),
        (
            "10 PRINT 1.5",
            "fractions: this board has whole numbers only",
            READY,
            CAPITAL,
        ),
        (
            "10 IF A=1 THEN PRINT A",
            "THEN takes only a line number",
            PRACTICE,
            with_forms(PRACTICE, then_takes="line"),
        ),
        (
            "10 FOR I=1 TO 2\n20 NEXT",
            "NEXT without its variable: this board needs it",
            READY,
            CAPITAL,
        ),
        ("10 IF A=1 THEN END ELSE PRINT", "ELSE: this board has no such word", READY, PRACTICE),
        ('10 INPUT "Q"', "INPUT takes no text on this board", READY, CAPITAL),
        ("40000 PRINT A", "line numbers are 1 to 32767", TOKEN, PRACTICE),
    ],
)
def test_what_has_no_equal_is_named_with_its_line(
    line: str, what: str, source: Rules, target: Rules
) -> None:
    """The line stays and the need says what the board lacks."""
    made = adapted(line, source, target)
    number = int(line.splitlines()[-1].split()[0])
    assert (what, (number,)) in [(need.what, need.lines) for need in made.needs]


def test_a_function_of_the_users_is_no_array() -> None:
    """The need names DEF and FN alone."""
    made = adapted("10 DEF FNA(X)=X*X\n20 PRINT FNA(3)\n", READY, TOKEN)
    assert [need.what.split(":")[0] for need in made.needs] == ["DEF", "FN"]


def test_numbers_side_by_side_leave_the_origin_in_doubt() -> None:
    """Where one board shows blanks round them and another shows none, both are no guess."""
    known = {name: find_profile(name).rules.language for name in ("token", "ready")}
    found = guess_origin(Listing.from_text('10 IF A=1 THEN PRINT A;B;"X"\n'), known)
    assert [form.what for form in found.disputed] == ["; between numbers"]
    assert not guess_origin(Listing.from_text('10 PRINT "A";B;"X"\n'), known).disputed


@pytest.mark.parametrize("line", ["10 IF ABS(A)>1 GOTO 10", "10 IF A*(B+1)=C LET A=B", "10 A(1)=2"])
def test_a_plain_condition_or_assignment_is_no_number(line: str) -> None:
    """A comparison counts as a number only where its value is used."""
    made = adapted(line, TOKEN, with_forms(TOKEN, comparison=1))
    assert made.needs == ()


@pytest.mark.parametrize("line", ["10 @(1)=5", "10 LET A=1,B=2", "10 PRINT #3,A;"])
@pytest.mark.parametrize("target", [PRACTICE, TOKEN], ids=["practice", "token"])
def test_forms_of_one_kind_are_no_comparisons(line: str, target: Rules) -> None:
    """Its array, its lists of assignments and its widths keep their text and are named alone."""
    made = adapted(line, PALO_ALTO, target)
    assert len(made.needs) == 1
    assert not any(sign in made.listing.text() for sign in ("<>", "-("))


@pytest.mark.parametrize("text", ['10 P."HI"\n20 G.10\n', "10 IF A=1 R.\n"])
def test_a_listing_in_short_form_is_recognised(text: str) -> None:
    """A point between letters and a line number shortens a word; it begins no fraction."""
    known = {name: find_profile(name).rules.language for name in KINDS}
    found = guess_origin(Listing.from_text(text), known)
    assert found.names == ("palo-alto",)
    assert "words abbreviated with a full stop" in [form.what for form in found.forms]


@pytest.mark.parametrize(
    ("source", "target", "note"),
    [
        (PRACTICE, CAPITAL, "A result that is too large wraps to 16 bits instead of"),
        (TOKEN, PRACTICE, "A result that is too large stops the program instead of"),
        (PRACTICE, READY, "A result that needs more than 16 bits is calculated and shown on"),
    ],
)
def test_what_becomes_of_large_results_is_said(source: Rules, target: Rules, note: str) -> None:
    """The numbers of two boards end elsewhere, which no rule can change."""
    assert any(each.startswith(note) for each in adapted("10 A=A*A\n", source, target).notes)


def test_a_board_with_fractions_takes_them_in_input_too() -> None:
    """What the user must not type is said where the program asks."""
    note = "INPUT takes fractions on this board; type whole numbers."
    assert note in adapted("10 INPUT A\n", PRACTICE, READY).notes
    assert note not in adapted("10 PRINT 1\n", PRACTICE, READY).notes


def test_a_language_that_states_no_forms_is_as_it_was() -> None:
    """Without the new keys a language has the forms that were taken for granted before."""
    language = Language()
    assert (language.number, language.then_takes, language.semicolon) == ("", "both", "joins")
    assert (language.separator, language.quotes, language.optional) == ("", '"', ())
