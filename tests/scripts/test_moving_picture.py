"""The moving picture of a load: well-formed, small, without a script, and drawn from the app."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from xml.etree import ElementTree

import pytest
from rich.text import Text

Script = Callable[[str], ModuleType]
SVG = "{http://www.w3.org/2000/svg}"


def _frames(file: str) -> list[list[str]]:
    """Return the rows of text of each frame, as the classes of the groups tell them."""
    found: dict[tuple[int, float], dict[float, str]] = {}
    spans = [[*map(int, each)] for each in re.findall(r'class="from(\d+)to(\d+)"', file)]
    for group in ElementTree.fromstring(file).iter(f"{SVG}g"):
        if not (name := group.get("class")):
            continue
        first, last = map(int, name.removeprefix("from").split("to"))
        for text in group.findall(f"{SVG}text"):
            for frame in range(first, last + 1):
                row = found.setdefault((frame, float(text.get("y", ""))), {})
                row[float(text.get("x", ""))] = text.text or ""
    frames: list[list[str]] = [[] for _ in range(1 + max(last for _, last in spans))]
    for (frame, _), row in sorted(found.items()):
        frames[frame].append("".join(row[x] for x in sorted(row)).replace("\N{NBSP}", " "))
    return frames


def test_each_frame_has_its_rows_and_what_stays_is_in_the_file_once(script: Script) -> None:
    """Two rows in three frames: one stays, the other changes at the third."""
    texts = ["stays  \n1 < 2  ", "stays  \n1 < 2  ", "stays  \nproven "]
    frames = [Text(text, "#eeeeee on #111111") for text in texts]
    file = script("moving_picture").moving_picture(frames, [1, 2, 5], (7, 2), "A & B")
    shown = [["".join(rows).split() for rows in frame] for frame in _frames(file)]
    assert shown == [[["stays"], ["1", "<", "2"]]] * 2 + [[["stays"], ["proven"]]]
    assert file.count("stays") == 1
    assert "@keyframes from0to1 { 0.00% { visibility: visible } 37.50%" in file  # 3 of 8 s
    assert ".from2to2 { visibility: visible; animation: from2to2 8s step-end infinite }" in file
    assert "<title>A &amp; B</title>" in file


@pytest.mark.slow
def test_the_kept_picture_is_what_the_script_draws(script: Script, scripts_folder: Path) -> None:
    """From the app and the practice board, to the byte: nobody changes it by hand.

    After a change of the app that is meant: scripts/start.py --python scripts/pictures.py
    """
    pictures = script("pictures")
    with pictures.new_place() as folder:
        drawn = asyncio.run(pictures.moving_load(folder))
    assert drawn == (scripts_folder / "pictures" / "load.svg").read_text(encoding="utf-8")


def test_the_kept_picture_shows_a_load_from_before_it_to_its_proof(scripts_folder: Path) -> None:
    """Twelve frames in some 6 s: more lines are marked as sent in each, then all as proven.

    It is small, runs no script, fetches nothing, and stands still for who asks for less motion.
    """
    file = (scripts_folder / "pictures" / "load.svg").read_text(encoding="utf-8")
    frames = _frames(file)
    assert len(frames) == 12
    assert "holds no program" in frames[0][0]
    assert "Reading what the board holds" in frames[1][-1]
    marked = [sum(row.rstrip().endswith("─") for row in frame) for frame in frames]
    assert marked == [*sorted(marked[:-1]), 0]
    assert marked[2] < marked[3] < marked[4]
    assert "reading back" in frames[-2][1]
    assert "proven at 12:00" in frames[-1][0]
    assert sum(row.rstrip().endswith("━") for row in frames[-1]) == marked[-2] > 10
    assert len(file.encode()) < 400_000
    assert not re.search(r"<script|href|url\(|@import|onload", file)
    assert "(prefers-reduced-motion: reduce) { g { animation: none !important } }" in file
