"""What a journal and the keeper's settings tell of the temperatures of each place."""

import csv
from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from math import inf
from pathlib import Path
from typing import NamedTuple

from pupawatch import disk
from pupawatch.care.forecast.loggers import (
    APART_C,
    SILENT_HOURS,
    Loggers,
    Readings,
    Stuck,
    apart_c,
    averaged,
    standing_still,
    without,
)
from pupawatch.care.forecast.records import Conditions, DayRange, Temperatures
from pupawatch.care.forecast.sun import Sky
from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.keeper.desk import Desk
from pupawatch.model.degrees import COLDEST_C, HOTTEST_C, Unit, degrees, shown_degrees, typed_degrees
from pupawatch.model.entries import Entry, Measured, Tied, in_order
from pupawatch.model.fields import CELSIUS, is_day
from pupawatch.model.settings import Settings
from pupawatch.model.text import quoted
from pupawatch.model.times import instant, local_day, shown_time
from pupawatch.words.entries import entry_words

_DAY = timedelta(days=1)
LATELY = timedelta(days=45)
"""So far back readings are looked at for what the days just past were like."""
_EVER = datetime(1970, 1, 1, tzinfo=UTC)
NOTHING: Mapping[str, list[DayRange]] = {}


class Tie(NamedTuple):
    """A sensor tells of a place between two POSIX seconds."""

    sensor: str
    since: float
    until: float


def told_of_temperatures(desk: Desk) -> list[Entry]:
    """What was recorded of temperatures, and which places a sensor tells of, in order.

    Whenever it was recorded: a season that is looked back on was as warm then as is known now.
    """
    return sorted([*desk.written("measured"), *desk.written("tied")], key=in_order)


def conditions(
    desk: Desk, now: datetime, expected: Mapping[str, list[DayRange]] = NOTHING, since: datetime = _EVER
) -> Conditions:
    """What is known of the temperatures of every place from ``since`` until ``now``, and expected after it.

    expected: as ``expected_days`` gives it.
    """
    settings = desk.settings
    written = told_of_temperatures(desk)
    tied, days = ties(written), _days(written, local_day(now, settings.zone))
    read = {
        sensor: Readings(*desk.journal.readings(sensor, since.timestamp(), now.timestamp()))
        for sensor in {tie.sensor for some in tied.values() for tie in some}
    }
    faults = {sensor: standing_still(told) for sensor, told in read.items()}
    sound = {sensor: without(told, faults[sensor]) for sensor, told in read.items()}
    told, loggers = {}, {}
    for name in dict.fromkeys([*(place.name for place in settings.places), *tied, *days]):
        kept_at = settings.place(name).temperature_c
        chosen = _chosen(tied.get(name, ()), settings.place(name).logger)
        (at_seconds, celsius), error_c = _told_of(chosen, sound)
        about = _loggers(chosen, sound, faults, now, settings.zone, max(days.get(name, ()), default=None))
        if about != Loggers():
            loggers[name] = about
        # What is expected of the weather holds where nothing keeps a place warm.
        ahead = expected.get(name, expected.get("", ()) if kept_at is None else ())
        told[name] = Temperatures(at_seconds, celsius, sorted(days.get(name, {}).values()), kept_at, ahead, error_c)
    return Conditions(sky(desk), told, [_doubt(entry) for entry in written if not _is_plausible(entry)], loggers)


def _chosen(tied: Sequence[Tie], logger: str) -> Sequence[Tie]:
    """The ties that count: those of the logger that the settings name for the place, where it tells of it at all."""
    wanted = [tie for tie in tied if tie.sensor.casefold() == logger.strip().casefold()]
    return wanted or tied


