"""The protocol core: answers whole, byte by byte, wrong, cut short, too long, and none at all."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from hostlink.firmware.bootloader import AskFailed, Conversation, Drain, Failure, Query, Script

BAUD = 115_200


def one(ask: Query) -> Script[bytes]:
    return (yield ask)


def feed(core: Conversation[bytes], pieces: Iterable[bytes], *, gap_s: float = 0.001) -> float:
    """Give the core one piece after another, as a pump would; the time at the end."""
    now = 0.0
    step = core.step(now, b"")
    assert step.write
    for piece in pieces:
        now += gap_s
        if not core.done:
            core.step(now, piece)
    return now


ANSWER = b"\x14\x1e\x95\x0f\x10"


@pytest.mark.parametrize("pieces", [[ANSWER], [bytes((b,)) for b in ANSWER], [b"", ANSWER, b""]])
def test_an_answer_is_taken_whole_and_byte_by_byte(pieces: list[bytes]) -> None:
    """However the bytes arrive, the payload between INSYNC and OK is the result."""
    core = Conversation(one(Query(b"\x75\x20", 3)), BAUD)
    feed(core, pieces)
    assert (core.done, core.result, core.failure) == (True, b"\x1e\x95\x0f", None)


@pytest.mark.parametrize(
    ("answer", "failure"),
    [
        (b"\x15", Failure.OUT_OF_STEP),  # NOSYNC
        (b"\x10", Failure.OUT_OF_STEP),  # OK without INSYNC
        (b"\x14\x1e\x95\x0f\x11", Failure.OUT_OF_STEP),  # not OK at the end
        (ANSWER + b"\x00", Failure.OUT_OF_STEP),  # trailing rubbish in the same burst
        (b"+ ", Failure.OUT_OF_STEP),  # a BASIC prompt
    ],
)
def test_anything_else_fails_at_once(answer: bytes, failure: Failure) -> None:
    """What cannot become a good answer any more fails the question without waiting."""
    core = Conversation(one(Query(b"\x75\x20", 3)), BAUD)
    feed(core, [answer])
    assert (core.done, core.result, core.failure) == (True, None, failure)


def test_silence_fails_when_the_patience_is_over_and_not_before() -> None:
    """With nothing coming back the question fails at its deadline: the wire's time and patience."""
    core = Conversation(one(Query(b"\x30\x20", patience_s=0.2)), BAUD)
    deadline = 4 * 10 / BAUD + 0.2
    assert core.step(5.0, b"").wake == pytest.approx(5.0 + deadline)
    core.step(5.0 + deadline - 0.001, b"")
    assert not core.done
    core.step(5.0 + deadline + 1e-9, b"")
    assert core.failure is Failure.SILENT


def test_half_an_answer_is_out_of_step_when_its_time_is_over() -> None:
    """An answer that breaks off is told apart from silence."""
    core = Conversation(one(Query(b"\x75\x20", 3)), BAUD)
    feed(core, [b"\x14\x1e"])
    assert not core.done
    core.step(9.0, b"")
    assert core.failure is Failure.OUT_OF_STEP


def test_a_refusal_is_told_apart_from_a_payload_that_looks_like_one() -> None:
    """INSYNC FAILED refuses; where a payload is due, 11 may be its first byte and time decides."""
    core = Conversation(one(Query(b"\x50\x20")), BAUD)
    feed(core, [b"\x14\x11"])
    assert core.failure is Failure.REFUSED
    core = Conversation(one(Query(b"\x75\x20", 3)), BAUD)
    feed(core, [b"\x14\x11", b"\x00\x00\x10"])
    assert core.result == b"\x11\x00\x00"
    core = Conversation(one(Query(b"\x75\x20", 3)), BAUD)
    feed(core, [b"\x14\x11"])
    core.step(9.0, b"")
    assert core.failure is Failure.REFUSED


def test_a_flood_is_not_collected() -> None:
    """A board that sends without end fails the question; no more than an answer is kept."""
    core = Conversation(one(Query(b"\x74\x00\x80F\x20", 128)), BAUD)
    feed(core, [b"\x14" * 100_000])
    assert core.failure is Failure.OUT_OF_STEP
    assert len(core._answer) <= 131


def test_a_drain_waits_for_quiet_but_not_for_ever() -> None:
    """Bytes that come restart the quiet time; a line that is never quiet is drained for 0.5 s."""

    def script() -> Script[bytes]:
        yield Drain(0.02)
        return b"quiet"

    core = Conversation(script(), BAUD)
    core.step(0.0, b"")
    core.step(0.015, b"noise")
    core.step(0.03, b"")
    assert not core.done
    core.step(0.036, b"")
    assert core.result == b"quiet"
    core = Conversation(script(), BAUD)
    core.step(0.0, b"")
    now = 0.0
    while not core.done:
        now += 0.01
        core.step(now, b"noise")
    assert 0.5 < now < 0.6


def test_a_script_can_go_on_after_a_failure() -> None:
    """A failure is thrown into the script, which may ask something else."""

    def script() -> Script[bytes]:
        try:
            yield Query(b"\x30\x20")
        except AskFailed as failed:
            assert failed.failure is Failure.OUT_OF_STEP
        return (yield Query(b"\x75\x20", 3))

    core = Conversation(script(), BAUD)
    feed(core, [b"\x15", ANSWER])
    assert core.result == b"\x1e\x95\x0f"


def test_a_core_that_failed_stays_failed() -> None:
    """After a failure nothing is written any more, whatever comes in."""
    core = Conversation(one(Query(b"\x30\x20")), BAUD)
    feed(core, [b"\x15"])
    step = core.step(1.0, b"\x14\x10")
    assert (step.write, step.wake, core.result) == (b"", None, None)
