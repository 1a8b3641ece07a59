"""A dashboard on a pseudo-terminal of its own, worked by keys and read by what stands there now."""

import fcntl
import os
import pty
import re
import signal
import struct
import sys
import termios
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress

import pyte

_STEERING = re.compile(r"\x1b\[[0-9;?<>=]*[a-zA-Z]|\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)|\x1b[=>()][0-9A-B]?")
_STEP = 0.01
_LINES, _COLUMNS = 24, 100


class Screen:
    """One program and what its terminal shows. A thread reads without pause, so that the program never waits for it."""

    def __init__(self, words: Sequence[str]) -> None:
        """Start Python with these words."""
        self.code: int | None = None
        """How it ended, negative for a signal; None while it runs."""
        self._cells = pyte.Screen(_COLUMNS, _LINES)
        self._stream = pyte.ByteStream(self._cells)
        self._reading = threading.Lock()
        self._heard: list[bytes] = []
        self._pressed = self._drawn = time.monotonic()
        self.pid, self._terminal = pty.fork()
        if self.pid == 0:
            os.environ["TERM"] = "xterm-256color"
            os.execv(sys.executable, [sys.executable, *words])
        fcntl.ioctl(self._terminal, termios.TIOCSWINSZ, struct.pack("HHHH", _LINES, _COLUMNS, 0, 0))
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        with suppress(OSError):  # the other end is gone
            while data := os.read(self._terminal, 1 << 16):
                with self._reading:
                    self._heard.append(data)
                    self._stream.feed(data)
                    self._drawn = time.monotonic()

    @property
    def lines(self) -> list[str]:
        """What stands there now."""
        with self._reading:
            return list(self._cells.display)

    @property
    def picture(self) -> str:
        """What stands there now, to be printed."""
        return "\n".join(["", *self.lines])

    @property
    def said(self) -> str:
        """All that was ever written to the terminal, without what steers it."""
        with self._reading:
            return _STEERING.sub("", b"".join(self._heard).decode(errors="replace"))

    def shows(self, *words: str) -> bool:
        """Whether one line holds all these words."""
        return any(all(re.search(rf"\b{re.escape(word)}\b", line) for word in words) for line in self.lines)

    def wait(self, until: Callable[[], bool], seconds: float) -> bool:
        """Whether it comes to this within so long."""
        end = time.monotonic() + seconds
        while not (come := until()) and time.monotonic() < end and not self._gone():
            time.sleep(_STEP)
        return come or until()

    def settle(self, quiet: float = 0.1, seconds: float = 5) -> None:
        """Wait until the last key was answered and nothing was drawn for a while."""
        self.wait(lambda: self._drawn > self._pressed and time.monotonic() - self._drawn > quiet, seconds)

    def press(self, keys: str) -> None:
        """Press these keys in one go; a program that is gone does not hear them."""
        self._pressed = time.monotonic()
        with suppress(OSError):
            os.write(self._terminal, keys.encode())

    def find(self, label: str) -> None:
        """Show only this pupa and select it."""
        for keys in ("/", label, "\r"):
            self.press(keys)
            self.settle()

    def kill(self, how: signal.Signals = signal.SIGKILL) -> None:
        """Send it a signal, unless it has ended."""
        if self.code is None:
            os.kill(self.pid, how)

    def ended(self, seconds: float) -> bool:
        """Whether it ends within so long."""
        return self.wait(self._gone, seconds)

    def _gone(self) -> bool:
        if self.code is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            self.code = os.waitstatus_to_exitcode(status) if pid else None
        return self.code is not None

    def close(self) -> None:
        """End it if it still runs, and let go of the terminal."""
        self.kill()
        self.ended(10)
        self._reader.join(10)
        os.close(self._terminal)
