"""What the number programs, plots and helpers print, worked out again another way.

Where a table or formula was published it is named beside the check; else Python's own library is
the witness.
"""

from __future__ import annotations

import calendar
import itertools
import math
import re
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TypeAlias

import pytest

from hostlink.listing.measure import measure
from hostlink.listing.parse import Listing
from hostlink.listing.rules import Rules

Run: TypeAlias = Callable[..., list[str]]


def _numbers(line: str) -> list[int]:
    return [int(found) for found in re.findall(r"-?\d+", line)]


@pytest.mark.parametrize(("hour", "minute"), [(3, 20), (0, 0), (9, 5), (23, 59)])
def test_tide_clock_counts_half_tides(run: Run, hour: int, minute: int) -> None:
    """Low water comes 6 h 12 min after high, the next high 12 h 25 min after it, past midnight too.

    12 h 25 min: half a lunar day of 24 h 50 min, common practice, no source.
    """
    lines = run("tide", replace={30: f"LET H={hour}", 40: f"LET M={minute}"})
    high = datetime(2026, 9, 1, hour, minute)
    expected = []
    for _ in range(4):
        for word, at in (("HIGH", high), ("LOW", high + timedelta(minutes=372))):
            day = ["TODAY", "TOMORROW", "IN 2 DAYS"][at.day - 1]
            expected.append(f"{word} {at.hour} H {at.minute} MIN {day}")
        high += timedelta(minutes=745)
    assert [re.sub(" +", " ", line) for line in lines[1:-1]] == expected
    assert "NOT FOR NAVIGATION" in lines[-1]


