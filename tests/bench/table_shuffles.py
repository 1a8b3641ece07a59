"""Thousands of shuffled tables: how many are read rightly, asked about, refused, and silently wrong.

python -m tests.bench.table_shuffles [COUNT]
"""

import sys
import tempfile
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

from pupawatch import settings as files
from pupawatch.errors import NotUnderstood
from pupawatch.exchange.table.bringing import Table
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from tests.exchange.table.shuffled import answer_all, result, shuffled

NOW = datetime(2026, 9, 8, 11, 40, tzinfo=UTC)


def outcome(seed: int, folder: Path) -> str:
    """What becomes of the table of a seed."""
    folder.mkdir()
    (folder / "keeper.toml").write_text('zone = "America/Chicago"\n', encoding="utf-8")
    case = shuffled(seed)
    path = folder / "mine.csv"
    path.write_text(case.text, encoding="utf-8")
    keeper = Keeper(Journal(folder / "journal.db"), files.load(folder), lambda: NOW, folder)
    try:
        table = Table(keeper, path)
        asked = bool(table.question)
        if not answer_all(table, case):
            return "asked, not answered by the bench"
        table.bring_in(None)
    except NotUnderstood as error:
        return "refused: " + str(error).splitlines()[-1][-60:]
    finally:
        found = result(keeper.whole_state().pupae.values(), case.truth, "America/Chicago")
        keeper.journal.close()
    if found != case.truth:
        print(seed, case.text, found, case.truth, sep="\n")
        return "WRONG"
    return "right after a question" if asked else "right"


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    with tempfile.TemporaryDirectory() as parent:
        print(Counter(outcome(seed, Path(parent) / str(seed)) for seed in range(count)))
