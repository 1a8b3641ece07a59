"""A journal of any size, invented: finished pupae of many seasons and 45 living ones, for the benchmarks."""

import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pupawatch.journal.file import Journal
from pupawatch.model import entries as kinds
from pupawatch.model.entries import Entry
from pupawatch.model.ids import entry_id

LIVING = 45
PLACES = ("Cage roof", "Cage side", "Line", "Chamber", "Jar wall", "Stems", "Porch", "Window")


def fill(path: Path, number: int, now: datetime, seed: int = 7) -> Journal:
    """A journal at ``path`` with ``number`` entries, the last of them at ``now``."""
    journal = Journal(path)
    with journal.writing(now.date()) as append:
        append(make(number, now, seed))
    return journal


def make(number: int, now: datetime, seed: int = 7) -> Iterator[Entry]:
    """``number`` entries: seasons of finished pupae with about eight entries each, looks, and the living ones."""
    chance = random.Random(seed)
    made = 0

    def entry(kind: type[Entry], at: datetime, since: datetime | None = None, **fields: object) -> Entry:
        nonlocal made
        made += 1
        stamp = entry_id(at, chance.randbytes(8))
        return kind(id=stamp, act=stamp, happened=at, since=since, recorded=at, zone="America/Chicago", **fields)

    living = []
    for index in range(LIVING):
        formed = now - timedelta(hours=chance.randrange(4, 260))
        pupa = entry_id(formed, chance.randbytes(8))
        place = chance.choice(PLACES)
        fields = {"pupa": pupa, "label": f"L{index + 1}", "species": "monarch", "place": place}
        living.append(entry(kinds.Found, formed, formed - timedelta(hours=12), **fields))
        if chance.random() < 0.2:
            living.append(entry(kinds.Seen, now - timedelta(minutes=90), pupa=pupa, stage="darkening"))
    at = datetime(2016, 6, 1, 11, 0, tzinfo=UTC)
    step = (now - timedelta(days=40) - at) / max(1, number // 8)
    count = 0
    while made < number:
        at += step
        count += 1
        place = chance.choice(PLACES)
        pupa = entry_id(at, chance.randbytes(8))
        out = at + timedelta(days=11)
        yield entry(kinds.Looked, at - timedelta(hours=12), place=place)
        yield entry(
            kinds.Found, at, at - timedelta(hours=12), pupa=pupa, label=f"F{count}", species="monarch", place=place
        )
        for later, kind, more in (
            (timedelta(days=3), kinds.Moved, {"to": "Chamber", "method": "silk"}),
            (timedelta(days=9), kinds.Seen, {"stage": "darkening"}),
            (timedelta(days=10.5), kinds.Seen, {"stage": "clear"}),
            (timedelta(days=11), kinds.Emerged, {}),
            (timedelta(days=11.3), kinds.Wings, {"condition": chance.choice(("sound", "sound", "crumpled"))}),
            (timedelta(days=12), kinds.Released, {}),
        ):
            if made < number:
                since = out - timedelta(hours=12) if kind is kinds.Emerged else None
                yield entry(kind, at + later, since, pupa=pupa, **more)
    yield from living
