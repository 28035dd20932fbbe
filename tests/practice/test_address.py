"""Practice addresses: every option understood or named, and a board that keeps what it holds."""

from __future__ import annotations

import dataclasses
import json
import typing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hostlink.errors import HostlinkError, LinkError, LinkReason, RefusedError, UsageError
from hostlink.practice.address import open_board, parse_address
from hostlink.practice.faults import Faults
from hostlink.practice.kind import BoardKind, KindStorage
from hostlink.practice.kind_file import find_kind, kind_names
from hostlink.practice.machine import Machine
from hostlink.practice.settings import BoardSettings


def enter(machine: Machine, *lines: bytes) -> None:
    """Type lines at a machine and let it store them."""
    now = 1.0
    for line in lines:
        machine.run_until(now)
        machine.host_sends(line + b"\r", now)
        now += 1.0
    machine.run_until(now)


# --- parsing -------------------------------------------------------------------------------------


def test_an_address_without_anything_is_the_desk_board() -> None:
    """The board called desk, as built, without faults, in real time."""
    address = parse_address("practice://")
    assert address.name == "desk"
    assert address.settings == BoardSettings()
    assert address.faults == Faults()
    assert not address.fresh
    assert not address.virtual


def test_options_go_where_they_belong() -> None:
    """Settings, faults and the two words of the address itself."""
    address = parse_address(
        "practice://red?fresh&time=virtual&line_ms=20&receive_buffer=2&echo=no&to_host=0.001"
        "&line_done=echo&prompt=READY%0D%0A"
    )
    assert address.name == "red"
    assert address.fresh
    assert address.virtual
    assert address.settings == BoardSettings(
        line_ms=20.0, receive_buffer=2, echo=False, line_done="echo", prompt=b"READY\r\n"
    )
    assert address.faults == Faults(to_host=0.001)


@pytest.mark.parametrize("kind", [BoardSettings, Faults])
def test_every_field_is_an_option(kind: type[BoardSettings] | type[Faults]) -> None:
    """No setting exists that an address cannot give."""
    values = {bool: ("yes", True), bytes: ("A", b"A"), float: ("0.5", 0.5), int: ("100", 100)}
    for name, annotation in typing.get_type_hints(kind).items():
        words = typing.get_args(annotation)
        text, wanted = (words[-1], words[-1]) if words else values[annotation]
        address = parse_address(f"practice://?{name}={text}")
        made = address.settings if kind is BoardSettings else address.faults
        assert getattr(made, name) == wanted, name


def test_the_seed_is_for_the_faults_too() -> None:
    """Both kinds of chance are repeated, or changed, by the one option."""
    address = parse_address("practice://?seed=42")
    assert address.settings.seed == 42
    assert address.faults.seed == 42


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("practice://a b", "name"),
        ("practice://" + "x" * 41, "name"),
        ("practice://../up", "name"),
        ("practice:red", "not the address"),
        ("practice://?colour=red", "colour"),
        ("practice://?line_ms=soon", "line_ms"),
        ("practice://?line_ms=-1", "line_ms"),
        ("practice://?line_ms=nan", "line_ms"),
        ("practice://?line_ms=inf", "line_ms"),
        ("practice://?line_ms=", "line_ms"),
        ("practice://?receive_buffer=1.5", "receive_buffer"),
        ("practice://?baud=3", "baud"),
        ("practice://?bootloader_baud=0", "bootloader_baud"),
        ("practice://?boot_bytes=4097", "boot_bytes"),
        ("practice://?echo=perhaps", "echo"),
        ("practice://?line_done=never", "line_done"),
        ("practice://?line_end=", "line_end"),
        ("practice://?time=slow", "time"),
        ("practice://?kind=capital&kind=token", "kind is given more than once"),
        ("practice://?seed=1&line_ms=1&seed=1", "seed is given more than once"),
        ("practice://?fresh&fresh", "fresh is given more than once"),
    ],
)
def test_what_makes_no_sense_is_named(url: str, words: str) -> None:
    """Each slip is wrong use, with the word at fault in the message."""
    with pytest.raises(UsageError, match=words):
        parse_address(url)


