"""100 whole jobs on damaged wires, with an archive: load, run, change, save, load another.

The archive may lack something after a failure, and never holds a listing that no board held. What
the board really holds is read out of its memory, and the archive is read without our parser. The
seeds were fixed before the first run.
"""

from __future__ import annotations

import random
from typing import Any

import pytest

from hostlink.archive import Rescue
from hostlink.errors import HostlinkError, LinkError
from hostlink.jobs.run.running import run
from hostlink.practice.faults import Faults
from hostlink.practice.settings import BoardSettings

# Many seeds go the same way: other tests pass these lines, so tracing here only costs time.
pytestmark = pytest.mark.no_cover

# Share of damaged bytes each way, and the least share of jobs that must succeed.
RATES = ((0.001, 0.95), (0.002, 0.95), (0.005, 0.90), (0.01, 0.80))
JOBS = 25  # for each rate
WORDS = ("TIDE", "LAMP", "BUOY", "NEW", "RUN", "STOP", "LIST")


def a_listing(choose: random.Random) -> dict[int, str]:
    """A program of 6 to 14 lines that ends; most lines do something if their number is lost."""
    numbers = range(10, 10 * choose.randrange(7, 16), 10)
    lines = {
        number: choose.choice(
            [
                f'PRINT "{" ".join(choose.choices(WORDS, k=choose.randrange(1, 5)))}"',
                f"LET A={choose.randrange(999)}",
                f"REM {choose.choice(WORDS)} {choose.randrange(9999)}",
                f"IF A<0 THEN {choose.choice(numbers)}",
            ]
        )
        for number in numbers
    }
    lines[numbers[-1]] = "END"
    return lines


def as_text(lines: dict[int, str]) -> str:
    return "".join(f"{number} {text}\n" for number, text in lines.items())


@pytest.mark.one_in(4)
@pytest.mark.parametrize(("rate", "least"), RATES)
def test_no_damaged_wire_puts_a_wrong_listing_into_the_archive(
    rate: float, least: float, bench: Any
) -> None:
    """Every success is true, every failure is in words, and all that is kept was once there."""
    ended = {"well": 0, "failed": 0}
    true_memories: list[dict[int, str]] = []
    for seed in range(JOBS):
        choose = random.Random(f"{rate} {seed}")
        first, second = a_listing(choose), a_listing(choose)
        faults = Faults(seed=1000 + seed, to_board=rate, to_host=rate)
        settings = BoardSettings(latency_ms=choose.choice([1, 16]), line_ms=choose.choice([2, 15]))
        bench.put(settings, faults)
        name = f"JOB{seed}"
        try:
            bench.load(as_text(first), name)
            assert bench.memory == first
            true_memories.append(first)
            with bench.session() as session:
                run(session, longest_s=30.0)
            assert bench.memory == first, "running a program does not change it"
            bench.type_in({choose.choice(list(first)[:-1]): "REM CHANGED AT THE KEYBOARD"})
            changed = bench.memory
            true_memories.append(changed)
            assert bench.lines_of(bench.save(name).revision.spec) == changed
            bench.load(as_text(second), f"{name}B")
            assert bench.memory == second
            true_memories.append(second)
        except HostlinkError as error:
            assert str(error).isprintable()
            ended["failed"] += 1
            true_memories.append(bench.memory)
        else:
            ended["well"] += 1
    assert ended["well"] >= least * JOBS, ended
    kept = [*bench.saved_from_boards(), *bench.archive.rescues()]
    assert len(kept) >= ended["well"]
    for item in kept:
        assert bench.lines_of(item.spec) in true_memories, item.spec
    proof = bench.archive.prove()
    assert proof.clean, proof.findings


def test_a_job_that_fails_has_its_end_on_record(bench: Any) -> None:
    """Each job begun has an event with an outcome, and a failed one the words of its error."""
    bench.put(faults=Faults(seed=3, to_board=0.5, to_host=0.5), holds={10: "REM MINE"})
    with pytest.raises(HostlinkError) as caught:
        bench.load("10 END\n", "NEW")
    events = [event for event in bench.archive.events() if event.job == "load"]
    if isinstance(caught.value, LinkError) and not events:
        return  # it did not come to the prompt, so no job had begun
    assert events[0].outcome == "failed"
    assert caught.value.what in events[0].detail["error"]
    assert not any(isinstance(item, Rescue) for item in bench.saved_from_boards())
