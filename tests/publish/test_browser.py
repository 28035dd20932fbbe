"""Sheets and cards in a real browser, on screen and printed; the QR code read by a real reader.

Chromium (Debian package chromium) prints to PDF and draws the screen; pdftotext, pdfinfo and
pdftoppm (poppler-utils) read the printed page, zbarimg (zbar-tools) the QR code.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.listing import Listing
from hostlink.listing.checkcodes import codes_of
from hostlink.publish.card import card
from hostlink.publish.details import ProgramDetails
from hostlink.publish.program import publish
from hostlink.publish.sheet import sheet
from hostlink.publish.sheet_file import read_sheet
from hostlink.shipped import library_folder

PRACTICE = find_profile("practice")
HOSTILE = "<script>document.title='run'</script><b>bold</b>"


def a_sheet(name: str) -> tuple[str, str]:
    """A shipped program's text and its sheet."""
    text = (library_folder() / f"{name}.bas").read_text(encoding="ascii")
    details = ProgramDetails(name.upper(), name, "us", "MIT", "N.")
    return text, sheet(publish(Listing.from_text(text), PRACTICE, details))


@pytest.mark.parametrize(("paper", "sheets"), [("A4", 2), ("letter", 3)])
def test_a_printed_sheet_has_every_line_and_its_code(
    printed: Callable[..., tuple[int, list[str]]], paper: str, sheets: int
) -> None:
    """Each line of the fullest shipped program stands whole in one row, its code in a row below."""
    text, page = a_sheet("morse")
    pages, rows = printed(page, paper)
    assert pages == sheets
    found = [" ".join(row.split()) for row in rows]
    below = iter(found)
    for number, line in Listing.from_text(text).numbered().items():
        assert " ".join(line.typed.split()) in below, number  # in their order
    codes = codes_of(Listing.from_text(text), PRACTICE.rules)
    boxes = " ".join(row for row in found if re.fullmatch(r"(\d+ \d\d ?)+", row))
    assert boxes == " ".join(f"{number} {code}" for number, code in codes.lines.items())
    assert f"all lines together ALL {codes.whole}" in found


def test_a_card_is_one_page(printed: Callable[[str], tuple[int, list[str]]]) -> None:
    """The longest shipped profile still fits on one sheet of paper."""
    pages, rows = printed(card(find_profile("ecma-55")))
    assert pages == 1
    assert any("At the prompt" in row for row in rows)


@pytest.mark.slow
def test_the_qr_code_on_paper_is_the_listing(
    printed: Callable[[str], tuple[int, list[str]]],
    tmp_path: Path,
    require_program: Callable[[str], str],
) -> None:
    """Printed, drawn at 200 dots an inch, and read by a reader that is not ours."""
    pdftoppm, zbarimg = require_program("pdftoppm"), require_program("zbarimg")
    text, page = a_sheet("morse")
    printed(page)
    pictures = str(tmp_path / "paper")
    subprocess.run(
        [pdftoppm, "-r", "200", "-png", str(tmp_path / "page.pdf"), pictures], check=True
    )
    read = [
        subprocess.run(
            [zbarimg, "--quiet", "--raw", "--nodbus", str(path)],
            capture_output=True,
            text=True,
            check=False,
        ).stdout
        for path in sorted(tmp_path.glob("paper*.png"))
    ]
    assert "".join(read).strip() == text.strip()


def test_hostile_text_is_shown_and_not_run(browse: Callable[..., str]) -> None:
    """In the browser's own tree there is no script and no bold; the title is the text."""
    details = ProgramDetails("A", HOSTILE, HOSTILE, HOSTILE, HOSTILE)
    page = sheet(publish(Listing.from_text(f"10 REM {HOSTILE}\n"), PRACTICE, details))
    tree = browse(page, "--dump-dom")
    assert "<script" not in tree
    assert "<b>bold" not in tree
    assert "<title>&lt;script&gt;" in tree
    assert read_sheet(tree, name="the tree").text == f"10 REM {HOSTILE}\n"


def test_a_sheet_can_be_seen_on_a_screen(browse: Callable[..., str], tmp_path: Path) -> None:
    """The picture is not blank: ink on paper, at the width of a desk and of a telephone."""
    _, page = a_sheet("tide")
    sizes = []
    for width in (1000, 400):
        picture = tmp_path / f"screen{width}.png"
        browse(page, f"--window-size={width},1200", "--hide-scrollbars", f"--screenshot={picture}")
        sizes.append(picture.stat().st_size)
    assert all(size > 20_000 for size in sizes)  # a blank page of that size takes a few thousand