def test_an_unknown_option_lists_the_known_ones() -> None:
    """The advice names every option there is."""
    with pytest.raises(UsageError) as caught:
        parse_address("practice://?baudrate=9600")
    assert "receive_buffer" in caught.value.advice
    assert "to_host" in caught.value.advice
    names = caught.value.advice.rstrip(".").split("Known: ")[1].split(", ")
    assert len(names) == len(set(names))


@settings(deadline=None, derandomize=True, max_examples=300)
@given(rest=st.text(max_size=60))
def test_any_text_is_an_address_or_wrong_use(rest: str) -> None:
    """Nothing foreign is raised for anything typed behind the scheme."""
    try:
        parse_address("practice://" + rest)
    except UsageError as error:
        assert error.what


@pytest.mark.parametrize("key", ["line_cancel", "erase", "interrupt", "prompt", "page_prompt"])
def test_a_board_without_a_key_or_prompt_works(tmp_path: Path, key: str) -> None:
    """An empty value means that the board has none; it is no error, now or later."""
    machine, keep = open_board(parse_address(f"practice://?{key}="), tmp_path, 57600)
    enter(machine, b"10 \x03\x08\x15", b"10 END")
    assert machine.basic.lines[10] == b"END"
    keep(machine)


def test_a_kind_gives_the_settings_that_the_address_does_not() -> None:
    """Its own speed and prompt, with what the address says in their place."""
    address = parse_address("practice://red?kind=capital&line_ms=9")
    capital = find_kind("capital").settings
    assert address.kind == "capital"
    assert address.settings == dataclasses.replace(capital, line_ms=9.0)


def test_an_unknown_kind_lists_the_known_ones() -> None:
    """The advice names every kind there is."""
    with pytest.raises(UsageError, match='called "kapital"') as caught:
        parse_address("practice://red?kind=kapital")
    for name in kind_names():
        assert name in caught.value.advice


# --- keeping -------------------------------------------------------------------------------------


def test_a_named_board_keeps_memory_and_eeprom(tmp_path: Path) -> None:
    """What one opening typed in, the next one finds."""
    address = parse_address("practice://red")
    machine, keep = open_board(address, tmp_path, 57600)
    enter(machine, b"10 REM tide", b"STOW TIDE", b"20 END")
    keep(machine)
    again, keep = open_board(address, tmp_path, 57600)
    assert again.basic.lines == {10: b"REM tide", 20: b"END"}
    assert again.basic.eeprom == {"TIDE": {10: b"REM tide"}}
    keep(again)


def test_boards_of_different_names_are_different_boards(tmp_path: Path) -> None:
    """A second name starts empty and may be open at the same time."""
    red, keep_red = open_board(parse_address("practice://red"), tmp_path, 57600)
    enter(red, b"10 END")
    blue, keep_blue = open_board(parse_address("practice://blue"), tmp_path, 57600)
    assert blue.basic.lines == {}
    keep_red(red)
    keep_blue(blue)


def test_a_named_board_keeps_its_kind(tmp_path: Path) -> None:
    """Named once, it needs no naming again: program, stored program and manners are there."""
    machine, keep = open_board(parse_address("practice://red?kind=capital"), tmp_path, 9600)
    enter(machine, b"10 rem tide", b"ESAVE", b"20 END")
    keep(machine)
    for url in ("practice://red", "practice://red?kind=capital", "practice://red?line_ms=7"):
        again, keep = open_board(parse_address(url), tmp_path, 9600)
        assert again.kind.name == "capital"
        assert again.settings.prompt == b">"
        assert again.basic.lines == {10: b"REM TIDE", 20: b"END"}
        assert list(again.basic.eeprom.values()) == [{10: b"REM TIDE"}]
        keep(again)


