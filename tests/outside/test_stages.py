"""What a dark or clear pupa says of its emergence and its pupation, against dated examples of observers.

Each example stands beside its test; they are single animals, so they bound the answer and are no rates.
"""

from datetime import UTC, datetime, timedelta

import pytest

from pupawatch import settings
from pupawatch.care.forecast import (
    Conditions,
    DayRange,
    Finished,
    Outlook,
    Sighting,
    Stay,
    Temperatures,
    Watched,
    forecaster,
)
from pupawatch.care.forecast.sun import Sky
from pupawatch.words.forecast import outlook_notes

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
SPECIES = settings.load().species
NOW = datetime(2026, 9, 10, 23, 0, tzinfo=UTC)  # six in the evening in Chicago
ZONE = "America/Chicago"


def place(low: float, high: float | None = None, days: int = 60) -> Conditions:
    ranges = [DayRange((NOW - n * DAY).date(), low, low if high is None else high) for n in range(days, -3, -1)]
    return Conditions(Sky(ZONE, 41.9, -87.6), {"place": Temperatures(days=ranges, expected=ranges[-3:])})


def seen(days: float, *sightings: Sighting, known: Conditions, species: str = "monarch", since: bool = True) -> Outlook:
    formed = NOW - days * DAY
    pupa = Watched(formed if since else None, formed, NOW, [Stay(formed, "place")], sightings)
    return forecaster(SPECIES[species], known, NOW).outlooks([pupa])[0]


def out_by(outlook: Outlook, hours: float) -> float:
    """The chance to be out by so many hours from NOW, by the days told."""
    day = (NOW + hours * HOUR).date()
    return sum(p for at, p in outlook.by_day if at <= day)


def test_a_pupa_clear_in_the_evening_is_out_the_next_morning_also_in_a_cool_place() -> None:
    """Warm (a city garden's weblog): colour in the evening, clear at seven, out at eight. Cool (a weblog, February, 29
    days): transparent three hours before. A wintered swallowtail outdoors: clear on 23 May, out next day at 07:43."""
    sightings = Sighting(NOW - 24 * HOUR, "darkening"), Sighting(NOW - HOUR, "clear")
    for celsius, days in ((22.0, 12.0), (15.0, 29.0)):
        assert out_by(seen(days, *sightings, known=place(celsius)), 20) > 0.7


def test_in_the_cold_dark_may_last_for_weeks() -> None:
    """An observer network's report from the Texas coast, 2007: outdoors at 1 to 3 °C at night, dark after about four
    days, out three weeks later, after two days near 21 °C."""
    dark = Sighting(NOW - 12 * DAY, "set"), Sighting(NOW - 10 * DAY, "darkening")
    cold = seen(45, *dark, known=place(2, 9))
    assert not cold.overdue
    assert out_by(cold, 48) < 0.3
    assert seen(16, *dark, known=place(24)).overdue


def test_a_cool_pupa_changes_over_its_last_three_days() -> None:
    """A weblog, February: 29 days and six hours, visible change over the last three."""
    outlook = seen(26.25, Sighting(NOW - DAY, "set"), Sighting(NOW - HOUR, "darkening"), known=place(15))
    assert outlook.low is not None
    assert outlook.high is not None
    assert outlook.low <= NOW + 3.5 * DAY
    assert NOW + 2.5 * DAY <= outlook.high < NOW + 14 * DAY


@pytest.mark.parametrize(("stage", "least"), [("darkening", 0.75), ("clear", 0.88)])
def test_a_pupa_found_dark_is_dated_backwards(stage: str, least: float) -> None:
    """First colour at 90 to 95 % of the pupal time in three dated examples; 75 and 88 % are the least plausible shares.
    At a constant 22 °C the profile needs 12.2 days."""
    found = seen(0.02, Sighting(NOW - HOUR / 2, stage), known=place(22), since=False)  # type: ignore[arg-type]
    assert isinstance(found.grounds.dated, tuple)  # type: ignore[union-attr]
    since, until = found.grounds.dated  # type: ignore[union-attr]
    assert (NOW - until) / DAY == pytest.approx(least * 12.2, abs=0.3)
    assert since <= NOW - 0.95 * 12.2 * DAY <= until
    assert any("from its colour it pupated about" in note for note in outlook_notes(found))
    green = seen(0.02, Sighting(NOW - HOUR / 2, "set"), known=place(22), since=False)
    assert green.grounds.dated is None  # type: ignore[union-attr]


def test_the_keepers_own_sightings_teach_how_long_a_pupa_is_dark() -> None:
    """Two dated examples went from colour to emergence in 12 to 14 hours; the profile says one to three days."""

    def quick(n: int) -> Finished:
        formed = NOW - (30 - n) * DAY
        out = formed + 12 * DAY
        sightings = (Sighting(out - 14 * HOUR, "set"), Sighting(out - 12 * HOUR, "darkening"))
        return Finished(formed, formed, out - HOUR, out, [Stay(formed, "place")], sightings)

    known, formed = place(22), NOW - 11.5 * DAY
    dark = Sighting(NOW - 3 * HOUR, "set"), Sighting(NOW - HOUR, "darkening")
    pupa = Watched(formed, formed, NOW, [Stay(formed, "place")], dark)
    monarch = SPECIES["monarch"]
    untaught, taught = (
        forecaster(monarch, known, NOW, own).outlooks([pupa])[0] for own in ((), [quick(n) for n in range(12)])
    )
    assert out_by(taught, 20) > out_by(untaught, 20) + 0.1
