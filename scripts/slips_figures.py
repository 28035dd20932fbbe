"""Damage shipped programs by one slip of a typist at a time, and count how often it is found again.

    python3 scripts/start.py --python scripts/slips_figures.py --count 1000000 --workers 2

Prints a table for DEVELOPERS.md: for each kind of slip, the share of lines whose right text is
among the offers, with the code of the whole program and with the line's code alone. A line that is
right and yet called wrong ends it with status 1.
"""

from __future__ import annotations

import argparse
import random
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor

from hostlink.listing import Listing, Rules, canonical_line
from hostlink.listing.checkcodes import Codes, codes_of, verify_codes
from hostlink.listing.slips import offers
from hostlink.shipped import library_folder

RULES = Rules()
PART = 10_000  # slips drawn from one seed, so that any number of workers finds the same
Slip = Callable[[random.Random, str, int], str]

# The keys beside each other and the two signs of a key, typed here once more so that a wrong table
# of the package is noticed. The usual American layout (common practice, no source).
ROWS = ("1234567890-=", "QWERTYUIOP[]", "ASDFGHJKL;'", "ZXCVBNM,./")
SIGNS = dict(zip("1234567890-=[];',./", '!@#$%^&*()_+{}:"<>?', strict=True))
ALIKE = {"O": "0", "0": "O", "I": "1l", "1": "Il", "S": "5", "5": "S", "B": "8", "8": "B"}


def alike(seeded: random.Random, row: str, at: int) -> str:
    """A sign that looks like the right one, nearest to a place."""
    places = [place for place in range(len(row)) if row[place] in ALIKE and place >= at]
    if not places:
        return row
    return row[: places[0]] + seeded.choice(ALIKE[row[places[0]]]) + row[places[0] + 1 :]


def swapped(_seeded: random.Random, row: str, at: int) -> str:
    """Two neighbours swapped."""
    return row[:at] + row[at + 1 : at + 2] + row[at] + row[at + 2 :]


def left_out(_seeded: random.Random, row: str, at: int) -> str:
    """A character lost."""
    return row[:at] + row[at + 1 :]


def doubled(_seeded: random.Random, row: str, at: int) -> str:
    """A character typed twice."""
    return row[:at] + row[at] + row[at:]


def wrong_key(seeded: random.Random, row: str, at: int) -> str:
    """The key beside the right one, or the other sign of the key."""
    near = [SIGNS[row[at]]] if row[at] in SIGNS else []
    near += [sign for sign, other in SIGNS.items() if other == row[at]]
    for keys in ROWS:
        place = keys.find(row[at])
        near += [
            keys[beside] for beside in (place - 1, place + 1) if place >= 0 <= beside < len(keys)
        ]
    return row[:at] + seeded.choice(near) + row[at + 1 :] if near else row


KINDS: dict[str, Slip] = {
    "looks alike": alike,
    "neighbours swapped": swapped,
    "left out": left_out,
    "typed twice": doubled,
    "the key beside it": wrong_key,
}


Figures = tuple[Counter[str], Counter[tuple[str, bool]], int]
"""How many lines were damaged and how many found again, by kind; right lines called wrong."""


def main(words: Sequence[str] | None = None) -> int:
    """Print the table; return 1 if a right line was called wrong."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=10_000, help="how many slips in all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1, help="processes; the figures are alike")
    arguments = parser.parse_args(words)
    parts = [
        (f"{arguments.seed} {begun}", min(PART, arguments.count - begun))
        for begun in range(0, arguments.count, PART)
    ]
    tried, found, wrongly = Counter[str](), Counter[tuple[str, bool]](), 0
    with ProcessPoolExecutor(arguments.workers) as pool:
        for each in pool.map(figures, parts):
            tried, found, wrongly = tried + each[0], found + each[1], wrongly + each[2]
            print(f"{tried.total():,} of {arguments.count:,}", file=sys.stderr)
    print("| slip | tried | found with the whole's code | by the line's code alone |")
    print("|---|---|---|---|")
    for name, kinds in (*((kind, [kind]) for kind in KINDS), ("all", list(KINDS))):
        count = sum(tried[kind] for kind in kinds)
        shares = (sum(found[kind, whole] for kind in kinds) / count for whole in (True, False))
        print(f"| {name} | {count:,} | {' | '.join(f'{share:.2%}' for share in shares)} |")
    print(f"Right lines called wrong: {wrongly}.")
    return 1 if wrongly else 0


def figures(part: tuple[str, int]) -> Figures:
    """Damage lines and look for them again. part: the seed, and how many lines."""
    seeded, count = random.Random(part[0]), part[1]
    texts = [path.read_text("utf-8") for path in sorted(library_folder().glob("*.bas"))]
    coded = [(text, codes_of(Listing.from_text(text), RULES)) for text in texts]
    tried, found, wrongly = Counter[str](), Counter[tuple[str, bool]](), 0
    while tried.total() < count:
        text, codes = seeded.choice(coded)
        kind = seeded.choice(list(KINDS))
        rows = text.splitlines()
        at = seeded.randrange(len(rows))
        row = rows[at]
        start = len(row.split(" ")[0]) + 1
        rows[at] = KINDS[kind](seeded, row, seeded.randrange(start, len(row)))
        right, typed = (
            canonical_line(Listing.from_text(one).lines[0], RULES) for one in (row, rows[at])
        )
        if typed == right:
            continue
        tried[kind] += 1
        number = int(row.split(" ")[0])
        listing = Listing.from_text("\n".join(rows))
        for whole in (True, False):
            known = Codes(codes.lines, codes.whole if whole else "")
            check = verify_codes(listing, known, RULES)
            wrongly += any(wrong.number != number for wrong in check.wrong)
            offered = offers(listing, known, check, RULES).get(number, ())
            found[kind, whole] += right in [offer.text for offer in offered]
    return tried, found, wrongly


if __name__ == "__main__":
    sys.exit(main())
