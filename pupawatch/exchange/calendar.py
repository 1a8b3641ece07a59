"""What is coming, as a calendar (RFC 5545): emergences with their odds, wings to judge, releases, moves.

Each event has the same identity whenever it is written, so importing the file again moves events. Nothing rings unless
asked for, and notes stay in the journal.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import NamedTuple

from pupawatch.care import adults
from pupawatch.care.round import Round
from pupawatch.keeper import Keeper
from pupawatch.model.text import shown
from pupawatch.model.times import local_day
from pupawatch.words import forecast as forecast_words

_LASTS = timedelta(minutes=30)


class Event(NamedTuple):
    """One event. what: tells it from others about the same pupa; ends: of a day, the day after the last."""

    pupa: str
    what: str
    title: str
    words: str
    begins: date | datetime
    ends: date | datetime


def events(keeper: Keeper, morning: Round) -> Iterator[Event]:
    """All that is coming, as known this morning."""
    now, zone, settings = morning.now, keeper.settings.zone, keeper.settings
    for standing in morning.standings:
        pupa, outlook = standing.pupa, standing.outlook
        if pupa.is_open and outlook and outlook.days:
            first, last = outlook.days
            odds = forecast_words.odds_words(outlook, now, zone)
            ends = (last or first) + timedelta(days=1)
            yield Event(pupa.id, "emerges", f"{pupa.label} may emerge", f"In {pupa.place}: {odds}", first, ends)
        if one := standing.decision:
            if one.place and one.kind == "move":
                day = local_day(now, zone)
                words = f"{one.why} Hold silk or stalk, never the body."
                yield Event(pupa.id, "move", f"Move {pupa.label} to {one.place}", words, day, day + timedelta(days=1))
            elif one.later:
                day = local_day(now, zone) + timedelta(days=one.later.morning)
                words = f"{one.why} Hold silk or stalk, never the body."
                yield Event(
                    pupa.id, "move", f"Move {pupa.label} to {one.later.place}", words, day, day + timedelta(days=1)
                )
    for one_adult in adults.living(keeper.state, now, settings):
        pupa, told = one_adult.pupa, one_adult.clocks
        if not pupa.wings:
            yield Event(pupa.id, "wings", f"Judge the wings of {pupa.label}", "Look, do not touch.",
                        told.judge_from, told.judge_from + _LASTS)  # fmt: skip
        if not pupa.released and not pupa.kept and not adults.cannot_fly(pupa, settings):
            words = "In dry, warm weather, by day. Your local rules on releasing come first."
            title = f"{pupa.label} may be released from now"
            yield Event(pupa.id, "release", title, words, told.release_from, told.release_from + _LASTS)


def written(keeper: Keeper, morning: Round, alarm_minutes: int | None = None) -> tuple[bytes, int]:
    """The calendar as a file, and how many events it holds. alarm_minutes: before each a reminder, None for none."""
    from icalendar import Alarm, Calendar
    from icalendar import Event as Entry

    calendar = Calendar()
    calendar.add("prodid", "-//pupawatch//pupae//EN")
    calendar.add("version", "2.0")
    count = 0
    for one in events(keeper, morning):
        entry = Entry()
        entry.add("uid", f"{one.what}-{one.pupa}@pupawatch")
        entry.add("dtstamp", morning.now.astimezone(UTC))
        entry.add("sequence", int(morning.now.timestamp()) // 60)
        entry.add("summary", shown(one.title))
        entry.add("description", shown(one.words))
        entry.add("dtstart", _utc(one.begins))
        entry.add("dtend", _utc(one.ends))
        entry.add("transp", "TRANSPARENT")
        if alarm_minutes is not None:
            alarm = Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("description", shown(one.title))
            alarm.add("trigger", timedelta(minutes=-alarm_minutes))
            entry.add_component(alarm)
        calendar.add_component(entry)
        count += 1
    return calendar.to_ical(), count


def _utc(moment: date | datetime) -> date | datetime:
    return moment.astimezone(UTC) if isinstance(moment, datetime) else moment
