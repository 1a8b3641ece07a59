"""The keeper's acts on temperatures: read off by hand, or told by a logger."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime

from pupawatch.errors import NotUnderstood
from pupawatch.keeper.drafts import Done, Draft, Stamp
from pupawatch.keeper.names import NamingDesk
from pupawatch.model.degrees import COLDEST_C, HOTTEST_C, degrees, shown_degrees
from pupawatch.model.entries import Entry, Measured, Tied
from pupawatch.model.times import Span


class Temperatures:
    """What a keeper tells of temperatures. Errors are as for every act (see ``Keeper``)."""

    def __init__(self, desk: NamingDesk) -> None:
        self._desk = desk

    def measured(self, place: str, low_c: float, high_c: float, day: date) -> Done:
        """The lowest and highest temperature of a day in a place, in °C, as read off by hand."""
        unit = self._desk.settings.unit
        if not (COLDEST_C <= low_c <= high_c <= HOTTEST_C):
            raise NotUnderstood(
                f"{degrees(low_c, unit)} to {shown_degrees(high_c, unit)} cannot be a day's lowest and highest; the "
                f"lower comes first, both must lie between {degrees(COLDEST_C, unit)} and "
                f"{shown_degrees(HOTTEST_C, unit)}."
            )

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            where, warnings = self._desk.place_named(place)
            if day > self._desk.today(now):
                raise NotUnderstood(f"{day} lies in the future; what is expected goes into expected.csv.")
            words = f"{where}, {day}: {degrees(low_c, unit)} to {shown_degrees(high_c, unit)}."
            told = Measured(**stamp.at(), place=where, day=day.isoformat(), low_c=low_c, high_c=high_c)
            return Draft(words, warnings, [told])

        return self._desk.write(None, plan)

    def log(
        self, readings: Iterable[tuple[str, int, float]], sensors: Mapping[str, datetime | None], places: list[str]
    ) -> tuple[int, list[str]]:
        """Keep a logger's readings, and tie its sensors to places where any are named.

        sensors: from when on each tells of them, None for all its readings. Returns how many readings were new, and
        what the keeper should know of the places.
        """
        named = [self._desk.place_named(place) for place in places]
        where, warnings = [place for place, _ in named], [warning for _, some in named for warning in some]
        new = 0

        def plan(stamp: Stamp) -> Draft:
            nonlocal new
            new = self._desk.journal.add_readings(readings)
            tied: list[Entry] = [
                Tied(**stamp.at(Span(since, stamp.now) if since else None), sensor=sensor, places=where)
                for sensor, since in sensors.items()
                if where
            ]
            return Draft(f"{new} readings are new.", warnings, tied)

        done = self._desk.write(None, plan)
        return new, done.warnings
