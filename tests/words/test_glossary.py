"""One voice: nothing a keeper can read says a thing otherwise than the glossary (``glossary.FORBIDDEN``)."""

import ast
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from pupawatch import cli, demo
from pupawatch.cli.parser import RENAMED
from tests.words.glossary import FORBIDDEN, Forbidden, slips

ROOT = Path(__file__).parents[2]
SOURCES = sorted((ROOT / "pupawatch").rglob("*.py"))
Run = Callable[..., Any]


def literals(path: Path) -> Iterator[str]:
    """Every text of the program but its docstrings: help, errors, labels and sentences, f-strings with their gaps."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    bodies = [node.body for node in ast.walk(tree) if isinstance(getattr(node, "body", None), list)]
    quiet = {
        id(line.value)
        for body in bodies
        for line in body
        if isinstance(line, ast.Expr) and isinstance(line.value, ast.Constant)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            quiet |= {id(part) for part in node.values}
            yield "".join(str(part.value) if isinstance(part, ast.Constant) else "…" for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in quiet:
            yield node.value


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_no_text_of_the_program_slips(path: Path) -> None:
    """A word alone in small letters is a code; those keep their names."""
    texts = (text for text in literals(path) if not re.fullmatch(r"[a-z-]+", text))
    assert [slip for text in texts for slip in slips(text)] == []


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md", *(f"config/{p.name}" for p in ROOT.glob("config/*"))])
def test_no_file_for_readers_slips(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    if name.endswith("tables.toml"):  # the words that keepers write in their own tables are theirs
        text = "\n".join(line for line in text.splitlines() if line.startswith("#"))
    assert slips(re.sub(r"^[a-z_]+ = ", "", text, flags=re.MULTILINE)) == []  # the names of settings are codes


def test_no_help_slips() -> None:
    commands = cli._parser()._subparsers._group_actions[0].choices  # type: ignore[union-attr]
    for name, command in commands.items():
        if name not in RENAMED:
            assert slips(command.format_help()) == []


ANSWERS = [
    ("today",), ("pupae", "--all"), ("places",), ("plan",), ("forecast",), ("forecast", "--explain", "S1"), ("review",),
    ("review", "--by", "place,moved"), ("watch",), ("adults", "--all"), ("health",), ("health", "M2"), ("moves",),
    ("history", "M41"), ("history", "S1"), ("broods",), ("sheet",), ("check",),
]  # fmt: skip


def test_no_answer_of_the_invented_season_slips(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    keeper = demo.demo_keeper(tmp_path)
    keeper.close()
    for words in ANSWERS:
        cli.main([*words, "--journal", str(keeper.path), "--config", str(tmp_path)])
        told = capsys.readouterr()
        assert slips(told.out + told.err) == [], words


@pytest.mark.parametrize("one", FORBIDDEN, ids=lambda one: one.example)
def test_each_phrase_of_the_list_is_found(one: Forbidden) -> None:
    assert slips(f"It says {one.example}.")
    assert not slips(f"It says {one.instead}.")
