"""How long undo and redo take on a journal of 200,000 entries, beside the act that is taken back.

Of the act, the undo and the redo of one program, of the command line's undo of today, and of the question about what
is older: the best and the worst of ten, in milliseconds. The yardstick is the act itself, on the same journal.
"""

import sys
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter

from big_journal import fill

from pupawatch import settings as files
from pupawatch.errors import AskFirst
from pupawatch.keeper import Keeper
from pupawatch.keeper.session import Session

NOW = datetime(2026, 9, 8, 11, 40, tzinfo=UTC)
TIMES = 10


def main() -> None:
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 200_000
    with tempfile.TemporaryDirectory() as folder:
        keeper = Keeper(fill(Path(folder) / "journal.db", number, NOW), files.load(Path(folder)), lambda: NOW)
        keeper.pupae.saw("L1", "set")  # the copy of the day is made
        told: dict[str, list[float]] = {}

        def timed(name: str, do: Callable[[], object]) -> None:
            began = perf_counter()
            do()
            told.setdefault(name, []).append((perf_counter() - began) * 1000)

        for _ in range(TIMES):
            timed("act", lambda: keeper.pupae.saw("L1", "set"))
            timed("undo", keeper.undo)
            timed("redo", keeper.redo)
            timed("undo of today", keeper.undo_of_today)
            timed("redo of today", keeper.redo_of_today)
            keeper.session = Session()
            timed("asking", lambda: asked(keeper))
        print(f"{number} entries")
        for name, times in told.items():
            print(f"{name:<14} best {min(times):6.1f} ms, worst {max(times):6.1f} ms")


def asked(keeper: Keeper) -> None:
    try:
        keeper.undo()
    except AskFirst:
        return
    raise AssertionError("not asked")


if __name__ == "__main__":
    main()
