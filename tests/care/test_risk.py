"""Risk figures move the right way, and the keeper's own record corrects them.

That smooth walls are bad and mesh is good, what a clearance or a calm hand is worth: common practice, no source.
"""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pupawatch import settings as files
from pupawatch.care import risk, spots
from pupawatch.care.hang import SetHours
from pupawatch.care.risk import Record
from pupawatch.model import entries as kinds
from pupawatch.model.fold import fold
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Place

SHIPPED = msgspec.structs.replace(files.load(Path("no-such-folder")), zone="UTC")
MONARCH = SHIPPED.species["monarch"]
RULES = SHIPPED.care.risk
HOURS = SetHours(24, 48, cold=False)
AT = datetime(2026, 8, 1, 12, tzinfo=UTC)

surfaces = st.sampled_from(list(SHIPPED.care.surfaces))
centimetres = st.floats(0, 100)
places = st.builds(
    Place,
    name=st.just("A"),
    surface=surfaces,
    clearance_cm=centimetres,
    climbable=st.sampled_from([None, True, False]),
    drip=st.booleans(),
    sun=st.booleans(),
    disturbed=st.sampled_from(["", "ants"]),
)
records = st.integers(0, 300).flatmap(lambda n: st.builds(Record, st.integers(0, n), st.just(n)))
stages = st.sampled_from(["soft", "set", "darkening", "clear"])


def there(place: Place, record: Record = risk.NO_RECORD) -> float:
    return risk.of_place(place, MONARCH, record, SHIPPED)


@given(places, records)
def test_a_risk_is_a_chance(place: Place, record: Record) -> None:
    assert 0 <= there(place, record) <= 1


@given(places, records, centimetres)
def test_more_clearance_never_raises_it(place: Place, record: Record, more: float) -> None:
    roomier = msgspec.structs.replace(place, clearance_cm=(place.clearance_cm or 0) + more)
    assert there(roomier, record) <= there(place, record) + 1e-12


@given(places, records, st.integers(0, 50))
def test_a_better_record_never_raises_it(place: Place, record: Record, well: int) -> None:
    assert there(place, Record(record.bad, record.n + well)) <= there(place, record) + 1e-12
    if record.bad:
        assert there(place, Record(record.bad - 1, record.n)) <= there(place, record) + 1e-12


@given(st.floats(0, 500), st.floats(0, 500), stages)
def test_a_longer_hang_time_never_raises_what_handling_adds(hours: float, more: float, stage: str) -> None:
    earlier, later = (risk.of_handling(h, stage, HOURS, RULES) for h in (hours, hours + more))
    assert later <= earlier + 1e-12


@given(st.floats(0, 500))
def test_handling_costs_more_the_nearer_the_emergence(hours: float) -> None:
    told = [risk.of_handling(hours, stage, HOURS, RULES) for stage in ("set", "darkening", "clear")]
    assert told == sorted(told)
    assert len(set(told)) == 3


@given(places, records)
def test_what_troubles_a_place_raises_it(place: Place, record: Record) -> None:
    calm = msgspec.structs.replace(place, drip=False, sun=False, disturbed="")
    assert there(calm, record) <= there(place, record)
    assert there(msgspec.structs.replace(calm, disturbed="wasps"), Record(0, 100)) > there(calm, Record(0, 100))


def test_smooth_walls_are_worse_than_mesh_and_a_keeper_may_say_otherwise() -> None:
    glass, mesh = Place(name="A", surface="glass"), Place(name="A", surface="mesh")
    assert there(glass) > 3 * there(mesh)
    assert there(msgspec.structs.replace(glass, climbable=True)) == there(mesh)


