"""A class register: read whole, and each mistake in it told with its line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.errors import RegisterError
from hostlink.jobs.class_register.register import check_programs, read_register

ADA = '[[learner]]\nname = "Ada Brook"\n'


@pytest.fixture
def file(tmp_path: Path) -> Callable[[str], Path]:
    """Writes a register and gives its path."""

    def write(text: str) -> Path:
        path = tmp_path / "class.toml"
        path.write_bytes(text.encode("utf-8", "surrogateescape"))
        return path

    return write


def test_a_register_says_who_has_what(file: Callable[[str], Path]) -> None:
    """Learners stand in natural order; a handout of one's own goes before that of all."""
    (file("").parent / "lamp.bas").write_text("10 END\n", encoding="utf-8")
    read = read_register(
        file(
            'title = "Tuesday"\nhand_out = "lamp.bas"\n'
            '[[learner]]\nname = "Pair 10"\nboard = "Red"\n'
            '[[learner]]\nname = "Pair 2"\nhand_out = "shipped:TIDE"\nprogram = "TWO"\n'
            '[[learner]]\nname = "Zoë Ó Bríon"\n'
        )
    )
    assert read.title == "Tuesday"
    assert [one.name for one in read.learners] == ["Pair 2", "Pair 10", "Zoë Ó Bríon"]
    assert [one.program for one in read.learners] == ["TWO", "PAIR-10", "ZOE-O-BRION"]
    assert [one.board for one in read.learners] == ["", "Red", ""]
    beside = str(read.path.parent / "lamp.bas")
    assert [one.hand_out for one in read.learners] == ["shipped:TIDE", beside, beside]


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        (f'{ADA}bord = "Red"\n', 3, "did you mean board?"),
        (f"colour = 3\n{ADA}", 1, '"colour" is not a key of a register'),
        (f"{ADA}board = 3\n", 3, "board must be text"),
        (f'{ADA}board = " "\n', 3, "board is empty"),
        (f'{ADA}board = "\\u001b[2J"\n', 3, "one line"),
        ('[[learner]]\nboard = "Red"\n', 1, "a learner needs a name"),
        (f"{ADA}{ADA.replace('Ada', 'ada')}", 4, "the learner in line 2 also has the name"),
        (f'{ADA}[[learner]]\nname = "Ada-Brook"\n', 4, "also has the program name ADA-BROOK"),
        (
            f'{ADA}board = "Red"\n[[learner]]\nname = "Ben"\nboard = "red"\n',
            6,
            "the learner in line 3 also has the board red",
        ),
        ('[[learner]]\nname = "李"\n', 2, "in plain letters"),
        (f'{ADA}program = "A@1"\n', 3, "cannot be the name of a program"),
        (f'{ADA}program = "rescue"\n', 3, "cannot be the name of a program"),
        ('[[learner]]\nname = "' + "N" * 61 + '"\n', 2, "at most 60"),
        ('[learner]\nname = "Ada"\n', 1, "[[learner]]"),
        ("title = 3\n" + ADA, 1, "title must be text"),
        ('[[learner]]\nname = "Ada\n', 2, "this is not TOML"),
        ("[[learner]]\nname = '''\n", 2, "this is not TOML"),
        (f"{ADA}\udcff\n", 3, "not UTF-8"),
    ],
)
def test_each_mistake_is_told_with_its_line(
    file: Callable[[str], Path], text: str, line: int, said: str
) -> None:
    """In one sentence, which begins with the file and the line."""
    path = file(text)
    with pytest.raises(RegisterError) as refused:
        read_register(path)
    (told,) = refused.value.what.split("\n")
    assert told.startswith(f"{path}, line {line}: ")
    assert said in told
    assert told.isprintable()


def test_all_mistakes_are_told_at_once(file: Callable[[str], Path]) -> None:
    """In the order of their lines."""
    path = file(f"colour = 1\n{ADA}bord = 2\nboard = 4\n")
    with pytest.raises(RegisterError) as refused:
        read_register(path)
    told = refused.value.what.split("\n")
    assert [one.partition(": ")[0] for one in told] == [f"{path}, line {n}" for n in (1, 4, 5)]


@pytest.mark.parametrize(
    ("text", "said"), [("", "is empty"), (ADA * 201, "at most"), ("#" * 300_000, "larger")]
)
def test_what_is_no_class_is_refused(file: Callable[[str], Path], text: str, said: str) -> None:
    """A file without learners, with hundreds of them, or far too long."""
    with pytest.raises(RegisterError, match=said):
        read_register(file(text))


def test_a_learner_s_work_never_joins_another_program(
    file: Callable[[str], Path], archive: Archive
) -> None:
    """A program of that name that is not marked as a learner's is left alone."""
    content = Content(b"10 END\n", "10 END\n", "10 END\n", "practice", "utf-8", 8)
    archive.keep("Ada-Brook", content, Origin("file"))
    read = read_register(file(ADA))
    with pytest.raises(RegisterError, match="Ada-Brook is the name of another program"):
        check_programs(archive, read)
    archive.tag("ADA-BROOK", "learner")
    check_programs(archive, read)
