"""From the journal's pupae to the forecast's questions. By the meaning of the entries; no source."""

from datetime import UTC, datetime, timedelta

from pupawatch.care.forecast.pupae import finished, story, watched
from pupawatch.model.entries import Emerged, Entry, Found, Hanging, Lost, Moved, Seen
from pupawatch.model.fold import fold
from pupawatch.model.pupa import Pupa

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
NOON = datetime(2026, 8, 1, 12, tzinfo=UTC)


def pupa(*told: tuple[type[Entry], float, dict[str, object]]) -> Pupa:
    """A pupa of these entries: kind, days after NOON, and what else the entry says."""
    entries = []
    for n, (kind, days, more) in enumerate(told):
        happened = NOON + days * DAY
        basics = {"id": f"{n:02}", "act": f"{n:02}", "happened": happened, "recorded": happened, "zone": "UTC"}
        entries.append(kind(**basics, pupa="p", **more))  # type: ignore[arg-type]
    return fold("p", entries)


FOUND = (Found, 0.0, {"label": "A1", "species": "monarch", "place": "jar", "since": NOON - 12 * HOUR})
MOVED = (Moved, 3.0, {"to": "cage"})


def test_a_pupa_is_asked_about_with_its_interval_its_places_and_its_colours() -> None:
    seen = watched(pupa(FOUND, MOVED, (Seen, 8.0, {"stage": "darkening"})), {}, NOON + 9 * DAY)
    assert seen is not None
    assert (seen.formed_from, seen.formed_to) == (NOON - 12 * HOUR, NOON)
    assert [(stay.place, stay.since) for stay in seen.stays] == [("jar", NOON), ("cage", NOON + 3 * DAY)]
    assert [(s.stage, s.at) for s in seen.sightings] == [("darkening", NOON + 8 * DAY)]
    assert seen.alive_at == NOON + 8 * DAY


def test_a_look_at_its_place_says_that_it_was_still_inside() -> None:
    looks = {"jar": [NOON + 2 * DAY, NOON + 5 * DAY], "cage": [NOON + 1 * DAY, NOON + 6 * DAY, NOON + 30 * DAY]}
    seen = watched(pupa(FOUND, MOVED), looks, NOON + 9 * DAY)
    assert seen is not None
    assert seen.alive_at == NOON + 6 * DAY
    only_jar = watched(pupa(FOUND, MOVED), {"jar": looks["jar"]}, NOON + 9 * DAY)
    assert only_jar is not None
    assert only_jar.alive_at == NOON + 3 * DAY  # the look at the jar came after it had left


def test_what_is_not_a_living_pupa_is_not_asked_about() -> None:
    later = NOON + 20 * DAY
    hanging = (Hanging, 0.0, {"label": "A1", "species": "monarch", "place": "jar"})
    assert watched(pupa(hanging), {}, later) is None
    assert watched(pupa(FOUND, (Emerged, 12.0, {})), {}, later) is None
    assert watched(pupa(FOUND, (Lost, 12.0, {"cause": "unknown"})), {}, later) is None
    assert watched(pupa(FOUND, (Seen, 12.0, {"stage": "empty"})), {}, later) is None
    assert watched(pupa(FOUND), {}, NOON - HOUR) is None


def test_a_finished_pupa_teaches_both_its_ends() -> None:
    emerged = (Emerged, 12.0, {"since": NOON + 11 * DAY})
    taught = finished(pupa(FOUND, MOVED, emerged), {})
    assert taught is not None
    assert (taught.emerged_from, taught.emerged_to) == (NOON + 11 * DAY, NOON + 12 * DAY)
    assert [stay.place for stay in taught.stays] == ["jar", "cage"]


def test_without_a_beginning_the_last_look_bounds_the_emergence() -> None:
    told = story(pupa(FOUND, (Emerged, 12.0, {})), {"jar": [NOON + 4 * DAY, NOON + 11.5 * DAY, NOON + 12 * DAY]})
    assert told is not None
    assert told.emerged_from == NOON + 11.5 * DAY
    assert told.looks == [NOON, NOON + 4 * DAY, NOON + 11.5 * DAY]


def test_an_emergence_before_the_pupation_teaches_nothing() -> None:
    assert finished(pupa(FOUND, (Emerged, -2.0, {})), {}) is None
    assert finished(pupa(FOUND), {}) is None
