"""Instants, spans and hours: typed by a keeper, reckoned in UTC, shown in the keeper's zone.

Hang time is elapsed time, so every subtraction is made between UTC instants; only typing and showing know of
zones and summer time.
"""

import re
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

from pupawatch.errors import NotUnderstood
from pupawatch.model.text import quoted

HOUR = timedelta(hours=1)


class Span(NamedTuple):
    """Something happened after ``since`` (None: not known) and by ``until``, both UTC instants."""

    since: datetime | None
    until: datetime


def in_years(moment: datetime) -> bool:
    """Whether an instant lies in the years in which anything can have happened."""
    return _BEGIN <= moment < _END


@lru_cache(maxsize=1024)
def is_zone(name: str) -> bool:
    """Whether this computer knows a time zone of that IANA name."""
    try:
        ZoneInfo(name)
    except (ValueError, OSError, KeyError):
        return False
    return True


def hours_between(earlier: datetime, later: datetime) -> float:
    """Elapsed hours between two instants with an offset, true across summer time and zones."""
    return (later.astimezone(UTC) - earlier.astimezone(UTC)) / HOUR


_TIME = re.compile(
    r"(?:(?P<date>\d{4}-\d{2}-\d{2})|(?P<word>today|yesterday))?"
    r"(?:(?:^|[T ])(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:\.\d+)?)?)?"
    r" ?(?P<offset>Z|[+-]\d{2}:?\d{2})?",
    re.IGNORECASE | re.ASCII,
)
YEARS = range(1900, 2200)
"""The years in which anything can have happened; beyond lies a slip of the pen."""
_BEGIN, _END = (datetime(year, 1, 1, tzinfo=UTC) for year in (YEARS.start, YEARS.stop))


def parse_span(text: str, zone: str, now: datetime | None = None) -> Span:
    """What was typed as a time: a moment (``since`` = ``until``), or the whole day where only a date is given.

    text: ISO 8601, date with or without time, offset or Z; where ``now`` is given also ``06:40``,
    ``yesterday 21:00``. Without an offset the time is in ``zone`` (IANA name). Raises NotUnderstood for anything
    else, and for a local time that a change of summer time skips or repeats: it is never guessed.
    """
    text = text.strip()
    match = _TIME.fullmatch(text)
    if not text or not match or (match["date"] is None and now is None):
        raise NotUnderstood(f"{quoted(text)} is not a time; write it like 2026-08-14T06:40 or 2026-08-14T06:40+02:00")
    day = _day_of(match, zone, now)
    if match["hour"] is None:
        if match["offset"]:
            raise NotUnderstood(f"{quoted(text)} has an offset but no time of day; add one, as in {day}T06:40Z")
        return Span(start_of_day(day, zone), start_of_day(day + timedelta(days=1), zone))
    clock = time(int(match["hour"]), int(match["minute"]), int(match["second"] or 0)) if _is_clock(match) else None
    if clock is None:
        raise NotUnderstood(f"{quoted(text)} is not a time of day; hours go from 00 to 23, minutes to 59")
    moment = _with_offset(day, clock, match) if match["offset"] else _in_zone(day, clock, zone, text)
    return Span(moment, moment)


def _day_of(match: re.Match[str], zone: str, now: datetime | None) -> date:
    text = match.string
    if match["date"]:
        try:
            day = date.fromisoformat(match["date"])
        except ValueError:
            raise NotUnderstood(f"{quoted(text)} is not a day of the calendar") from None
        if day.year not in YEARS:
            raise NotUnderstood(f"{quoted(text)}: the year is not between {YEARS.start} and {YEARS.stop - 1}")
        return day
    assert now is not None
    is_yesterday = match["word"] and match["word"].lower() == "yesterday"
    return local_day(now, zone) - timedelta(days=1 if is_yesterday else 0)


def _is_clock(match: re.Match[str]) -> bool:
    return int(match["hour"]) < 24 and int(match["minute"]) < 60 and int(match["second"] or 0) < 60


