"""The README's table of figures is what was measured, and says where a target falls short."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest


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
    """Its processors, its Python and the day."""
    said = script("bench_page").machine(date(2031, 5, 1))
    assert "Python 3." in said
    assert said.endswith("; 2031-05-01.")
    assert said[0].isdigit()


def test_the_readme_has_the_marks_with_a_row_for_each_section(script: Any) -> None:
    """The table in the README names every section that there is."""
    page, bench = script("bench_page"), script("bench")
    text = page.PAGE.read_text(encoding="utf-8")
    table = text[text.index(page.BEGIN) : text.index(page.END)]
    named = {row.split("|")[1].strip() for row in table.splitlines() if row.startswith("| ")}
    assert set(bench.SECTIONS) | {"section"} == named
