"""What is added must not be forgotten: an entry kind in words, histories, exports and README; a surface; a species.

Each check is also given a made-up kind that nothing knows, and must fail on it.
"""

import json
import re
import tomllib
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, get_args

import pytest
import tomli_w
from msgspec import structs

from pupawatch import cli
from pupawatch.errors import NotUnderstood
from pupawatch.exchange.notebook.writing import rows
from pupawatch.exchange.records import entry_record
from pupawatch.keeper import Keeper
from pupawatch.model.entries import Entry, Kind, OfPupa, Retraction, kind_of
from pupawatch.model.ids import entry_id
from pupawatch.model.state import State
from pupawatch.words.entries import entry_words

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
Run = Callable[..., Any]
BEGIN = datetime(2026, 9, 1, 12, tzinfo=UTC)

FIELDS: dict[str, Any] = {
    "pupa": "0" * 32, "place": "Roof", "to": "Roof", "label": "A1", "species": "monarch", "stage": "darkening",
    "reason": "fallen", "method": "silk", "held": True, "condition": "sound", "sex": "female", "sign": "patches",
    "text": "seen by lamp", "what": "climbed", "origin": "wild", "code": "blue-001", "cause": "parasitoid",
    "day": "2026-09-01", "low_c": 12.0, "high_c": 24.0, "sensor": "porch", "places": ["Roof"], "how": "gear",
    "minutes": 240.0, "brood": "Tray", "target": "0" * 32,
}  # fmt: skip
"""What the fields that an entry cannot do without hold in an example."""

DOORS = {
    "hanging": "found", "found": "found", "seen": "saw", "fell": "fell", "moved": "move", "held": "held",
    "climb": "aid", "emerged": "emerged", "wings": "wings", "sexed": "sex", "finding": "finding",
    "adult-seen": "adult", "origin": "origin", "marked": "mark", "released": "release", "kept": "release",
    "lost": "lost", "relabelled": "relabel", "note": "note", "looked": "visited", "measured": "measured",
    "tied": "import", "cleaned": "cleaned", "belongs": "brood", "brood": "brood", "retraction": "undo",
}  # fmt: skip
"""The command that writes each kind."""

NOT_IN_A_NOTEBOOK = {
    "held": "whether a move held",
    "climb": "climbing aids",
    "finding": "findings",
    "adult-seen": "what was seen of a butterfly",
    "origin": "origins",
    "kept": "where one is kept that cannot fly",
}
"""The kinds that a notebook has no column for, as README names them."""


class Weighed(OfPupa, frozen=True, kw_only=True, tag="weighed"):
    """A made-up kind that nothing knows."""

    weight_mg: float = 1200.0


def example(kind: type[Entry], at: int = 5) -> Any:
    """An entry of this kind, with what it cannot do without."""
    needed = [field.name for field in structs.fields(kind) if field.required]
    common = {
        "id": entry_id(BEGIN, kind.__name__.encode().ljust(8)[:8]), "act": entry_id(BEGIN, bytes([at]) * 8),
        "happened": BEGIN.replace(day=at), "recorded": BEGIN.replace(day=at), "zone": "UTC",
    }  # fmt: skip
    own = {"label": "B1"} if kind_of(kind) == "relabelled" else {}
    return kind(**{name: (FIELDS | common | own)[name] for name in needed})


def found() -> Any:
    kind = next(kind for kind in get_args(Kind) if kind_of(kind) == "found")
    return structs.replace(example(kind, at=1), label="A1")


def about_places(kind: type[Entry]) -> bool:
    return not issubclass(kind, OfPupa | Retraction)


# -- the checks


def has_words(kind: type[Entry]) -> None:
    told = entry_words(example(kind))
    assert told
    assert "None" not in told


def is_in_a_history(kind: type[Entry], keeper: Keeper, run: Run) -> None:
    entry = example(kind)
    with keeper.journal.writing(None) as append:
        append([entry] if kind_of(entry) == "found" else [found(), entry])
    whom = "Tray" if kind_of(kind) == "brood" else "Roof" if about_places(kind) else "A1"
    entries = json.loads(run("history", whom, "--json").out)["entries"]
    assert kind_of(entry) in {one["kind"] for one in entries}
    assert entry_words(entry) in run("history", whom).out


