"""The page of figures is what was measured, of this version, and says what falls short."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest

import hostlink


@pytest.fixture
def sections(script: Any) -> list[Any]:
    report = script("bench_report")
    good = report.Target.at_most("a | b", 1.0123, 1.05)
    return [report.Section("link", [], [good, report.Target.at_least("faster", 9.0, 10)])]


def test_each_target_stands_beside_its_figure(script: Any, sections: list[Any]) -> None:
    """Three figures are enough; a target that falls short is told in words."""
    rows = script("bench_page").figures(sections, "one machine.").splitlines()
    assert rows[0] == "one machine."
    assert rows[-2] == "| link | a \\| b | 1.01 | 1.05 | holds |"
    assert rows[-1] == "| link | faster | 9 | 10 | **falls short** |"


def test_the_table_goes_between_the_marks_and_nowhere_else(
    script: Any, sections: list[Any], tmp_path: Path
) -> None:
    """What stands around the marks is kept; put twice it is the same; without marks it is said."""
    page = script("bench_page")
    file = tmp_path / "page.md"
    file.write_text(f"before\n{page.BEGIN}\nstale\n{page.END}\nafter\n", encoding="utf-8")
    for _ in range(2):
        page.put(page.figures(sections, "one machine."), file)
        text = file.read_text(encoding="utf-8")
        assert text.startswith(f"before\n{page.BEGIN}\n\none machine.\n\n| section |")
        assert text.endswith(f"falls short** |\n\n{page.END}\nafter\n")
        assert "stale" not in text
    file.write_text("nothing", encoding="utf-8")
    with pytest.raises(RuntimeError, match="no marks"):
        page.put("", file)


def test_the_machine_is_named(script: Any) -> None:
    """After the version: its processors, its Python and the day."""
    said = script("bench_page").machine(date(2031, 5, 1))
    assert "Python 3." in said
    assert said.endswith("; 2031-05-01.")
    assert re.match(rf"hostlink {re.escape(hostlink.__version__)}, \d+ × ", said)


def test_rows_that_a_section_shows_are_a_table(script: Any) -> None:
    """The named columns only, under their headings; numbers of three figures at the most."""
    report = script("bench_report")
    rows = [{"programs": 100_000, "line_ms": 21.634, "hidden": 1}]
    shown = {"programs": "programs", "line_ms": "line, ms"}
    section = report.Section("archive", rows, [report.Target.at_most("a", 1, 2)], (), shown)
    table = script("bench_page").figures([section], "one machine.").splitlines()[-3:]
    assert table == ["| programs | line, ms |", "|---:|---:|", "| 100,000 | 21.6 |"]


def test_figures_of_an_older_version_are_told(script: Any) -> None:
    """Another first or second number is too old, another third is not; none at all is told too."""
    page = script("bench_page")
    text = f"# A page\n\n{page.BEGIN}\n\nhostlink 1.9.3, 2 × a processor, 2031-05-01.\n"
    assert page.too_old(text, "1.9.3") == page.too_old(text, "1.9.12") == ""
    assert "1.9" in page.too_old(text, "1.10.0") and "1.9" in page.too_old(text, "2.9.3")
    assert "which version" in page.too_old("hostlink 1.9.3, said elsewhere", "1.9.3")
    assert "which version" in page.too_old(f"{page.BEGIN}\n\n2 × a processor.\n", "1.9.3")


def test_the_figures_are_of_this_version(script: Any) -> None:
    """They were measured on the version that they stand beside."""
    page = script("bench_page")
    assert page.too_old(page.PAGE.read_text(encoding="utf-8"), hostlink.__version__) == ""


def test_the_page_has_the_marks_with_a_row_for_each_section(script: Any) -> None:
    """The table names every section that there is."""
    page, bench = script("bench_page"), script("bench")
    text = page.PAGE.read_text(encoding="utf-8")
    table = text[text.index(page.BEGIN) : text.index(page.END)].partition("| programs |")[0]
    named = {row.split("|")[1].strip() for row in table.splitlines() if row.startswith("| ")}
    assert set(bench.SECTIONS) | {"section"} == named
