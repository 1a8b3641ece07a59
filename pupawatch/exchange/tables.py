"""The journal as plain tables for other programs: CSV files and a ``datapackage.json`` that describes them.

Follows the Data Package and Table Schema specifications of Frictionless Data (version 1): every column with its type,
unit, codes and meaning. Times are UTC with offset; of an interval both ends are given. Text is safe in spreadsheets.
"""

import csv
import io
import json
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.exchange import new_file
from pupawatch.exchange.cells import guarded
from pupawatch.keeper import Keeper
from pupawatch.model.codes import BROOD_SOURCES, ORIGINS, SEXES
from pupawatch.model.entries import Measured
from pupawatch.model.pupa import Pupa
from pupawatch.model.text import shown
from pupawatch.model.times import instant, iso

Cell = str | int | float | bool | None


class Column(NamedTuple):
    """One column of a table of ``Row``. kind: a type of Table Schema; codes: all it may hold, where it is a code."""

    name: str
    kind: str
    meaning: str
    of: Callable[[Any], Cell]
    unit: str = ""
    codes: tuple[str, ...] = ()
    required: bool = False


class Table(NamedTuple):
    """One table: its columns, its rows, its key, and which column names a row of another table."""

    name: str
    meaning: str
    columns: list[Column]
    rows: list[Any]
    key: tuple[str, ...] = ()
    refers: tuple[str, str, str] | None = None


