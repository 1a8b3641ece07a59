"""What would run on this system only: read from the syntax of every file, and tried under the stand-in for Windows."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import pupawatch

PACKAGE = Path(pupawatch.__file__).parent
FILES = sorted([*PACKAGE.rglob("*.py"), *Path(__file__).parent.rglob("*.py")])

# A format code that only glibc (%-d) or only Windows (%#d) knows; `%-10s` and its like belong to Python itself.
OWN_CODE = re.compile(r"%[-#][aAbBdeHIjmMpSuUVwWyYZ]")


def test_the_syntax_is_read_as_it_should_be() -> None:
    wrong = ["open(p)", "open(p, 'w')", "p.open()", "p.open('a')", "p.read_text()", "p.write_text('x')"]
    right = ["open(p, 'rb')", "open(p, encoding='utf-8')", "p.open('xb')", "p.read_text('utf-8')", "os.open(p, 0)"]
    assert [bool(list(without_encoding(ast.parse(line)))) for line in wrong] == [True] * len(wrong)
    assert [bool(list(without_encoding(ast.parse(line)))) for line in right] == [False] * len(right)
    assert list(own_codes(ast.parse("f'{day:%-" + "d %B}'")))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_text_file_is_opened_with_an_encoding_and_every_format_code_is_known_everywhere(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert [*without_encoding(tree), *own_codes(tree)] == []


def without_encoding(tree: ast.AST) -> Iterator[str]:
    """Calls that read or write text in whatever encoding the system prefers, each with its line."""
    for call in ast.walk(tree):
        if isinstance(call, ast.Call) and _text_by_preference(call):
            yield f"{call.lineno}: {ast.unparse(call)}"


def own_codes(tree: ast.AST) -> Iterator[str]:
    """Texts with a format code of one platform only, each with its line."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and OWN_CODE.search(node.value):
            yield f"{node.lineno}: {node.value}"


def _text_by_preference(call: ast.Call) -> bool:
    if any(word.arg in ("encoding", None) for word in call.keywords):
        return False
    match call.func:
        case ast.Name("open"):
            return _text_mode(call, 1)
        case ast.Attribute(
            ast.Name("os" | "self" | "house"), "open"
        ):  # no file of Python's: a number, a screen, a program
            return False
        case ast.Attribute(_, "open"):
            return _text_mode(call, 0)
        case ast.Attribute(_, "read_text"):
            return not call.args
        case ast.Attribute(_, "write_text"):
            return len(call.args) < 2
    return False


def _text_mode(call: ast.Call, place: int) -> bool:
    """Whether a file is opened as text: by its mode at this place among the arguments or by name, else by default."""
    modes = call.args[place : place + 1] + [word.value for word in call.keywords if word.arg == "mode"]
    return not modes or (isinstance(modes[0], ast.Constant) and "b" not in str(modes[0].value))
