"""Who may know whom: each room is imported in a fresh process, and what got loaded is read there."""

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest

import pupawatch
from pupawatch import cli

PACKAGE = Path(pupawatch.__file__).parent
HEAVY = {"textual", "numpy", "scipy"}
FACES = {"pupawatch.cli", "pupawatch.commands", "pupawatch.tui", "pupawatch.demo"}
ABOVE_THE_PURE = FACES | {
    "pupawatch.keeper", "pupawatch.desk", "pupawatch.exchange", "pupawatch.journal", "pupawatch.settings",
    "pupawatch.clock",
}  # fmt: skip
PURE = HEAVY | {"sqlite3", "tomli", "tomli_w"} | ABOVE_THE_PURE

FORBIDDEN = {
    "model": PURE | {"pupawatch.care", "pupawatch.review"},
    "care": PURE | {"pupawatch.review"},
    "care/forecast": PURE - {"numpy"} | {"pupawatch.review"},  # its inner modules reckon; the package loads them late
    "review": PURE,
    "settings": HEAVY | {"sqlite3", "pupawatch.journal", "pupawatch.desk", "pupawatch.keeper"} | FACES,
    "disk": HEAVY | {"sqlite3", "pupawatch.model"} | ABOVE_THE_PURE,
    "machine_zone": HEAVY | {"sqlite3", "pupawatch.settings"} | ABOVE_THE_PURE - {"pupawatch.clock"},
    "journal": HEAVY | {"pupawatch.care", "pupawatch.desk", "pupawatch.keeper", "pupawatch.exchange"} | FACES,
    "desk": HEAVY | {"pupawatch.keeper", "pupawatch.exchange"} | FACES,
    "keeper": HEAVY | {"pupawatch.exchange"} | FACES,
    "exchange": HEAVY | FACES,
    "temperatures": HEAVY | {"pupawatch.keeper", "pupawatch.exchange", "pupawatch.outlook"} | FACES,
    "outlook": HEAVY | {"pupawatch.keeper", "pupawatch.exchange"} | FACES,
    "cli": HEAVY | {"pupawatch.tui"},
    "commands": HEAVY | {"pupawatch.tui"},
}


def modules_of(room: str) -> list[str]:
    """The names of all modules of a room, itself a module or a package."""
    if (PACKAGE / f"{room}.py").exists():
        return [f"pupawatch.{room}"]
    paths = [path.relative_to(PACKAGE.parent).with_suffix("") for path in (PACKAGE / room).rglob("*.py")]
    names = sorted(".".join(path.parts).removesuffix(".__init__") for path in paths)
    return [name for name in names if room != "care" or not name.startswith("pupawatch.care.forecast.")]


def loaded_by(code: str) -> set[str]:
    """The modules that are loaded in a fresh process after this code has run, and their packages."""
    ask = f"import json, sys\n{code}\nprint(json.dumps(list(sys.modules)), file=sys.__stderr__)"
    done = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, cwd=PACKAGE.parent, check=True)
    names = json.loads(done.stderr.splitlines()[-1])
    return {".".join(name.split(".")[:depth]) for name in names for depth in range(1, 4)}


@pytest.mark.parametrize("room", FORBIDDEN)
def test_a_room_knows_only_what_lies_below_it(room: str) -> None:
    modules = modules_of(room)
    assert modules
    assert loaded_by(f"import {', '.join(modules)}") & FORBIDDEN[room] == set()


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
    (tmp_path / "notebook.csv").write_text("label,site,formed_to\nB1,Roof,2026-08-01T07:00\n")
    words = ["--journal", str(tmp_path / "journal.db"), "--config", str(tmp_path / "config")]
    found = ["found", "A1", "--place", "Jar", "--between", "2026-08-01T07:00", "2026-08-01T19:00"]
    assert cli.main([*words, *found]) == 0
    typed = [str(tmp_path / word) if word.endswith(".csv") else word for word in command]
    loaded = loaded_by(f"from pupawatch.cli import main\nassert main({[*words, *typed]!r}) == 0")
    assert "pupawatch.keeper" in loaded
    forecasting = {"numpy"} if command[0] in ("today", "pupae") else set()  # they say when each pupa will emerge
    assert loaded & {*HEAVY, "pupawatch.tui"} <= forecasting


@pytest.mark.parametrize(
    "path", [path for room in ("model", "care", "review") for path in (PACKAGE / room).rglob("*.py")], ids=str
)
def test_a_pure_room_reads_no_clock_and_no_file(path: Path) -> None:
    reading = {"now", "today", "utcnow", "monotonic", "perf_counter", "open", "read_text", "read_bytes", "write_text"}
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Call):
            called = node.func
            name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
            clock = name == "time" and isinstance(called, ast.Attribute) and getattr(called.value, "id", "") == "time"
            assert name not in reading, f"{path}:{node.lineno} calls {name}"
            assert not clock, f"{path}:{node.lineno} calls time.time"
