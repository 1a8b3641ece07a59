"""A real dashboard on a pseudo-terminal, worked by a program: it presses keys and reads what the terminal was sent."""

import fcntl
import os
import pty
import re
import select
import signal
import struct
import sys
import termios
import time
from contextlib import suppress
from pathlib import Path

_STEERING = re.compile(r"\x1b\[[0-9;?<>=]*[a-zA-Z]|\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)|\x1b[=>()][0-9A-B]?")


class Terminal:
    """One dashboard in a process of its own."""

    def __init__(self, journal: Path, config: Path) -> None:
        self.pid, self._terminal = pty.fork()
        if self.pid == 0:
            os.environ["TERM"] = "xterm-256color"
            words = ["-m", "pupawatch", "--journal", str(journal), "--config", str(config)]
            os.execv(sys.executable, [sys.executable, *words])
        fcntl.ioctl(self._terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 100, 0, 0))
        self.shown = ""
        """All that was shown since the last key."""
        self.ended = False

    def wait_for(self, words: str, seconds: float) -> bool:
        """Whether these words are shown within so long, counted from the last key on."""
        until = time.monotonic() + seconds
        while words not in self.shown:
            left = until - time.monotonic()
            if left <= 0 or not self._read(left):
                return words in self.shown
        return True

    def _read(self, seconds: float) -> bool:
        ready, _, _ = select.select([self._terminal], [], [], min(seconds, 0.05))
        if ready:
            try:
                data = os.read(self._terminal, 1 << 16)
            except OSError:  # the other end is gone
                return False
            self.shown += _STEERING.sub("", data.decode(errors="replace"))
            return bool(data)
        return True

    def press(self, key: str) -> None:
        """Press a key."""
        self.shown = ""
        with suppress(OSError):
            os.write(self._terminal, key.encode())

    def kill(self) -> None:
        """End it as a power cut would."""
        self.ended = True
        with suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGKILL)
        with suppress(ChildProcessError):
            os.waitpid(self.pid, 0)

    def close(self) -> None:
        """End it, and let go of the terminal; to be called by the one that reads it."""
        self.kill()
        os.close(self._terminal)
