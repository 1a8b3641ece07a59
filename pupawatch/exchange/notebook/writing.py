"""The notebook, written: a CSV that brings the same pupae in again."""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from pupawatch.exchange.cells import guarded
from pupawatch.exchange.notebook.reading import COLUMNS
from pupawatch.model.entries import (
    Belongs,
    Emerged,
    Entry,
    Fell,
    Found,
    Hanging,
    Lost,
    Marked,
    Moved,
    Note,
    Released,
    Seen,
    Sexed,
    Wings,
)
from pupawatch.model.pupa import Pupa
from pupawatch.model.times import local_day, start_of_day


def rows(pupae: Iterable[Pupa], zone: str) -> Iterator[list[str]]:
    """The rows of a notebook, header first, that would bring these pupae in again."""
    yield list(COLUMNS)
    for pupa in sorted(pupae, key=lambda p: (p.entries[0].happened, p.id)):
        for cells in _rows_of(pupa, zone):
            yield [guarded(cells.get(column, "")) for column in COLUMNS]


def _rows_of(pupa: Pupa, zone: str) -> Iterator[dict[str, str]]:
    """One row for the pupa and as many more as it takes: each holds at most one move, stage, fall and note."""
    rows: list[dict[str, str]] = [{"label": pupa.label, "species": pupa.species, "site": pupa.site}]
    notes = iter(pupa.notes)

    def put(**cells: str) -> None:
        row = next((row for row in rows if not row.keys() & cells.keys()), None)
        if row is None:
            rows.append({"label": pupa.label})
            row = rows[-1]
        row.update(cells)

    # How it began comes first: the first row of a hanging caterpillar must say that it is one.
    for entry in sorted(pupa.entries, key=lambda entry: not isinstance(entry, Found | Hanging)):
        match entry:
            case Found():
                rows[0].update(_interval("formed", entry, zone))
                if entry.brood:
                    rows[0].update(brood=entry.brood)
            case Hanging():
                put(stage="prepupa", stage_seen_at=_cell(entry, zone))
                if entry.brood:
                    rows[0].update(brood=entry.brood)
            case Seen():
                put(stage=entry.stage, stage_seen_at=_cell(entry, zone))
            case Fell():
                put(fell_at=_cell(entry, zone))
            case Moved():
                put(
                    moved_to=entry.to, moved_at=_cell(entry, zone), move_method=entry.method,
                    move_reason=entry.emergency,
                )  # fmt: skip
            case Emerged():
                rows[0].update(_interval("emerged", entry, zone), emerged_place=entry.place)
            case Wings():
                rows[0].update(wings=entry.condition)
            case Sexed():
                rows[0].update(sex=entry.sex)
            case Lost():
                rows[0].update(loss=entry.cause, loss_at=_cell(entry, zone, pupa.emerged))
            case Marked():
                rows[0].update(mark=entry.code, marked_at=_cell(entry, zone, pupa.emerged))
            case Released():
                rows[0].update(released_at=_cell(entry, zone))
            case Belongs():
                rows[0].update(brood=entry.brood)
            case Note():
                put(note=next(notes))
    yield from rows


def _interval(what: str, entry: Entry, zone: str) -> dict[str, str]:
    """The two cells of an interval."""
    cells = {f"{what}_from": _exact(entry.since, zone)} if entry.since else {}
    return {**cells, f"{what}_to": _exact(entry.happened, zone)}


def _cell(entry: Entry, zone: str, emerged: Emerged | None = None) -> str:
    """The time of an entry: only the date where all that is known is the day, and nothing where it is as unsure as
    the emergence, by which reading dates what has no time of its own."""
    if entry.since is not None:
        if emerged and (entry.since, entry.happened) == (emerged.since, emerged.happened):
            return ""
        day = local_day(entry.since, zone)
        begins, ends = start_of_day(day, zone), start_of_day(day + timedelta(days=1), zone)
        # History of the day on which it was brought in ends at that instant.
        if entry.since == begins and (entry.happened == ends or (entry.history and entry.happened < ends)):
            return day.isoformat()
    return _exact(entry.happened, zone)


def _exact(moment: datetime, zone: str) -> str:
    return moment.astimezone(ZoneInfo(zone)).isoformat()
