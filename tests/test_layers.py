"""The walls of the house: who may know whom, and which room may load what is heavy.

Read from the syntax of every file, wherever an import stands: at the top, inside a function, or for types only.
"""

import ast
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

import pupawatch
from pupawatch import cli

PACKAGE = Path(pupawatch.__file__).parent


class Room(NamedTuple):
    """What a room may know: rooms of this program, and others' libraries at the top of a file or only inside functions.

    Every room may use the standard library, but sqlite3 counts as somebody else's.
    """

    knows: str
    at_top: str = ""
    inside: str = ""


ROOMS = {
    "errors": Room(""),
    "clock": Room(""),
    "disk": Room("errors"),
    "quiet": Room(""),
    "new_enough": Room(""),
    "model": Room("errors", "msgspec", "pendulum dateparser"),
    "care/forecast": Room("model", "", "numpy scipy astral"),
    "care": Room("care/forecast model errors", "", "numpy scipy"),
    "review": Room("model errors", "", "numpy scipy rich"),
    "words": Room("review care care/forecast model errors"),
    "settings": Room("model disk clock errors", "msgspec tomli", "tomli_w platformdirs tzlocal"),
    "journal": Room("model disk errors", "msgspec sqlite3", "platformdirs"),
    "keeper": Room("journal settings words care care/forecast model disk clock quiet errors", "msgspec"),
    "exchange/notebook": Room("exchange keeper settings words care model disk errors", "msgspec"),
    "exchange/logger": Room("exchange keeper settings words care/forecast model errors"),
    "exchange/table": Room(
        "exchange exchange/notebook keeper settings words care model disk errors",
        "msgspec tomli",
        "python_calamine tomli_w",
    ),
    "exchange": Room(
        "keeper settings words review care care/forecast model disk errors", "msgspec sqlite3", "rich icalendar"
    ),
    "demo": Room("exchange/notebook exchange/logger keeper settings model clock"),
    "tui": Room(
        "exchange exchange/table exchange/notebook keeper words review care care/forecast model quiet errors",
        "msgspec textual rich",
    ),
    "cli": Room(
        "tui demo exchange/notebook exchange/logger exchange/table exchange keeper settings words review care"
        " care/forecast model errors",
        "",
        "msgspec rich shtab",
    ),
    "__main__": Room("cli"),
    "__init__": Room(""),
}
"""Every room, by its folder or file below the package. A file belongs to the innermost room that names its folder."""

RECKONING = {"care/forecast"}
"""Rooms whose inner files reckon with numpy throughout: it stands at their top, and they are loaded late."""
LATE = {"tui", "demo"}
"""Rooms that the command line may load only inside a function."""


class Import(NamedTuple):
    """One import: the file that holds it, what it names, and whether it stands inside a function or for types only."""

    file: Path
    name: str
    inside: bool


def files() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def module_of(file: Path) -> str:
    parts = file.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts).removesuffix(".__init__")


MODULES = {module_of(file): file for file in files()}


def room_of(file: Path) -> str | None:
    """The innermost room that holds a file, None where no row of the table covers it."""
    path = file.relative_to(PACKAGE).with_suffix("").as_posix()
    held = [room for room in ROOMS if path == room or path.startswith(f"{room}/")]
    return max(held, key=len, default=None)


def is_for_types(node: ast.AST) -> bool:
    """Whether what stands in it is never loaded: it is there for the type checker alone."""
    return isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"


def imports_of(file: Path) -> list[Import]:
    """Every import in a file; of a package that is taken apart, the modules that are meant."""
    found: list[Import] = []

    def walk(node: ast.AST, inside: bool) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.Import):
                found.extend(Import(file, alias.name, inside) for alias in child.names)
            elif isinstance(child, ast.ImportFrom):
                assert child.level == 0, f"{file}: a relative import"
                for alias in child.names:
                    inner = f"{child.module}.{alias.name}"
                    found.append(Import(file, inner if inner in MODULES else str(child.module), inside))
            late = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda) or is_for_types(child)
            walk(child, inside or late)

    walk(ast.parse(file.read_text(encoding="utf-8")), False)
    return found


ALL = [one for file in files() for one in imports_of(file)]


def is_ours(name: str) -> bool:
    return name == "pupawatch" or name.startswith("pupawatch.")


def test_every_file_lies_in_a_room_of_the_table() -> None:
    assert [str(file) for file in files() if room_of(file) is None] == []


def test_every_room_of_the_table_has_a_file() -> None:
    assert set(ROOMS) == {room_of(file) for file in files()}


def test_the_table_has_no_circle() -> None:
    assert circles({room: set(rules.knows.split()) for room, rules in ROOMS.items()}) == []


def test_a_room_knows_only_the_rooms_below_it() -> None:
    wrong = []
    for one in ALL:
        here, there = room_of(one.file), room_of(MODULES[one.name]) if one.name in MODULES else None
        if here and there and there not in (here, "__init__") and there not in ROOMS[here].knows.split():
            wrong.append(f"{module_of(one.file)} imports {one.name}")
    assert wrong == []


