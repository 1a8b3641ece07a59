"""The notebook, written: a CSV that brings the same pupae in again."""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from pupawatch.exchange.notebook import COLUMNS
from pupawatch.model.entries import (
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
from pupawatch.model.times import Span, start_of_day


def rows(pupae: Iterable[Pupa], zone: str) -> Iterator[list[str]]:
    """The rows of a notebook, header first, that would bring these pupae in again."""
    yield list(COLUMNS)
    for pupa in sorted(pupae, key=lambda p: (p.entries[0].happened, p.id)):
        for cells in _rows_of(pupa, zone):
            yield [_as_text(cells.get(column, "")) for column in COLUMNS]


def _rows_of(pupa: Pupa, zone: str) -> Iterator[dict[str, str]]:
    """One row for the pupa and as many more as it takes: each holds at most one move, stage, fall and note."""
    rows: list[dict[str, str]] = [{"label": pupa.label}]
    notes = iter(pupa.notes)

    def put(**cells: str) -> None:
        row = next((row for row in rows if not row.keys() & cells.keys()), None)
        if row is None:
            rows.append({"label": pupa.label})
            row = rows[-1]
        row.update(cells)

    for entry in pupa.entries:
        match entry:
            case Found():
                rows[0].update(species=entry.species, site=entry.place)
                rows[0].update(_interval("formed", entry, pupa, zone))
            case Hanging():
                rows[0].update(species=entry.species, site=entry.place)
                put(stage="prepupa", stage_seen_at=_cell(entry, zone))
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
                rows[0].update(_interval("emerged", entry, pupa, zone), emerged_place=entry.place)
            case Wings():
                rows[0].update(wings=entry.condition)
            case Sexed():
                rows[0].update(sex=entry.sex)
            case Lost():
                rows[0].update(loss=entry.cause, loss_at=_cell(entry, zone))
            case Marked():
                rows[0].update(mark=entry.code, marked_at=_cell(entry, zone))
            case Released():
                rows[0].update(released_at=_cell(entry, zone))
            case Note():
                put(note=next(notes))
    yield from rows


def _interval(what: str, entry: Entry, pupa: Pupa, zone: str) -> dict[str, str]:
    """The two cells of an interval. An end that reading derived is left out, so that reading derives it again."""
    cells = {f"{what}_from": _exact(entry.since, zone)} if entry.since else {}
    seen = pupa.marked or pupa.released
    if entry.history and isinstance(entry, Emerged) and entry.since == pupa.formed_to:
        if entry.happened == (seen.happened if seen else entry.recorded):
            return {}
    elif entry.history and entry.since and entry.happened == entry.recorded:
        return cells
    return {**cells, f"{what}_to": _exact(entry.happened, zone)}


def _cell(entry: Entry, zone: str) -> str:
    """The time of an entry: only the date where all that is known is the day."""
    if entry.since is not None:
        day = entry.since.astimezone(ZoneInfo(zone)).date()
        whole = Span(start_of_day(day, zone), start_of_day(day + timedelta(days=1), zone))
        if (entry.since, entry.happened) == whole:
            return day.isoformat()
    return _exact(entry.happened, zone)


def _exact(moment: datetime, zone: str) -> str:
    return moment.astimezone(ZoneInfo(zone)).isoformat()


def _as_text(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula; reading takes the guard off again."""
    return f"'{cell}" if cell[:1] in ("=", "+", "-", "@", "\t", "'") else cell
