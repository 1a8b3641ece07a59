"""What would run on this system only: read from the syntax of every file, and tried under the stand-in for Windows."""

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

import pupawatch
from pupawatch import new_enough

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


# -- what only POSIX has

POSIX_MODULES = {"fcntl", "pty", "termios", "tty", "resource", "pwd", "grp", "curses", "syslog"}
POSIX_CALLS = {
    "os": {"fork", "geteuid", "getuid", "getpgid", "killpg", "mkfifo", "chown", "fchown", "statvfs", "posix_fadvise"},
    "signal": {"SIGHUP", "SIGKILL", "SIGALRM", "SIGUSR1", "SIGUSR2", "SIGWINCH", "SIGTSTP", "SIGCONT", "alarm"},
    "time": {"tzset", "clock_settime"},
    "datetime": {"fromtimestamp", "utcfromtimestamp"},
}
"""What Python's own documentation calls "Availability: Unix"; and instants before 1970, which ``fromtimestamp`` does
not give on Windows (``model.times.instant`` does)."""

GUARDS = ("hasattr(", "platform", "os.name", "supports_", "knows_locks")
"""What asks for the system before a name of its own is used."""


def test_a_name_of_posix_is_seen_where_nothing_guards_it() -> None:
    for line in ("import fcntl", "os.statvfs(p)", "signal.SIGHUP", "time.tzset()", "datetime.fromtimestamp(0, UTC)"):
        assert list(unguarded(ast.parse(line))), line
    for text in (
        "try:\n    import fcntl\nexcept ImportError:\n    fcntl = None",
        "if hasattr(os, 'statvfs'):\n    os.statvfs(p)",
        "def f():\n    if not hasattr(os, 'statvfs'):\n        return True\n    return os.statvfs(p)",
        "if sys.platform != 'win32':\n    signal.SIGHUP",
    ):
        assert list(unguarded(ast.parse(text))) == [], text


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda path: path.name)
def test_no_name_of_posix_is_used_unguarded(path: Path) -> None:
    assert list(unguarded(ast.parse(path.read_text(encoding="utf-8")))) == []


def unguarded(tree: ast.AST, is_guarded: bool = False) -> Iterator[str]:
    """Names that only POSIX has, each with its line, where neither a condition nor a ``try`` stands before them."""
    for node in ast.iter_child_nodes(tree):
        inside = is_guarded or isinstance(node, ast.Try) or (isinstance(node, ast.If) and _asks(node.test))
        if not inside and _is_of_posix(node):
            yield f"{getattr(node, 'lineno', 0)}: {ast.unparse(node)}"
        yield from unguarded(node, inside)
        is_guarded |= isinstance(node, ast.If) and _asks(node.test)  # an early return guards what follows


def _asks(test: ast.expr) -> bool:
    return any(guard in ast.unparse(test) for guard in GUARDS)


def _is_of_posix(node: ast.AST) -> bool:
    match node:
        case ast.Import(names):
            return bool(POSIX_MODULES & {name.name for name in names})
        case ast.ImportFrom(module):
            return module in POSIX_MODULES
        case ast.Attribute(ast.Name(owner), name):
            return name in POSIX_CALLS.get(owner, ())
    return False


# -- commands that a keeper is to type

TO_TYPE = re.compile(r"\b(pupawatch|chmod|attrib) [a-z0-9-][^`.\n]*$")


def test_a_command_that_only_one_shell_reads_is_seen() -> None:
    for text in ("f'`pupawatch emerged {label}` it'", "f'chmod 600 {path}'", "'pupawatch place \\'Cage roof\\''"):
        assert list(unquoted(ast.parse(text))), text
    for text in ("f'`pupawatch emerged {typed(label)}`: {label}'", "f'pupawatch undo {act}'"):
        assert list(unquoted(ast.parse(text))) == [], text


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda path: path.name)
def test_every_command_that_is_to_be_typed_is_quoted_for_the_shell_of_the_system(path: Path) -> None:
    """cmd takes an apostrophe for a letter: names with spaces stand in quotation marks (Microsoft, "cmd")."""
    assert list(unquoted(ast.parse(path.read_text(encoding="utf-8")))) == []


def unquoted(tree: ast.AST) -> Iterator[str]:
    """What stands in a command as it is, each with its line: apostrophes, and values that ``typed`` did not quote. The
    id of an act needs no quotes."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            if re.search(r"\bpupawatch [a-z]+( [^`.\n]*)?[ =]'\w", node.value):
                yield f"{node.lineno}: {node.value}"
        elif isinstance(node, ast.JoinedStr):
            before = ""
            for part in node.values:
                if isinstance(part, ast.Constant):
                    before += str(part.value)
                elif isinstance(part, ast.FormattedValue):
                    told = ast.unparse(part.value)
                    if TO_TYPE.search(before) and not re.search(r"\btyped\(|\bact$", told):
                        yield f"{node.lineno}: {told}"
                    before += "…"


# -- a Python that is too old


@pytest.mark.parametrize(
    ("version", "told"), [((2, 7, 18), "this is 2.7"), ((3, 9, 6), "this is 3.9"), ((3, 11, 0), ""), ((3, 14, 1), "")]
)
def test_a_python_that_is_too_old_is_told_so(version: tuple[int, ...], told: str) -> None:
    """Before anything else, in words of its own, and in a file that an older Python can read."""
    answer = new_enough.answer(version)  # type: ignore[no-untyped-call]
    assert told in (answer or "")
    assert (answer is None) == (told == "")
    source = (PACKAGE / "new_enough.py").read_text(encoding="ascii")
    ast.parse(source, feature_version=(3, 7))
    project = tomllib.loads((PACKAGE.parent / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["requires-python"] == ">=" + ".".join(map(str, new_enough.OLDEST))
    readme = (PACKAGE.parent / "README.md").read_text(encoding="utf-8")
    assert readme.count("python3 pupawatch/new_enough.py && python3 -m venv") == 2