def test_what_is_heavy_is_loaded_only_where_the_table_says() -> None:
    wrong = []
    for one in ALL:
        library, room = one.name.split(".")[0], room_of(one.file)
        if room is None or is_ours(one.name) or (library in sys.stdlib_module_names and library != "sqlite3"):
            continue
        allowed = ROOMS[room].at_top.split()
        if one.inside or room in RECKONING:
            allowed += ROOMS[room].inside.split()
        if library not in allowed:
            wrong.append(f"{module_of(one.file)} imports {library}{'' if one.inside else ' at its top'}")
    assert wrong == []


def test_the_command_line_loads_the_dashboard_only_when_it_is_opened() -> None:
    hasty = [one for one in ALL if room_of(one.file) == "cli" and not one.inside and is_ours(one.name)]
    assert [one.name for one in hasty if room_of(MODULES[one.name]) in LATE] == []


def test_no_file_imports_itself_by_a_detour() -> None:
    known: dict[str, set[str]] = {name: set() for name in MODULES}
    for one in ALL:
        if one.name in MODULES:
            known[module_of(one.file)].add(one.name)
    assert circles(known) == []


def circles(known: dict[str, set[str]]) -> list[str]:
    """Every circle that a walk through what knows what comes upon, once."""
    found, done = [], set[str]()

    def walk(name: str, way: tuple[str, ...]) -> None:
        if name in way:
            found.append(" → ".join((*way[way.index(name) :], name)))
        elif name not in done:
            for other in sorted(known.get(name, ())):
                walk(other, (*way, name))
            done.add(name)

    for name in sorted(known):
        walk(name, ())
    return found


def strings_of(file: Path) -> Iterator[str]:
    tree = ast.parse(file.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


SQL = ("SELECT ", "INSERT INTO", "PRAGMA ", "kind = '", "kind IN (", "about = ?", "kind = ?")
SCRATCH = "staging.py"
"""The scratch file in which a file from outside is laid out before it is brought in."""


def test_sql_is_spoken_only_in_the_journal() -> None:
    spoken = [
        f"{module_of(file)}: {text[:40]}"
        for file in files()
        if room_of(file) != "journal" and file.name != SCRATCH
        for text in strings_of(file)
        if any(word in text for word in SQL)
    ]
    assert spoken == []


def loaded_by(code: str) -> set[str]:
    """The packages and modules that are loaded in a fresh process after this code has run."""
    ask = f"import json, sys\n{code}\nprint(json.dumps(list(sys.modules)), file=sys.__stderr__)"
    done = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, cwd=PACKAGE.parent, check=True)
    names = json.loads(done.stderr.splitlines()[-1])
    return {".".join(name.split(".")[:depth]) for name in names for depth in range(1, 4)}


@pytest.mark.parametrize("room", sorted(set(ROOMS) - {"__main__"}))
def test_what_a_room_brings_along_when_it_is_loaded_is_light(room: str) -> None:
    """What the table says of one file, seen from outside for all that it brings along."""
    modules = ", ".join(name for name, file in MODULES.items() if room_of(file) == room)
    heavy = {"textual", "numpy", "scipy"} - {"textual" if room == "tui" else "numpy" if room in RECKONING else ""}
    assert loaded_by(f"import {modules}") & heavy == set()


@pytest.mark.parametrize(
    "command",
    [
        ["today"],
        ["pupae", "--all"],
        ["places", "--json"],
        ["history", "A1"],
        ["found", "A2", "--place", "Roof"],
        ["looked"],
        ["watch"],
        ["adults"],
        ["health"],
        ["sheet"],
        ["move", "A1", "Roof"],
        ["import", "notebook.csv", "--dry-run"],
        ["check"],
    ],
    ids=lambda command: command[0],
)
def test_a_plain_command_loads_neither_the_dashboard_nor_statistics(command: list[str], tmp_path: Path) -> None:
    (tmp_path / "notebook.csv").write_text("label,site,formed_to\nB1,Roof,2026-08-01T07:00\n", encoding="utf-8")
    words = ["--journal", str(tmp_path / "journal.db"), "--config", str(tmp_path / "config")]
    found = ["found", "A1", "--place", "Jar", "--between", "2026-08-01T07:00", "2026-08-01T19:00"]
    assert cli.main([*words, *found]) == 0
    typed = [str(tmp_path / word) if word.endswith(".csv") else word for word in command]
    loaded = loaded_by(f"from pupawatch.cli import main\nassert main({[*words, *typed]!r}) == 0")
    assert "pupawatch.keeper" in loaded
    forecasting = {"numpy"} if command[0] in ("today", "pupae") else set()  # they say when each pupa will emerge
    assert loaded & {"textual", "numpy", "scipy", "pupawatch.tui"} <= forecasting
    assert loaded & {"python_calamine", "icalendar", "pupawatch.exchange.table", "pupawatch.exchange.calendar"} == set()


@pytest.mark.parametrize(
    "path", [file for file in files() if (room_of(file) or "").split("/")[0] in ("model", "care", "review")], ids=str
)
def test_a_pure_room_reads_no_clock_and_no_file(path: Path) -> None:
    reading = {"now", "today", "utcnow", "monotonic", "perf_counter", "open", "read_text", "read_bytes", "write_text"}
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            called = node.func
            name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
            clock = name == "time" and isinstance(called, ast.Attribute) and getattr(called.value, "id", "") == "time"
            assert name not in reading, f"{path}:{node.lineno} calls {name}"
            assert not clock, f"{path}:{node.lineno} calls time.time"
