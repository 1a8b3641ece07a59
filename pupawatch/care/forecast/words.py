"""What the forecast says in words."""

from bisect import bisect_left, bisect_right
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from pupawatch.care.forecast.records import Conditions, Outlook, Temperatures, Watched
from pupawatch.care.forecast.sun import Sky
from pupawatch.model.degrees import Unit, shown_degrees
from pupawatch.model.settings import Profile

DAY = timedelta(days=1)

DARKER = frozenset({"darkening", "clear"})
"""The stages that show an adult forming: a resting pupa shows neither."""

RESTS_AT_MOST = timedelta(days=300)
"""By then its spring has passed, and it is one to look at. No source; some rest for two winters."""

SIGNS = (
    "time alone does not say that it is dead: cool weeks stretch everything",
    "good: firm, evenly coloured, twitches at a gentle touch, or darkens left and right alike",
    "bad: brown from the cap or saddle, soft or foul-smelling, black for days without a wing pattern",
    "bad: stains, holes, hanging threads or small brown fly pupae below it",
    "good or bad, leave it hanging, apart from the others if in doubt, and look again each morning",
)
"""What to check on an overdue pupa. Source: guidance of volunteer monitoring projects and breeders; common practice."""


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
    day = pupa.formed_to.astimezone(ZoneInfo(sky.zone)).date()
    length = sky.day_length_hours(day)
    if length is None or length >= limit:
        return None
    told = (
        f"it formed on a day of {length:.1f} h of light, less than {limit:g} h: it may rest until spring",
        "keep it cool, out of the sun and lightly misted, look at it once a month, and expect it in spring",
    )
    return Outlook("rest", None, None, None, (), 0.0, 1.0, None, False, 1.0, None, told)


def notes(
    pupa: Watched, profile: Profile, conditions: Conditions, by_heat: bool, learned: int, filled_hours: int
) -> tuple[str, ...]:
    """What the keeper should know about how the outlook was reached."""
    told = []
    if not by_heat:
        told.append("by the calendar only, as if at room temperature: that of some place it hung in is not known")
    if filled_hours:
        told.append(f"{filled_hours} h of its past had no reading and were filled from the days around")
    if pupa.formed_from is None:
        told.append("nobody knows since when it hangs, so the date is wide")
    if not conditions.sky.known:
        told.append("latitude and longitude are not set, so dawn is taken as half past six")
        if profile.overwinters:
            told.append("and so it is not known whether it may rest until spring")
    if learned:
        told.append(
            f"corrected by {learned} of your own pupae" if learned > 1 else "corrected by one of your own pupae"
        )
    else:
        told.append("not yet corrected by any pupa of your own")
    return tuple(told)


def signs(profile: Profile, overdue: bool) -> tuple[str, ...]:
    """What to check; nothing while there is time left."""
    if not overdue:
        return ()
    rest = ("it may also be resting until spring: its species can",) if profile.overwinters else ()
    return SIGNS + rest


def heat_warning(known: Temperatures, now: datetime, zone: str, profile: Profile, unit: Unit = "C") -> str | None:
    """A warning with what to do where the last day was, or today or tomorrow will be, hot enough to spoil wings."""
    limit, today = profile.heat.heat_warning_c, now.astimezone(ZoneInfo(zone)).date()
    since = bisect_left(known.at_seconds, (now - DAY).timestamp())
    read = [float(c) for c in known.celsius[since : bisect_right(known.at_seconds, now.timestamp())]]
    was = read + [told.high_c for told in known.days if today - DAY <= told.day <= today]
    will = [told.high_c for told in known.expected if today <= told.day <= today + DAY]
    if known.constant_c is not None and not was:
        was = [known.constant_c]
    hottest = max([*was, *will], default=None)
    if hottest is None or hottest < limit:
        return None
    when = "reached" if hottest in was else "is expected to reach"
    return (
        f"{when} {shown_degrees(hottest, unit)}; from {shown_degrees(limit, unit)} warmth can spoil wings: "
        "shade it, let air through, or carry the whole cage to a cooler room without touching the pupae"
    )
