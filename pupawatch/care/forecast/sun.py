"""Sunrise, sunset and the length of the day, by astral: upper limb on the horizon, refraction, sea level."""

from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo

DAWN_WITHOUT_PLACE_HOUR = 6.5
"""Local hour taken for sunrise where the keeper named no latitude, or the sun does not rise. Common practice."""


class Sky(NamedTuple):
    """Where the keeper is: degrees north and east, None where not told, and the IANA zone that days are counted in."""

    zone: str
    latitude: float | None = None
    longitude: float | None = None

    @property
    def known(self) -> bool:
        """Whether the sun's times can be told."""
        return self.latitude is not None and self.longitude is not None

    def sunrise(self, day: date) -> datetime | None:
        """UTC instant of sunrise on that local day; None where the place is not told or the sun does not rise."""
        return _sun(self, day, "sunrise")

    def sunset(self, day: date) -> datetime | None:
        """UTC instant of sunset on that local day; None where the place is not told or the sun does not set."""
        return _sun(self, day, "sunset")

    def dawn(self, day: date) -> datetime:
        """The sunrise, or DAWN_WITHOUT_PLACE_HOUR where there is none to be told."""
        rises = self.sunrise(day)
        if rises is not None:
            return rises
        midnight = datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(self.zone))
        return (midnight + timedelta(hours=DAWN_WITHOUT_PLACE_HOUR)).astimezone(UTC)

    def day_length_hours(self, day: date) -> float | None:
        """Hours from sunrise to sunset (0 in the polar night, 24 in the midnight sun); None: place not told."""
        if not self.known:
            return None
        rises, sets = self.sunrise(day), self.sunset(day)
        if rises is None or sets is None:
            return 24.0 if _noon_elevation(self, day) > 0 else 0.0
        # In the far north the sun of one calendar day sets after midnight, so only the difference modulo a day counts.
        return ((sets - rises) / timedelta(hours=1)) % 24


@lru_cache(maxsize=4096)
def _sun(sky: Sky, day: date, event: Literal["sunrise", "sunset"]) -> datetime | None:
    if sky.latitude is None or sky.longitude is None:
        return None
    from astral import Observer, sun

    find = sun.sunrise if event == "sunrise" else sun.sunset
    try:
        return find(Observer(sky.latitude, sky.longitude), day, tzinfo=ZoneInfo(sky.zone)).astimezone(UTC)
    except ValueError:
        return None


def _noon_elevation(sky: Sky, day: date) -> float:
    from astral import Observer
    from astral.sun import elevation, noon

    observer = Observer(sky.latitude or 0.0, sky.longitude or 0.0)
    return float(elevation(observer, noon(observer, day, tzinfo=ZoneInfo(sky.zone))))
