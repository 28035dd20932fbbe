"""Each word of a profile is run by its practice board, or a try of it says that it is not."""

from __future__ import annotations

import pytest

from hostlink.board.profile.file import find_profile, shipped_profiles
from hostlink.jobs.trying import Setting
from hostlink.listing.tokens import has_word, keywords

# A program with each word, and what it prints, without blanks and the text of LIST.
IF = "10 IF 1=1 THEN 30\n20 PRINT 1\n30 PRINT 2\n40 END\n"
LOOP = "10 FOR I=1 TO 5 STEP 2\n20 PRINT I\n30 NEXT I\n40 END\n"
CALL = "10 GOSUB 40\n20 PRINT 2\n30 END\n40 PRINT 1\n50 RETURN\n60 END\n"
DATA = "10 READ A\n20 PRINT A\n30 DATA 7, 8\n40 RESTORE\n50 READ B\n60 PRINT B\n70 END\n"
NO = "10 %s\n20 END\n"
PROGRAMS: dict[str, tuple[str, str]] = {
    "'": ("10 'HI\n20 PRINT 1\n", "1"),
    "?": ("10 ? 1\n", "1"),
    "AND": ("10 PRINT 6 AND 3\n", "2"),
    "CALL": (NO % "CALL 1", ""),
    "CATALOG": ("10 SAVE\n20 CATALOG\n", ""),
    "CLEAR": ("10 A=1\n20 CLEAR\n30 PRINT A\n", ""),
    "CLR": (NO % "CLR", ""),
    "DATA": (DATA, "77"),
    "DEF": ("10 DEF FNA(X)=X+1\n20 PRINT FNA(2)\n30 END\n", "3"),
    "DIM": ("10 DIM A(5)\n20 LET A(5)=3\n30 PRINT A(5)\n40 END\n", "3"),
    "ELOAD": ("10 ESAVE\n20 ELOAD\n", ""),
    "ELSE": ("10 IF 1=2 THEN PRINT 1 ELSE PRINT 2\n", "2"),
    "ESAVE": ("10 ESAVE\n20 PRINT 2\n", "2"),
    "FETCH": ("10 STOW A\n20 FETCH A\n", ""),
    "FN": ("10 DEF FNA(X)=X+1\n20 PRINT FNA(2)\n30 END\n", "3"),
    "FOR": (LOOP, "135"),
    "GET": (NO % "GET A$", ""),
    "GO": ("10 GO TO 30\n20 PRINT 1\n30 PRINT 2\n40 END\n", "2"),
    "GOSUB": (CALL, "12"),
    "GOTO": ("10 GOTO 30\n20 PRINT 1\n30 PRINT 2\n40 END\n", "2"),
    "IF": (IF, "2"),
    "INPUT": ("10 INPUT A\n20 PRINT A\n30 END\n", "?77"),
    "LET": ("10 LET A=4\n20 PRINT A\n30 END\n", "4"),
    "NOT": ("10 PRINT NOT 0\n", "-1"),
    "ON": ("10 ON 2 GOTO 20,30\n20 PRINT 1\n30 PRINT 2\n40 END\n", "2"),
    "OPTION": (NO % "OPTION BASE 1", ""),
    "OR": ("10 PRINT 6 OR 1\n", "7"),
    "POKE": (NO % "POKE 1,2", ""),
    "PRINT": ("10 PRINT 5\n20 END\n", "5"),
    "REM": ("10 REM HI\n20 PRINT 5\n30 END\n", "5"),
    "SHELF": ("10 STOW A\n20 SHELF\n", "A17"),
    "SUB": ("10 GO SUB 40\n20 PRINT 2\n30 END\n40 PRINT 1\n50 RETURN\n60 END\n", "12"),
    "TOSS": ("10 STOW A\n20 TOSS A\n30 PRINT 5\n", "5"),
    "WAIT": (NO % "WAIT 1,2", ""),
    "CONT": (NO % "CONT", ""),
    "LIST": ("10 PRINT 5\n20 LIST\n", "510PRINT520LIST"),
    "LOAD": ("10 SAVE\n20 LOAD\n", ""),
    "MEM": ("10 MEM\n", "1032bytesfree.1024EEPrombytestotal.1EEPrombytesavailable."),
    "NEW": ("10 PRINT 5\n20 NEW\n", "5"),
    "RANDOMIZE": (NO % "RANDOMIZE", ""),
    "RUN": ("10 PRINT 5;\n20 RUN\n", "5" * 50),
    "SAVE": ("10 SAVE\n20 PRINT 2\n", "2"),
    "STOP": ("10 PRINT 5\n20 STOP\n30 PRINT 6\n40 END\n", "5"),
    "TONE": ("10 TONE 3,5,9\n20 PRINT 5\n", "5"),
    # functions
    "FRE": ("10 PRINT FRE(0)<0\n", "-1"),
    "RND": ("10 PRINT RND(2)*0\n", "0"),
    "ROOM": ("10 PRINT ROOM()\n", "984"),
    "SIZE": (IF.replace("1=1 THEN", "SIZE>900 GOTO"), "2"),
    "ABS": ("10 PRINT ABS(-3)\n20 END\n", "3"),
    "ASC": ('10 PRINT ASC("A")\n', "65"),
    "ATN": ("10 PRINT ATN(0)\n20 END\n", "0"),
    "CHR$": ("10 PRINT CHR$(65)\n", "A"),
    "COS": ("10 PRINT COS(0)\n20 END\n", "1"),
    "EXP": ("10 PRINT EXP(0)\n20 END\n", "1"),
    "INT": ("10 PRINT INT(-3/2)\n20 END\n", "-2"),
    "LEFT$": ('10 PRINT LEFT$("ABC",2)\n', "AB"),
    "LEN": ('10 PRINT LEN("ABC")\n', "3"),
    "LOG": ("10 PRINT LOG(1)\n20 END\n", "0"),
    "MID$": ('10 PRINT MID$("ABC",2,1)\n', "B"),
    "DUTY": ("10 DUTY 3,5\n20 PRINT 5\n", "5"),
    "LEVEL": ("10 PRINT LEVEL(0)\n", "0"),
    "OUT": ("10 OUT 3,1\n20 PRINT 5\n", "5"),
    "PEEK": (NO % "PRINT PEEK(1)", ""),
    "PIN": ("10 PRINT PIN(2)\n", "0"),
    "POS": (NO % "PRINT POS(0)", ""),
    "RIGHT$": ('10 PRINT RIGHT$("ABC",2)\n', "BC"),
    "SGN": ("10 PRINT SGN(-3)\n20 END\n", "-1"),
    "SIN": ("10 PRINT SIN(0)\n20 END\n", "0"),
    "SQR": ("10 PRINT SQR(16)\n20 END\n", "4"),
    "STR$": ("10 PRINT STR$(5)\n", "5"),
    "TAB": ('10 PRINT "A";TAB(5);"B"\n20 END\n', "AB"),
    "TAN": ("10 PRINT TAN(0)\n20 END\n", "0"),
    "VAL": ('10 PRINT VAL("5")\n', "5"),
}
SAME = {
    "TO": "FOR", "STEP": "FOR", "NEXT": "FOR", "RETURN": "GOSUB", "THEN": "IF", "BASE": "OPTION",
    "READ": "DATA", "RESTORE": "DATA", "END": "PRINT", "ELIST": "ESAVE", "STOW": "TOSS",
}  # fmt: skip


