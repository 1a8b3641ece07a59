"""Pupae that may overwinter: no date is told for them."""

from datetime import datetime, timedelta

from pupawatch.care.forecast.records import Outlook, Rest, Watched
from pupawatch.care.forecast.sun import Sky
from pupawatch.model.codes import Stage
from pupawatch.model.settings import Profile
from pupawatch.model.times import local_day

DARKER: frozenset[Stage] = frozenset({"darkening", "clear"})
"""The stages that show an adult forming: a resting pupa shows neither."""

RESTS_AT_MOST = timedelta(days=300)
"""By then its spring has passed, and it is one to look at. No source; some rest for two winters."""


def resting(profile: Profile, sky: Sky, pupa: Watched, now: datetime) -> Outlook | None:
    """The outlook without a date for a pupa that may overwinter; None for one that will not.

    It may, if its species can and it formed on days shorter than the profile's limit, and it is not darkening, as long
    as its spring has not passed.
    """
    limit = profile.heat.rest_day_length_hours
    if now - pupa.formed_to > RESTS_AT_MOST:
        return None
    if not profile.overwinters or limit is None or any(seen.stage in DARKER for seen in pupa.sightings):
        return None
    day = local_day(pupa.formed_to, sky.zone)
    length = sky.day_length_hours(day)
    if length is None or length >= limit:
        return None
    return Outlook("rest", None, None, None, (), 0.0, 1.0, None, False, 1.0, None, Rest(length, limit))
