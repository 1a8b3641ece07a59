"""What the move rule depends on travels with the entries: two people with different settings are told the same.

24 h of hanging in warmth and 48 h in the cold, for a monarch, are common practice, no source; the rest is what this
program promises its keeper.
"""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec.structs
import pytest

from pupawatch import settings as files
from pupawatch.errors import Refused
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model.entries import Found, Moved, decode, encode
from pupawatch.model.places import hangs_in
from pupawatch.model.settings import Place, Settings
from pupawatch.review.factors import Season

PORCH = Place(name="Porch", surface="wood", temperature_c=12)
FIRST_WAVE = Path(__file__).parents[1] / "journal" / "schemas" / "version-1.db"


def with_places(settings: Settings, *places: Place) -> Settings:
    return msgspec.structs.replace(settings, places=list(places))


@pytest.fixture
def partner(tmp_path: Path, keeper: Keeper, clock: Any) -> Keeper:
    """Another keeper, on another computer, whose settings know nothing of a porch; the first one's is cold."""
    keeper.places.describe(PORCH)
    folder = tmp_path / "partner"
    folder.mkdir()
    roof = Place(name="Roof", surface="mesh")
    return Keeper(Journal(tmp_path / "partner.db"), with_places(keeper.settings, roof), clock, folder)


def free_from(keeper: Keeper, label: str = "A1", to: str = "Roof") -> datetime | None:
    """From when on the keeper is told that it may be moved; None where it may be now."""
    try:
        keeper.moves.move(label, to)
    except Refused as refused:
        return refused.movable_from
    keeper.undo()
    return None


def test_both_are_refused_the_move_until_the_same_time(keeper: Keeper, partner: Keeper, clock: Any) -> None:
    found = clock()
    keeper.pupae.found("A1", "Porch")
    clock.on(hours=26)
    partner.merge(keeper.journal.path)
    assert free_from(keeper) == free_from(partner) == found + timedelta(hours=48)
    clock.on(hours=22)
    assert free_from(keeper) is free_from(partner) is None


def test_what_a_partner_hung_in_the_cold_is_soft_for_the_one_who_takes_it_in(
    keeper: Keeper, partner: Keeper, clock: Any
) -> None:
    found = clock()
    partner.pupae.found("A1", "Roof")
    keeper.merge(partner.journal.path)
    keeper.pupae.fell("A1", "wet")
    keeper.moves.move("A1", "Porch")
    partner.merge(keeper.journal.path)
    clock.on(hours=26)
    assert free_from(keeper) == free_from(partner) == found + timedelta(hours=48)


@pytest.mark.parametrize(
    "places",
    [
        [Place(name="Roof", surface="mesh"), Place(name="Veranda", surface="wood", temperature_c=21)],
        [Place(name="Roof", surface="mesh"), Place(name="Porch", surface="wood")],
        [Place(name="Roof", surface="mesh"), Place(name="Porch", surface="wood", temperature_c=24)],
    ],
    ids=["another name", "no temperature", "warm after all"],
)
def test_no_later_edit_of_the_place_frees_what_hung_there(
    keeper: Keeper, partner: Keeper, clock: Any, places: list[Place]
) -> None:
    found = clock()
    keeper.pupae.found("A1", "Porch")
    partner.merge(keeper.journal.path)
    clock.on(hours=26)
    for one in (keeper, partner):
        one.settings = with_places(one.settings, *places)
        assert free_from(one) == found + timedelta(hours=48)


def test_an_edit_that_frees_nobody_is_no_reason_to_warn(keeper: Keeper, partner: Keeper, clock: Any) -> None:
    keeper.pupae.found("A1", "Porch")
    clock.on(hours=26)
    assert keeper.places.describe(msgspec.structs.replace(PORCH, temperature_c=None)).warnings == []
    assert free_from(keeper) is not None


def test_a_place_that_became_cold_meanwhile_makes_what_hangs_there_wait(
    keeper: Keeper, partner: Keeper, clock: Any
) -> None:
    found = clock()
    keeper.places.describe(msgspec.structs.replace(PORCH, temperature_c=21))
    keeper.pupae.found("A1", "Porch")
    clock.on(hours=26)
    assert free_from(keeper) is None
    keeper.places.describe(PORCH)
    assert free_from(keeper) == found + timedelta(hours=48)


