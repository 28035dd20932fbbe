"""Check codes against published values, and recomputed by BASIC programs on foreign interpreters.

ISO/IEC 7064 MOD 97-10 and CRC-16/XMODEM: the examples are the commonly published ones, 794 with
check digits 44 (ISO/IEC 7064), and 31C3 for the digits 1 to 9 (the usual check value of that CRC).
"""

from __future__ import annotations

import binascii
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from basic_runs import run_program

from hostlink.listing import Listing, Rules, canonical
from hostlink.listing.checkcodes import codes_of, line_code, whole_code
from hostlink.shipped import library_folder

ROWS = ["10 REM TIDE CLOCK FOR THE FERRY STEPS", '90 PRINT "HIGH ";', "210 IF T<1440 THEN 240", "~"]


def mod_97_10(digits: str) -> int:
    """The check number by the standard's definition: with it appended the whole is 1 modulo 97."""
    return next(check for check in range(97 + 2) if int(f"{digits}{check:02d}") % 97 == 1)


@pytest.mark.parametrize(("digits", "check"), [("794", 44), ("999912345678901214", None)])
def test_the_definition_gives_the_published_check_digits(digits: str, check: int | None) -> None:
    """794 has 44, the example of ISO/IEC 7064; and any number with its check is 1 modulo 97."""
    found = mod_97_10(digits)
    assert check in (None, found)
    assert int(f"{digits}{found:02d}") % 97 == 1


def test_an_account_number_checks_out() -> None:
    """99991234567890121414 with 90 (CHECK value of a published legal-entity identifier scheme)."""
    assert int("99991234567890121414" + "90") % 97 == 1


@pytest.mark.parametrize("row", ROWS)
def test_a_line_code_is_mod_97_10_over_two_digit_ordinals(row: str) -> None:
    """The definition written out in whole numbers of any length, not step by step."""
    digits = "".join(f"{ord(character) - 31:02d}" for character in row)
    assert line_code(row) == f"{mod_97_10(digits):02d}"
    assert int(digits + line_code(row)) % 97 == 1


def test_the_whole_code_is_crc_16_xmodem() -> None:
    """31C3 for 123456789; and bit by bit over a shipped program, from the polynomial 1021."""
    assert whole_code("123456789") == "31C3"
    assert binascii.crc_hqx(b"123456789", 0) == 0x31C3
    text = (library_folder() / "tide.bas").read_text(encoding="ascii")
    register = 0
    for byte in canonical(Listing.from_text(text), Rules()).encode():
        register ^= byte << 8
        for _ in range(8):
            register = (register << 1) ^ (0x1021 if register & 0x8000 else 0)
            register &= 0xFFFF
    assert codes_of(Listing.from_text(text), Rules()).whole == f"{register:04X}"


LINE_CODE = """\
10 READ L$
20 LET C=0
30 FOR I=1 TO LEN(L$)
40 LET C=C*100+ASC(MID$(L$,I,1))-31
50 LET C=C-INT(C/97)*97
60 NEXT I
70 LET C=C*100
80 PRINT 98-(C-INT(C/97)*97)
90 DATA "{row}"
100 END
"""

WHOLE_CODE = """\
10 LET C=0
20 READ A
30 IF A<0 THEN 160
50 FOR B=7 TO 0 STEP -1
60 LET T=INT(C/32768)
70 LET D=INT(A/2^B)
80 LET D=D-INT(D/2)*2
90 LET C=C*2-T*65536
100 IF T=D THEN 140
110 LET K=4096
112 GOSUB 200
120 LET K=32
122 GOSUB 200
130 LET K=1
132 GOSUB 200
140 NEXT B
150 GOTO 20
160 PRINT C
170 END
200 LET Q=INT(C/K)
210 IF Q-INT(Q/2)*2=0 THEN 240
220 LET C=C-K
230 RETURN
240 LET C=C+K
250 RETURN
900 DATA {data},-1
"""


def test_all_codes_can_be_worked_out_on_the_practice_board() -> None:
    """The README's program, in 16 bits and without strings, fed with the ASCII codes of a listing.

    It prints the codes of the lines and then that of the whole; a program of the library, every
    printable character, and the published check value are recomputed with it.
    """
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
    (program,) = re.findall(r"^```basic\n(.*?)^```$", readme, re.MULTILINE | re.DOTALL)
    seats = (library_folder() / "seats.bas").read_text(encoding="ascii")
    printable = "".join(map(chr, range(32, 127)))
    for text in (seats, f"10 REM {printable[:48]}\n20 REM {printable[48:]}\n"):
        printed = run_program(program, [*map(str, text.encode()), "0"])
        *lines, whole = [row for row in printed.splitlines() if not row.startswith("?")]
        codes = codes_of(Listing.from_text(text), Rules())
        assert [line.strip().zfill(2) for line in lines] == list(codes.lines.values())
        assert "".join(f"{int(digit):X}" for digit in whole.split()) == codes.whole
    printed = run_program(program, [*map(str, b"123456789"), "0"])
    assert "".join(f"{int(digit):X}" for digit in printed.split()[-4:]) == "31C3"


def test_the_readme_has_a_code_that_is_right() -> None:
    """Its example can be done by hand: 10 END."""
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")
    line, code = re.findall(r"`([^`]+)` has the code ([0-9]{2})", readme)[0]
    assert (line, line_code(line)) == ("10 END", code)


@pytest.mark.parametrize("row", [row for row in ROWS if '"' not in row])
def test_a_line_code_can_be_worked_out_on_a_foreign_interpreter(
    row: str, foreign_output: Callable[[str], list[str]]
) -> None:
    """The same by strings, on bwbasic."""
    assert foreign_output(LINE_CODE.format(row=row))[-1].strip().zfill(2) == line_code(row)


def test_the_whole_code_can_be_worked_out_on_a_foreign_interpreter(
    foreign_output: Callable[[str], list[str]],
) -> None:
    """Bit by bit in decimal arithmetic, on bwbasic: the check value, and a program's code."""
    for text in ("123456789", '10 PRINT "A"\n20 GOTO 10\n'):
        data = ",".join(str(ord(character)) for character in text)
        printed = foreign_output(WHOLE_CODE.format(data=data))[-1]
        assert int(float(printed)) == int(whole_code(text), 16)
