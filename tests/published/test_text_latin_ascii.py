"""The table of plain characters against the CLDR transform Latin-ASCII.

Source: Unicode CLDR, transform Latin-ASCII, as carried by ICU. Its values for the characters that
matter here are written out, and checked against ICU's own converter where that is installed.
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable

import pytest

from hostlink.listing import mend
from hostlink.listing.mending.characters import PLAIN

CLDR = {
    **dict.fromkeys("‘’‛′", "'"),
    **dict.fromkeys("“”‟″", '"'),
    **dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212\u00ad", "-"),
    "×": "*",
    **dict.fromkeys("÷⁄∕", "/"),
    "…": "...",
    **dict.fromkeys("\u00a0\u205f\u3000" + "".join(map(chr, range(0x2002, 0x200B))), " "),
}
NOT_IN_CLDR = {"\u202f": " ", "\u200b": "", "\ufeff": ""}
OTHERWISE = set("\u201a\u1680")  # a low quote is a quote to us; CLDR makes it a comma
OTHERWISE |= {char for char, plain in PLAIN.items() if plain == ""}  # CLDR keeps what is invisible


@pytest.mark.parametrize(("char", "plain"), sorted((CLDR | NOT_IN_CLDR).items()))
def test_each_character_becomes_its_plain_form(char, plain):
    """In a line of BASIC the character becomes what CLDR says, and the repair is reported."""
    mended = mend(f"10 REM a {char} b")
    assert mended.text == f"10 REM a {plain} b"
    assert len(mended.mends) == 1


def test_the_table_agrees_with_icu(require_program: Callable[[str], str]):
    """ICU's converter makes of each character of our table what we make of it."""
    table = {char: plain for char, plain in (PLAIN | CLDR).items() if char not in OTHERWISE}
    del table["\u202f"]  # not in CLDR, see above
    assert len(table) > 120
    ran = subprocess.run(
        [require_program("uconv"), "-f", "utf-8", "-t", "utf-8", "-x", "Latin-ASCII"],
        input="\n".join(f"[{char}]" for char in table),
        encoding="utf-8",
        capture_output=True,
        check=True,
        timeout=120,
    )
    assert ran.stdout.split("\n") == [f"[{plain}]" for plain in table.values()]


@pytest.mark.parametrize("text", ["O0", "l1I", "éàü", "ßŒ", "¼", "±", "•"])
def test_letters_and_signs_without_a_sure_plain_form_stay(text):
    """Only quotes, dashes, blanks and the signs of BASIC are made plain; no letter is guessed."""
    mended = mend(f"10 REM {text}")
    assert (mended.text, mended.mends) == (f"10 REM {text}", ())
