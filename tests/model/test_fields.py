"""What the fields of an entry may hold."""

from datetime import UTC, datetime, timedelta
from typing import Any

import msgspec.structs
import pytest

from pupawatch.errors import NotUnderstood
from pupawatch.model import entries as kinds
from pupawatch.model.entries import Entry, decode, encode, fitting
from pupawatch.model.fields import fitted

NOON = datetime(2026, 8, 14, 12, 0, tzinfo=UTC)
PUPA = "01a01a04-7c80-7000-8000-000000000000"
STAMP: dict[str, Any] = {"id": "a", "act": "a", "happened": NOON, "recorded": NOON, "zone": "Europe/Berlin"}


@pytest.mark.parametrize("kind", kinds.Kind.__args__)
def test_no_field_but_a_yes_or_no_may_hold_just_anything(kind: type[Entry]) -> None:
    asked = {field.name for field in fitted(kind)}
    assert set(kind.__struct_fields__) - asked <= {"history", "held"}


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        (
            kinds.Seen(**STAMP, pupa=PUPA, stage="hard"),
            "stage is “hard”; it must be one of soft, set, darkening, clear, empty",
        ),
        (kinds.Climb(**STAMP, pupa="p"), "pupa is “p”; it must be an id, as pupawatch gives one"),
        (
            kinds.Relabelled(**STAMP, pupa=PUPA, label=" "),
            "label is “ ”; it must be visible text of at most 24 characters",
        ),
        (kinds.Sexed(**STAMP, pupa=PUPA, sex=""), "sex is “”; it must be one of female, male"),
        (kinds.AdultSeen(**STAMP, pupa=PUPA, what="sang"), "what is “sang”; it must be one of fell, "),
        (kinds.Origin(**STAMP, pupa=PUPA, origin="shop"), "origin is “shop”; it must be one of reared, "),
        (kinds.Released(**STAMP, pupa=PUPA, sky="night"), "sky is “night”; it must be one of sun, cloud, rain"),
        (kinds.Released(**STAMP, pupa=PUPA, temperature_c=61), "temperature_c is 61; it must be between -40 and 60 °C"),
        (kinds.Finding(**STAMP, pupa=PUPA, sign="spores", load=-1), "load is -1; it must be between 0 and 1000"),
        (kinds.Marked(**STAMP, pupa=PUPA, code="x" * 25), "it must be visible text of at most 24 characters"),
        (kinds.Looked(**STAMP, place="\u2800"), "it must be visible text of at most 40 characters"),
        (kinds.Tied(**STAMP, sensor="s", places=["Roof", "x" * 41]), "places is “xxx"),
        (kinds.Measured(**STAMP, place="Roof", day="2026-8-1", low_c=1, high_c=2), "it must be a day, like 2026-08-14"),
        (
            kinds.Measured(**STAMP, place="Roof", day="2026-08-01", low_c=3, high_c=2),
            "low_c is 3; it must be no more than high_c, 2",
        ),
        (
            kinds.Measured(**STAMP, place="Roof", day="2026-08-01", low_c=-40, high_c=float("nan")),
            "high_c is nan; it must be",
        ),
        (
            kinds.Cleaned(**STAMP, place="Roof", how="gear", minutes=0),
            "minutes is 0; it must be more than 0 and at most 10080 min",
        ),
        (
            kinds.Climb(**{**STAMP, "zone": "Europe/Atlantis"}, pupa=PUPA),
            "zone is “Europe/Atlantis”; it must be an IANA time zone",
        ),
        (
            kinds.Climb(**{**STAMP, "happened": datetime(2200, 1, 1, tzinfo=UTC)}, pupa=PUPA),
            "must be a time between the years 1900 and 2199",
        ),
        (
            kinds.Climb(**STAMP, since=NOON + timedelta(hours=1), pupa=PUPA),
            "since is 2026-08-14 13:00:00+00:00; it must be no later than",
        ),
        (
            kinds.Moved(**STAMP, pupa=PUPA, to="Roof", usual_c=-273.2),
            "usual_c is -273.2; it must be between -40 and 60 °C",
        ),
        (
            kinds.Moved(**STAMP, pupa=PUPA, to="Roof", surface="\x1b[m"),
            "surface is “\ufffd[m”; it must be visible text",
        ),
    ],
)
def test_what_no_door_lets_in_is_told_by_its_field(entry: Entry, told: str) -> None:
    (misfit,) = entry.misfits()
    assert told in str(misfit)
    with pytest.raises(NotUnderstood, match="Nothing was written"):
        list(fitting([entry]))


@pytest.mark.parametrize(
    "entry",
    [
        kinds.Measured(**STAMP, place="Roof", day="2026-08-01", low_c=-40, high_c=60),
        kinds.Measured(**STAMP, place="Roof", day="2028-02-29", low_c=20, high_c=20),
        kinds.Cleaned(**STAMP, place="Roof", how="gear", minutes=10080),
        kinds.Tied(**STAMP, sensor="s", places=[]),
        kinds.Released(**STAMP, pupa=PUPA),
        kinds.Moved(**STAMP, since=NOON, pupa=PUPA, to="x" * 40),
    ],
)
def test_the_ends_of_a_range_and_what_says_nothing_fit(entry: Entry) -> None:
    assert list(fitting([entry])) == [entry]


def test_what_no_door_lets_in_is_still_read() -> None:
    hot = kinds.Measured(**STAMP, place="", day="never", low_c=1e308, high_c=-1e308)
    assert decode(encode(hot)) == hot
    assert {misfit.field for misfit in hot.misfits()} == {"place", "day", "low_c", "high_c"}


def test_every_field_is_asked_after_not_only_the_first() -> None:
    far = msgspec.structs.replace(kinds.Climb(**STAMP, pupa=PUPA), zone="", happened=datetime(1, 1, 1, tzinfo=UTC))
    assert [misfit.field for misfit in far.misfits()] == ["happened", "zone"]
