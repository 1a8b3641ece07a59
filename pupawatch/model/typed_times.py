"""A time as it was typed: ISO 8601, an hour of today or yesterday, or what people say (``phrases``)."""

import re
from datetime import UTC, date, datetime, time, timedelta

from pupawatch.errors import NotUnderstood
from pupawatch.model.phrases import parse_phrase
from pupawatch.model.text import quoted
from pupawatch.model.times import YEARS, Span, at_clock, local_day, start_of_day

_TIME = re.compile(
    r"(?:(?P<date>\d{4}-\d{2}-\d{2})|(?P<word>today|yesterday))?"
    r"(?:(?:^|[T ])(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:\.\d+)?)?)?"
    r" ?(?P<offset>Z|[+-]\d{2}:?\d{2})?",
    re.IGNORECASE | re.ASCII,
)


def parse_span(text: str, zone: str, now: datetime | None = None) -> Span:
    """What was typed as a time: a moment (``since`` = ``until``), or the whole day where only a date is given.

    text: ISO 8601, date with or without time, offset or Z; where ``now`` is given also ``06:40``, ``yesterday 21:00``,
    and what ``phrases`` knows. Without an offset the time is in ``zone`` (IANA name). Raises NotUnderstood for anything
    else, and for a local time that a change of summer time skips or repeats: it is never guessed.
    """
    text = text.strip()
    match = _TIME.fullmatch(text)
    may_be_said = now if text and (not match or _is_bare(match)) else None
    if may_be_said is not None and (said := parse_phrase(text, zone, may_be_said)) is not None:
        return said
    if not text or not match or (match["date"] is None and now is None):
        or_like = (
            "2026-08-14T06:40+02:00" if now is None else "06:40, mon 07:30, yesterday 21:00, 3 days ago, last night"
        )
        raise NotUnderstood(f"{quoted(text)} is not a time; write it like 2026-08-14T06:40 or {or_like}")
    day = _day_of(match, zone, now)
    if match["hour"] is None:
        if match["offset"]:
            raise NotUnderstood(f"{quoted(text)} has an offset but no time of day; add one, as in {day}T06:40Z")
        return Span(start_of_day(day, zone), start_of_day(day + timedelta(days=1), zone))
    clock = time(int(match["hour"]), int(match["minute"]), int(match["second"] or 0)) if _is_clock(match) else None
    if clock is None:
        raise NotUnderstood(f"{quoted(text)} is not a time of day; hours go from 00 to 23, minutes to 59")
    if match["offset"]:
        moment = _with_offset(day, clock, match)
    else:
        moment = at_clock(day, clock.hour, clock.minute, zone, text, clock.second)
    return Span(moment, moment)


def _is_bare(match: re.Match[str]) -> bool:
    """Whether it is an hour and a minute and nothing more: which day is meant depends on what is past."""
    return bool(match["hour"]) and not (match["date"] or match["word"] or match["second"] or match["offset"])


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


def parse_day(text: str, zone: str, now: datetime) -> date:
    """The local day that is typed, or on which the time typed lies. Raises NotUnderstood as ``parse_span``."""
    span = parse_span(text, zone, now)
    return local_day(span.since or span.until, zone)