def test_a_record_is_shrunk_as_in_the_published_example() -> None:
    # Robinson, empirical Bayes estimation (essay): a prior Beta(78.7, 224.9) takes 4 of 10 to 0.264 and 300 of 1000
    # to 0.290; the prior's figures from memory.
    rules = msgspec.structs.replace(RULES, climbable=78.7 / 303.6, record_weight=303.6, surfaces={})
    settings = msgspec.structs.replace(SHIPPED, care=msgspec.structs.replace(SHIPPED.care, risk=rules))
    mesh = Place(name="A", surface="mesh")
    told = [risk.of_place(mesh, MONARCH, record, settings) for record in (Record(4, 10), Record(300, 1000))]
    assert told == pytest.approx([0.2637, 0.2905], abs=5e-5)


def test_what_is_expected_of_mesh_is_what_was_measured_in_a_laboratory() -> None:
    # Ragonese et al., temperature experiment 2019, Proc. R. Soc. B 2024: 15 of 198 butterflies deformed, 18-30 °C,
    # pupae unpricked.
    assert there(Place(name="A", surface="mesh")) == pytest.approx(15 / 198, abs=0.01)


def test_the_record_counts_wings_and_the_losses_that_are_the_places_doing() -> None:
    def ended(number: int, *entries: kinds.Entry) -> Pupa:
        found = entry(kinds.Found, number, label=f"M{number}", species="monarch", place="Jar")
        return fold(str(number), [found, *entries])

    def entry(kind: Any, number: int, **fields: object) -> kinds.Entry:
        name = f"{number}-{kind.__name__}"
        later = AT + timedelta(days=0 if kind is kinds.Found else 10)
        told: kinds.Entry = kind(
            id=name, act=name, happened=later, recorded=later, zone="UTC", pupa=str(number), **fields
        )
        return told

    pupae = [
        ended(1, entry(kinds.Emerged, 1), entry(kinds.Wings, 1, condition="sound")),
        ended(2, entry(kinds.Emerged, 2), entry(kinds.Wings, 2, condition="crumpled")),
        ended(3, entry(kinds.Lost, 3, cause="fall")),
        ended(4, entry(kinds.Lost, 4, cause="disease")),  # says nothing of the place
        ended(5, entry(kinds.Emerged, 5)),  # wings never judged
        ended(6, entry(kinds.Emerged, 6, place="Roof"), entry(kinds.Wings, 6, condition="sound")),
        ended(7),
    ]
    assert risk.records(pupae, SHIPPED) == {"Jar": Record(2, 3), "Roof": Record(0, 1)}


def test_room_is_a_count_or_a_length_by_the_spacing_and_the_smaller_holds() -> None:
    def room(**told: object) -> int | None:
        return spots.capacity(Place(name="A", **told), SHIPPED)  # type: ignore[arg-type]

    widest = max(profile.spacing_cm for profile in SHIPPED.species.values())
    assert room() is None
    assert room(capacity=5) == 5
    assert room(length_cm=4 * widest + 1) == 4
    assert room(length_cm=40, spacing_cm=5) == 8
    assert room(length_cm=40, spacing_cm=5, capacity=3) == 3


def test_old_place_files_stay_valid_and_new_words_are_understood(tmp_path: Path) -> None:
    (tmp_path / "places.toml").write_text(
        '[[places]]\nname = "Roof"\nsurface = "mesh"\n\n'
        '[[places]]\nname = "Line"\nlength_cm = 80\ndisturbed = "ants"\n',
        encoding="utf-8",
    )
    roof, line = files.load(tmp_path).places
    assert (roof.drip, roof.sun, roof.disturbed, roof.quarantined, roof.length_cm) == (False, False, "", False, None)
    assert (line.length_cm, line.disturbed) == (80, "ants")
    assert "is disturbed (ants)" in spots.shortfalls(line, MONARCH, SHIPPED)


def test_a_surface_of_the_keepers_own_is_taken(tmp_path: Path) -> None:
    (tmp_path / "care.toml").write_text('[surfaces]\ncork = { words = "cork", climbable = true }\n', encoding="utf-8")
    settings = files.load(tmp_path)
    assert spots.shortfalls(Place(name="A", surface="cork"), MONARCH, settings) == []