def write(keeper: Keeper, folder: Path, with_notes: bool = False) -> list[str]:
    """Write all tables into a new or empty folder; the names of the files. with_notes: also what was noted freely.

    Raises NotUnderstood where something lies there, Unusable where it cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise NotUnderstood(f"{folder} is not empty; name a new folder.")
    except OSError as error:
        raise Unusable(f"{folder} cannot be written: {error.strerror}.") from None
    tables = _tables(keeper, with_notes)
    for table in tables:
        new_file.write(folder / f"{table.name}.csv", _csv(table))
    described = json.dumps(_package(tables, keeper.clock()), ensure_ascii=False, indent=2) + "\n"
    new_file.write(folder / "datapackage.json", described)
    return [*(f"{table.name}.csv" for table in tables), "datapackage.json"]


def _csv(table: Table) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([column.name for column in table.columns])
    writer.writerows([_cell(column, row) for column in table.columns] for row in table.rows)
    return text.getvalue()


def _cell(column: Column, row: Any) -> str:
    value = column.of(row)
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return guarded(shown(str(value))) if column.kind == "string" else str(value)


def _package(tables: Iterable[Table], now: datetime) -> dict[str, Any]:
    return {
        "name": "pupawatch",
        "profile": "tabular-data-package",
        "created": iso(now),
        "description": "Pupae of one keeper. A text that a spreadsheet would take for a formula has ' before it.",
        "resources": [
            {
                "name": table.name,
                "path": f"{table.name}.csv",
                "profile": "tabular-data-resource",
                "description": table.meaning,
                "format": "csv",
                "mediatype": "text/csv",
                "encoding": "utf-8",
                "schema": _schema(table),
            }
            for table in tables
        ],
    }


def _schema(table: Table) -> dict[str, Any]:
    schema: dict[str, Any] = {"fields": [_field(column) for column in table.columns], "missingValues": [""]}
    if table.key:
        schema["primaryKey"] = list(table.key)
    if table.refers:
        column, other, its = table.refers
        schema["foreignKeys"] = [{"fields": [column], "reference": {"resource": other, "fields": [its]}}]
    return schema


def _field(column: Column) -> dict[str, Any]:
    field: dict[str, Any] = {"name": column.name, "type": column.kind, "description": column.meaning}
    if column.unit:
        field["unit"] = column.unit
    limits = ({"enum": list(column.codes)} if column.codes else {}) | ({"required": True} if column.required else {})
    return field | ({"constraints": limits} if limits else {})


def _tables(keeper: Keeper, with_notes: bool) -> list[Table]:
    state = keeper.whole_state()
    pupae = sorted(state.pupae.values(), key=lambda pupa: (pupa.entries[0].happened, pupa.id))
    moves = [(pupa, move) for pupa in pupae for move in pupa.relocations]
    measured = [entry for entry in keeper.written("measured") if isinstance(entry, Measured)]
    logged = sorted(set(keeper.journal.every_reading()))
    broods = list(keeper.broods.known(pupae).values())
    return [
        Table("pupae", "One row a pupa, from pupation to its end.", _pupae(keeper, with_notes), pupae, ("id",)),
        Table("moves", "One row each time a pupa was hung elsewhere.", _MOVES, moves, (), ("pupa", "pupae", "id")),
        Table(
            "butterflies",
            "One row a butterfly: what became of it after emergence.",
            _butterflies(keeper),
            [pupa for pupa in pupae if pupa.emerged],
            ("pupa",),
            ("pupa", "pupae", "id"),
        ),
        Table("temperatures", "Lowest and highest of a day in a place, as read by hand.", _MEASURED, measured),
        Table("readings", "Readings of loggers.", _READINGS, logged),
        Table("places", "Where pupae hang, as the settings describe it.", _PLACES, keeper.settings.places, ("name",)),
        Table("broods", "Batches of eggs or caterpillars of one source.", _BROODS, broods, ("name",)),
    ]  # fmt: skip


def _time(moment: datetime | None) -> str | None:
    return iso(moment.astimezone(UTC)) if moment else None


def _since(entry: Any) -> str | None:
    return _time(entry.since) if entry else None


def _until(entry: Any) -> str | None:
    return _time(entry.happened) if entry else None


def _pupae(keeper: Keeper, with_notes: bool) -> list[Column]:
    losses = _with_found(tuple(keeper.settings.care.losses), (p.lost.cause for p in _all(keeper) if p.lost))
    columns = [
        Column("id", "string", "The same for this pupa in every export and journal", lambda p: p.id, required=True),
        Column("label", "string", "What its keeper calls it; used again in other seasons", lambda p: p.label),
        Column("species", "string", "Name of its profile", lambda p: p.species),
        Column("brood", "string", "The brood it belongs to", lambda p: p.brood),
        Column("origin", "string", "Reared, or collected outdoors as what", lambda p: p.origin, codes=ORIGINS),
        Column("site", "string", "Place where it pupated", lambda p: p.site),
        Column("place", "string", "Place where it hangs, or emerged", lambda p: p.place),
        Column("formed_from", "datetime", "Pupated after this; empty where not known", lambda p: _time(p.formed_from)),
        Column("formed_to", "datetime", "Pupated by this", lambda p: _time(p.formed_to)),
        Column("emerged_from", "datetime", "Emerged after this", lambda p: _since(p.emerged)),
        Column("emerged_to", "datetime", "Emerged by this", lambda p: _until(p.emerged)),
        Column("loss", "string", "Why it gave no butterfly", lambda p: p.lost.cause if p.lost else None, codes=losses),
        Column("lost_by", "datetime", "Lost by this", lambda p: _until(p.lost)),
        Column("falls", "integer", "How often it fell", lambda p: p.times_fallen),
        Column("moves", "integer", "How often it was hung elsewhere", lambda p: len(p.relocations)),
    ]
    if with_notes:
        columns.append(Column("notes", "string", "What its keeper noted", lambda p: "; ".join(p.notes)))
    return columns


def _butterflies(keeper: Keeper) -> list[Column]:
    wings = _with_found(tuple(keeper.settings.care.wings), (p.wings.condition for p in _all(keeper) if p.wings))
    return [
        Column("pupa", "string", "id of its pupa", lambda p: p.id, required=True),
        Column("label", "string", "Its pupa's label", lambda p: p.label),
        Column("sex", "string", "As seen", lambda p: p.sex, codes=SEXES),
        Column("wings", "string", "Judged when hard", lambda p: p.wings.condition if p.wings else None, codes=wings),
        Column("mark", "string", "Code of its wing mark", lambda p: p.marked.code if p.marked else None),
        Column("marked", "datetime", "Marked by this", lambda p: _until(p.marked)),
        Column("released_from", "datetime", "Released after this", lambda p: _since(p.released)),
        Column("released", "datetime", "Released by this", lambda p: _until(p.released)),
        Column("kept", "boolean", "Stays in care, as it cannot fly", lambda p: p.kept is not None),
    ]


def _all(keeper: Keeper) -> Iterable[Pupa]:
    return keeper.whole_state().pupae.values()


def _with_found(codes: tuple[str, ...], found: Iterable[str]) -> tuple[str, ...]:
    """The codes of the settings, and those of an older journal that they no longer name."""
    return tuple(dict.fromkeys((*codes, *sorted(found))))


_MOVES = [
    Column("pupa", "string", "id of the pupa", lambda one: one[0].id, required=True),
    Column("label", "string", "Its label", lambda one: one[0].label),
    Column("from_place", "string", "Where it hung until then", lambda one: one[1].origin),
    Column("to_place", "string", "Where it was hung", lambda one: one[1].entry.to),
    Column(
        "moved_from", "datetime", "Moved after this; empty where the time is exact", lambda one: _since(one[1].entry)
    ),
    Column("moved", "datetime", "Moved by this", lambda one: _until(one[1].entry), required=True),
    Column("method", "string", "How it was taken and hung", lambda one: one[1].entry.method),
    Column("emergency", "string", "The danger that allowed a move at any hour", lambda one: one[1].entry.emergency),
    Column("held", "boolean", "Whether it held there; empty where nobody looked", lambda one: one[1].held),
]
_MEASURED = [
    Column("place", "string", "Where it was measured", lambda e: e.place, required=True),
    Column("day", "date", "The local day", lambda e: e.day, required=True),
    Column("low_c", "number", "Lowest", lambda e: e.low_c, "°C", required=True),
    Column("high_c", "number", "Highest", lambda e: e.high_c, "°C", required=True),
]
_READINGS = [
    Column("sensor", "string", "The sensor", lambda one: one[0], required=True),
    Column("at", "datetime", "When", lambda one: _time(instant(one[1])), required=True),
    Column("celsius", "number", "Temperature", lambda one: one[2], "°C", required=True),
]
_PLACES = [
    Column("name", "string", "What it is called", lambda p: p.name, required=True),
    Column("surface", "string", "What it is made of", lambda p: p.surface),
    Column("capacity", "integer", "How many pupae it holds; empty: no limit", lambda p: p.capacity),
    Column("clearance_cm", "number", "Clear height below a pupa", lambda p: p.clearance_cm, "cm"),
    Column("temperature_c", "number", "What it is usually kept at", lambda p: p.temperature_c, "°C"),
    Column("quarantined", "boolean", "In quarantine now", lambda p: p.quarantined),
    Column("isolation", "boolean", "For the sick alone", lambda p: p.isolation),
    Column("retired", "boolean", "No longer used", lambda p: p.retired),
]
_BROODS = [
    Column("name", "string", "What it is called", lambda b: b.name, required=True),
    Column("source", "string", "Where it came from", lambda b: b.source, codes=BROOD_SOURCES),
    Column("begun", "datetime", "First recorded", lambda b: _time(b.begun)),
    Column("eggs", "integer", "Eggs; empty where nobody counted", lambda b: b.eggs),
    Column("hatched", "integer", "Hatched", lambda b: b.hatched),
    Column("caterpillars", "integer", "Caterpillars", lambda b: b.caterpillars),
    Column("lost", "integer", "Lost before pupation", lambda b: sum(b.lost.values())),
    Column("pupae", "integer", "Pupae that belong to it", lambda b: len(b.pupae)),
]