def rows_of() -> list[tuple[str, str]]:
    """Each word of each shipped profile."""
    languages = {name: find_profile(name).rules.language for name in shipped_profiles()}
    return [
        (name, word.removesuffix("("))
        for name, language in languages.items()
        for word in keywords(language)
        if has_word(language, word)
    ]


@pytest.mark.parametrize(("name", "word"), rows_of())
def test_a_word_of_a_profile_runs_or_is_said_to_be_lacking(name: str, word: str) -> None:
    """One of both, never neither: a program with the word prints what it should, or fails."""
    profile = find_profile(name)
    language = profile.rules.language
    program, wanted = PROGRAMS[SAME.get(word, word)]
    if language.then_takes == "none":
        program = program.replace(" THEN 30", " GOTO 30")
    if language.random == "fraction":
        program = program.replace("RND(2)", "RND")
    if name == "ready":
        program = program.replace("10 SAVE", "10 REM")
    if name == "practice":
        program = program.replace("WAIT 1,2", "WAIT 1")
    if name == "palo-alto":
        program = program.replace("END", "STOP")
    walk = Setting(name, ("7",), statements=100).begin(program, profile)
    walk.run(100)
    printed = "".join(walk.output.split())
    runs = not walk.error and printed == wanted
    assert runs != bool(walk.lacked), (printed, walk.error)
    assert runs or walk.missing in (word, SAME.get(word))
