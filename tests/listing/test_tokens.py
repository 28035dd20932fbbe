"""Taking lines apart."""

from __future__ import annotations

import pytest

from hostlink.listing.rules import Language
from hostlink.listing.tokens import scan

TINY = Language(
    statements=("PRINT", "LET", "IF", "FOR", "TO", "NEXT", "RETURN"),
    functions=("RND",),
    separator=":",
)


def kinds(text: str, language: Language = TINY) -> list[tuple[str, str]]:
    """Kind and text of every span but blanks."""
    return [(span.kind, span.text) for span in scan(text, language) if span.kind != "blank"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("GOTO10", [("word", "GOTO"), ("number", "10")]),
        ("PRINTA", [("word", "PRINT"), ("name", "A")]),
        (
            "FORI=1TO9",
            [
                *(("word", "FOR"), ("name", "I"), ("symbol", "=")),
                *(("number", "1"), ("word", "TO"), ("number", "9")),
            ],
        ),
        ("IFATHEN9", [("word", "IF"), ("name", "A"), ("word", "THEN"), ("number", "9")]),
        ("A1=1E5", [("name", "A1"), ("symbol", "="), ("number", "1E5")]),
        ("A$=.5", [("name", "A$"), ("symbol", "="), ("number", ".5")]),
    ],
)
def test_keywords_are_found_wherever_their_letters_stand(text, expected):
    """Keywords may run on into what follows them, as on boards that skip blanks."""
    assert kinds(text) == expected


def test_go_to_with_blanks_is_one_keyword():
    """GO TO and GO SUB are GOTO and GOSUB, however many blanks are between."""
    words = [span.word for span in scan("go to 10:GO  SUB 20:GOTO 30", TINY) if span.word]
    assert words == ["GOTO", "GOSUB", "GOTO"]


def test_quoted_text_is_one_span_even_unclosed():
    """Quotes hide keywords; a quote that is never closed runs to the end of the line."""
    assert kinds('PRINT "GOTO 10";"REM') == [
        *(("word", "PRINT"), ("quoted", '"GOTO 10"')),
        *(("symbol", ";"), ("quoted", '"REM')),
    ]


def test_a_remark_takes_the_rest_of_the_line():
    """Nothing after a remark word is taken apart, quotes included."""
    assert kinds('A=1:REM say "GOTO 10') == [
        *(("name", "A"), ("symbol", "="), ("number", "1"), ("symbol", ":")),
        *(("word", "REM"), ("remark", ' say "GOTO 10')),
    ]


def test_long_names_hide_keywords():
    """Where names may be words, TOTAL is a name and not TO with something behind it."""
    language = Language(statements=("TO", "PRINT"), long_names=True)
    assert kinds("TOTAL=PRINTER", language) == [
        *(("name", "TOTAL"), ("symbol", "="), ("name", "PRINTER"))
    ]
    assert kinds("GOTO10", language)[0] == ("word", "GOTO")


def test_the_first_word_of_the_table_that_fits_an_abbreviation_is_meant():
    """P. is PRINT and R. is RETURN, as the table has RETURN before REM and RND."""
    language = Language(statements=TINY.statements, functions=("RND",), abbreviation_mark=".")
    words = [span.word for span in scan('P."A.B";R.', language) if span.word]
    assert words == ["PRINT", "RETURN"]


def test_other_quotes_count_where_the_language_has_them():
    """A board may take single quotes round text as well."""
    language = Language(quotes="\"'")
    assert kinds("'GOTO 1\"'GOTO 2", language)[0] == ("quoted", "'GOTO 1\"'")


def test_only_ascii_letters_make_keywords():
    """The Kelvin sign folds to k in Unicode, but it is no letter to a board."""
    language = Language(statements=("POKE",))
    assert all(span.word == "" for span in scan("PO\u212aE", language))