@pytest.mark.parametrize(
    ("first", "baud"), [("practice://red?kind=capital", 9600), ("practice://red", 57600)]
)
def test_a_board_does_not_change_its_kind(tmp_path: Path, first: str, baud: int) -> None:
    """Another kind for the same name is refused, with the two things that can be done."""
    machine, keep = open_board(parse_address(first), tmp_path, baud)
    enter(machine, b"10 END")
    keep(machine)
    with pytest.raises(RefusedError, match=r"is of the kind \w+, not ready") as caught:
        open_board(parse_address("practice://red?kind=ready"), tmp_path, 9600)
    assert "another name" in caught.value.advice
    assert "practice://red?kind=ready&fresh" in caught.value.advice
    again, keep = open_board(parse_address("practice://red"), tmp_path, 9600)
    assert again.basic.lines == {10: b"END"}
    keep(again)
    made, keep = open_board(parse_address("practice://red?kind=ready&fresh"), tmp_path, 9600)
    assert made.kind.name == "ready"
    assert made.basic.lines == {}
    keep(made)


def test_a_state_from_before_there_were_kinds_is_a_practice_board(tmp_path: Path) -> None:
    """Nothing that was kept is lost."""
    machine, keep = open_board(parse_address("practice://red"), tmp_path, 57600)
    enter(machine, b"10 END")
    keep(machine)
    file = tmp_path / "red.json"
    state = json.loads(file.read_text())
    del state["kind"]
    del state["basic"]["writes"]
    del state["basic"]["answered"]
    file.write_text(json.dumps(state))
    again, keep = open_board(parse_address("practice://red"), tmp_path, 57600)
    assert again.kind.name == "practice"
    assert again.basic.lines == {10: b"END"}
    keep(again)


def test_a_kind_made_in_code_is_kept_with_its_board(tmp_path: Path) -> None:
    """The next opening needs only the name of the board."""
    garden = BoardKind(
        "garden", settings=BoardSettings(prompt=b"] "), storage=KindStorage(case="all")
    )
    address = parse_address("practice://red")
    machine, keep = open_board(address, tmp_path, 57600, garden)
    enter(machine, b"10 rem x")
    keep(machine)
    again, keep = open_board(address, tmp_path, 57600)
    assert again.kind == garden
    assert again.basic.lines == {10: b"REM X"}
    keep(again)


def test_a_kind_that_cannot_be_read_back_is_told(tmp_path: Path) -> None:
    """What the board holds is not lost by it, and naming a kind helps where it is the same."""
    address = parse_address("practice://red")
    machine, keep = open_board(address, tmp_path, 57600)
    enter(machine, b"10 END")
    keep(machine)
    file = tmp_path / "red.json"
    file.write_text(json.dumps({**json.loads(file.read_text()), "kind": "gone"}))
    for _ in range(2):
        with pytest.raises(RefusedError, match="kind of the practice board"):
            open_board(address, tmp_path, 57600)


def test_a_question_once_answered_stays_answered(tmp_path: Path) -> None:
    """The first opening finds the board at its question, the next one at work."""
    address = parse_address("practice://red?kind=ready")
    machine, keep = open_board(address, tmp_path, 9600)
    machine.run_until(1.0)
    assert machine.host_reads(1.0, 99) == b"Memory size ? "
    enter(machine, b"", b"10 END")
    keep(machine)
    machine, keep = open_board(parse_address("practice://red"), tmp_path, 9600)
    machine.run_until(1.0)
    assert machine.host_reads(1.0, 99) == b""
    assert machine.basic.lines == {10: b"END"}
    keep(machine)


def test_fresh_starts_empty(tmp_path: Path) -> None:
    """`fresh` forgets memory and EEPROM."""
    machine, keep = open_board(parse_address("practice://red"), tmp_path, 57600)
    enter(machine, b"10 END", b"STOW A")
    keep(machine)
    machine, keep = open_board(parse_address("practice://red?fresh"), tmp_path, 57600)
    assert machine.basic.lines == {}
    assert machine.basic.eeprom == {}
    keep(machine)


