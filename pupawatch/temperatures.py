"""What a journal and the keeper's settings tell of the temperatures of each place."""

import csv
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from pupawatch.care.forecast.records import Conditions, DayRange, Temperatures
from pupawatch.care.sun import Sky
from pupawatch.desk import Desk
from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.model.degrees import Unit, degrees, shown_degrees, typed_degrees
from pupawatch.model.entries import Measured, Tied
from pupawatch.model.times import shown_time

_DAY = timedelta(days=1)


def conditions(desk: Desk, now: datetime) -> Conditions:
    """What is known of the temperatures of every place until ``now``, and expected after it."""
    settings = desk.settings
    sensors, days = _told(desk, now)
    expected = _expected(desk)
    read: dict[str, tuple[Sequence[float], Sequence[float]]] = {}
    for sensor in set(sensors.values()):
        read[sensor] = desk.journal.readings(sensor, 0, now.timestamp())
    names = {place.name for place in settings.places} | sensors.keys() | days.keys()
    told = {}
    for name in names:
        at_seconds, celsius = read.get(sensors.get(name, ""), ((), ()))
        ranges = sorted(days.get(name, {}).values())
        ahead = expected.get(name, expected.get("", ()))
        told[name] = Temperatures(at_seconds, celsius, ranges, settings.place(name).temperature_c, ahead)
    return Conditions(sky(desk), told)


def lately(desk: Desk, place: str, now: datetime) -> str:
    """What is known of the temperature of a place by now, in a sentence."""
    settings, unit = desk.settings, desk.settings.unit
    sensors, days = _told(desk, now)
    kept_at = settings.place(place).temperature_c
    if sensor := sensors.get(place):
        at_seconds, celsius = desk.journal.readings(sensor, (now - _DAY).timestamp(), now.timestamp())
        if celsius:
            last = shown_time(datetime.fromtimestamp(at_seconds[-1], UTC), settings.zone, now)
            day = f"{degrees(min(celsius), unit)} to {shown_degrees(max(celsius), unit)} within a day"
            return f"{shown_degrees(celsius[-1], unit)} at {last}, {day} (logger {sensor})."
        if (silent_since := desk.journal.last_reading(sensor)) is not None:
            last = shown_time(datetime.fromtimestamp(silent_since, UTC), settings.zone, now)
            return f"logger {sensor} tells nothing since {last}; bring in what it holds."
    if ranges := days.get(place):
        newest = ranges[max(ranges)]
        range_words = f"{degrees(newest.low_c, unit)} to {shown_degrees(newest.high_c, unit)}"
        return f"{range_words} on {newest.day:%a} {newest.day.day} {newest.day:%b}, written down."
    return f"kept at {shown_degrees(kept_at, unit)}." if kept_at is not None else "nothing is known."


def _told(desk: Desk, now: datetime) -> tuple[dict[str, str], dict[str, dict[date, DayRange]]]:
    """Which sensor tells of each place, and by place the days that were written down."""
    sensors: dict[str, str] = {}
    days: dict[str, dict[date, DayRange]] = {}
    today = now.astimezone(ZoneInfo(desk.settings.zone)).date()
    for entry in desk.temperatures_told():
        if isinstance(entry, Tied):
            sensors = {place: name for place, name in sensors.items() if name != entry.sensor}
            sensors |= dict.fromkeys(entry.places, entry.sensor)
        elif isinstance(entry, Measured):
            day = date.fromisoformat(entry.day)
            if day <= today:
                days.setdefault(entry.place, {})[day] = DayRange(day, entry.low_c, entry.high_c)
    return sensors, days


def sky(desk: Desk) -> Sky:
    """Where the keeper is."""
    return Sky(desk.settings.zone, desk.settings.keeper.latitude, desk.settings.keeper.longitude)


def expected_file(desk: Desk) -> Path:
    """Where the keeper puts what is expected of the coming days, if anything."""
    from pupawatch.settings import default_folder

    return (desk.folder or default_folder()) / "expected.csv"


def _expected(desk: Desk) -> dict[str, list[DayRange]]:
    """The temperatures expected for the coming days, by place; under "" those for every place.

    A table ``day,low_c,high_c`` (or ``low_f,high_f``) and, where they differ, ``place``, in the settings folder.
    """
    path = expected_file(desk)
    if not path.exists():
        return {}
    told: dict[str, list[DayRange]] = {}
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            for number, row in enumerate(csv.DictReader(file), start=2):
                try:
                    unit: Unit = "F" if "low_f" in row else "C"
                    ends = (typed_degrees(row[f"{end}_{unit.lower()}"], unit) for end in ("low", "high"))
                    found = DayRange(date.fromisoformat(row["day"]), *ends)
                except (KeyError, TypeError, ValueError, AttributeError, NotUnderstood):
                    raise NotUnderstood(
                        f"{path}, line {number}: needs day (as 2026-08-14), low_c and high_c (or low_f and high_f)."
                    ) from None
                if found.low_c > found.high_c:
                    raise NotUnderstood(f"{path}, line {number}: the lowest temperature is above the highest.")
                told.setdefault((row.get("place") or "").strip(), []).append(found)
    except (OSError, UnicodeDecodeError) as error:
        raise Unusable(f"{path} cannot be read: {error}.") from None
    return {place: sorted(ranges) for place, ranges in told.items()}
