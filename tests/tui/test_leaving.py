"""How the dashboard ends: in order, whatever ends it, and with no journal left open."""

import fcntl
import os
import pty
import select
import signal
import struct
import sys
import tempfile
import termios
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from pupawatch.cli import dashboard as command
from pupawatch.keeper import Keeper
from pupawatch.tui import app as apps
from pupawatch.tui.forecasting import Forecasting

if TYPE_CHECKING:
    from conftest import Opened


def held_open(folder: Path) -> list[str]:
    """The files in a folder that this process holds open."""
    found = []
    for handle in os.listdir("/proc/self/fd"):
        try:
            path = os.readlink(f"/proc/self/fd/{handle}")
        except OSError:
            continue
        if path.startswith(f"{folder.resolve()}/"):
            found.append(path)
    return found


async def test_no_journal_is_open_once_the_dashboard_is_left(demo: Keeper, tmp_path: Path, opened: "Opened") -> None:
    async with opened(demo, forecasts=True) as hand:
        screen: Any = hand.app.screen
        assert await hand.until(lambda: screen.ahead is not None, 60)
        await hand.press("S")
        await hand.app.workers.wait_for_complete()
    demo.journal.close()
    assert held_open(tmp_path) == []


async def test_a_forecast_that_outlasts_the_dashboard_lets_go_as_well(
    demo: Keeper, tmp_path: Path, opened: "Opened", monkeypatch: pytest.MonkeyPatch
) -> None:
    asking, go_on = threading.Event(), threading.Event()
    answer = Forecasting._answer

    def slow(self: Forecasting, *asked: Any) -> Any:
        told = answer(self, *asked)
        asking.set()
        go_on.wait(60)
        return told

    monkeypatch.setattr(Forecasting, "_answer", slow)
    async with opened(demo, forecasts=True) as hand:
        assert await hand.until(asking.is_set, 60)
    demo.journal.close()
    go_on.set()
    assert await hand.until(lambda: held_open(tmp_path) == [])


def test_the_folder_of_the_demo_holds_no_open_file_when_it_goes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some systems delete no file that is open."""
    held: list[list[str]] = []
    cleanup = tempfile.TemporaryDirectory.cleanup

    def looked(self: "tempfile.TemporaryDirectory[str]") -> None:
        held.append(held_open(Path(self.name)))
        cleanup(self)

    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setattr(tempfile.TemporaryDirectory, "cleanup", looked)
    monkeypatch.setattr(apps, "open_dashboard", lambda keeper: len(held_open(keeper.folder)) and 0)
    assert command.demo() == 0
    assert held == [[]]
    assert os.listdir(tmp_path) == []


def test_a_dashboard_that_breaks_does_not_end_as_a_refusal_by_the_rule(
    demo: Keeper, monkeypatch: pytest.MonkeyPatch
) -> None:
    def breaks(self: apps.Dashboard) -> None:
        self._return_code = 1  # as Textual does where an error ends it

    monkeypatch.setattr(apps.Dashboard, "run", breaks)
    assert apps.open_dashboard(demo) == 3


# -- on a terminal of its own


@pytest.fixture
def dashboard(tmp_path: Path) -> Iterator[tuple[int, int]]:
    """A dashboard on a pseudo-terminal: its process, and the other end of the terminal."""
    yield from on_a_terminal(tmp_path, held_back=False)


@pytest.fixture
def deaf_dashboard(tmp_path: Path) -> Iterator[tuple[int, int]]:
    """The same where the signal of a closed terminal is held back, as ``nohup`` does."""
    yield from on_a_terminal(tmp_path, held_back=True)


def on_a_terminal(tmp_path: Path, held_back: bool) -> Iterator[tuple[int, int]]:
    process, terminal = pty.fork()
    if process == 0:
        os.environ |= {"TERM": "xterm-256color", "TMPDIR": str(tmp_path)}
        if held_back:
            signal.signal(signal.SIGHUP, signal.SIG_IGN)
        os.execv(sys.executable, [sys.executable, "-m", "pupawatch", "demo"])
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 100, 0, 0))
    shown, until = b"", time.monotonic() + 60
    while b"to visit" not in shown and time.monotonic() < until:
        if select.select([terminal], [], [], 0.1)[0]:
            shown += os.read(terminal, 1 << 16)
    assert b"to visit" in shown
    yield process, terminal
    if not ended(process, 0):
        os.kill(process, signal.SIGKILL)
        os.waitpid(process, 0)


def ended(process: int, seconds: float) -> bool:
    """Whether it ends within so long; one that ended before counts."""
    until = time.monotonic() + seconds
    while True:
        try:
            if os.waitpid(process, os.WNOHANG)[0]:
                return True
        except ChildProcessError:
            return True
        if time.monotonic() >= until:
            return False
        time.sleep(0.05)


def test_a_terminal_that_is_closed_ends_it_and_leaves_nothing_behind(
    dashboard: tuple[int, int], tmp_path: Path
) -> None:
    process, terminal = dashboard
    os.close(terminal)
    assert ended(process, 30)
    assert os.listdir(tmp_path) == []


def test_a_terminal_that_is_closed_ends_it_also_where_no_signal_comes(
    deaf_dashboard: tuple[int, int], tmp_path: Path
) -> None:
    process, terminal = deaf_dashboard
    os.close(terminal)
    assert ended(process, 30)
    assert os.listdir(tmp_path) == []
