"""What most tests need: a clock that stands still, a few places, a keeper, and the command line."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from pupawatch import cli, commands
from pupawatch import settings as files
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model.settings import Settings

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


@pytest.fixture
def clock() -> SetClock:
    return SetClock()


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """A settings folder: a keeper in Chicago with two places."""
    folder = tmp_path / "config"
    folder.mkdir()
    (folder / "keeper.toml").write_text('zone = "America/Chicago"\n')
    (folder / "places.toml").write_text(PLACES)
    return folder


@pytest.fixture(scope="session")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """The shipped settings of a keeper in Chicago, without places."""
    folder = tmp_path_factory.mktemp("config")
    (folder / "keeper.toml").write_text('zone = "America/Chicago"\n')
    return files.load(folder)


@pytest.fixture
def journal_path(tmp_path: Path) -> Path:
    return tmp_path / "data" / "journal.db"


@pytest.fixture
def keeper(journal_path: Path, config: Path, clock: SetClock) -> Iterator[Keeper]:
    keeper = Keeper(Journal(journal_path), files.load(config), clock, config)
    yield keeper
    keeper.journal.close()


@pytest.fixture
def run(
    journal_path: Path,
    config: Path,
    clock: SetClock,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> Callable[..., Answer]:
    """Run one command of the command line in this process, at the set clock."""

    def keeper_at_the_set_clock(journal: Journal, settings: Any, folder: Path | None) -> Keeper:
        return Keeper(journal, settings, clock, folder)

    monkeypatch.setattr(commands, "Keeper", keeper_at_the_set_clock)

    def run(*words: object) -> Answer:
        capsys.readouterr()
        try:
            code = cli.main(["--journal", str(journal_path), "--config", str(config), *map(str, words)])
        except SystemExit as left:  # argparse leaves by itself where it does not understand
            code = int(left.code or 0)
        return Answer(code, *capsys.readouterr())

    return run