def test_a_kept_board_shows_its_prompt_no_more(tmp_path: Path) -> None:
    """It was shown when the board was new: later openings say nothing, until a line is entered."""
    address = parse_address("practice://red")
    for heard in (b"", b"", b""):
        machine, keep = open_board(address, tmp_path, 57600)
        machine.run_until(1.0)
        assert machine.host_reads(1.0, 100) == heard
        machine.host_sends(b"\r", 1.0)
        machine.run_until(2.0)
        assert machine.host_reads(2.0, 100) == b"\r\n+ "
        keep(machine)


def test_a_board_is_open_once_at_a_time(tmp_path: Path) -> None:
    """A second opening is refused as busy until the first is closed."""
    address = parse_address("practice://red")
    machine, keep = open_board(address, tmp_path, 57600)
    with pytest.raises(LinkError, match="in use") as caught:
        open_board(address, tmp_path, 57600)
    assert caught.value.reason is LinkReason.BUSY
    keep(machine)
    machine, keep = open_board(address, tmp_path, 57600)
    keep(machine)


@pytest.mark.parametrize(
    "spoilt",
    [
        b"",
        b"\xff\xfe\x00",
        b"{",
        b"[]",
        b"null",
        b'{"format": 99}',
        b'{"format": 1}',
        b'"' + b"x" * (1 << 20),
        b"[" * 100_000,
    ],
)
def test_a_spoilt_state_file_means_an_empty_board(tmp_path: Path, spoilt: bytes) -> None:
    """As after a power cut: no error, nothing in memory, and the next close keeps a sound one."""
    (tmp_path / "red.json").write_bytes(spoilt)
    machine, keep = open_board(parse_address("practice://red"), tmp_path, 57600)
    assert machine.basic.lines == {}
    keep(machine)
    assert json.loads((tmp_path / "red.json").read_text())["format"] == 1


def test_a_program_that_does_not_fit_the_settings_is_not_lost(tmp_path: Path) -> None:
    """A smaller memory is refused, the state stays, and the board is free to be opened again."""
    machine, keep = open_board(parse_address("practice://red"), tmp_path, 57600)
    enter(machine, b"10 REM quite a long line of text")
    keep(machine)
    for _ in range(2):
        with pytest.raises(RefusedError):
            open_board(parse_address("practice://red?program_bytes=10"), tmp_path, 57600)
    machine, keep = open_board(parse_address("practice://red"), tmp_path, 57600)
    assert machine.basic.lines == {10: b"REM quite a long line of text"}
    keep(machine)


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    """A file where the folder should be is a LinkError with its name."""
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(LinkError, match="taken"):
        open_board(parse_address("practice://red"), tmp_path / "taken", 57600)


def test_a_state_that_cannot_be_written_is_told_and_the_board_freed(tmp_path: Path) -> None:
    """Closing says so, the old state stays, and the lock is let go."""
    address = parse_address("practice://red")
    machine, keep = open_board(address, tmp_path, 57600)
    (tmp_path / "red.new").mkdir()  # in the way of the new state
    with pytest.raises(LinkError, match="cannot be used"):
        keep(machine)
    (tmp_path / "red.new").rmdir()
    machine, keep = open_board(address, tmp_path, 57600)
    keep(machine)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(
    key=st.sampled_from(
        [field.name for kind in (BoardSettings, Faults) for field in dataclasses.fields(kind)]
    ),
    value=st.sampled_from(["0", "1", "7", "0.001", "10000000", "A", "%00", ""]),
)
def test_any_option_value_gives_a_working_board_or_a_clear_error(
    tmp_path_factory: pytest.TempPathFactory, key: str, value: str
) -> None:
    """Whatever is accepted runs: a few lines are typed at it without anything foreign raised."""
    folder = tmp_path_factory.mktemp("practice")
    try:
        address = parse_address(f"practice://?{key}={value}")
        machine, keep = open_board(address, folder, 57600)
    except HostlinkError as error:
        assert error.what
        return
    machine.restart(0.5)
    enter(machine, b"10 PRINT 1", b"LIST", b"RUN")
    keep(machine)