def is_exported(kind: type[Entry]) -> None:
    entry = example(kind)
    told = entry_record(entry)
    common = set(Entry.__struct_fields__) | {"pupa"}
    own = {name: getattr(entry, name) for name in entry.__struct_fields__ if name not in common}
    assert told == told | own


def is_in_a_notebook_or_named(kind: type[Entry]) -> None:
    entry = example(kind)
    if not isinstance(entry, OfPupa):
        return
    without = list(rows(State([found()]).pupae.values(), "UTC"))
    filled = list(rows(State([found(), entry]).pupae.values(), "UTC"))
    if kind_of(entry) in NOT_IN_A_NOTEBOOK:
        assert filled == without
        assert NOT_IN_A_NOTEBOOK[kind_of(entry)] in " ".join(README.split())
    else:
        assert filled != without or kind_of(entry) == "found"


def has_a_door_in_readme(kind: type[Entry]) -> None:
    command = DOORS[kind_of(kind)]
    assert re.search(rf"`{command}\b", README), f"README does not name `{command}`"
    with pytest.raises(SystemExit) as left:
        cli.main([command, "--help"])
    assert left.value.code == 0


KINDS = [pytest.param(kind, id=kind_of(kind)) for kind in get_args(Kind)]


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_words_an_export_a_notebook_and_a_door(kind: type[Entry]) -> None:
    for check in (has_words, is_exported, is_in_a_notebook_or_named, has_a_door_in_readme):
        check(kind)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind.values[0] is not Retraction])
def test_every_kind_stands_in_the_history_of_its_pupa_or_place(kind: type[Entry], keeper: Keeper, run: Run) -> None:
    is_in_a_history(kind, keeper, run)


def test_a_kind_that_nothing_knows_is_caught(keeper: Keeper, run: Run) -> None:
    with pytest.raises(AssertionError):
        has_words(Weighed)
    with pytest.raises(KeyError):
        has_a_door_in_readme(Weighed)
    with pytest.raises(AssertionError):
        is_in_a_notebook_or_named(Weighed)
    with pytest.raises(NotUnderstood):
        is_in_a_history(Weighed, keeper, run)


# -- a surface and a species of the keeper's own


def test_a_surface_of_ones_own_is_known_everywhere(run: Run, config: Path) -> None:
    (config / "care.toml").write_text(
        '[surfaces]\ncork = { words = "a slab of cork", climbable = true }\n[risk.surfaces]\ncork = 0.11\n',
        encoding="utf-8",
    )
    assert run("place", "Slab", "--surface", "cork", "--capacity", "3").code == 0
    assert run("found", "A1", "--place", "Slab", "--between", "2026-09-01T07:00", "2026-09-01T19:00").code == 0
    places = json.loads(run("places", "--json").out)["places"]
    assert next(p for p in places if p["name"] == "Slab")["climbable"] is True
    assert "cork" in run("places").out
    for command in (("today",), ("plan",), ("history", "A1"), ("review", "--by", "surface"), ("forecast",)):
        answer = run(*command)
        assert answer.code == 0, (command, answer)
    assert "cork" in run("review", "--by", "surface").out
    assert run("found", "A2", "--place", "Jar", "--between", "2026-09-01T07:00", "2026-09-01T19:00").code == 0
    assert run("move", "A2", "Slab").code == 0


def test_a_species_of_ones_own_is_known_everywhere(run: Run, config: Path) -> None:
    shipped = tomllib.loads((ROOT / "config" / "species.toml").read_text(encoding="utf-8"))
    own = {"night-blue": shipped["monarch"] | {"name": "Night blue", "scientific_name": "Nocturna caerulea"}}
    (config / "species.toml").write_text(tomli_w.dumps(own), encoding="utf-8")
    between = ("--between", "2026-08-28T07:00", "2026-08-28T19:00")
    assert run("found", "A1", "--place", "Roof", "--species", "night-blue", *between).code == 0
    assert json.loads(run("pupae", "--json").out)["pupae"][0]["forecast"]["median"]
    assert "Night blue" in run("history", "A1").out
    for command in (("today",), ("plan",), ("forecast", "A1"), ("health", "A1"), ("watch",)):
        answer = run(*command)
        assert answer.code == 0, (command, answer)
    assert run("saw", "A1", "clear").code == 0
    assert run("emerged", "A1").code == 0
    assert "night-blue" in run("review", "--by", "species").out
    assert run("adults").code == 0
