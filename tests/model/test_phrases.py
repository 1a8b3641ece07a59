"""Times as people say them, against readings worked out by hand from a calendar (September 2026: the 8th is a Tuesday).

Which hours a vague word means is common practice, no source. Changes of summer time: IANA time zone database (America/
Chicago: 8 March and 1 November 2026; Europe/Berlin: 29 March and 25 October 2026).
"""

import subprocess
import sys
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from pupawatch.errors import NotUnderstood
from pupawatch.model.typed_times import parse_span

CHICAGO = "America/Chicago"
TUESDAY = datetime(2026, 9, 8, 6, 41, tzinfo=ZoneInfo(CHICAGO))


def read(typed: str, now: datetime = TUESDAY, zone: str = CHICAGO) -> str:
    """The two ends as local times, one where they are the same."""
    ends = [f"{end.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M}" for end in parse_span(typed, zone, now) if end]
    return " / ".join(dict.fromkeys(ends))


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("mon 7:30", "2026-09-07 07:30"),
        ("Monday, 7.30", "2026-09-07 07:30"),
        ("tue 6:30", "2026-09-08 06:30"),  # today, and past
        ("tue 9:00", "2026-09-01 09:00"),  # today that hour is still to come
        ("thurs 21:00", "2026-09-03 21:00"),
        ("yesterday at 9:15pm", "2026-09-07 21:15"),
        ("12am", "2026-09-08 00:00"),
        ("12 pm", "2026-09-07 12:00"),
        ("21:00", "2026-09-07 21:00"),
        ("06:41", "2026-09-08 06:41"),
        ("3 days ago 21:00", "2026-09-05 21:00"),
        ("3 days ago", "2026-09-05 00:00 / 2026-09-06 00:00"),
        ("a week ago", "2026-09-01 00:00 / 2026-09-02 00:00"),
        ("14 aug", "2026-08-14 00:00 / 2026-08-15 00:00"),
        ("Aug 14 7pm", "2026-08-14 19:00"),
        ("31 dec 8:00", "2025-12-31 08:00"),  # the last one there was
        ("14 sept 2025", "2025-09-14 00:00 / 2025-09-15 00:00"),
        ("14/06/2026 7:30", "2026-06-14 07:30"),  # there is no fourteenth month
        ("06/14/2026", "2026-06-14 00:00 / 2026-06-15 00:00"),
        ("05.05.2026", "2026-05-05 00:00 / 2026-05-06 00:00"),
        ("last night", "2026-09-07 21:00 / 2026-09-08 06:00"),
        ("this morning", "2026-09-08 05:00 / 2026-09-08 06:41"),
        ("evening", "2026-09-07 17:00 / 2026-09-07 22:00"),
        ("sat night", "2026-09-05 21:00 / 2026-09-06 06:00"),
        ("yesterday afternoon", "2026-09-07 12:00 / 2026-09-07 18:00"),
        ("2 hours ago", "2026-09-08 04:41"),
        ("half an hour ago", "2026-09-08 06:11"),
    ],
)
def test_what_people_say_is_read_as_they_mean_it(typed: str, meant: str) -> None:
    assert read(typed) == meant


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("03/04/2026", "can be 3 April or 4 March"),
        ("03/04", "could be one of two days; write the month as a word"),
        ("03/04 7:30", "could be one of two days"),
        ("tomorrow 7:30", "lies ahead; record it once it has happened"),
        ("tonight", "lies ahead"),
        ("31 feb", "not a day of the calendar"),
        ("13pm", "not a time of day"),
        ("25:00", "not a time of day"),
        ("m4", "is not a time"),
        ("M41", "is not a time"),
        ("4", "is not a time"),
        ("monk", "is not a time"),
        ("march", "is not a time"),
        ("soon", "is not a time"),
        ("next mon", "is not a time"),
        ("in 3 days", "is not a time"),
        ("", "is not a time"),
    ],
)
def test_what_is_vague_or_no_time_is_not_guessed(typed: str, told: str) -> None:
    with pytest.raises(NotUnderstood, match=told):
        read(typed)


def test_a_day_that_changes_its_clocks_is_reckoned_by_the_clock_on_the_wall() -> None:
    after = datetime(2026, 11, 2, 7, 0, tzinfo=ZoneInfo(CHICAGO))
    since, until = parse_span("2 days ago night", CHICAGO, after)  # the night of the change: ten hours long
    assert since is not None
    assert (until - since).total_seconds() == 10 * 3600
    with pytest.raises(NotUnderstood, match="came twice"):
        read("yesterday 1:30", after)
    spring = datetime(2026, 3, 29, 9, 0, tzinfo=ZoneInfo("Europe/Berlin"))
    with pytest.raises(NotUnderstood, match="did not exist"):
        read("2:30", spring, "Europe/Berlin")


def test_around_midnight_and_the_new_year() -> None:
    late = datetime(2027, 1, 1, 0, 10, tzinfo=ZoneInfo(CHICAGO))
    assert read("23:50", late) == "2026-12-31 23:50"
    assert read("last night", late) == "2026-12-31 21:00 / 2027-01-01 00:10"
    assert read("31 dec", late) == "2026-12-31 00:00 / 2027-01-01 00:00"
    assert read("thu", late) == "2026-12-31 00:00 / 2027-01-01 00:00"


def test_the_library_is_loaded_for_days_in_words_alone() -> None:
    program = (
        "import sys; from datetime import UTC, datetime; from pupawatch.model.typed_times import parse_span\n"
        "now = datetime(2026, 9, 8, 12, tzinfo=UTC)\n"
        "for typed in ('2026-09-01', '06:40', 'yesterday 21:00', '2 hours ago'): parse_span(typed, 'UTC', now)\n"
        "print('dateparser' in sys.modules); parse_span('mon', 'UTC', now); print('dateparser' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "True"]