@pytest.mark.parametrize("rise", [12, 36, 60])
def test_twelfths_rise_by_the_rule(run: Run, rise: int) -> None:
    """The water has risen 0, 1, 3, 6, 9, 11 and 12 twelfths, and the bar is as long.

    The rule of twelfths: common practice, no source.
    """
    lines = run("twelfths", replace={30: f"LET R={rise}"})[1:-1]
    twelfths = list(itertools.accumulate([0, 1, 2, 3, 3, 2, 1]))
    assert [_numbers(line) for line in lines] == [
        [hour, rise * part // 12] for hour, part in enumerate(twelfths)
    ]
    assert [line.count("=") for line in lines] == [rise * part // 12 for part in twelfths]


def test_odds_count_the_ways_of_three_dice(run: Run) -> None:
    """The ways of each total are those of all 216 throws written out."""
    throws = [sum(dice) for dice in itertools.product(range(1, 7), repeat=3)]
    lines = run("odds")[1:]
    assert [_numbers(line) for line in lines] == [[n, throws.count(n)] for n in range(3, 19)]
    assert [line.count("*") for line in lines] == [throws.count(n) for n in range(3, 19)]


def test_sine_is_near_the_sine(run: Run) -> None:
    """Every star stands within one column of 20 times the sine of its angle."""
    lines = run("sine")
    angles = [_numbers(line)[0] for line in lines]
    assert angles == list(range(0, 361, 15))
    for angle, line in zip(angles, lines, strict=True):
        middle = lines[0].index("*")
        assert line.index("*") - middle == pytest.approx(20 * math.sin(math.radians(angle)), abs=1)


def test_primes_are_the_primes(run: Run) -> None:
    """The numbers printed are those up to 100 that no smaller number divides."""
    primes = [n for n in range(2, 101) if all(n % d for d in range(2, n))]
    assert _numbers(" ".join(run("primes"))) == primes


def test_perfect_numbers_equal_their_divisors(run: Run) -> None:
    """The numbers printed are those up to 500 that equal the sum of their proper divisors."""
    perfect = [n for n in range(2, 501) if n == sum(d for d in range(1, n) if n % d == 0)]
    assert [int(line) for line in run("perfect")[1:]] == perfect == [6, 28, 496]


@pytest.mark.parametrize("start", [1, 2, 7, 27, 97, 871])
def test_hailstone_follows_the_rule(run: Run, start: int) -> None:
    """The path, its steps and its highest point are those that the rule gives."""
    path = [start]
    while path[-1] != 1:
        path.append(path[-1] // 2 if path[-1] % 2 == 0 else 3 * path[-1] + 1)
    printed = run("hail", str(start))
    if max(path) > 32767:
        assert printed[-1] == "IT FLIES TOO HIGH FOR 16 BITS"
        return
    assert _numbers(printed[0].split("?")[1]) == [start]
    assert _numbers(printed[1]) == path
    assert _numbers(printed[2]) == [len(path) - 1, max(path)]


@pytest.mark.parametrize(("a", "b"), [(48, 36), (13, 60), (7, 7), (1, 90), (32767, 217), (120, 45)])
def test_gears_find_the_common_divisor(run: Run, a: int, b: int) -> None:
    """The divisor is math.gcd; the turns bring both wheels to the least common multiple."""
    divisor, first, second = (
        _numbers(line)[0] for line in run("gears", f"{a},{b}")[2:] if _numbers(line)
    )
    assert divisor == math.gcd(a, b)
    assert first * a == second * b == math.lcm(a, b)


def test_weekday_agrees_with_the_calendar(run: Run) -> None:
    """The day is Python's for dates over four centuries, leap days and century ends among them."""
    first = date(1583, 1, 1)
    dates = [first + timedelta(days=step * 1373) for step in range(160)]
    dates += [date(2000, 2, 29), date(2000, 3, 1), date(1900, 2, 28), date(1900, 3, 1)]
    dates += [date(2100, 2, 28), date(2100, 3, 1), date(4000, 12, 31), date(2026, 1, 1)]
    for day in dates:
        printed = run("weekday", f"{day.day},{day.month},{day.year}")
        assert printed[-1] == f"THAT IS A {calendar.day_name[day.weekday()].upper()}", day


@pytest.mark.parametrize("typed", ["0,1,2000", "32,1,2000", "1,0,2000", "1,13,2000", "1,1,4001"])
def test_weekday_asks_again_for_what_is_no_date(run: Run, typed: str) -> None:
    """A day, month or year out of range is asked for again."""
    assert run("weekday", typed, "1,1,2000")[-1] == "THAT IS A SATURDAY"


# Colours 0 to 9 of resistor bands: IEC 60062, from memory.
COLOURS = (
    *("BLACK", "BROWN", "RED", "ORANGE", "YELLOW"),
    *("GREEN", "BLUE", "VIOLET", "GREY", "WHITE"),
)
# Values of the E24 series: IEC 60063, from memory.
E24 = (
    *(10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30),
    *(33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91),
)


@pytest.mark.parametrize("zeros", range(4))
def test_bands_are_digits_and_zeros(run: Run, zeros: int) -> None:
    """Every value of the E24 series that fits in 16 bits gets its two digits and its zeros."""
    for value in (v for v in E24 if v * 10**zeros <= 32767):
        bands = [COLOURS[int(digit)] for digit in f"{value}{zeros}"]
        assert run("bands", str(value * 10**zeros))[1:] == [f"BANDS: {' '.join(bands)}"]


def test_bands_say_when_digits_are_lost(run: Run) -> None:
    """A value with a third digit is told, with what its bands stand for."""
    assert run("bands", "4752")[1:] == [
        "BANDS: YELLOW VIOLET RED",
        "TWO DIGITS ONLY: THAT IS 4700 OHMS",
    ]


def test_led_resistor_never_lets_too_much_through(run: Run) -> None:
    """The resistance is Ohm's, rounded up, so that the current stays at or below what was asked."""
    for volts, amperes in itertools.product((1800, 2000, 2100, 3200, 4500), (1, 3, 7, 10, 20)):
        ohms = _numbers(run("led", str(volts), str(amperes))[2])[0]
        assert ohms == math.ceil((5000 - volts) / amperes)


@pytest.mark.parametrize("amperes", ["0", "-5", "21", "40", "32767"])
def test_led_refuses_dangerous_currents(run: Run, amperes: str) -> None:
    """A current of none or of more than 20 mA is never computed with; it is asked for again.

    ATmega328P: 40 mA a pin is the absolute maximum (DS40002061A, 29.1).
    """
    lines = run("led", "2000", amperes, "10")
    assert "AT LEAST 300 OHMS" in lines
    assert ("TOO MUCH FOR A PIN" in lines) == (int(amperes) > 20)


# Divisor and error in percent at 16 MHz, U2X = 0, read in table 84 of datasheet 2545D (a chip with
# the same serial unit); the formula is in table 20-1 of the ATmega328P's, 8271H.
DATASHEET = {
    2400: (416, -0.1),
    4800: (207, 0.2),
    9600: (103, 0.2),
    19200: (51, 0.2),
    38400: (25, 0.2),
    57600: (16, 2.1),
    115200: (8, -3.5),
}


def test_baud_divisors_are_the_datasheets(run: Run) -> None:
    """Each divisor is the datasheet's; the error is within its last digit; beyond 2 % is marked."""
    lines = run("baud")[1:]
    assert [_numbers(line)[0] for line in lines] == list(DATASHEET)
    for line in lines:
        speed, divisor, tenths = _numbers(line)
        assert divisor == DATASHEET[speed][0]
        assert tenths / 10 == pytest.approx(DATASHEET[speed][1], abs=0.101)
        assert ("TOO FAR OUT" in line) == (abs(DATASHEET[speed][1]) > 2.0)


@pytest.mark.parametrize("number", [0, 1, 9, 10, 15, 16, 255, 256, 999, 4095, 4096, 31998, 32767])
def test_hex_writes_to_the_base_16(run: Run, number: int) -> None:
    """Four digits to the base 16, as Python writes them."""
    assert run("hex", str(number))[1:] == [f"HEX {number:04X}"]


def test_counter_shows_the_bits(run: Run) -> None:
    """Sixteen rows of four LEDs are the binary numbers 0 to 15."""
    rows = [line.split() for line in run("counter")]
    assert ["".join(row[:4]) for row in rows] == [
        f"{n:04b}".replace("0", "O").replace("1", "*") for n in range(16)
    ]
    assert [row[4] for row in rows] == [str(n) for n in range(16)]


@pytest.mark.parametrize("first", [192, 1, 8192, 5461, 16383])
def test_carpet_knots_where_the_neighbours_differ(run: Run, first: int) -> None:
    """Every row follows from the one above it: a knot where exactly one neighbour is one."""
    rows = run("carpet", replace={30: f"LET R={first}"})
    assert rows[0] == f"{first:014b}".replace("0", ".").replace("1", "#")
    assert len(rows) == 16
    for above, row in itertools.pairwise(rows):
        wide = f".{above}."
        assert row == "".join(".#"[wide[at] != wide[at + 2]] for at in range(14))


def test_seats_add_up(run: Run) -> None:
    """Each bar is as long as its number, and sum and average are right."""
    lines = run("seats")[1:]
    seats = [_numbers(line)[1] for line in lines[:-1]]
    assert [line.count("#") for line in lines[:-1]] == seats
    assert _numbers(lines[-1]) == [sum(seats), sum(seats) / len(seats)]


def test_triangle_counts_choices(run: Run) -> None:
    """Row n holds the ways to choose 0 to n out of n."""
    assert [_numbers(line) for line in run("triangle")] == [
        [math.comb(n, k) for k in range(n + 1)] for n in range(10)
    ]


def test_ladder_stops_before_16_bits_are_too_few(run: Run) -> None:
    """Every rung is the sum of the two below, and only the one not printed would pass 32767."""
    rungs = [_numbers(line) for line in run("ladder")[1:-1]]
    assert [number for number, _ in rungs] == list(range(1, len(rungs) + 1))
    values = [value for _, value in rungs]
    assert values[:2] == [1, 1]
    assert all(c == a + b for a, b, c in zip(values, values[1:], values[2:], strict=False))
    assert values[-1] <= 32767 < values[-1] + values[-2]


def test_cubes_are_all_there_are(run: Run) -> None:
    """The numbers printed are all of three digits that equal the sum of their digits' cubes."""
    found = [n for n in range(100, 1000) if n == sum(int(digit) ** 3 for digit in str(n))]
    assert [int(line) for line in run("cubes")[2:]] == found


def test_corners_are_all_right_angles_up_to_30(run: Run) -> None:
    """The triples printed are all whole right-angled triangles with sides up to 30."""
    triples = [
        [a, b, c]
        for a, b, c in itertools.combinations(range(1, 31), 3)
        if math.hypot(a, b) == pytest.approx(c, abs=1e-9)
    ]
    assert [_numbers(line) for line in run("corners")[1:]] == triples


@pytest.mark.parametrize("price", [1, 7, 20, 50, 65])
def test_change_counts_every_way(run: Run, price: int) -> None:
    """The ways are those that adding one kind of coin after the other gives."""
    ways = [1] + [0] * price
    for coin in (1, 2, 5, 10, 20, 50):
        for paid in range(coin, price + 1):
            ways[paid] += ways[paid - coin]
    assert _numbers(run("change", replace={30: f"LET T={price}"})[1]) == [ways[price]]


def test_coast_is_where_points_stay_near(run: Run) -> None:
    """The map is the same upside down; points well inside are land, points far out are sea."""
    rows = run("coast")
    assert rows == rows[::-1]
    land = sea = 0
    for row, d in zip(rows, range(-72, 73, 12), strict=True):
        for char, a in zip(row, range(-132, 43, 6), strict=True):
            point = complex(a, d) / 64
            if abs(point + 1) < 0.2 or abs(point) < 0.22:  # the disc; within the heart shape
                land += 1
                assert char == "#", point
            if abs(point) > 1.9 and point.real > -1.9:
                sea += 1
                assert char != "#", point
    assert land >= 15
    assert sea >= 10


def test_room_tells_the_truth(run: Run, folder: Path) -> None:
    """What it says of itself is what the byte ledger says of its listing."""
    text = (folder / "room.bas").read_text(encoding="ascii")
    size = measure(Listing.from_text(text), Rules()).total
    printed = [_numbers(line) for line in run("room")]
    assert printed == [[999 - size], [size], [13], [(999 - size) // 13]]
    line = Listing.from_text("1 0123456789")
    assert measure(line, Rules()).total == 13
