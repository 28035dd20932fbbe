"""The practice board's EEPROM: STOW, FETCH, SHELF, TOSS, and the program that starts by itself."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from basic_runs import drive

from hostlink.practice.basic import Basic
from hostlink.practice.ops import Chore, Work

Typed = Callable[..., str]


def test_a_stowed_program_comes_back_byte_for_byte(typed: Typed) -> None:
    """FETCH replaces the program in memory by the stored one."""
    board = Basic()
    typed(board, '10 PRINT  "a b" ', "20 END")
    kept = dict(board.lines)
    assert typed(board, "STOW Tide2", "NEW", "5 REM other", "fetch TIDE2") == ""
    assert board.lines == kept
    assert board.eeprom == {"TIDE2": kept}


def test_shelf_names_each_program_and_its_size(typed: Typed) -> None:
    """One program a line, by name, with the bytes it takes in program memory."""
    board = Basic()
    typed(board, "10 PRINT 1", "STOW B", "20 END", "STOW A")
    assert typed(board, "SHELF") == "A 16\nB 10\n"
    assert typed(Basic(), "SHELF") == ""


def test_stowing_again_replaces_and_does_not_touch_the_program_in_memory(typed: Typed) -> None:
    """The old program of that name goes; what is in memory stays."""
    board = Basic()
    typed(board, "10 END", "STOW A", "20 END", "STOW A")
    assert board.eeprom == {"A": {10: b"END", 20: b"END"}}
    typed(board, "30 END")
    assert len(board.eeprom["A"]) == 2
    assert len(board.lines) == 3


def test_stowing_is_work_for_each_byte_of_the_slot(typed: Typed) -> None:
    """The name and one byte, the program, and two bytes for its length."""
    board = Basic()
    typed(board, "10 PRINT 1")
    asked = list(board.enter(b"STOW TIDE"))
    assert asked[-1] == Work(Chore.EEPROM_BYTE, 4 + 1 + 10 + 2)


def test_power_lost_while_stowing_leaves_the_old_slot(typed: Typed) -> None:
    """The slot changes only when its last byte is written."""
    board = Basic()
    typed(board, "10 END", "STOW A", "20 END")
    stowing = board.enter(b"STOW A")
    while next(stowing) != Work(Chore.EEPROM_BYTE, 1 + 1 + 12 + 2):
        pass
    stowing.close()
    board.power_on()
    assert board.eeprom == {"A": {10: b"END"}}


def test_a_full_eeprom_refuses_and_keeps_what_it_has(typed: Typed) -> None:
    """A slot may fill the EEPROM to the last byte; one byte more is refused."""
    board = Basic(eeprom_bytes=21)
    typed(board, "10 REM 45678901")
    assert typed(board, "STOW ABC") == ""
    assert typed(board, "STOW B") == "! shelf full, B needs 19 more\n"
    assert typed(board, "10 REM 456789012", "STOW ABC") == "! shelf full, ABC needs 1 more\n"
    assert board.eeprom == {"ABC": {10: b"REM 45678901"}}


def test_a_program_larger_than_memory_is_not_fetched(typed: Typed) -> None:
    """FETCH that does not fit leaves the program in memory alone."""
    board = Basic(program_bytes=20)
    board.eeprom["BIG"] = {10: b"REM" + b"x" * 20}
    typed(board, "10 END")
    assert typed(board, "FETCH BIG") == "! memory full, program needs 6 more\n"
    assert board.lines == {10: b"END"}


def test_toss_takes_one_program_off_the_shelf(typed: Typed) -> None:
    """Only the named program goes; tossing it twice is an error."""
    board = Basic()
    typed(board, "10 END", "STOW A", "STOW B")
    assert typed(board, "TOSS A") == ""
    assert list(board.eeprom) == ["B"]
    assert typed(board, "TOSS A") == "! nothing on the shelf called A\n"


@pytest.mark.parametrize("name", ["", "TOOLONG99", "A-B", "A B", '"A"', "\xc4"])
def test_a_bad_name_is_refused(typed: Typed, name: str) -> None:
    """Names are 1 to 8 letters or digits."""
    board = Basic()
    typed(board, "10 END")
    assert typed(board, f"STOW {name}") == "! a name is 1 to 8 letters or digits\n"
    assert board.eeprom == {}


def test_nothing_is_not_stowed(typed: Typed) -> None:
    """An empty program cannot take the place of a stored one."""
    board = Basic()
    typed(board, "10 END", "STOW A", "NEW")
    assert typed(board, "STOW A") == "! no program to stow\n"
    assert board.eeprom == {"A": {10: b"END"}}


def test_a_program_called_start_runs_at_power_on(typed: Typed) -> None:
    """Only that name starts by itself; the program is then in memory."""
    board = Basic()
    typed(board, "10 PRINT 7", "STOW OTHER")
    board.power_on()
    assert board.auto_start() is None
    typed(board, "FETCH OTHER", "STOW START")
    board.power_on()
    firmware = board.auto_start()
    assert firmware is not None
    assert drive(firmware) == " 7\r\n"
    assert board.lines == {10: b"PRINT 7"}


def test_a_program_that_fetches_another_ends(typed: Typed) -> None:
    """FETCH in a program replaces it, so nothing of the old one runs on."""
    board = Basic()
    typed(board, "10 PRINT 1", "STOW A", "10 FETCH A: PRINT 2", "20 PRINT 3")
    assert typed(board, "RUN", "LIST") == "10 PRINT 1\n"
