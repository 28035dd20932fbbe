"""The shipped profiles: they agree with the practice board's code and are packed with hostlink."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from basic_runs import FUNCTIONS, STATEMENTS

import hostlink.board
from hostlink.board.profile.file import find_profile, load_profile, shipped_profiles
from hostlink.practice.arithmetic import LARGEST, SMALLEST
from hostlink.practice.basic import Basic
from hostlink.practice.kind import ERROR_WORDS, KindLanguage, KindStorage
from hostlink.practice.ops import Send
from hostlink.practice.settings import BoardSettings


def _say(basic: Basic, typed: str) -> str:
    """What the practice board's BASIC sends back for one line; nothing interrupts it."""
    said = b""
    firmware = basic.enter(typed.encode())
    answer: bytes | bool | None = None
    try:
        while True:
            op = firmware.send(answer)
            if isinstance(op, Send):
                said += op.data
            answer = False
    except StopIteration:
        return said.decode()


def test_the_profiles_are_there_and_each_is_named_as_its_file() -> None:
    """Each shipped profile can be read, and says what it is and where it is from."""
    named = {"practice", "tiny", "palo-alto", "ecma-55", "capital", "token", "ready"}
    assert set(shipped_profiles()) == named
    for name, file in shipped_profiles().items():
        profile = load_profile(file)
        assert profile.name == name
        assert profile.title and profile.about and profile.source


def test_shipped_profiles_lie_inside_the_package() -> None:
    """They are package data: whatever installs the package brings them along."""
    folder = Path(hostlink.board.__file__).parent / "profiles"
    assert {path.stem for path in folder.glob("*.toml")} == set(shipped_profiles())


def test_the_practice_profile_talks_as_the_practice_board_does() -> None:
    """Every value that both know is the same in the profile and in the board's settings."""
    talk, form = find_profile("practice").talk, find_profile("practice").rules.form
    board = BoardSettings()
    for name in (
        *("baud", "receive_buffer", "echo", "prompt", "line_end", "reply_end", "line_done"),
        *("line_ms", "char_ms", "line_cancel", "erase", "interrupt"),
        *("restarts_on_open", "restart_ms"),
    ):
        assert getattr(talk, name) == getattr(board, name), name
    assert (talk.page_prompt, board.page_lines) == ("", 0)
    assert form.longest_line == board.longest_line
    assert form.screen_width == board.screen_width > 0
    assert form.case == ("upper" if board.fold_case else "kept")
    storage = find_profile("practice").rules.storage
    assert storage.program_bytes == board.program_bytes
    assert storage.eeprom_bytes == board.eeprom_bytes


def test_the_practice_profile_knows_the_words_of_the_practice_board() -> None:
    """Banner, error words, statements, functions and bounds are those of the board's code."""
    profile = find_profile("practice")
    language, form = profile.rules.language, profile.rules.form
    assert profile.talk.banner in Basic().banner().decode()
    assert profile.commands.error_words == ERROR_WORDS
    pins = {"OUT", "DUTY", "TONE", "WAIT"}
    assert set(language.statements) == {*STATEMENTS, "THEN", "TO", "STEP", *pins}
    assert language.functions == (*FUNCTIONS, "PIN", "LEVEL")
    assert language.pins == KindLanguage().pins
    assert language.separator == KindLanguage().separator
    assert (language.smallest_number, language.largest_number) == (SMALLEST, LARGEST)
    assert (form.first_line, form.last_line) == (KindStorage().first_line, KindStorage().last_line)


def test_a_line_costs_on_the_practice_board_what_its_profile_says() -> None:
    """The board reports free memory before and after; the difference is the profile's cost."""
    profile, basic = find_profile("practice"), Basic()
    storage = profile.rules.storage
    assert (storage.number_bytes, storage.end_bytes) == (
        basic.kind.storage.number_bytes,
        basic.kind.storage.end_bytes,
    )
    text = 'PRINT "HELLO"'
    free = int(_say(basic, profile.commands.free_memory))
    assert free == storage.program_bytes - storage.empty_bytes == 999
    assert _say(basic, f"10  {text}") == ""
    cost = storage.number_bytes + storage.length_bytes + len(text) + storage.end_bytes
    assert free - int(_say(basic, profile.commands.free_memory)) == cost


def test_the_commands_of_the_practice_profile_do_what_they_say() -> None:
    """List, clear, run, store, stored and recall work on the board as the profile writes them."""
    commands, basic = find_profile("practice").commands, Basic()
    form = find_profile("practice").rules.form
    _say(basic, '10 PRINT "HI"')
    listed = form.list_form.format(number=10, text='PRINT "HI"')
    assert _say(basic, commands.list).split() == listed.split()
    assert _say(basic, commands.run).strip() == "HI"
    assert not _say(basic, commands.store.format(name="TEA")).startswith(ERROR_WORDS)
    assert "TEA" in _say(basic, commands.stored)
    _say(basic, commands.clear)
    assert basic.lines == {}
    _say(basic, commands.recall.format(name="TEA"))
    assert basic.lines == {10: b'PRINT "HI"'}
    assert _say(basic, "PRINT 1/0").startswith(commands.error_words)


@pytest.mark.parametrize("name", ["tiny", "palo-alto", "ecma-55"])
def test_where_nothing_is_measured_the_values_are_the_careful_ones(name: str) -> None:
    """Nothing may arrive while the board is busy, and nothing runs ahead of its echo."""
    talk = find_profile(name).talk
    assert (talk.receive_buffer, talk.line_window, talk.line_ms) == (0, 1, 50)
    trusted = "the prompt follows storing in its published listing"
    expected = {"palo-alto": "prompt", "tiny": "after-prompt", "ecma-55": "after-prompt"}
    assert talk.line_done == expected[name], trusted
    assert talk.restarts_on_open


def test_where_no_question_for_memory_is_known_none_is_asked() -> None:
    """An unknown question stays empty: typing a guess could change the board."""
    assert find_profile("tiny").commands.free_memory == ""
    assert find_profile("ecma-55").commands.free_memory == ""


@pytest.mark.parametrize("name", shipped_profiles())
def test_a_figure_without_a_source_is_marked_so(name: str) -> None:
    """Whoever relies on 999 bytes is told that it is common practice and nothing more."""
    profile = load_profile(shipped_profiles()[name])
    measured = profile.source.startswith("Measured on")
    if profile.rules.storage.program_bytes and not measured:
        assert profile.rules.storage.program_bytes == 999
        assert re.search(r"999 bytes for a program: common practice, no source", profile.source)
