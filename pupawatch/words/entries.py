"""What an entry of the journal says, and when it happened, in words; the same wherever an entry is shown."""

from datetime import datetime
from typing import assert_never

from pupawatch.errors import NotUnderstood
from pupawatch.model.codes import ADULT_SIGHTINGS, Sighting, among
from pupawatch.model.degrees import Unit, degrees, shown_degrees
from pupawatch.model.entries import (
    AdultSeen,
    Belongs,
    Brood,
    Cleaned,
    Climb,
    Emerged,
    Entry,
    Fell,
    Finding,
    Found,
    Hanging,
    Held,
    Kept,
    Kind,
    Looked,
    Lost,
    Marked,
    Measured,
    Moved,
    Note,
    Origin,
    Relabelled,
    Released,
    Retraction,
    Seen,
    Sexed,
    Tied,
    Wings,
)
from pupawatch.model.spores import counted
from pupawatch.model.text import quoted
from pupawatch.model.times import Span, local_day, shown_time
from pupawatch.model.typed_times import parse_span
from pupawatch.words.methods import how_words

ADULT_WORDS: dict[Sighting, str] = {
    "fell": "the butterfly fell",
    "climbed": "it climbed back",
    "helped": "it was helped up",
    "full": "wings full",
    "died": "the butterfly died",
    "gone": "gone from where it dried",
}
"""What was seen of an adult."""


def sighting_words(what: str) -> str:
    """What was seen of an adult; a word that is not one of the sightings as it stands."""
    code = among(what, ADULT_SIGHTINGS)
    return ADULT_WORDS[code] if code else what


def entry_words(entry: Entry, unit: Unit = "C") -> str:
    """What an entry says, without its time."""
    assert isinstance(entry, Kind)  # the journal holds nothing else
    match entry:
        case Hanging():
            return f"prepupa in {entry.place}"
        case Found():
            return f"pupa found in {entry.place}"
        case Seen():
            return f"seen {entry.stage}"
        case Fell():
            return entry.reason.replace("-", " ")
        case Moved():
            return _moved(entry)
        case Held():
            return "seen to hold" if entry.held else "did not hold"
        case Climb():
            return "given a climbing aid"
        case Emerged():
            return "emerged" + (f" in {entry.place}" if entry.place else "")
        case Wings():
            return f"wings {entry.condition}"
        case Sexed():
            return entry.sex
        case Finding():
            found = counted(entry.spores, entry.load)
            count = f", {found.words} counted" if found is not None else ""
            return entry.sign.replace("-", " ") + count + (f": {entry.text}" if entry.text else "")
        case AdultSeen():
            return sighting_words(entry.what)
        case Origin():
            return f"origin: {entry.origin.replace('-', ' ')}"
        case Kept():
            return f"cannot fly, kept in {entry.place}"
        case Cleaned():
            return f"cleaned ({entry.how.replace('-', ' ')}, {entry.minutes:g} min)"
        case Marked():
            return f"marked {entry.code}"
        case Released():
            return _released(entry, unit)
        case Lost():
            return f"lost: {entry.cause}"
        case Relabelled():
            return f"labelled {entry.label}"
        case Note():
            return f"note: {entry.text}"
        case Belongs():
            return f"belongs to brood {entry.brood}"
        case Brood():
            return _brood(entry)
        case Looked():
            return "visited"
        case Measured():
            return f"{entry.day}: {degrees(entry.low_c, unit)} to {shown_degrees(entry.high_c, unit)}"
        case Tied():
            return f"sensor {entry.sensor} belongs to {', '.join(entry.places) or 'no place'}"
        case Retraction():
            return "an act was undone"
        case never:
            assert_never(never)


def _brood(entry: Brood) -> str:
    counts = ((entry.eggs, "eggs"), (entry.hatched, "hatched"), (entry.caterpillars, "caterpillars"))
    told = [f"{number} {what}" for number, what in counts if number is not None]
    told += [entry.source.replace("-", " ")] if entry.source else []
    if entry.lost is not None:
        told.append(f"{entry.lost} lost before pupation" + (f" ({entry.why})" if entry.why else ""))
    return f"brood {entry.brood}" + (f": {', '.join(told)}" if told else "")


def _moved(entry: Moved) -> str:
    method = f", {how_words(entry.method)}" if entry.method else ""
    emergency = f", emergency: {entry.emergency.replace('-', ' ')}" if entry.emergency else ""
    reason = f": {entry.reason}" if entry.reason else ""
    return f"moved to {entry.to}{method}{emergency}{reason}"


def _released(entry: Released, unit: Unit) -> str:
    said = [shown_degrees(entry.temperature_c, unit)] if entry.temperature_c is not None else []
    said += [entry.sky] if entry.sky else []
    told = "released" + (f" from {entry.place}" if entry.place else "") + (f", {', '.join(said)}" if said else "")
    return told + (f"; released after a warning, because: {entry.despite}" if entry.despite else "")


def entry_time(entry: Entry, zone: str, now: datetime) -> str:
    """When an entry happened, as an interval where only that is known."""
    return span_words(Span(entry.since, entry.happened), zone, now)


def span_words(span: Span, zone: str, now: datetime) -> str:
    """A moment, or an interval as its two ends."""
    by = shown_time(span.until, zone, now)
    if span.since is None or span.since == span.until:
        return by
    return f"{shown_time(span.since, zone, now)} – {by}"


def reading(typed: str, zone: str, now: datetime) -> str:
    """How a time that was typed is read, where that is not what it says itself; "" where it is, or is none."""
    try:
        span = parse_span(typed, zone, now)
    except NotUnderstood:
        return ""
    exact = span.since == span.until and (
        typed.strip()[:4].isdecimal() or local_day(span.until, zone) == local_day(now, zone)
    )
    return "" if exact else f"{quoted(typed.strip())} is read as {span_words(span, zone, now)}."