def _with_offset(day: date, clock: time, match: re.Match[str]) -> datetime:
    offset = "+00:00" if match["offset"].upper() == "Z" else match["offset"]
    try:
        return datetime.fromisoformat(f"{day}T{clock:%H:%M:%S}{offset}").astimezone(UTC)
    except ValueError:
        text = quoted(match.string)
        raise NotUnderstood(f"{text}: there is no offset {offset}; write it like +02:00") from None


def _in_zone(day: date, clock: time, zone: str, text: str) -> datetime:
    import pendulum

    at = clock.hour, clock.minute, clock.second
    try:
        local = pendulum.datetime(day.year, day.month, day.day, *at, tz=zone, raise_on_unknown_times=True)
    except pendulum.tz.exceptions.AmbiguousTime:
        raise NotUnderstood(
            f"{quoted(text)} came twice in {zone} (the clocks went back); add the offset that was in force"
        ) from None
    except pendulum.tz.exceptions.NonExistingTime:
        raise NotUnderstood(
            f"{quoted(text)} did not exist in {zone} (the clocks went forward); add an offset or correct it"
        ) from None
    return datetime.fromtimestamp(local.timestamp(), UTC)


def parse_day(text: str, zone: str, now: datetime) -> date:
    """The local day that is typed, or on which the time typed lies. Raises NotUnderstood as ``parse_span``."""
    span = parse_span(text, zone, now)
    return local_day(span.since or span.until, zone)


def local_day(moment: datetime, zone: str) -> date:
    """The day of the calendar that it is at ``moment`` in ``zone``."""
    return moment.astimezone(ZoneInfo(zone)).date()


def first_of_season(day: date, starts_month: int) -> date:
    """The first day of the season ``day`` lies in. starts_month: 1 to 12, the month that begins one."""
    return date(day.year - (day.month < starts_month), starts_month, 1)


def start_of_day(day: date, zone: str) -> datetime:
    """The UTC instant at which ``day`` begins in ``zone``."""
    return datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(zone)).astimezone(UTC)


def start_of_round_day(now: datetime, zone: str, round_starts_hour: int) -> datetime:
    """The last time the keeper's day began: the newest ``round_starts_hour`` o'clock local time, in UTC."""
    local = now.astimezone(ZoneInfo(zone))
    start = local.replace(hour=round_starts_hour, minute=0, second=0, microsecond=0)
    if start > local:
        start -= timedelta(days=1)
    return start.astimezone(UTC)


_ROUND = timedelta(hours=6, minutes=30)
_NIGHT_HOURS, _NOON = 3, 12


def coming_mornings(now: datetime, zone: str, days: int) -> list[datetime]:
    """Now, and the rounds of so many coming mornings, as UTC instants: at this time of day where a keeper is up in the
    morning, else at half past six."""
    local = now.astimezone(ZoneInfo(zone))
    at = timedelta(hours=local.hour, minutes=local.minute, seconds=local.second, microseconds=local.microsecond)
    if not _NIGHT_HOURS <= local.hour < _NOON:
        at = _ROUND
    first = (local - timedelta(hours=_NIGHT_HOURS)).date()
    midnights = (datetime(day.year, day.month, day.day) for day in (first + timedelta(days=n + 1) for n in range(days)))
    return [now, *((midnight + at).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC) for midnight in midnights)]


def iso(moment: datetime) -> str:
    """UTC ISO 8601 with offset, for other programs."""
    return moment.astimezone(UTC).isoformat(timespec="seconds")


def iso_exact(moment: datetime) -> str:
    """UTC to the microsecond, so that the order of the texts is the order of the instants."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def shown_time(moment: datetime, zone: str, now: datetime | None = None) -> str:
    """``moment`` as the keeper reads it in ``zone``: ``Tue 8 Sep 06:40``, or ``06:40`` on the day of ``now``."""
    local = moment.astimezone(ZoneInfo(zone))
    clock = f"{local:%H:%M}"
    if now is not None:
        today = local_day(now, zone)
        if local.date() == today:
            return clock
        if local.date() == today - timedelta(days=1):
            return f"yesterday {clock}"
        if local.date() == today + timedelta(days=1):
            return f"tomorrow {clock}"
        if local.year != today.year:
            return f"{local.day} {local:%b %Y} {clock}"
    return f"{local:%a} {local.day} {local:%b} {clock}"
