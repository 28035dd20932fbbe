"""DEVELOPERS.md names code that exists."""

import importlib
import re
from pathlib import Path

import hostlink

ROOT = Path(__file__).parent.parent
PACKAGES = sorted(
    path.name for path in (ROOT / "hostlink").iterdir() if (path / "__init__.py").exists()
)
OTHERS = {"common", "platformdirs", "soak_random", "soak_kinds", "soak_drawn", "Path"}
"""First words that are no file or class of hostlink: a variable, a library, scripts."""
NAMED = re.compile(rf"`((?:{'|'.join(PACKAGES)})(?:\.\w+)+)")


def resolve(dotted: str) -> object:
    """The module, or what in one, that a name such as "board.dialogue" means."""
    words, here, path = dotted.split("."), hostlink, "hostlink"
    for word in words:
        path += f".{word}"
        try:
            here = importlib.import_module(path)
        except ModuleNotFoundError:
            here = getattr(here, word)
    return here


def test_every_name_of_our_code_in_the_page_for_developers_is_there() -> None:
    """Else a reader looks for a file or a function that was renamed."""
    named = NAMED.findall((ROOT / "DEVELOPERS.md").read_text("utf-8"))
    assert len(named) > 50
    missing = []
    for dotted in dict.fromkeys(named):
        try:
            resolve(dotted)
        except AttributeError:
            missing.append(dotted)
    assert missing == []


def test_every_name_that_begins_with_a_file_or_a_class_is_there() -> None:
    """A name such as `read_back.ReadBack` begins in the middle of the path."""
    page = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    sources = {path: path.read_text("utf-8") for path in (ROOT / "hostlink").rglob("*.py")}
    named = re.findall(r"`([a-z_]{4,}|[A-Z][A-Za-z]+)\.(\w+)(?:\([^`]*\))?`", page)
    named = [each for each in named if each[0] not in OTHERS | set(PACKAGES) and each[1] != "py"]
    assert len(named) > 20
    missing = []
    for first, last in named:
        places = [path for path, text in sources.items() if f"class {first}" in text]  # or a base
        near = [path for path in sources if path.stem == first or path.parent in parents(places)]
        if not any(re.search(rf"\b{last}\b", sources[path]) for path in near):
            missing.append(f"{first}.{last}")
    assert missing == []


def parents(paths: list[Path]) -> set[Path]:
    """The folders of some files."""
    return {path.parent for path in paths}


def test_every_test_named_in_the_page_for_developers_is_there() -> None:
    """The table of what other systems do says which test holds each row."""
    page = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    chapter = page.split("\n## Windows and macOS\n")[1].split("\n## ")[0]
    named = re.findall(r"(?:(tests/[\w/]+\.py)::)?\b(test_\w+)\b(?!\.py)", chapter)
    assert len(named) > 20
    missing = [
        name
        for file, name in named
        if f"def {name}(" not in (ROOT / (file or "tests/test_systems.py")).read_text("utf-8")
    ]
    assert missing == []
