"""How an act is written: what cannot be read again is not written, and a failed read leaves what was known."""

from math import inf, nan

import pytest

from pupawatch.errors import Damaged, NotUnderstood
from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Draft, Stamp
from pupawatch.model import entries as kinds


@pytest.mark.parametrize("low_c", [nan, inf, "warm", None])
def test_a_temperature_that_is_none_is_not_written(keeper: Keeper, low_c: object) -> None:
    def plan(stamp: Stamp) -> Draft:
        told = kinds.Measured(**stamp.at(), place="Roof", day="2026-09-08", low_c=low_c, high_c=20.0)  # type: ignore[arg-type]
        return Draft("", [], [told])

    with pytest.raises(NotUnderstood, match=r"Nothing was written: in the entry \(measured\)"):
        keeper.write(None, plan)
    assert keeper.journal.last() == 0


@pytest.mark.parametrize("minutes", ["five", [5], {"m": 5}, {5}, object()])
def test_minutes_that_are_none_are_not_written(keeper: Keeper, minutes: object) -> None:
    def plan(stamp: Stamp) -> Draft:
        return Draft("", [], [kinds.Cleaned(**stamp.at(), place="Roof", how="gear", minutes=minutes)])  # type: ignore[arg-type]

    with pytest.raises(NotUnderstood, match=r"Nothing was written: in the entry \(cleaned\)"):
        keeper.write(None, plan)
    assert keeper.journal.last() == 0


def test_of_an_act_with_one_bad_entry_nothing_is_written(keeper: Keeper) -> None:
    def plan(stamp: Stamp) -> Draft:
        good = kinds.Looked(**stamp.at(), place="Roof")
        return Draft("", [], [good, kinds.Looked(**stamp.at(), place=3)])  # type: ignore[arg-type]

    with pytest.raises(NotUnderstood):
        keeper.write(None, plan)
    assert keeper.journal.last() == 0
    assert not keeper.state.looks


def test_the_entries_of_an_act_share_it_and_their_ids_grow(keeper: Keeper) -> None:
    entries = keeper.places.looked(["Roof", "Jar"]).entries
    assert {entry.act for entry in entries} == {entries[0].id}
    assert entries[0].id < entries[1].id


def test_a_failed_read_leaves_the_last_known_state_and_is_tried_again(
    keeper: Keeper, monkeypatch: pytest.MonkeyPatch
) -> None:
    keeper.pupae.found("P1", "Roof")
    other = Keeper(type(keeper.journal)(keeper.journal.path), keeper.settings, keeper.clock)
    other.pupae.found("P2", "Roof")
    other.journal.close()
    read = keeper.journal.read_current

    def fails(*_: object, **__: object) -> None:
        raise Damaged("Entry 1 is damaged")

    monkeypatch.setattr(keeper.journal, "read_current", fails)
    for _ in range(2):  # every later look says so too, until it succeeds
        with pytest.raises(Damaged):
            keeper.refresh()
        assert [pupa.label for pupa in keeper.state.open_pupae()] == ["P1"]
    monkeypatch.setattr(keeper.journal, "read_current", read)
    assert keeper.refresh()
    assert [pupa.label for pupa in keeper.state.open_pupae()] == ["P1", "P2"]
