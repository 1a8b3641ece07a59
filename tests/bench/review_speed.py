"""How fast is the review? Against pandas grouping and counting the same table, in the same run.

    python tests/bench/review_speed.py

100,000 finished pupae. (a) From the pupae themselves: the review by every factor against pandas building a table of
their plain values, working out the outcome and the group, and counting. (b) Counting alone, groups and outcomes
ready on both sides, as plain strings. (c) The first picture at 1,000 pupae, by site with the groups ranked.
Exit code 1 where the review takes more than 1.5 times as long as pandas, or the picture more than 0.3 s.
"""

import gc
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd

from pupawatch import settings as files
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.model.state import State
from pupawatch.review.compare import ranking
from pupawatch.review.factors import FACTORS, Season
from pupawatch.review.pictures import interval_rows

sys.path.insert(0, str(Path(__file__).parent))
import big_journal

PUPAE = 100_000
ROUNDS = 5
NOW = datetime(2026, 9, 1, tzinfo=UTC)

FIRST = """
import sys, time
sys.path[:0] = ["tests/bench", "."]
import review_speed as bench
settings, pupae = bench.some(1_000)
begun = time.perf_counter()
bench.first_picture(pupae, settings)
print(time.perf_counter() - begun)
"""


def main() -> int:
    """Measure, print, and say by the exit code whether the promises hold."""
    settings, pupae = some(PUPAE)
    gc.freeze()
    ratios = []
    print(f"{len(pupae):,} pupae, best of {ROUNDS}, in milliseconds")
    print(f"{'by':12} {'review':>8} {'pandas':>8} {'ratio':>6}   {'counting':>8} {'pandas':>8} {'ratio':>6}")
    for by in FACTORS:
        ours, theirs = best(review, pupae, by, settings), best(from_pupae, pupae, by, settings)
        season = Season(pupae, settings)
        season.column(by)
        table = pd.DataFrame({"group": season.column(by), "outcome": season.outcomes}, dtype=object)
        counting, grouping = best(season.counts, by), best(counted, table)
        check(season, by, table)
        ratios += [ours / theirs, counting / grouping]
        print(
            f"{by:12} {1e3 * ours:8.1f} {1e3 * theirs:8.1f} {ours / theirs:6.2f}   "
            f"{1e3 * counting:8.1f} {1e3 * grouping:8.1f} {counting / grouping:6.2f}"
        )
    _, small = some(1_000)
    picture = best(first_picture, small, settings)
    first = float(subprocess.run([sys.executable, "-c", FIRST], capture_output=True, text=True, check=True).stdout)
    print(f"first picture of {len(small):,} pupae: {first:.3f} s in a fresh process, {picture:.3f} s when drawn again")
    return 0 if max(ratios) <= 1.5 and first <= 0.3 else 1


def some(number: int) -> tuple[Settings, list[Pupa]]:
    """About so many finished pupae of an invented journal, with the shipped settings."""
    with tempfile.TemporaryDirectory() as folder:
        settings = files.load(Path(folder))
    pupae = State(big_journal.make(number * 8, NOW)).pupae.values()
    return settings, [pupa for pupa in pupae if not pupa.is_open][:number]


def best(action: Callable[..., object], *arguments: object) -> float:
    """The shortest of several runs, in seconds."""
    times = []
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        action(*arguments)
        times.append(time.perf_counter() - begun)
    return min(times)


def review(pupae: list[Pupa], by: str, settings: Settings) -> object:
    """The counts of every group by one factor, from nothing but the pupae."""
    return Season(pupae, settings).counts(by)


def first_picture(pupae: list[Pupa], settings: Settings) -> list[str]:
    """What a key must bring up at once: the interval rows by site, ranked."""
    groups = Season(pupae, settings).counts("site")
    return interval_rows({one.group: one.rate for one in ranking(groups, settings.care.review).standings})


def from_pupae(pupae: list[Pupa], by: str, settings: Settings) -> pd.DataFrame:
    """The same review with pandas: plain columns, outcome and group worked out column by column, counted."""
    table = pd.DataFrame(
        {
            "emerged": [pupa.emerged is not None or pupa.released is not None for pupa in pupae],
            "wings": [pupa.wings.condition if pupa.wings else None for pupa in pupae],
            "lost": [pupa.lost.cause if pupa.lost else None for pupa in pupae],
        }
    )
    table["outcome"] = "pending"
    table.loc[table.emerged, "outcome"] = "unknown"
    table.loc[table.wings == "sound", "outcome"] = "sound"
    table.loc[table.wings.isin(settings.care.review.deformed), "outcome"] = "deformed"
    lost = table.lost.notna()
    table.loc[lost, "outcome"] = "lost: " + table.lost[lost]
    table["group"] = group_column(pupae, by, settings)
    return counted(table)


def group_column(pupae: list[Pupa], by: str, settings: Settings) -> pd.Series:
    """The groups of one factor as pandas would work them out."""
    review = settings.care.review
    if by in ("site", "place", "species", "sex"):
        return pd.Series([getattr(pupa, by) for pupa in pupae]).replace("", "not known")
    if by == "surface":
        return pd.Series([pupa.site for pupa in pupae]).map(lambda site: settings.place(site).surface)
    if by == "temperature":
        return pd.Series([pupa.place for pupa in pupae]).map(lambda place: settings.place(place).temperature_c)
    if by == "finding":
        signs = [next((e.sign for e in reversed(p.entries) if hasattr(e, "sign")), "no finding") for p in pupae]
        return pd.Series(signs)
    formed = pd.Series([pupa.formed_to for pupa in pupae])
    if by in ("season", "week"):
        local = formed.dt.tz_convert(settings.zone)
        return local.dt.year if by == "season" else local.dt.strftime("%G-W%V")
    moves = [pupa.relocations[0].entry if pupa.relocations else None for pupa in pupae]
    if by == "moved":
        return pd.Series([move is not None for move in moves])
    if by in ("method", "emergency"):
        return pd.Series([getattr(move, by) if move else "not moved" for move in moves])
    hours = (pd.Series([move.earliest if move else None for move in moves]) - formed).dt.total_seconds() / 3600
    return pd.cut(hours, [0, *review.hang_bins_hours, 1e9]).astype(str)


def counted(table: pd.DataFrame) -> pd.DataFrame:
    """Group and count: one row a group, one column an outcome."""
    return table.groupby(["group", "outcome"]).size().unstack(fill_value=0)


def check(season: Season, by: str, table: pd.DataFrame) -> None:
    """Both must have counted the same."""
    theirs = counted(table)
    for group, counts in season.counts(by).items():
        row = theirs.loc[group]
        assert counts.formed == row.sum()
        assert counts.sound == row.get("sound", 0)


if __name__ == "__main__":
    sys.exit(main())
