"""Times as people say them: “mon 7:30”, “3 days ago”, “last night”, “14 Aug 7pm”.

Only a closed list of shapes is understood, for the library that reads the days takes almost any word for one: alone it
reads the label m4 as the eighth of April, and decides silently whether 03/04 is in March or in April.
"""

import re
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from pupawatch.errors import NotUnderstood
from pupawatch.model.text import quoted
from pupawatch.model.times import YEARS, Span, at_clock, local_day, start_of_day

if TYPE_CHECKING:
    from collections.abc import Iterator

PARTS = {"morning": (5, 12), "noon": (11, 13), "afternoon": (12, 18), "evening": (17, 22), "night": (21, 30)}
"""The hours that a part of the day means, from and to; a night goes on into the next. Common practice, no source."""

_MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sept?|oct|nov|dec"
_MONTH = rf"(?:{_MONTHS})[a-z]*"
_WEEKDAY = "(?:mon|tue|tues|wed|wednes|thu|thur|thurs|fri|sat|satur|sun)(?:day)?"
_DAY = (
    rf"today|yesterday|(?P<weekday>{_WEEKDAY})|(?:a|an|one|\d{{1,2}}) (?:day|week)s? ago"
    rf"|\d{{1,2}} {_MONTH}(?: \d{{4}})?|{_MONTH} \d{{1,2}}(?: \d{{4}})?|(?P<figures>\d{{1,2}}[/.]\d{{1,2}}[/.]\d{{4}})"
)
_CLOCK = r"(?P<hour>\d{1,2})(?:[:.](?P<minute>\d{2}))? ?(?P<half>[ap]m)?"
_SHAPE = re.compile(rf"(?:(?P<day>{_DAY})(?: |$))?(?:(?P<part>{'|'.join(PARTS)})|{_CLOCK})?")
_AGO = re.compile(r"(?P<number>an?|half an|\d{1,3}) (?P<unit>minute|min|hour|h)s? ago")
_NO_YEAR = re.compile(r"\d{1,2}/\d{1,2}(?: |$)")
_HOURS = {"minute": 1 / 60, "min": 1 / 60, "hour": 1.0, "h": 1.0}
_WEEK = timedelta(days=7)


def parse_phrase(text: str, zone: str, now: datetime) -> Span | None:
    """What was said as a time that is past, in ``zone``: a moment, a whole day, or the hours that a vague word means.

    None where it has none of the shapes known. A day of the week is the last one there was, today included. Without a
    day it is today, or yesterday where that hour is still to come. Raises NotUnderstood where it can mean two things,
    or a day or an hour that there is none of.
    """
    said = " ".join(text.casefold().replace(",", " ").replace(" at ", " ").split())
    if ago := _AGO.fullmatch(said):
        number = {"a": 1.0, "an": 1.0, "half an": 0.5}.get(ago["number"]) or float(ago["number"])
        moment = now - timedelta(hours=number * _HOURS[ago["unit"]])
        return Span(moment, moment)
    if re.match(r"(tomorrow|tonight)\b", said):
        raise NotUnderstood(f"{quoted(text)} lies ahead; record it once it has happened")
    if _NO_YEAR.match(said):
        raise NotUnderstood(f"{quoted(text)} could be one of two days; write the month as a word, as in 3 Apr")
    said = re.sub(r"^last night$", "yesterday night", re.sub(r"^this ", "today ", said))
    told = _SHAPE.fullmatch(said)
    if not said or told is None or (told["hour"] and not told["minute"] and not told["half"]):
        return None
    return _past(list(_readings(told, text, zone, now)), now)


def _past(spans: list[Span], now: datetime) -> Span:
    """The latest of these that has begun; where none has, the first: whoever asked says that it lies ahead."""
    begun = [span for span in spans if (span.since or span.until) <= now]
    since, until = (begun or spans[:1])[0]
    return Span(since, now if since is not None and since <= now < until else until)


def _readings(told: "re.Match[str]", text: str, zone: str, now: datetime) -> "Iterator[Span]":
    """What it can mean, the latest first."""
    day = _day(told, text, zone, now)
    days = [day]
    if told["weekday"]:
        days = [day, day - _WEEK]
    elif not told["day"]:
        days = [day, day - timedelta(days=1)]
    for one in days:
        if told["hour"]:
            moment = at_clock(one, *_clock(told, text), zone, text)
            yield Span(moment, moment)
        elif told["part"]:
            ends = PARTS[told["part"]]
            yield Span(*(at_clock(one + timedelta(days=h // 24), h % 24, 0, zone, text) for h in ends))
        else:
            yield Span(start_of_day(one, zone), start_of_day(one + timedelta(days=1), zone))


def _clock(told: "re.Match[str]", text: str) -> tuple[int, int]:
    hour, minute = int(told["hour"]), int(told["minute"] or 0)
    if not (minute < 60 and (1 <= hour <= 12 if told["half"] else hour < 24)):
        raise NotUnderstood(f"{quoted(text)} is not a time of day; hours go from 00 to 23, minutes to 59")
    return (hour % 12 + 12 * (told["half"] == "pm") if told["half"] else hour), minute


def _day(told: "re.Match[str]", text: str, zone: str, now: datetime) -> date:
    today = local_day(now, zone)
    if not told["day"]:
        return today
    day = _by_figures(told["figures"], text) if told["figures"] else _by_words(told, today, zone, now)
    if day is None:
        raise NotUnderstood(f"{quoted(text)} is not a day of the calendar")
    if day.year not in YEARS:
        raise NotUnderstood(f"{quoted(text)}: the year is not between {YEARS.start} and {YEARS.stop - 1}")
    return day


def _by_words(told: "re.Match[str]", today: date, zone: str, now: datetime) -> date | None:
    import dateparser

    base = now.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
    words = told["weekday"][:3] if told["weekday"] else told["day"]
    if told["weekday"]:  # the library never takes a weekday for today
        base = datetime(today.year, today.month, today.day) + timedelta(days=1)
    settings = {"RELATIVE_BASE": base, "PREFER_DATES_FROM": "past"}
    found = dateparser.parse(words, languages=["en"], settings=settings)
    return None if found is None else found.date()


def _by_figures(figures: str, text: str) -> date | None:
    """A day in figures, where only one of its two readings is one, or both are the same."""
    one, two, year = (int(part) for part in re.split(r"[/.]", figures))
    days = []
    for day, month in ((one, two), (two, one)):
        try:
            days.append(date(year, month, day))
        except ValueError:
            continue
    if len(set(days)) > 1:
        first, second = (f"{day:%d} {day:%B}".lstrip("0") for day in days)
        raise NotUnderstood(f"{quoted(text)} can be {first} or {second}; write the month as a word")
    return days[0] if days else None
