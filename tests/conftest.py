"""What most tests need: a clock that stands still, a few places, a keeper, and the command line.

And what no test may do: open the file of a journal other than through SQLite while a connection to it is open.
"""

import os
import sqlite3
import subprocess
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol
from weakref import WeakKeyDictionary

import pytest

from pupawatch import cli
from pupawatch import settings as files
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper, opening
from pupawatch.model.settings import Heat, Settings

if TYPE_CHECKING:
    from pupawatch.care.forecast import Temperatures

PLACES = """
[[places]]
name = "Roof"
surface = "mesh"
capacity = 12
clearance_cm = 30

[[places]]
name = "Jar"
surface = "glass"
capacity = 2
"""


class SetClock:
    """A clock that stands where it was put: 06:40 on 8 September 2026 in Chicago, to begin with."""

    def __init__(self) -> None:
        self.now = datetime(2026, 9, 8, 11, 40, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def on(self, **span: float) -> None:
        """Let the clock go on by ``hours=`` or ``days=``."""
        self.now += timedelta(**span)


class Answer(NamedTuple):
    """What a command gave back."""

    code: int
    out: str
    err: str


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """On Windows, and where it is played (``tests/windows.py``), nothing is asked that only POSIX can do."""
    if sys.platform == "win32" or config.pluginmanager.has_plugin("tests.windows"):
        for item in items:
            for mark in item.iter_markers("posix"):
                item.add_marker(pytest.mark.skip(reason=mark.args[0]))


@pytest.fixture
def clock() -> SetClock:
    return SetClock()


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """A settings folder: a keeper in Chicago with two places."""
    folder = tmp_path / "config"
    folder.mkdir()
    (folder / "keeper.toml").write_text('zone = "America/Chicago"\n', encoding="utf-8")
    (folder / "places.toml").write_text(PLACES, encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """The shipped settings of a keeper in Chicago, without places."""
    folder = tmp_path_factory.mktemp("config")
    (folder / "keeper.toml").write_text('zone = "America/Chicago"\n', encoding="utf-8")
    return files.load(folder)


@pytest.fixture
def journal_path(tmp_path: Path) -> Path:
    (tmp_path / "data").mkdir(mode=0o700)
    return tmp_path / "data" / "journal.db"


@pytest.fixture
def keeper(journal_path: Path, config: Path, clock: SetClock) -> Iterator[Keeper]:
    keeper = Keeper(Journal(journal_path), files.load(config), clock, config)
    yield keeper
    keeper.journal.close()


class Developed(Protocol):
    """Reference days of development between two past instants, for each base in °C."""

    def __call__(
        self, known: "Temperatures", zone: str, since: datetime, until: datetime, bases_c: Sequence[float], heat: Heat
    ) -> Sequence[float]: ...


@pytest.fixture
def developed() -> Developed:
    """The forecast's own curve read at two instants, unmeasured hours as they were filled."""
    import numpy as np

    from pupawatch.care.forecast import timeline
    from pupawatch.care.forecast.development import SCENARIOS, curve
    from pupawatch.care.forecast.sun import Sky

    def developed(
        known: "Temperatures", zone: str, since: datetime, until: datetime, bases_c: Sequence[float], heat: Heat
    ) -> Sequence[float]:
        begin, end = timeline.hours_of(since), timeline.hours_of(until)
        first = int(begin) - 24
        line = timeline.build(known, Sky(zone), first, end + 2, int(end) + 2 - first)
        grown = curve(line, np.array(bases_c, float), heat).at(np.array([begin, end]))[len(SCENARIOS) // 2]
        return list(grown[:, 1] - grown[:, 0])

    return developed


@pytest.fixture
def as_killed(tmp_path: Path) -> Callable[[Path], Path]:
    """Copies an open journal as a kill would leave it: what was not brought into the file yet stands in its log."""

    def copy(path: Path) -> Path:
        folder = tmp_path / "killed"
        folder.mkdir()
        code = "import shutil, sys; [shutil.copy(part, sys.argv[1]) for part in sys.argv[2:]]"
        parts = [part for tail in ("", "-wal") if (part := path.with_name(path.name + tail)).exists()]
        subprocess.run([sys.executable, "-c", code, folder, *parts], check=True)  # here it would cost SQLite its locks
        return folder / path.name

    return copy


@pytest.fixture
def run(
    journal_path: Path,
    config: Path,
    clock: SetClock,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> Callable[..., Answer]:
    """Run one command of the command line in this process, at the set clock."""

    monkeypatch.setattr(opening, "system_clock", clock)

    def run(*words: object) -> Answer:
        capsys.readouterr()
        try:
            code = cli.main(["--journal", str(journal_path), "--config", str(config), *map(str, words)])
        except SystemExit as left:  # argparse leaves by itself where it does not understand
            code = int(left.code or 0)
        return Answer(code, *capsys.readouterr())

    return run


# -- only SQLite touches a live journal


class Watched(sqlite3.Connection):
    """A connection that can be asked, as long as anybody holds it, which file it has open."""


class Guard:
    """Notes whoever opens a file, its log or the index of that, other than through SQLite, while this process has a
    connection to it: closing it would give back the locks that SQLite holds (see ``pupawatch.journal.address``)."""

    def __init__(self) -> None:
        self.seen: list[str] = []
        self._open: WeakKeyDictionary[sqlite3.Connection, str] = WeakKeyDictionary()
        self._connect = sqlite3.connect

    def connect(self, database: Any, *given: Any, **named: Any) -> sqlite3.Connection:
        """Stands for ``sqlite3.connect`` in all tests."""
        connection: sqlite3.Connection = self._connect(database, *given, **{"factory": Watched, **named})
        if path := connection.execute("PRAGMA database_list").fetchone()[2]:
            self._open[connection] = path
        return connection

    def listen(self, event: str, given: tuple[Any, ...]) -> None:
        """An audit hook (docs.python.org/3/library/audit_events.html): Python tells of every file it opens."""
        if event != "open" or isinstance(given[0], int):
            return
        path = os.path.realpath(os.fsdecode(given[0]))
        if any(path == named + tail for named in self._live() for tail in ("", "-wal", "-shm")):
            self.seen.append(
                "".join([f"{path} was opened while a connection to it is:\n", *traceback.format_stack()[-8:-1]])
            )

    def _live(self) -> set[str]:
        return {path for connection, path in list(self._open.items()) if _is_open(connection)}


def _is_open(connection: sqlite3.Connection) -> bool:
    try:
        return connection.in_transaction in (True, False)
    except sqlite3.ProgrammingError:  # it is closed
        return False


GUARD = Guard()
sqlite3.connect = GUARD.connect
sys.addaudithook(GUARD.listen)


@pytest.fixture(autouse=True)
def guard() -> Iterator[Guard]:
    """Every test fails in which Python opens a journal that a connection has open."""
    GUARD.seen.clear()
    yield GUARD
    if GUARD.seen:
        pytest.fail("\n".join(GUARD.seen))
