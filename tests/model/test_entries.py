"""Entries and their ids."""

from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import ValidationError

from pupawatch.model import entries as kinds
from pupawatch.model.entries import decode, encode, kind_of
from pupawatch.model.ids import digest, entry_id, moment_of

NOON = datetime(2026, 8, 14, 12, 0, tzinfo=UTC)
STAMP = {"id": "a", "act": "a", "happened": NOON, "recorded": NOON, "zone": "Europe/Berlin"}
EVERY_KIND = [
    kinds.Hanging(**STAMP, pupa="p", label="M1", species="monarch", place="Roof"),
    kinds.Found(**STAMP, since=NOON - timedelta(hours=9), pupa="p", label="M1", species="monarch", place="Roof"),
    kinds.Found(**STAMP, pupa="p", label="M1", species="monarch", place="Roof", surface="mesh", usual_c=12.5),
    kinds.Seen(**STAMP, pupa="p", stage="clear"),
    kinds.Fell(**STAMP, pupa="p", reason="fallen"),
    kinds.Moved(**STAMP, pupa="p", to="Line", method="silk", emergency="fallen", advice="wait", reason="glass"),
    kinds.Held(**STAMP, pupa="p", held=False),
    kinds.Climb(**STAMP, pupa="p"),
    kinds.Held(**STAMP, pupa="p", held=False),
    kinds.Climb(**STAMP, pupa="p"),
    kinds.Emerged(**STAMP, since=NOON, pupa="p", place="Line"),
    kinds.Wings(**STAMP, pupa="p", condition="sound"),
    kinds.Sexed(**STAMP, pupa="p", sex="female"),
    kinds.Finding(**STAMP, pupa="p", sign="threads", text="two", load=3),
    kinds.AdultSeen(**STAMP, pupa="p", what="fell"),
    kinds.Origin(**STAMP, pupa="p", origin="wild-egg"),
    kinds.Marked(**STAMP, pupa="p", code="X 1"),
    kinds.Released(**STAMP, pupa="p", place="garden", temperature_c=21.5, sky="sun"),
    kinds.Kept(**STAMP, pupa="p", place="Net"),
    kinds.Lost(**STAMP, pupa="p", cause="unknown"),
    kinds.Relabelled(**STAMP, pupa="p", label="M2"),
    kinds.Note(**STAMP, pupa="p", text='[red]x[/] ünï \\ " ,'),
    kinds.Belongs(**STAMP, pupa="p", brood="Tray"),
    kinds.Brood(**STAMP, brood="Tray", source="wild-egg", eggs=12, lost=2, why="mould"),
    kinds.Looked(**STAMP, place="Roof"),
    kinds.Measured(**STAMP, place="Roof", day="2026-08-14", low_c=12.5, high_c=27),
    kinds.Tied(**STAMP, sensor="attic", places=["Roof", "Line"]),
    kinds.Cleaned(**STAMP, place="Roof", how="gear", minutes=240),
    kinds.Retraction(**STAMP, target="b"),
]


def test_every_kind_of_entry_is_tried_here() -> None:
    assert {type(entry) for entry in EVERY_KIND} == set(kinds.Kind.__args__)


@pytest.mark.parametrize("entry", EVERY_KIND, ids=kind_of)
def test_an_entry_reads_back_as_it_was_written(entry: kinds.Entry) -> None:
    assert decode(encode(entry)) == entry


def test_an_entry_without_an_offset_in_its_times_is_not_read() -> None:
    with pytest.raises(ValidationError):
        decode(encode(EVERY_KIND[2]).replace(b"12:00:00Z", b"12:00:00"))


MOMENTS = st.datetimes(datetime(1970, 1, 2), datetime(9999, 12, 30), timezones=st.just(UTC))


@given(MOMENTS, MOMENTS, st.binary(min_size=8, max_size=8), st.binary(min_size=8, max_size=8))
def test_ids_sort_by_time_to_the_microsecond(one: datetime, other: datetime, a: bytes, b: bytes) -> None:
    if one < other:
        assert entry_id(one, a) < entry_id(other, b)


@given(MOMENTS, st.binary(min_size=8, max_size=8))
def test_an_id_tells_the_microsecond_it_was_made_for(moment: datetime, chance: bytes) -> None:
    assert moment_of(entry_id(moment, chance)) == moment


def test_an_id_is_a_uuid_of_version_7() -> None:
    """The layout of RFC 9562, section 5.7; its appendix A.6 gives this instant and this id."""
    example = UUID("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")
    made = UUID(entry_id(datetime(2022, 2, 22, 19, 22, 22, tzinfo=UTC), example.int.to_bytes(16, "big")[8:]))
    assert made.version == 7
    assert made.variant == example.variant
    assert made.int >> 80 == example.int >> 80
    assert made.int & (1 << 62) - 1 == example.int & (1 << 62) - 1


def test_different_words_have_different_digests() -> None:
    assert digest("ab", "c") != digest("a", "bc")
