"""The dashboard with a planted slip: another thread of its process opens and closes the journal's files beside SQLite.

POSIX drops all locks of a process on a file as soon as it closes any handle of it, SQLite's as well (sqlite.org, "How
To Corrupt An SQLite Database File", section 2.2). The checks of this folder must notice that.
"""

import sys
import threading
import time
from pathlib import Path

from pupawatch import cli

AFTER = 0.5
"""Seconds from one slip to the next: each lets go of what was locked since."""


def slip(journal: Path) -> None:
    """Open and close the journal and its index of the log, without a word, again and again."""
    while True:
        time.sleep(AFTER)
        for path in (journal, journal.with_name(f"{journal.name}-shm")):
            if path.exists():
                path.open("rb").close()


if __name__ == "__main__":
    journal = Path(sys.argv[sys.argv.index("--journal") + 1])
    threading.Thread(target=slip, args=(journal,), name="slip", daemon=True).start()
    sys.exit(cli.main(sys.argv[1:]))
