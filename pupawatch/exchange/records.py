"""What the reading commands print for other programs: stable names, UTC times, hours and fractions."""

from datetime import date, datetime
from typing import Any

from pupawatch.care.forecast.ahead import Expected
from pupawatch.care.forecast.records import Outlook
from pupawatch.care.forecast.scoring import Score
from pupawatch.care.round import Round, Standing
from pupawatch.model.entries import Entry, kind_of
from pupawatch.model.times import instant, iso
from pupawatch.words.forecast import outlook_notes, signs_to_check


def pupae_record(now: datetime, standings: list[Standing]) -> dict[str, Any]:
    """The record of ``today --json`` and ``pupae --json``."""
    return {"as_of": iso(now), "pupae": [pupa_record(standing) for standing in standings]}


def pupa_record(standing: Standing) -> dict[str, Any]:
    """One pupa. ``forecast`` is null where nothing is forecast for it."""
    pupa, verdict, suggestion = standing.pupa, standing.verdict, standing.suggestion
    return {
        "label": pupa.label,
        "species": pupa.species,
        "brood": pupa.brood or None,
        "site": pupa.site,
        "place": pupa.place,
        "stage": standing.stage,
        "hang_hours": {
            "at_least": round(standing.hang.at_least, 2),
            "at_most": None if standing.hang.at_most is None else round(standing.hang.at_most, 2),
        },
        "verdict": verdict.kind,
        "movable_from": iso(verdict.movable_from) if verdict.movable_from else None,
        "why": verdict.why,
        "suggestion": {"place": suggestion.place, "why": suggestion.why} if suggestion else None,
        "proposal": _decision_record(standing),
        "forecast": outlook_record(standing.outlook, standing.alive) if standing.outlook else None,
        "flags": standing.flags,
    }


def _decision_record(standing: Standing) -> dict[str, Any] | None:
    """What the plan says of it this morning, with the words of ``plan --json``; null where nothing was decided."""
    one = standing.decision
    if one is None:
        return None
    later = {"to": one.later.place, "mornings": one.later.morning} if one.later else None
    return {"kind": one.kind, "to": one.place or None, "why": one.why, "toss_up": one.toss_up, "later": later}


def outlook_record(outlook: Outlook, alive: float) -> dict[str, Any]:
    """When it will emerge, if it lives: ``alive`` is the chance of that. Times are null where there is no date; p is a
    fraction.

    One definition for every face: low and high are the instants by which it is out with chances of 10 and 90 %, and
    ``days`` their local days, as they are shown. survival: the chance that it has not emerged by each instant, the
    first of them now; already: that it came out since it was last seen; later: that it comes beyond the days told;
    time_left: the share of such pupae that would still be inside when it was last seen so.
    """
    morning, other = outlook.morning, outlook.otherwise
    return {
        "median": iso(outlook.median) if outlook.median else None,
        "low": iso(outlook.low) if outlook.low else None,
        "high": iso(outlook.high) if outlook.high else None,
        "by_day": [{"date": day.isoformat(), "p": round(p, 4)} for day, p in outlook.by_day],
        "overdue": outlook.overdue,
        "alive": round(alive, 4),
        "days": {"low": _day(outlook.days, 0), "high": _day(outlook.days, 1)},
        "already": round(outlook.already, 4),
        "later": round(outlook.later, 4),
        "time_left": round(outlook.time_left, 4),
        "morning": {"start": iso(morning.start), "end": iso(morning.end), "p": round(morning.p, 4)}
        if morning
        else None,
        "survival": [{"at": iso(at), "p": round(p, 4)} for at, p in zip(outlook.looks, outlook.inside, strict=False)],
        "rests": round(outlook.rests, 4),
        "otherwise": None
        if other is None
        else {"median": iso(other.median), "low": iso(other.low), "high": iso(other.high) if other.high else None},
        "too_cold": outlook.too_cold,
        "basis": outlook.basis,
        "notes": outlook_notes(outlook),
        "signs": signs_to_check(outlook),
    }


def _day(days: tuple[date, date | None] | None, end: int) -> str | None:
    day = days[end] if days is not None else None
    return None if day is None else day.isoformat()


def day_record(day: Expected) -> dict[str, Any]:
    """How many emergences a day may bring: on average, and the interval of four in five."""
    return {"date": day.day.isoformat(), "mean": round(day.mean, 3), "low": day.low, "high": day.high}


def score_record(species: str, score: Score) -> dict[str, Any]:
    """How good the forecasts of a species were."""
    return {"species": species, **score._asdict()}


def places_record(morning: Round, climbable: dict[str, bool]) -> dict[str, Any]:
    """The record of ``places --json``, in walking order. climbable: of each place, by name."""
    return {
        "places": [
            {
                "name": stretch.place.name,
                "surface": stretch.place.surface,
                "climbable": climbable[stretch.place.name],
                "capacity": stretch.place.capacity,
                "living": sum(1 for standing in stretch.standings if standing.pupa.is_living),
                "clearance_cm": stretch.place.clearance_cm,
                "room": stretch.room,
                "drying": [pupa.label for pupa in stretch.picture.dries],
                "frees_today": [pupa.label for pupa in stretch.picture.frees],
                "quarantined": stretch.place.quarantined,
                "isolation": stretch.place.isolation,
                "looked": iso(stretch.looked) if stretch.looked else None,
                "walked": stretch.walked,
                "readings_since": _silent_since(morning, stretch.place.name),
            }
            for stretch in morning.stretches
        ]
    }


def _silent_since(morning: Round, place: str) -> str | None:
    """When its logger last told anything, where that is longer than a day ago; else null."""
    told = morning.picture.known.loggers.get(place)
    return iso(instant(told.silent[1])) if told and told.silent else None


def entry_record(entry: Entry) -> dict[str, Any]:
    """One line of the journal: ``kind``, times, and the fields of its kind under their own names."""
    own = {name: getattr(entry, name) for name in entry.__struct_fields__ if name not in _COMMON}
    return {
        "kind": kind_of(entry),
        "act": entry.act,
        "since": iso(entry.since) if entry.since else None,
        "happened": iso(entry.happened),
        "recorded": iso(entry.recorded),
        "zone": entry.zone,
        "history": entry.history,
        **own,
    }


_COMMON = frozenset({"id", "act", "since", "happened", "recorded", "zone", "history", "pupa"})
