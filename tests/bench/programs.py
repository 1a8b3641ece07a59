"""pupawatch as a keeper starts it, in processes of its own, and a reader of the journal that shares no code with it."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from screen import Screen

Entry = dict[str, Any]
DASHBOARD = ("-m", "pupawatch")
PLACES = {"Roof": "mesh", "Jar": "glass"}
_READER = """
import sqlite3, sys
file = sqlite3.connect(sys.argv[1])
told = file.execute("PRAGMA integrity_check").fetchall()
assert told == [("ok",)], told
for body, in file.execute("SELECT body FROM entry ORDER BY seq"):
    print(body)
"""


class Home:
    """A journal with its settings: a keeper in Chicago with two places."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.journal, self.config = folder / "data" / "journal.db", folder / "config"
        for made in (self.journal.parent, self.config):
            made.mkdir(parents=True, exist_ok=True)
        (self.config / "keeper.toml").write_text('zone = "America/Chicago"\n', encoding="utf-8")
        places = "".join(f'[[places]]\nname = "{name}"\nsurface = "{PLACES[name]}"\n' for name in PLACES)
        (self.config / "places.toml").write_text(places, encoding="utf-8")
        self.words = ["--journal", str(self.journal), "--config", str(self.config)]

    def start(self, *words: object) -> "subprocess.Popen[str]":
        """Start a command."""
        typed = [sys.executable, "-m", "pupawatch", *self.words, *map(str, words)]
        return subprocess.Popen(typed, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)

    def run(self, *words: object) -> "subprocess.CompletedProcess[str]":
        """Run a command to its end."""
        child = self.start(*words)
        out, err = child.communicate(timeout=120)
        return subprocess.CompletedProcess(words, child.returncode, out, err)

    def dashboard(self, program: tuple[str, ...] = DASHBOARD) -> Screen:
        """Open the dashboard."""
        return Screen([*program, *self.words])

    def notebook(self, name: str, labels: list[str]) -> Path:
        """A notebook of pupae of last season that have emerged: two entries each."""
        path = self.folder / f"{name}.csv"
        rows = [f"{label},Roof,2025-06-01T05:00,2025-06-01T07:00,2025-06-12T07:00\n" for label in labels]
        path.write_text("label,site,formed_from,formed_to,emerged_to\n" + "".join(rows), encoding="utf-8")
        return path


def entries(journal: Path) -> list[Entry]:
    """All that plain SQLite reads in a process of its own, each entry with the label of its pupa.

    Raises:
        AssertionError: SQLite does not read it, or finds it damaged.
    """
    done = subprocess.run([sys.executable, "-c", _READER, str(journal)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"plain SQLite: {done.stderr.strip().splitlines()[-1]}"
    bodies = [json.loads(line) for line in done.stdout.splitlines()]
    labels = {body["pupa"]: body["label"] for body in bodies if body["kind"] == "found"}
    return [{**body, "label": labels.get(body.get("pupa"))} for body in bodies]


def times(told: Entry, there: list[Entry]) -> int:
    """How many of these entries say this."""
    return sum(told.items() <= entry.items() for entry in there)