def _loggers(
    tied: Sequence[Tie],
    sound: Mapping[str, Readings],
    faults: Mapping[str, Sequence[Stuck]],
    now: datetime,
    zone: str,
    written: date | None,
) -> Loggers:
    """What is to be known of the loggers that tell of a place now. written: the newest day recorded by hand."""
    at = now.timestamp()
    names = list(dict.fromkeys(tie.sensor for tie in tied if tie.since <= at < tie.until))
    newest = {name: sound[name].at_seconds[-1] for name in names if sound[name].at_seconds}
    still = [(name, fault) for name in names for fault in faults[name] if at - fault.until <= SILENT_HOURS * 3600]
    silent = None
    if newest and (written is None or local_day(now, zone) - written > _DAY):
        last = max(newest, key=lambda name: newest[name])
        stuck = {name for name, fault in still if fault.is_fault}
        if at - newest[last] > SILENT_HOURS * 3600 and last not in stuck:
            silent = last, newest[last]
    together = tuple(name for name in names if name in newest) if len(newest) > 1 else ()
    spread = apart_c([sound[name] for name in together], at) if together else None
    return Loggers(silent, tuple(still), together, spread if spread is not None and spread > APART_C else None)


def ties(told: Iterable[Entry]) -> dict[str, list[Tie]]:
    """Which sensors tell of each place, and in which of their readings: one that was carried elsewhere tells of the
    place where it hung until then. told: as ``told_of_temperatures`` gives it."""
    tied: dict[str, list[Tie]] = {}
    for entry in told:
        if not isinstance(entry, Tied):
            continue
        start = entry.since.timestamp() if entry.since else -inf
        for place, some in tied.items():
            cut = [tie._replace(until=min(tie.until, start)) if tie.sensor == entry.sensor else tie for tie in some]
            tied[place] = [tie for tie in cut if tie.since < tie.until]
        for place in entry.places:
            tied.setdefault(place, []).append(Tie(entry.sensor, start, inf))
    return {place: some for place, some in tied.items() if some}


def lately_told(desk: Desk, now: datetime) -> Mapping[str, Loggers]:
    """What is to be known of the loggers of each place, from the readings of the last weeks."""
    return conditions(desk, now, since=now - LATELY).loggers


def lately(desk: Desk, place: str, now: datetime) -> str:
    """What is known of the temperature of a place by now, in a sentence."""
    settings, unit = desk.settings, desk.settings.unit
    written = told_of_temperatures(desk)
    sensor = next((tie.sensor for tie in reversed(ties(written).get(place, ())) if tie.until == inf), "")
    ranges = _days(written, local_day(now, settings.zone)).get(place, {})
    kept_at = settings.place(place).temperature_c
    span = desk.journal.reading_span(sensor) if sensor else None
    spoke = None if span is None else instant(span[1])
    if spoke is not None and now - spoke <= _DAY:
        at_seconds, celsius = desk.journal.readings(sensor, (now - _DAY).timestamp(), now.timestamp())
        if celsius:
            last = shown_time(instant(at_seconds[-1]), settings.zone, now)
            day = f"{degrees(min(celsius), unit)} to {shown_degrees(max(celsius), unit)} within a day"
            return f"{shown_degrees(celsius[-1], unit)} at {last}, {day} (logger {sensor})."
    told = []
    if ranges:
        newest = ranges[max(ranges)]
        low, high = degrees(newest.low_c, unit), shown_degrees(newest.high_c, unit)
        told.append(f"{low} to {high} on {newest.day:%a} {newest.day.day} {newest.day:%b}, recorded")
    if kept_at is not None:
        told.append(f"usually kept at {shown_degrees(kept_at, unit)}")
    if spoke is not None:
        told.append(f"no readings from {sensor} since {shown_time(spoke, settings.zone, now)}")
    return f"{'; '.join(told)}." if told else "nothing is known."


def _days(told: Iterable[Entry], today: date) -> dict[str, dict[date, DayRange]]:
    """The days up to today that were recorded, by place."""
    days: dict[str, dict[date, DayRange]] = {}
    for entry in told:
        if isinstance(entry, Measured) and _is_plausible(entry) and (day := date.fromisoformat(entry.day)) <= today:
            days.setdefault(entry.place, {})[day] = DayRange(day, entry.low_c, entry.high_c)
    return days


