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
    echo, prompt, line_end, reply_end, fold_case, longest_line: its manner on the line.
    line_done: what it sends only after a line is stored: "echo" (the echo of the line end),
    "prompt", or "after-prompt" (it prompts first and stores then).
    prompt_late_ms: it is busy for so long before each prompt. prompts_first: the prompt comes
    before the answer to a direct command, and none behind it.
    line_ms: storing one line. direct_ms: taking a direct command apart. char_ms: one character.
    statement_ms, list_line_ms, eeprom_byte_ms: running, listing, writing EEPROM.
    screen_width, wrap_ms: a stall whenever that many characters stand in a row; 0 for none.
    page_lines, page_prompt: it waits for a key after that many listed lines; 0 for never.
    restarts_on_open: whether raising DTR restarts it. restart_ms: from restart to the prompt.
    bootloader: whether a bootloader listens for restart_ms after a restart, at bootloader_baud; it
    takes the top boot_bytes of flash, page_ms to write a page, and gives out the EEPROM where
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
    fold_case: bool = False
    longest_line: int = 72
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
    program_bytes: int = 999
    eeprom_bytes: int = 1024
    line_cancel: bytes = b"\x15"
    erase: bytes = b"\x08"
    interrupt: bytes = b"\x03"
    restarts_on_open: bool = False
    restart_ms: float = 1000.0
    bootloader: bool = True
    bootloader_baud: int = 115200
    bootloader_eeprom: bool = True
    boot_bytes: int = 2048
    page_ms: float = 4.5  # DS40002061A, table 28-18: flash write at most 4.5 ms
    signature: int = 0x1E950F
    seed: int = 1
