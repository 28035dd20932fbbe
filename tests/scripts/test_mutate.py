"""Mutation testing: what is changed, what is not, and that survivors are told."""

from __future__ import annotations

import ast
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

Script = Callable[[str], ModuleType]

SOURCE = '''"""A docstring."""
LIMIT: int = 3


def over(size: int, name: str = "") -> bool:
    """Another."""
    if not name and size >= LIMIT:
        print(f"{name} is over")
        return True
    return False
'''


def test_every_mutant_changes_one_thing_and_can_be_compiled(script: Script) -> None:
    """Comparisons, words, numbers, conditions, results and calls, each once and alone."""
    made = list(script("mutate").mutants(SOURCE))
    whole = ast.unparse(ast.parse(SOURCE))
    for mutant in made:
        compile(mutant.source, "mutant", "exec")
        assert mutant.source != whole
        assert mutant.was != mutant.now
    changes = {(mutant.was, mutant.now) for mutant in made}
    assert ("LIMIT: int = 3", "LIMIT: int = 4") in changes
    assert ("if not name and size >= LIMIT:", "if not name or size >= LIMIT:") in changes
    assert ("if not name and size >= LIMIT:", "if not name and size > LIMIT:") in changes
    assert ("return True", "return None") in changes
    assert ("return True", "return False") in changes
    assert len({mutant.source for mutant in made}) == len(made)


def test_words_that_make_no_difference_are_left_alone(script: Script) -> None:
    """Docstrings, annotations and the texts of f-strings."""
    for mutant in script("mutate").mutants(SOURCE):
        assert "A docstring." in mutant.source and "Another." in mutant.source
        assert "is over" in mutant.source or "print" not in mutant.source
        assert "size: int" in mutant.source


def test_a_share_of_the_mutants_is_the_same_each_time(script: Script) -> None:
    """So many of them, in the order of the source; all where there are not more."""
    mutate = script("mutate")
    made = list(mutate.mutants(SOURCE))
    drawn = mutate.some(made, 4)
    assert len(drawn) == 4
    assert drawn == mutate.some(made, 4) == [each for each in made if each in drawn]
    assert mutate.some(made, len(made)) == made


@pytest.mark.slow
def test_what_no_test_notices_is_told(
    script: Script,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A project of one function with one test: the one change it misses survives."""
    mutate = script("mutate")
    (tmp_path / "tests").mkdir()
    (tmp_path / "hostlink").mkdir()
    (tmp_path / "hostlink" / "__init__.py").touch()
    (tmp_path / "hostlink" / "sizes.py").write_text(
        "def over(size):\n    return size > 3\n", encoding="utf-8"
    )
    (tmp_path / "tests" / "test_sizes.py").write_text(
        "import sys\nsys.path.insert(0, '.')\nfrom hostlink.sizes import over\n"
        "def test_over():\n    assert over(5) and not over(2)\n",
        encoding="utf-8",
    )
    monkeypatch.setattr(mutate, "ROOT", tmp_path)
    assert mutate.main(["hostlink/sizes.py", "--tests", "tests"]) == 1
    told = capsys.readouterr().out
    assert "hostlink/sizes.py:2  return size > 3  ->  return size >= 3" in told
    assert "return None" not in told
    assert "survive" in told
    (tmp_path / "tests" / "test_sizes.py").write_text("def test():\n    assert 0\n")
    with pytest.raises(RuntimeError, match="without any mutant"):
        mutate.main(["hostlink/sizes.py", "--tests", "tests"])
