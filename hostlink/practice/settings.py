"""How one practice board is built: the values a survey has to find out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class BoardSettings:
    """The hardware and firmware options of a practice board. Times in milliseconds.

    baud: line speed. latency_ms: how long the bridge keeps a byte before the host can read it.
    receive_buffer: bytes kept while the processor is busy (0: none). transmit_buffer: bytes that
    go out by themselves while the processor works on; 0 means polled transmit, where it waits.
    echo, prompt, line_end, reply_end: how it talks. also_ends: other bytes that end a typed line.
    end_echo: the echo of a line end, reply_end if it is empty.
    fold_case: typed letters become capitals, and are echoed so, outside quotes and remarks.
    longest_line: characters of a typed line. What is typed beyond that is answered with
    too_long_answer and "dropped"; or the line is taken as it is and the rest is the next one
    ("ends"), or all of it is given up ("gives-up").
    ignored: bytes that a typed line never sees. controls: other control bytes are dropped, echoed
    and dropped, or part of the text.
    line_done: what it sends only after a line is stored: "echo" (the echo of the line end),
    "prompt", or "after-prompt" (it prompts first and stores then).
    prompt_late_ms: it is busy for that long before each prompt. prompts_first: the prompt comes
    before the answer to a direct command, and none after it.
    line_ms: storing one line. direct_ms: parsing a direct command. char_ms: one character.
    statement_ms, list_line_ms, eeprom_byte_ms: running, listing, writing EEPROM.
    erase, line_cancel, interrupt: keys, of which only the first byte counts; empty: none.
    erase_answer: the answer to an erased character. erase_beyond: erasing more than was typed is
    ignored, or "harms": the line end after it runs the last direct command again, loses the
    program if a line was stored last, or hangs a board that has heard nothing else.
    interrupt_typed: the interrupt key while a line is typed gives it up "at-once"; is part of the
    text, and stops a program as the answer to its INPUT ("as-answer") or does not ("as-text").
    screen_width, wrap_ms: a stall whenever a row has that many characters; 0 for none.
    page_lines, page_prompt: it waits for a key after that many listed lines; 0 for never. page_key:
    the only key that goes on; empty: any.
    restarts_on_open: whether raising DTR restarts it. restart_ms: from restart to the prompt.
    bootloader: whether a bootloader listens for restart_ms after a restart, at bootloader_baud; it
    takes the top boot_bytes of flash, page_ms to write a page, and lets the EEPROM be read if
    bootloader_eeprom. signature: of the chip.
    """

    baud: int = 57600
    latency_ms: float = 1.0
    receive_buffer: int = 63
    transmit_buffer: int = 63
    echo: bool = True
    prompt: bytes = b"+ "
    line_end: bytes = b"\r"
    reply_end: bytes = b"\r\n"
    also_ends: bytes = b""
    end_echo: bytes = b""
    fold_case: bool = False
    longest_line: int = 72
    too_long: Literal["dropped", "ends", "gives-up"] = "dropped"
    too_long_answer: bytes = b"\x07"
    ignored: bytes = b""
    controls: Literal["dropped", "echoed", "text"] = "dropped"
    line_done: Literal["echo", "prompt", "after-prompt"] = "prompt"
    prompt_late_ms: float = 0.0
    prompts_first: bool = False
    line_ms: float = 15.0
    direct_ms: float = 2.0
    char_ms: float = 0.0
    statement_ms: float = 0.5
    list_line_ms: float = 0.5
    eeprom_byte_ms: float = 3.4  # ATmega328P data sheet DS40002061A, table 8-1: 3.4 ms a byte
    screen_width: int = 40  # common practice for a television picture, no source
    wrap_ms: float = 0.0
    page_lines: int = 0
    page_prompt: bytes = b"-- more --"
    page_key: bytes = b""
    program_bytes: int = 999
    eeprom_bytes: int = 1024
    line_cancel: bytes = b"\x15"
    erase: bytes = b"\x08"
    erase_answer: bytes = b"\x08 \x08"
    erase_beyond: Literal["ignored", "harms"] = "ignored"
    interrupt: bytes = b"\x03"
    interrupt_typed: Literal["at-once", "as-answer", "as-text"] = "at-once"
    restarts_on_open: bool = False
    restart_ms: float = 1000.0
    bootloader: bool = True
    bootloader_baud: int = 115200
    bootloader_eeprom: bool = True
    boot_bytes: int = 2048
    page_ms: float = 4.5  # DS40002061A, table 28-18: flash write at most 4.5 ms
    signature: int = 0x1E950F
    seed: int = 1


_LARGEST_BOOT = 4096  # ATmega328P data sheet 7810C, table 26-7: 2048 words
_LARGEST_SIGNATURE = 0xFFFFFF  # three bytes


def setting_fault(key: str, value: object) -> str:
    """Return what is wrong with a value, as a clause to follow its key, "" if it is valid."""
    if key == "line_end" and not value:
        return "cannot be empty"
    if not isinstance(value, int | float):
        return ""
    if key in ("baud", "bootloader_baud") and value < 50:
        return "must be 50 or more"
    if key == "boot_bytes" and value > _LARGEST_BOOT:
        return f"can be {_LARGEST_BOOT} at most"
    if key == "signature" and value > _LARGEST_SIGNATURE:
        return "has three bytes"
    return ""
