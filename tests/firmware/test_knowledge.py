"""What an image tells without being run: words in each form of table, texts, speeds, changes."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from hostlink.firmware.image_speeds import SpeedSetting, find_speeds
from hostlink.firmware.image_texts import find_texts
from hostlink.firmware.knowledge import compare_images, read_image
from hostlink.firmware.word_tables import find_word_tables

WORDS = ("PRINT", "INPUT", "LET", "GOTO", "GOSUB", "RETURN", "FOR", "NEXT", "TONE", "REM", "CHR$")


def marked_last(word: str) -> bytes:
    return word[:-1].encode() + bytes((ord(word[-1]) | 0x80,))


def marked_first(word: str) -> bytes:
    return bytes((ord(word[0]) | 0x80,)) + word[1:].encode()


FORMS: dict[str, Callable[[str], bytes]] = {
    "high bit on the last letter": marked_last,
    "high bit on the first letter": marked_first,
    "a NUL after each word": lambda word: word.encode() + b"\0",
    "the length before each word": lambda word: bytes((len(word),)) + word.encode(),
    "an address after each word": lambda word: word.encode() + b"\x81\x2c",
}


def table(form: str, words: tuple[str, ...] = WORDS) -> bytes:
    return b"".join(map(FORMS[form], words))


@pytest.mark.parametrize("form", FORMS)
def test_a_table_is_found_in_each_usual_form(form: str) -> None:
    """All its words, where it lies, and how it marks their ends; code around it is not read."""
    noise = bytes(range(1, 32)) * 4
    flash = noise + table(form) + b"\x01\x02" + noise
    (found,) = find_word_tables(flash)
    assert (found.form, found.words) == (form, WORDS)
    assert flash[found.start : found.stop].startswith(FORMS[form]("PRINT")[:1])


def test_small_letters_and_signs_between_words_are_no_end() -> None:
    """Operators stand in many tables; words are told in capitals."""
    form = "a NUL after each word"
    mixed = ("print", ">=", "<>", "=", "goto", "gosub", "+", "for", "next", "input")
    (found,) = find_word_tables(table(form, mixed))
    assert found.words == ("PRINT", "GOTO", "GOSUB", "FOR", "NEXT", "INPUT")


def test_a_text_before_a_table_is_no_word_of_it() -> None:
    """The last word of a greeting is followed by a NUL as those of the table are."""
    (found,) = find_word_tables(b"\0board is ready\0" + table("a NUL after each word"))
    assert found.words == WORDS


@pytest.mark.parametrize("form", list(FORMS)[:3])
def test_a_byte_of_code_that_looks_like_a_letter_hides_no_word(form: str) -> None:
    """What stands in front of the first word is not known to be code."""
    (found,) = find_word_tables(b"\x01\x02y" + table(form))
    assert found.words == WORDS


def test_a_small_table_beside_a_large_one_of_its_form_is_read_too() -> None:
    """Commands often stand apart; alone they would prove nothing."""
    form = "a NUL after each word"
    small = table(form, ("NEW", "RUN", "LIST"))
    assert find_word_tables(small) == ()
    both = find_word_tables(small + b"not a word " * 3 + b"\x01" + table(form))
    assert [found.words for found in both] == [("NEW", "RUN", "LIST"), WORDS]


@pytest.mark.one_in(5)
@pytest.mark.parametrize("seed", range(20))
def test_noise_holds_no_table_and_no_text(seed: int) -> None:
    """Thirty-two kilobytes of random bytes are read without an error."""
    known = read_image(random.Random(seed).randbytes(32_768))
    assert (known.words, known.texts) == ((), ())


@pytest.mark.parametrize("flash", [b"", b"\xff", b"\xff" * 32_768, b"\0" * 32_768, b"\x0b" * 99])
def test_empty_and_odd_images_tell_nothing(flash: bytes) -> None:
    """Blank flash, nothing at all, and a length that leads beyond the end."""
    known = read_image(flash)
    assert (known.words, known.texts, known.speeds) == ((), (), ())
    assert not known.has_basic


def test_texts_are_those_that_people_could_read() -> None:
    """Greeting and messages; no runs of instructions, no words of a table."""
    flash = b"\x0eevening class board, 999 bytes\r\n\0What?\0U'f'w'\x93v/e/S/\0" + table(
        "a NUL after each word"
    )
    known = read_image(flash)
    assert [text.text for text in known.texts] == ["evening class board, 999 bytes", "What?"]
    assert find_texts(flash)[0].at == 1


# Bytes of instructions that are printable by chance, as they stand in images nobody here wrote.
CODE = ["IBB", "IBC", "SPO K", "EFORMA", "ole F", "OC lAd", "Hz0qwe", "NIG!lA", "ahoek/", "WSYCED"]


@pytest.mark.parametrize("run", CODE)
def test_code_that_looks_like_letters_is_no_text(run: str) -> None:
    """What may be one or the other is not told."""
    assert find_texts(f"\0{run}\0".encode()) == ()


MESSAGES = ["How?", "Sorry!", "break!", "Syntax error", "EEProm bytes total.", "'=' expected"]


@pytest.mark.parametrize("text", MESSAGES)
def test_messages_as_interpreters_have_them_are_texts(text: str) -> None:
    """Short ones, and those with a sign or a name spelt in its own way."""
    assert [each.text for each in find_texts(f"\0{text}\0".encode())] == [text]


def test_messages_beside_a_table_are_no_words_of_it() -> None:
    """Known by the case of their letters, or as usual messages; behind the table and before it."""
    form = "a NUL after each word"
    for before, behind in ((b"", b"Break\0Syntax\0"), (b"OK\0READY\0", b"ERROR\0OK\0WHAT\0")):
        (found,) = find_word_tables(b"\x01\x02" + before + table(form) + behind + b"\x01")
        assert found.words == WORDS


@pytest.mark.parametrize(
    "text",
    [
        "Words: PRINT INPUT LET GOTO GOSUB RETURN FOR NEXT REM END",
        "PRINT shows a value\0INPUT asks for one\0GOTO jumps\0FOR counts\0NEXT ends FOR",
        "PRINT\r\nINPUT\r\nGOTO\r\nGOSUB\r\nFOR\r\nNEXT",
    ],
)
def test_a_help_text_is_no_table(text: str) -> None:
    """It explains BASIC, and proves none."""
    assert not read_image(f"\0{text}\0".encode()).has_basic


def test_what_changed_is_told_by_words_and_texts() -> None:
    """New ones, and those that are gone."""
    form = "high bit on the last letter"
    before = read_image(table(form) + b"\0first board ready\0")
    now = read_image(table(form, (*WORDS[1:], "NOTONE")) + b"\0second board ready\0")
    changes = compare_images(now, before)
    assert (changes.new_words, changes.gone_words) == (("NOTONE",), ("PRINT",))
    assert (changes.new_texts, changes.gone_texts) == (
        ("second board ready",),
        ("first board ready",),
    )


# --- speeds --------------------------------------------------------------------------------------


def ldi(register: int, value: int) -> bytes:
    """LDI, 1110 KKKK dddd KKKK (AVR instruction set manual, DS40002198A)."""
    word = 0xE000 | (value & 0xF0) << 4 | (register - 16) << 4 | value & 0x0F
    return word.to_bytes(2, "little")


def sts(address: int, register: int) -> bytes:
    """STS, 1001 001d dddd 0000 with the address behind it (the same manual)."""
    return (0x9200 | register << 4).to_bytes(2, "little") + address.to_bytes(2, "little")


UCSR0A, UBRR0L, UBRR0H = 0xC0, 0xC4, 0xC5  # ATmega328P data sheet DS40002061A, section 36
NOP = b"\0\0"


@pytest.mark.parametrize(
    ("code", "found"),
    [
        (ldi(24, 103) + sts(UBRR0L, 24), SpeedSetting(103, None)),
        (sts(UBRR0H, 1) + ldi(24, 207) + sts(UBRR0L, 24), SpeedSetting(207, None)),
        (
            ldi(25, 1) + sts(UBRR0H, 25) + ldi(24, 0xA0) + sts(UBRR0L, 24),
            SpeedSetting(0x1A0, None),
        ),
        (
            ldi(24, 2) + sts(UCSR0A, 24) + sts(UBRR0H, 1) + ldi(24, 34) + sts(UBRR0L, 24),
            SpeedSetting(34, True),
        ),
        (
            sts(UCSR0A, 1) + ldi(24, 25) + NOP + sts(UBRR0L, 24),
            SpeedSetting(25, False),
        ),
    ],
)
def test_a_divisor_stored_as_a_constant_is_read(code: bytes, found: SpeedSetting) -> None:
    """High and low byte, and double speed where that is set or cleared by a constant."""
    assert find_speeds(NOP * 5 + code + NOP) == (found,)


def test_a_register_that_changes_in_between_is_not_trusted() -> None:
    """LSR R24 (1001 010d dddd 0110) behind the constant: the divisor is computed, so not told."""
    lsr = (0x9406 | 24 << 4).to_bytes(2, "little")
    assert find_speeds(ldi(24, 103) + lsr + sts(UBRR0L, 24)) == ()


def test_a_usual_speed_passed_as_an_argument_is_read() -> None:
    """9600 in four registers; a number that is no speed is not told."""
    for value, expected in ((9600, (SpeedSetting(None, None, 9600),)), (9601, ())):
        bytes_of = value.to_bytes(4, "little")
        code = b"".join(ldi(20 + place, byte) for place, byte in enumerate(bytes_of))
        assert find_speeds(code) == expected