def test_the_cold_is_taken_back_with_the_entry_that_tells_of_it(keeper: Keeper, partner: Keeper, clock: Any) -> None:
    keeper.pupae.found("A1", "Porch")
    keeper.undo()
    keeper.pupae.found("A1", "Jar")
    clock.on(hours=26)
    partner.merge(keeper.journal.path)
    assert free_from(partner) is None


# -- what is written


def test_an_entry_takes_along_the_place_as_it_is_described(keeper: Keeper, partner: Keeper, clock: Any) -> None:
    (found,) = keeper.pupae.found("A1", "Porch").entries
    clock.on(hours=50)
    (moved,) = keeper.moves.move("A1", "Roof").entries
    assert isinstance(found, Found)
    assert isinstance(moved, Moved)
    assert (found.surface, found.usual_c) == ("wood", 12)
    assert (moved.surface, moved.usual_c) == ("mesh", None)


def test_of_a_place_nobody_described_an_entry_takes_along_nothing(keeper: Keeper) -> None:
    (found,) = keeper.pupae.found("A1", "The old oak").entries
    assert b"surface" not in encode(found)
    assert b"usual_c" not in encode(found)


def test_entries_of_the_first_wave_are_byte_for_byte_what_they_were() -> None:
    with closing(sqlite3.connect(f"file:{FIRST_WAVE}?immutable=1", uri=True)) as file:
        bodies = [body.encode() for (body,) in file.execute("SELECT body FROM entry ORDER BY seq")]
    assert len(bodies) > 10
    assert [encode(decode(body)) for body in bodies] == bodies
    assert [list(decode(body).misfits()) for body in bodies] == [[] for _ in bodies]


def test_a_pupa_of_the_first_wave_is_judged_by_the_settings_as_before(keeper: Keeper, clock: Any) -> None:
    (found,) = keeper.pupae.found("A1", "Roof").entries
    clock.on(hours=26)
    assert b"usual_c" not in encode(found)
    assert free_from(keeper, to="Jar") is None
    keeper.settings = with_places(keeper.settings, Place(name="Roof", surface="mesh", temperature_c=12))
    assert free_from(keeper, to="Jar") == found.happened + timedelta(hours=48)


# -- places only the other one described


def test_a_merge_adds_the_places_as_the_other_one_described_them(
    run: Callable[..., Any], keeper: Keeper, partner: Keeper, config: Path
) -> None:
    attic = Place(name="Attic", surface="mesh", temperature_c=15)
    unheard = Place(name="Nail", surface="unheard-of", temperature_c=15)
    partner.settings = with_places(partner.settings, attic, unheard)
    for label, place in (("A1", "Attic"), ("A2", "Nail"), ("A3", "Porch"), ("A4", "Oak")):
        partner.pupae.found(label, place)
    partner.journal.close()
    assert run("merge", partner.journal.path).code == 0
    kept = {place.name: place for place in files.load(config).places}
    assert kept["Porch"] == PORCH
    assert kept["Nail"] == Place(name="Nail")
    assert kept["Oak"] == Place(name="Oak")
    assert kept["Attic"] == attic


def test_a_place_the_settings_do_not_know_is_as_the_pupa_tells_of_it(
    keeper: Keeper, partner: Keeper, clock: Any
) -> None:
    keeper.places.describe(msgspec.structs.replace(PORCH, surface="mesh"))
    keeper.pupae.found("A1", "Porch")
    partner.merge(keeper.journal.path)
    pupa = partner.pupa("A1")
    assert hangs_in(pupa, partner.settings) == Place(name="Porch", surface="mesh", temperature_c=12)
    season = Season([pupa], partner.settings)
    assert (season.column("surface"), season.column("temperature")) == (["mesh"], ["12 °C"])
    known = with_places(partner.settings, Place(name="Porch", surface="wood"))
    assert Season([pupa], known).column("surface") == ["wood"]
