"""The page of a class in a real browser: no short word is broken, and nothing is too wide."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from hostlink.jobs.class_register.class_table import HEADS
from hostlink.publish.class_page import class_page

if TYPE_CHECKING:
    from devtools import DrivenBrowser

ROWS = [
    ("Ada Brook", "learner-1", "TIDE@12", "0", "609 of 999", "-", "as handed out 18:22"),
    (
        *("Bartholomew Featherstonehaugh", "A-LABEL-OF-FORTY-CHARACTERS-IN-ONE-WORD, ttyUSB0"),
        *("TIDE@1 then A-PROGRAM-OF-FORTY-CHARACTERS-IN-ONE-WO@1 cut off", "1,234", "1,580 over"),
        *("line 20: cannot divide by 0", "before: BARTHOLOMEW-FEATHERSTONEHAUGH@10 2031-09-03"),
    ),
]
PAGE = class_page("Tuesday evening", "2031-09-03 19:30", HEADS, ROWS)
BROKEN = """(() => {
  const broken = [], walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node; (node = walker.nextNode());) {
    for (const word of node.data.matchAll(/(?<![^\\s-])[^\\s-]{1,10}(?![^\\s-])/g)) {
      const range = document.createRange();
      range.setStart(node, word.index);
      range.setEnd(node, word.index + word[0].length);
      if (range.getClientRects().length > 1) broken.push(word[0]);
    }
  }
  return broken;
})()"""


@pytest.mark.parametrize("width", [360, 800, 1280])
def test_no_short_word_is_broken(browser: DrivenBrowser, tmp_path: Path, width: int) -> None:
    """A telephone shows each learner's cells below each other, with what they are."""
    (tmp_path / "page.html").write_text(PAGE, encoding="utf-8")
    browser.open(tmp_path / "page.html", width=width)
    assert browser.value(BROKEN) == []
    assert browser.value("document.documentElement.scrollWidth") <= width
    label = "getComputedStyle(document.querySelector('td[data-head=board]'), '::before').content"
    assert (browser.value(label) == '"board"') == (width < 640)


def test_the_table_stays_on_the_paper(printed: Callable[..., tuple[int, list[str]]]) -> None:
    """Each column is there, to its last word."""
    pages, rows = printed(PAGE)
    assert pages == 1
    assert all(word in " ".join(rows) for word in (*HEADS, "18:22", "2031-09-03"))
