"""How living adults are put into words; the command line and the dashboard say the same."""

from datetime import datetime
from math import ceil, floor

from pupawatch.care.adults import Butterfly, ReleaseAdvice, age_hours
from pupawatch.model.codes import Phase
from pupawatch.model.pupa import Pupa
from pupawatch.model.text import counted
from pupawatch.model.times import shown_time
from pupawatch.words.hours import hours_minutes, interval

PHASE_WORDS: dict[Phase, tuple[str, str, str]] = {
    "floor": ("►", "FLOOR", "on the floor with soft wings: act now"),
    "expanding": ("◢", "WINGS", "its wings are filling; it must hang free"),
    "drying": ("◣", "DRYING", "its wings are full but still soft: hands off"),
    "judge": ("?", "JUDGE", "its wings should be hard: judge them"),
    "flightless": ("✗", "KEEP", "it cannot fly: say where it is kept"),
    "kept": ("·", "KEPT", "it cannot fly and is kept"),
    "ready": ("+", "READY", "it may be released"),
    "mark": ("+", "MARK", "it may be marked; release it later"),
    "handle": ("△", "HANDLE", "it may be handled; mark it later"),
    "resting": ("·", "RESTING", "its wings are hard; leave it alone"),
}
"""What an adult waits for: a sign that needs no colour, a word, and what that means."""


_MINUTES_UP_TO = 24
"""So many hours after emergence its minutes matter no more."""


def age_words(pupa: Pupa, now: datetime) -> str:
    """How long an adult has been out, as an interval: ``0:05-11:40 h``, ``24-36 h``; in days after the second."""
    low, high = (max(0.0, hours) for hours in age_hours(pupa, now))
    if low >= 48:
        return interval(f"{low / 24:.0f}", f"{high / 24:.0f}") + " d"
    if high >= _MINUTES_UP_TO:
        return interval(f"{floor(low)}", f"{ceil(high)}") + " h"
    return interval(hours_minutes(low), hours_minutes(high)) + " h"


def adult_line(butterfly: Butterfly, now: datetime) -> str:
    """One living adult in one line."""
    pupa = butterfly.pupa
    sign, word, _ = PHASE_WORDS[butterfly.phase]
    wings = pupa.wings.condition if pupa.wings else ""
    mark = pupa.marked.code if pupa.marked else ""
    told = f"{sign} {word:<7} {pupa.label:<7} {age_words(pupa, now):>12}  {pupa.sex or '?':<6} {wings or '?':<10}"
    return f"{told} {mark:<9} {butterfly.do}"


def advice_words(advice: ReleaseAdvice, zone: str, now: datetime) -> str:
    """Whether to let it fly now, as one sentence or two."""
    notes = f" ({'; '.join(advice.notes)})" if advice.notes else ""
    if advice.now:
        return f"Fine to release now{notes}."
    if advice.asks and not advice.against:
        return f"Decide first: {advice.asks}{notes}."
    decide = f" Decide first: {advice.asks}." if advice.asks else ""
    from_then = shown_time(advice.when, zone, now) if advice.when else ""
    when = f"; from {from_then}" if from_then and from_then not in "; ".join(advice.against) else ""
    return f"Not now: {'; '.join(advice.against)}{when}{notes}.{decide}"


def unreleased_words(number: int) -> str:
    """How many older butterflies have no recorded end."""
    return f"{counted(number, 'older butterfly', 'older butterflies')} never recorded as released or dead"
