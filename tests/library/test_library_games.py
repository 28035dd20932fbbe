"""The games and the trainer: can they be won, are they fair, do they keep to their own rules?"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable
from pathlib import Path
from typing import TypeAlias

import pytest

Run: TypeAlias = Callable[..., list[str]]

SEEDS = range(1, 2**32, 2**32 // 64)
"""Far apart: the generator's first number hardly changes from one small seed to the next."""

CHI_SQUARE_10 = 29.59
"""Upper 0.1 % point of chi-square with 10 degrees of freedom; common tables, from memory."""


def _halved(run: Run, seed: int) -> tuple[str, list[str]]:
    """Play with one seed, always probing the middle: the row found, what was printed at the end."""
    low, high = 1, 63
    probes: list[str] = []
    while True:
        probes.append(str((low + high) // 2))
        printed = run("wire", *probes, seed=seed)
        if any(line.startswith("FOUND") for line in printed):
            assert f"FOUND, PROBES USED: {len(probes)}" in printed
            return probes[-1], printed
        assert len(probes) < 6
        # The last line is the stop at the next INPUT, the one before it the question.
        if "HIGHER" in printed[-3]:
            low = int(probes[-1]) + 1
        else:
            high = int(probes[-1]) - 1


def test_wire_is_found_by_halving(run: Run) -> None:
    """Whoever halves the rest finds the wire with six probes at the most, wherever it is."""
    played = [_halved(run, seed) for seed in SEEDS]
    assert all(printed[-1] == "WELL PROBED" for _, printed in played)
    assert len({row for row, _ in played}) >= 30


def test_last_led_can_be_won_by_who_begins(run: Run) -> None:
    """Taking one, and then what is left of four, wins against the board."""
    printed = run("lastled", "1", "3", "3", "3", "3", "3")
    assert printed[-1] == "YOU WIN. NOW TELL ME HOW."


@pytest.mark.parametrize("first", ["2", "3"])
def test_last_led_board_never_lets_a_mistake_go(run: Run, first: str) -> None:
    """After a wrong first move the board wins, whatever follows."""
    for moves in itertools.product("123", repeat=4):
        printed = run("lastled", first, *moves, "1")
        assert printed[-1] == "THE BOARD WINS. PLAY IT AGAIN?", (first, moves)


def test_last_led_keeps_count(run: Run) -> None:
    """No move takes more than three or more than are lit; the stars are the number."""
    printed = run("lastled", "0", "4", "-1", "1", "3", "3", "3", "3", "4", "3")
    rows = [line for line in printed if "LIT. YOURS" in line]
    counts = [int(re.findall(r"(\d+) LIT", row)[0]) for row in rows]
    assert counts == [21, 21, 21, 21, 19, 15, 11, 7, 3, 3]
    assert all(row.count("*") in (0, count) for row, count in zip(rows, counts, strict=True))
    assert sum("NOT MORE THAN ARE LIT" in line for line in printed) == 4


@pytest.mark.parametrize(
    "brakes",
    [
        [0] * 12,
        [0, 0, 0, 0, 3, 3, 3, 5, 3, 5, 5, 5, 3, 3, 3, 3],
        [9] * 5 + [0] * 40,
        [-4, 12, 3] * 9,
    ],
)
def test_crate_obeys_its_mechanics(run: Run, brakes: list[int]) -> None:
    """Height, speed and charge are those of a reckoning; the verdict fits the speed."""
    height, speed, charge = 120, 0, 45
    expected = []
    used = 0
    while height > 0:
        brake = min(max(brakes[used], 0), 9, charge)
        expected.append([height, speed, charge])
        charge -= brake
        speed += 3 - brake
        height -= speed
        used += 1
    printed = run("crate", *map(str, brakes))
    rows = [line.split("BRAKE?")[0] for line in printed if line.startswith("HEIGHT")]
    assert [[int(n) for n in re.findall(r"-?\d+", row)] for row in rows] == expected
    assert printed[-2] == f"ON THE QUAY AT SPEED {speed}"
    soft, bump, hard = "SOFT AS A FEATHER", "A BUMP, NOTHING BROKEN", "MATCHWOOD"
    assert printed[-1] == (soft if speed < 5 else bump if speed < 10 else hard)


def _cellar(folder: Path) -> dict[int, dict[int, int]]:
    """The map in lines 301 to 309: room to {direction: room}."""
    text = (folder / "cellar.bas").read_text(encoding="ascii")
    rooms = re.findall(r"^30(\d) (.*):RETURN$", text, re.MULTILINE)
    return {
        int(room): {"NESW".index(d) + 1: int(to) for d, to in re.findall(r"LET (\w)=(\d)", doors)}
        for room, doors in rooms
    }


def test_cellar_doors_lead_back(folder: Path) -> None:
    """Every door has its other side and joins neighbours in three rows of three rooms."""
    doors = _cellar(folder)
    steps = {1: -3, 2: 1, 3: 3, 4: -1}
    assert sorted(doors) == list(range(1, 10))
    for room, ways in doors.items():
        for direction, to in ways.items():
            assert to == room + steps[direction]
            assert doors[to][(direction + 1) % 4 + 1] == room


def test_cellar_way_leads_to_the_meter(run: Run, folder: Path) -> None:
    """The meter can be reached from room 1, and the shortest way is accepted as told."""
    doors = _cellar(folder)
    ways: dict[int, list[int]] = {1: []}
    queue = [1]
    for room in queue:
        for direction, to in doors[room].items():
            if to not in ways:
                ways[to] = [*ways[room], direction]
                queue.append(to)
    assert set(ways) == set(range(1, 10))
    printed = run("cellar", *map(str, ways[9]))
    assert printed[-1] == f"THE METER! MOVES: {len(ways[9])}"


def test_cellar_walls_hold(run: Run) -> None:
    """A direction without a door, or none of the four, moves nobody."""
    printed = run("cellar", "1", "2", "4", "0", "7")
    assert sum(line == "NO DOOR THERE" for line in printed) == 5
    assert {line for line in printed if line.startswith("ROOM")} == {"ROOM 1, DOORS: 3 SOUTH"}


def _judged(lock: tuple[int, ...], tried: tuple[int, ...]) -> tuple[int, int]:
    right = sum(a == b for a, b in zip(lock, tried, strict=True))
    return right, len(set(lock) & set(tried)) - right


@pytest.mark.parametrize("seed", SEEDS[::8])
def test_lock_opens_to_who_thinks(run: Run, seed: int) -> None:
    """Trying only what fits all answers so far opens it; every answer was right for the lock."""
    left = list(itertools.permutations(range(1, 7), 3))
    tried: list[tuple[int, ...]] = []
    answers: list[tuple[int, int]] = []
    while not answers or answers[-1] != (3, 0):
        tried.append(left[0])
        printed = run("lock", *(",".join(map(str, digits)) for digits in tried), seed=seed)
        found = re.findall(r"RIGHT PLACE: (\d) WRONG PLACE: (\d)", "\n".join(printed))
        answers = [(int(right), int(wrong)) for right, wrong in found]
        left = [lock for lock in left if _judged(lock, tried[-1]) == answers[-1]]
        assert len(tried) <= 10
    assert [_judged(tried[-1], digits) for digits in tried] == answers
    assert printed[-1] == f"OPEN. TRIES: {len(tried)}"


@pytest.mark.parametrize("seed", [1, *SEEDS[7::20]])
def test_dice_are_fair(run: Run, seed: int) -> None:
    """The counts add up to 360, the stars to a third of them, and chi-square finds no fault."""
    lines = run("dice", seed=seed)[1:]
    rows = [[int(n) for n in re.findall(r"\d+", line)] for line in lines]
    assert [total for total, _ in rows] == list(range(2, 13))
    assert sum(count for _, count in rows) == 360
    assert [line.count("*") for line in lines] == [count // 3 for _, count in rows]
    expected = {total: 10 * (6 - abs(7 - total)) for total, _ in rows}
    assert sum((n - expected[t]) ** 2 / expected[t] for t, n in rows) < CHI_SQUARE_10


# Recommendation ITU-R M.1677-1 (10/2009), International Morse code, part I, 1.1.1 letters; read in
# a web page's copy of the table, gaps of the copy (E, I) filled from memory. A dash lasts three
# dots (part I, 2.1).
TABLE = (
    "A .- B -... C -.-. D -.. E . F ..-. G --. H .... I .. J .--- K -.- L .-.. M -- N -. O --- "
    "P .--. Q --.- R .-. S ... T - U ..- V ...- W .-- X -..- Y -.-- Z --.."
)
MORSE = dict(re.findall(r"([A-Z]) ([.-]+)", TABLE))


def test_morse_codes_are_the_international_ones(folder: Path) -> None:
    """All 26 letters have the code of the Recommendation, 1 for a dot and 3 for a dash."""
    text = (folder / "morse.bas").read_text(encoding="ascii")
    codes = re.findall(r'^(\d+) PRINT "([A-Z])";:C=(\d+):RETURN$', text, re.MULTILINE)
    assert [int(number) for number, _, _ in codes] == list(range(201, 227))
    assert {letter: code.replace("1", ".").replace("3", "-") for _, letter, code in codes} == MORSE


@pytest.mark.parametrize("seed", SEEDS[::25])
def test_morse_trainer_marks_right_and_wrong(run: Run, seed: int) -> None:
    """Right codes count, a wrong one is put right, and the score is told at the end."""
    asked = [line[0] for line in run("morse", *["0"] * 5, seed=seed) if line.endswith("? 0")]
    answers = [MORSE[letter].replace(".", "1").replace("-", "3") for letter in asked]
    assert len(answers) == 5
    assert run("morse", *answers, seed=seed)[-1] == " 5 OF 5 RIGHT"
    printed = run("morse", *answers[:3], "2", answers[4], seed=seed)
    assert f"NO, IT IS {answers[3]}" in printed
    assert printed[-1] == " 4 OF 5 RIGHT"
