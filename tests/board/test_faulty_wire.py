"""1,000 seeded loads and saves on a wire that damages bytes, beside what the rules let through.

Every job ends proven equal, or with an error in words; what the board really holds is read out of
its memory. The seeds were fixed before the first run. What is expected to pass unnoticed is worked
out beside what did, for a wire with a share p of damaged bytes (a third each dropped, doubled,
flipped to one of 255 others) and B bytes of listing. With s(k) = 2 (p/3)^k + 255 (p/765)^k, the
chance that k readings of one byte are damaged alike:

- A save on two captures, nothing having disagreed: of the agreeing pairs the share B s(2) / (1-p)^2
  is wrong; where free memory is asked too, only flips pass it, B 255 (p/765)^2 / (1-p)^2, and what
  happens to the digits of line numbers, which cost no memory each.
- A save on three or more (3 votes, 2 ahead): at most 4 B s(3), three wrong ones of the first four.
- A save on five or more (3 votes, 3 ahead): at most 5 B s(4), four wrong ones of the first five.
- A load: a line is stored wrong (p/3 for a doubled byte), and each reading mends it by dropping
  either of the two (2p/3). With echo, B (p/3)(2p/3), the echo mends it as well; then one reading
  on a clean wire (2p/3), else two of three, 4 (2p/3)^2. Without echo B (p/3) 4 (2p/3)^2. A dropped
  byte that is mended by doubling its equal neighbour is rarer and left out.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
from soak_drawn import a_board, a_line
from soak_expected import expected_in_capture, expected_in_load, undetected_share

from hostlink.board.dialogue.captures import tally
from hostlink.board.dialogue.loading import MOST_STARTS, Loader
from hostlink.cli.ways import in_commands
from hostlink.errors import HostlinkError, LinkError, LinkReason, ReadBackError
from hostlink.listing.parse import Line, Listing
from hostlink.practice.faults import Damage, Faults

# Many seeds go the same way: other tests pass these lines, so tracing here only costs time.
pytestmark = pytest.mark.no_cover

Build = Callable[..., Any]

# Share of damaged bytes each way: jobs, and the least share of each hundred that must succeed.
RATES = {
    0.001: (200, 0.99),
    0.002: (200, 0.99),
    0.005: (200, 0.99),
    0.01: (200, 0.98),
    0.02: (200, 0.97),
}
CHUNK = 100
LONGEST_JOB_S = 1800.0  # virtual seconds


def a_program(choose: random.Random) -> str:
    lines = choose.choice([3, 5, 8, 12, 20, 40])
    return "".join(f"{10 * (n + 1)} {a_line(choose, lines)}\n" for n in range(lines))


def texts(lines: dict[int, Line]) -> dict[int, str]:
    return {number: line.text for number, line in lines.items()}


@dataclass
class Job:
    """One load and save on one board. error: what ended it, if it did not succeed.

    expected: how many undetected errors the rules let through, on average, in this job.
    """

    seed: int
    rate: float
    bench: Any
    wanted: dict[int, Line]
    loaded: bool = False
    error: HostlinkError | None = None
    expected: float = 0.0

    def run(self) -> None:
        """Load and save; a wrong listing that was accepted is an AssertionError."""
        b = self.bench
        try:
            b.dialogue.attach()
            Loader(b.dialogue, self.wanted).load()
            assert b.held == texts(self.wanted), f"seed {self.seed}: wrong, but called loaded"
            self.loaded = True
            self.expected += self.expected_in_load()
            saved = b.dialogue.capture()
            assert texts(saved.lines) == b.held, f"seed {self.seed}: wrong, but called saved"
            self.expected += self.expected_in_save()
        except HostlinkError as error:
            self.error = error

    def expected_in_save(self) -> float:
        need = self.bench.dialogue.evidence.readings_needed()
        witness = bool(self.bench.dialogue.profile.commands.free_memory)
        return expected_in_capture(texts(self.wanted), self.rate, need, witness=witness)

    def expected_in_load(self) -> float:
        clean = self.bench.dialogue.evidence.is_clean
        echo = self.bench.machine.settings.echo
        return expected_in_load(texts(self.wanted), self.rate, echo=echo, clean=clean)


def a_job(bench: Build, seed: int, rate: float, **faults: Any) -> Job:
    """A job with board, profile, program and damage all drawn from the seed."""
    choose = random.Random(seed)
    board = a_board(choose)
    keys: dict[str, bytes] = {}
    known = choose.choice(["both", "cancel", "erase", "none"])
    if known in ("erase", "none"):
        keys["line_cancel"] = b""
    if known in ("cancel", "none"):
        keys["erase"] = b""
    question = choose.choice(["PRINT ROOM()", ""])
    b = bench(board, Faults(seed, rate, rate, **faults), free_memory=question, **keys)
    if choose.random() < 0.5:
        b.put(a_program(choose))
    return Job(seed, rate, b, Listing.from_text(a_program(choose)).numbered())


def check_error(job: Job) -> None:
    """An error is of our own kind, says what to do, shows no control byte, and came in time."""
    assert job.bench.wire.now() < LONGEST_JOB_S
    if job.error is not None:
        assert isinstance(job.error, LinkError | ReadBackError)
        assert job.error.what.endswith((".", '"'))
        assert in_commands(job.error.advice)
        assert str(job.error).isprintable()


CHUNKS = [(rate, first) for rate, (jobs, _) in RATES.items() for first in range(0, jobs, CHUNK)]


def test_there_are_two_thousand_jobs() -> None:
    """The shares below are of 1,000 jobs in all."""
    assert CHUNK * len(CHUNKS) == sum(jobs for jobs, _ in RATES.values()) == 1000


@pytest.mark.slow
@pytest.mark.parametrize(("rate", "first"), CHUNKS)
def test_no_wrong_listing_is_accepted_on_a_damaged_wire(
    bench: Build, rate: float, first: int
) -> None:
    """Each of a hundred jobs ends proven or in words, and nearly all of them proven."""
    ends: Counter[str] = Counter()
    expected = 0.0
    for seed in range(first, first + CHUNK):
        job = a_job(bench, int(rate * 1_000_000) * 1000 + seed, rate)
        job.run()
        check_error(job)
        expected += job.expected
        ends[job.error.what if job.error else "proven"] += 1
    print(f"{rate:.1%}: {dict(ends)}; undetected: 0 found, {expected:.5f} expected")
    assert ends["proven"] >= RATES[rate][1] * CHUNK
    # So many jobs were enough to look for what the rules let through, and it is next to nothing.
    assert 0 < expected < 0.05


# --- the formulas --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("need", "p", "rounds"), [(2, 0.1, 20_000), (3, 0.2, 20_000), (5, 0.3, 20_000)]
)
def test_the_voting_rule_lets_through_what_its_formula_says(
    need: int, p: float, rounds: int
) -> None:
    """Two bytes read over and over at a high rate: wrong ones accepted, against the formula.

    The formulas for three and five are upper bounds, for further damage lets fewer through.
    """
    text = b"A7"
    damage = Damage(p, 7)
    wrong = agreed = 0
    for _ in range(rounds):
        readings = []
        for _ in range(need + (0 if need == 2 else 1)):
            heard = bytes(b for byte in text for b in damage.of(byte)).decode("latin-1")
            readings.append({10: Line(heard, 10, heard, 1)})
            if len(readings) < need:
                continue
            result = tally(readings, need)
            if not result.unsettled:
                agreed += 1
                wrong += result.lines[10].typed != text.decode()
                break
    formula = len(text) * undetected_share(p, need)
    measured = wrong / (agreed if need == 2 else rounds)
    assert wrong >= 5
    assert formula / 8 < measured < formula * 1.3


# --- stalls, restarts, unplugging ----------------------------------------------------------------


@pytest.mark.one_in(2)
@pytest.mark.parametrize("first", [0, 40])
def test_stalls_never_pass_a_wrong_listing(bench: Build, first: int) -> None:
    """A board that stops now and then, for a moment or for long, on a slightly damaged wire."""
    ends: Counter[str] = Counter()
    for seed in range(first, first + 40):
        choose = random.Random(seed)
        every, long = choose.choice([37, 111, 333]), choose.choice([0.02, 0.2, 1.0, 3.0])
        job = a_job(bench, 5_000_000 + seed, 0.001, stall_every_bytes=every, stall_s=long)
        job.run()
        check_error(job)
        ends[job.error.what if job.error else "proven"] += 1
    print(dict(ends))
    assert ends["proven"] >= 30


@pytest.mark.one_in(2)
@pytest.mark.parametrize("first", [0, 40])
def test_a_restart_in_the_middle_never_passes_a_wrong_listing(bench: Build, first: int) -> None:
    """The board loses its memory at any moment of the job; a load starts over and succeeds."""
    ends: Counter[str] = Counter()
    for seed in range(first, first + 40):
        choose = random.Random(seed)
        job = a_job(bench, 6_000_000 + seed, 0.001, restart_after_bytes=choose.randrange(10, 600))
        job.run()
        check_error(job)
        ends[job.error.what if job.error else "proven"] += 1
    print(dict(ends))
    assert ends["proven"] >= 36


def test_unplugging_at_any_moment_is_told(bench: Build) -> None:
    """Whenever the board goes, the error says that it is gone, or the job was over before."""
    ends: Counter[bool] = Counter()
    for seed in range(60):
        choose = random.Random(seed)
        job = a_job(bench, 7_000_000 + seed, 0.001, unplug_after_bytes=choose.randrange(1, 700))
        job.run()
        check_error(job)
        gone = job.bench.machine.unplugged
        ends[gone] += 1
        if gone:
            assert isinstance(job.error, LinkError)
            assert job.error.reason is LinkReason.GONE
    assert min(ends.values()) >= 5


def test_a_flood_at_any_moment_is_told(bench: Build) -> None:
    """A board that begins to send without end is an error, in bounded time."""
    jobs = []
    for seed in range(24):
        after = random.Random(seed).randrange(1, 60)
        job = a_job(bench, 8_000_000 + seed, 0.0, flood_after_bytes=after)
        if job.bench.machine.settings.baud <= 9600:  # the same, with fewer bytes to simulate
            jobs.append(job)
    for job in jobs:
        job.run()
        check_error(job)
        assert isinstance(job.error, LinkError)
        assert job.error.reason in (LinkReason.FLOODING, LinkReason.RUNNING)
        assert job.bench.wire.now() < 60
    assert len(jobs) >= 8


def test_a_wire_too_bad_fails_in_words(bench: Build) -> None:
    """At 15 % damage a load fails, after a bounded number of starts, and says so."""
    failed = 0
    for seed in range(10):
        job = a_job(bench, 9_000_000 + seed, 0.15)
        job.run()
        check_error(job)
        failed += job.error is not None
    assert failed >= 8
    assert MOST_STARTS == 3
