"""How long does a key wait at a real terminal? Against a bare Textual table on the same pseudo-terminal, in one run.

    python tests/bench/keys.py

From writing a key to the first byte that the program sends back, and to the last one before it falls silent: the cursor
of the bare table, and of the dashboard on a copy of the demo the cursor, marking a stage, and the first cursor key
after such a mark. And from starting Python to a drawn screen, for the demo (its example read in) and for the table.
"""

import fcntl
import os
import pty
import select
import signal
import statistics
import struct
import sys
import tempfile
import termios
import time
from collections.abc import Callable
from contextlib import suppress
from typing import NamedTuple

KEYS, STARTS = 30, 5
SILENT_SECONDS = 0.12
"""A program that has sent nothing for so long has drawn what it had to draw."""
_BARE = """
from textual.app import App
from textual.widgets import DataTable
class Bare(App):
    def compose(self):
        yield DataTable(cursor_type="row")
    def on_mount(self):
        table = self.query_one(DataTable)
        table.add_columns("label", "stage", "hangs", "what to do")
        for n in range(45):
            table.add_row(f"M{n}", "set", "24-36 h", "leave it alone; due Thu 10 (9-11)")
        table.focus()
Bare().run()
"""


class Took(NamedTuple):
    """Milliseconds from a key to the first and to the last byte of what changed."""

    first: float
    last: float


class Program:
    """A program on a pseudo-terminal of 120 by 40."""

    def __init__(self, words: list[str], home: str) -> None:
        self.began = time.perf_counter()
        self.pid, self.terminal = pty.fork()
        if self.pid == 0:
            os.environ.update(TERM="xterm-256color", COLUMNS="120", LINES="40", HOME=home, XDG_DATA_HOME=home)
            os.execv(sys.executable, [sys.executable, *words])
        fcntl.ioctl(self.terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))

    def quiet(self, longest: float = 10, silent: float = SILENT_SECONDS) -> tuple[float, float, bytes]:
        """When the first and the last byte came until it fell silent, and what came."""
        first = last = 0.0
        came, until = b"", time.perf_counter() + longest
        while time.perf_counter() < until:
            ready, _, _ = select.select([self.terminal], [], [], silent if first else longest)
            if not ready:
                break
            with suppress(OSError):
                came += os.read(self.terminal, 1 << 16)
            last = time.perf_counter()
            first = first or last
        return first, last, came

    def press(self, key: str) -> Took:
        """Press a key, and wait until it is silent again."""
        pressed = time.perf_counter()
        os.write(self.terminal, key.encode())
        first, last, _ = self.quiet()
        return Took(1000 * (first - pressed), 1000 * (last - pressed))

    def started(self, words: str) -> float:
        """Milliseconds from its start until these words were sent."""
        came = b""
        while words.encode() not in came and time.perf_counter() - self.began < 60:
            ready, _, _ = select.select([self.terminal], [], [], 0.01)
            if ready:
                came += os.read(self.terminal, 1 << 16)
        return 1000 * (time.perf_counter() - self.began)

    def close(self) -> None:
        """End it as a power cut would."""
        with suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.terminal)


def bare(home: str) -> Program:
    """The yardstick."""
    return Program(["-c", _BARE], home)


def demo(home: str) -> Program:
    """The dashboard on a copy of the invented season."""
    return Program(["-m", "pupawatch", "demo"], home)


def middle(took: list[Took]) -> Took:
    """The median of each."""
    return Took(statistics.median(one.first for one in took), statistics.median(one.last for one in took))


def told(words: str, took: Took, yardstick: Took, goals: str = "") -> None:
    """One line: what, and how many times the yardstick."""
    print(
        f"{words:44} first {took.first:6.1f} ms = {took.first / yardstick.first:4.1f} x, "
        f"last {took.last:6.1f} ms = {took.last / yardstick.last:4.1f} x the bare table{goals}"
    )


def start(make: Callable[[str], Program], words: str, home: str) -> float:
    """Milliseconds from starting Python to a drawn screen."""
    program = make(home)
    try:
        return program.started(words)
    finally:
        program.close()


def main() -> None:
    """Print every ratio."""
    with tempfile.TemporaryDirectory() as home:
        starts = [(start(bare, "M20", home), start(demo, "RESCUE", home)) for _ in range(STARTS)]
        table, ours = (statistics.median(one[n] for one in starts) for n in (0, 1))
        print(f"start: demo {ours:.0f} ms / bare table {table:.0f} ms = {ours / table:.2f}, goal 1.6")
        yardstick, dashboard = bare(home), demo(home)
        try:
            yardstick.quiet(3, 1)
            dashboard.quiet(8, 2)
            bare_keys, cursor, marks, after = [], [], [], []
            for n in range(KEYS):
                way = "\x1b[B" if n % 20 < 10 else "\x1b[A"
                bare_keys.append(yardstick.press(way))
                cursor.append(dashboard.press(way))
            for n in range(KEYS // 3):
                marks.append(dashboard.press("d"))
                after.append(dashboard.press("\x1b[B"))
                dashboard.press("u" if n % 2 else "\x1b[A")
                dashboard.quiet(1, 0.5)
            measured = middle(bare_keys)
            told("bare table, cursor", measured, measured)
            told("dashboard, cursor", middle(cursor), measured, "; goals 2 x and 5 x")
            told("dashboard, marking a stage", middle(marks), measured)
            told("dashboard, first cursor key after a mark", middle(after), measured)
        finally:
            yardstick.close()
            dashboard.close()


if __name__ == "__main__":
    main()