def _is_plausible(entry: Entry) -> bool:
    """Whether any place can have been so; no door lets in what cannot, but a journal is never cleaned of it."""
    if not isinstance(entry, Measured):
        return True
    return is_day(entry.day) and CELSIUS.holds(entry.low_c) and CELSIUS.holds(entry.high_c)


def _doubt(entry: Entry) -> str:
    return f"The entry “{entry.about}, {entry_words(entry)}” is not possible; the forecast ignores it."


def _told_of(tied: Sequence[Tie], read: Mapping[str, Readings]) -> tuple[Readings, float]:
    """What the sensors of a place told while they were tied to it, in order of time, and how far that may err; of
    several their mean."""
    parts = []
    for sensor, since, until in tied:
        at_seconds, celsius = read[sensor]
        first, last = bisect_left(at_seconds, since), bisect_left(at_seconds, until)
        parts.append(Readings(at_seconds[first:last], celsius[first:last]))
    return averaged(parts)


def sky(desk: Desk) -> Sky:
    """Where the keeper is."""
    return Sky(desk.settings.zone, desk.settings.keeper.latitude, desk.settings.keeper.longitude)


def expected_file(folder: Path | None) -> Path:
    """Where the keeper puts what is expected of the coming days, if anything."""
    from pupawatch.settings import default_folder

    return (folder or default_folder()) / "expected.csv"


def expected_days(settings: Settings, folder: Path | None) -> dict[str, list[DayRange]]:
    """The temperatures expected for the coming days, by place; under "" those for every place that nothing keeps warm.

    A table ``day,low_c,high_c`` (or ``low_f,high_f``) and, where they differ, ``place``, in ``folder``. Raises
    NotUnderstood with the line that is wrong, Unusable where it cannot be read.
    """
    path = expected_file(folder)
    if not path.exists():
        return {}
    told: dict[str, list[DayRange]] = {}
    try:
        with disk.regular(path).open(encoding="utf-8-sig", newline="") as file:
            delimiter = max(",;\t", key=file.readline().count)
            file.seek(0)
            for number, row in enumerate(csv.DictReader(file, delimiter=delimiter), start=2):
                if any((cell or "").strip() for cell in row.values() if not isinstance(cell, list)):
                    place, day = _expected_day(settings, row, f"{path}, line {number}")
                    told.setdefault(place, []).append(day)
    except OSError as error:
        raise Unusable(f"{path} cannot be read: {error.strerror}.") from None
    except (UnicodeDecodeError, csv.Error) as error:
        raise Unusable(f"{path} cannot be read: {error}.") from None
    return {place: sorted(ranges) for place, ranges in told.items()}


def _expected_day(settings: Settings, row: Mapping[str, str], where: str) -> tuple[str, DayRange]:
    unit: Unit = "F" if "low_f" in row else "C"
    try:
        low_c, high_c = (typed_degrees(row[f"{end}_{unit.lower()}"], unit) for end in ("low", "high"))
        day = date.fromisoformat(row["day"].strip())
    except (KeyError, TypeError, ValueError, AttributeError, NotUnderstood):
        needs = "needs day (as 2026-08-14), low_c and high_c (or low_f and high_f)"
        raise NotUnderstood(f"{where}: {needs}.") from None
    if not COLDEST_C <= low_c <= high_c <= HOTTEST_C:
        unit_words = f"{degrees(COLDEST_C, unit)} to {shown_degrees(HOTTEST_C, unit)}"
        raise NotUnderstood(f"{where}: the lowest comes before the highest, and both must lie within {unit_words}.")
    place = (row.get("place") or "").strip()
    if place and not settings.knows_place(place):
        raise NotUnderstood(f"{where}: there is no place {quoted(place)}.")
    return place, DayRange(day, low_c, high_c)
