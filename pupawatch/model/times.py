"""Instants, spans and hours: typed by a keeper, reckoned in UTC, shown in the keeper's zone.

Hang time is elapsed time, so every subtraction is made between UTC instants; only typing and showing know of
zones and summer time.
"""

from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from pupawatch.errors import NotUnderstood
from pupawatch.model.text import quoted

if TYPE_CHECKING:
    from pendulum import Timezone

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


_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def instant(posix_seconds: float) -> datetime:
    """The instant so many seconds after 1970 began in UTC, also before it, where some systems know none."""
    return _EPOCH + timedelta(seconds=posix_seconds)


def hours_between(earlier: datetime, later: datetime) -> float:
    """Elapsed hours between two instants with an offset, true across summer time and zones."""
    return (later.astimezone(UTC) - earlier.astimezone(UTC)) / HOUR


YEARS = range(1900, 2200)
"""The years in which anything can have happened; beyond lies a slip of the pen."""
_BEGIN, _END = (datetime(year, 1, 1, tzinfo=UTC) for year in (YEARS.start, YEARS.stop))


def at_clock(day: date, hour: int, minute: int, zone: str, text: str, second: int = 0) -> datetime:
    """The UTC instant of a local day and hour. text: what was typed, for what is said where a change of summer time
    skips or repeats that hour: it is never guessed, and raises NotUnderstood."""
    import pendulum

    try:
        local = pendulum.datetime(
            day.year, day.month, day.day, hour, minute, second, tz=_pendulum_zone(zone), raise_on_unknown_times=True
        )
    except pendulum.tz.exceptions.AmbiguousTime:
        raise NotUnderstood(
            f"{quoted(text)} came twice in {zone} (the clocks went back); add the offset that was in force"
        ) from None
    except pendulum.tz.exceptions.NonExistingTime:
        raise NotUnderstood(
            f"{quoted(text)} did not exist in {zone} (the clocks went forward); add an offset or correct it"
        ) from None
    return instant(local.timestamp())


@lru_cache(maxsize=8)
def _pendulum_zone(zone: str) -> "Timezone":
    """pendulum reads a zone anew from its file whenever it is named."""
    import pendulum

    return pendulum.timezone(zone)


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
