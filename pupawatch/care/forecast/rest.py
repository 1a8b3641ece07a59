"""Pupae that may overwinter: two possibilities, each with its odds.

A pupa of a species that can rest emerges this season, or rests and emerges in spring. How likely it rests follows from
the length of the days at its pupation; a pupa still there when its time has passed rests all the more likely.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from math import exp

from pupawatch.care.forecast.records import Dates, Grounds, Morning, Outlook, Rest, Watched
from pupawatch.care.forecast.sun import Sky
from pupawatch.care.forecast.timeline import LONGEST_DAY, WARMEST_AFTER_DAYS
from pupawatch.model.codes import Stage
from pupawatch.model.settings import Heat, Profile
from pupawatch.model.times import local_day

DARKER: frozenset[Stage] = frozenset({"darkening", "clear"})
"""The stages that show an adult forming: a resting pupa shows neither."""

RESTS_AT_MOST = timedelta(days=365)
"""None is written off before a year has passed: of one batch some emerge in a later wave. Reasoned."""
UNKNOWN_ODDS = 0.5
"""Where no latitude is told, the length of the days is not known, and both are as likely."""
RESTS_WITHIN_HOURS = 0.35
"""The share that rests falls from three in four to one in four over about twice so much day length. No source."""
LIMIT_BY_LATITUDE = ((28.0, -2.0), (33.5, -0.5), (40.0, 0.0), (43.0, 0.5))
"""By how many hours the limit of a profile, which holds at 40°, differs at other latitudes. Source: Valella & Scriber
2003: 14.5-15 h in Michigan, 14-14.5 in Ohio, 13.5-14 in Georgia, 12-12.5 in Florida."""
FAR_SOUTH, SHORT_SOUTH, LONG_SOUTH = 30.0, (10.0, 0.886), (12.0, 0.44)
"""Below this latitude the odds run from the first pair (hours of light, share that rests) to the second, and stay.
Source: Sims 2007: 88.6 % at 10 h, 35 to 52 % at 12 to 16 h, southern Florida."""
LEAST_ODDS = 0.1
"""On days so long that fewer rest, a pupa is taken not to, so that it can be overdue. No source."""
HARDLY_ANY = 0.05
"""Of smaller odds nothing is said."""


def light_hours(sky: Sky, pupa: Watched) -> float | None:
    """How long the day was on which it pupated; None where no place is told."""
    return sky.day_length_hours(local_day(pupa.formed_to, sky.zone))


def odds(profile: Profile, sky: Sky, pupa: Watched, now: datetime) -> float:
    """The chance that it rests until spring, by the day length at its pupation alone; 0 for one that cannot."""
    limit = profile.heat.rest_day_length_hours
    if not profile.overwinters or limit is None or any(seen.stage in DARKER for seen in pupa.sightings):
        return 0.0
    if now - pupa.formed_to > RESTS_AT_MOST:
        return 0.0
    light = light_hours(sky, pupa)
    if light is None or sky.latitude is None:
        return UNKNOWN_ODDS
    north = abs(sky.latitude)
    if north < FAR_SOUTH:
        return _between(light, (SHORT_SOUTH, LONG_SOUTH))
    chance = 1 / (1 + exp(min((light - limit_at(limit, north)) / RESTS_WITHIN_HOURS, 50.0)))
    return chance if chance >= LEAST_ODDS else 0.0


def limit_at(limit_hours: float, latitude: float) -> float:
    """The day length of even odds at a latitude, where the profile says it for 40°."""
    return limit_hours + _between(abs(latitude), LIMIT_BY_LATITUDE)


def _between(at: float, points: Sequence[tuple[float, float]]) -> float:
    """The straight line through points in order, held at its ends."""
    if at <= points[0][0]:
        return points[0][1]
    for (left, low), (right, high) in pairwise(points):
        if at <= right:
            return low + (at - left) / (right - left) * (high - low)
    return points[-1][1]


def midwinter(sky: Sky, pupa: Watched) -> datetime:
    """The coldest time of the year after its pupation: from then on warmth counts towards spring."""
    south = sky.latitude is not None and sky.latitude < 0
    day = (LONGEST_DAY + WARMEST_AFTER_DAYS + (0 if south else 183)) % 365
    year = pupa.formed_to.year
    coldest = (datetime(y, 1, 1, tzinfo=UTC) + timedelta(days=day - 1) for y in (year, year + 1))
    return next(at for at in coldest if at > pupa.formed_to)


def wintered(pupa: Watched, since: datetime) -> Watched:
    """The same pupa as if its development had begun at midwinter."""
    return pupa._replace(formed_from=since, formed_to=since, alive_at=max(pupa.alive_at, since))


def of_spring(heat: Heat) -> Heat:
    """How warmth drives a pupa that has rested; as any other where the profile says nothing of it."""
    if heat.spring_heat_cd is None:
        return heat
    told = {name: getattr(heat, name) for name in heat.__struct_fields__}
    base = heat.base_temp_c if heat.spring_base_temp_c is None else heat.spring_base_temp_c
    days = heat.spring_heat_cd / (heat.reference_temp_c - base)
    of = {
        "base_temp_c": base,
        "pupal_heat_cd": heat.spring_heat_cd,
        "pupal_heat_sd": heat.spring_heat_cd * SPRING_SPREAD,
        "within_sd_days": min(5.0, days * SPRING_SPREAD / 2),
    }
    return Heat(**{**told, **of})


SPRING_SPREAD = 0.2
"""Relative standard deviation of the warmth that rested pupae need. Source: 13-24 days at 26 °C, 18-36 at 22, 36-69 at
18 (Deering et al. 2003, on wintered spicebush swallowtails; from memory), taken as the span of nearly all."""


def both(direct: Outlook, prior: float, light: float | None, limit: float, spring: Outlook | None) -> Outlook:
    """The outlook of a pupa that may rest: what it is without rest, and what it is if it rests, by their odds.

    prior: the chance that it rests, before it was seen to wait. spring: its outlook from midwinter on, once that has
    passed.
    """
    rests = prior / (prior + (1 - prior) * max(direct.time_left, 1e-9))
    # Of all such pupae, resting or not: so by the odds from before it was seen to wait.
    still_inside = (1 - prior) * direct.time_left + prior * (spring.time_left if spring is not None else 1.0)
    if rests < 1 - HARDLY_ANY and spring is None and rests < UNKNOWN_ODDS:
        return _mixed(direct, None, rests)._replace(
            time_left=still_inside,
            median=direct.median,
            low=direct.low,
            high=direct.high,
            days=direct.days,
            basis=direct.basis,
            grounds=direct.grounds,
        )
    told = _mixed(direct, spring, rests)._replace(time_left=still_inside)
    otherwise = None
    if direct.median is not None and direct.low is not None and 1 - rests >= HARDLY_ANY:
        otherwise = Dates(direct.low, direct.median, direct.high)
    learned = direct.grounds.learned if isinstance(direct.grounds, Grounds) else 0
    told = told._replace(otherwise=otherwise, grounds=Rest(light, limit, spring is not None, learned))
    if spring is not None:
        return told._replace(low=spring.low, median=spring.median, high=spring.high, days=spring.days)
    return told


def _mixed(direct: Outlook, spring: Outlook | None, rests: float) -> Outlook:
    """The chances of both, by their odds; without dates. Nothing that may rest is overdue."""
    days: dict[date, float] = {}
    for part, share in ((direct, 1 - rests), (spring, rests)):
        for day, p in part.by_day if part is not None else ():
            days[day] = days.get(day, 0.0) + share * p

    def mix(one: float, other: float) -> float:
        return (1 - rests) * one + rests * other

    shown = 1 - rests >= HARDLY_ANY or spring is not None
    still, dry = (spring.inside, spring.present) if spring is not None else ((1.0,) * len(direct.inside),) * 2
    morning = direct.morning
    if morning is not None:
        later = spring.morning.p if spring is not None and spring.morning is not None else 0.0
        morning = Morning(morning.start, morning.end, mix(morning.p, later))
    return direct._replace(
        basis="rest",
        median=None,
        low=None,
        high=None,
        days=None,
        by_day=tuple(sorted(days.items())) if shown else (),
        already=mix(direct.already, spring.already if spring is not None else 0.0),
        later=mix(direct.later, spring.later if spring is not None else 1.0),
        morning=morning if shown else None,
        overdue=False,
        inside=tuple(mix(a, b) for a, b in zip(direct.inside, still, strict=True)),
        present=tuple(mix(a, b) for a, b in zip(direct.present, dry, strict=True)),
        rests=rests,
    )
