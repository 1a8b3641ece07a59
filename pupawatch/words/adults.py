"""How living adults are put into words; the command line and the dashboard say the same."""

from datetime import datetime

from pupawatch.care.adults import Butterfly, age_hours
from pupawatch.model.pupa import Pupa
from pupawatch.words.pupae import interval

PHASES = {
    "floor": ("‼", "FLOOR", "on the floor with soft wings: act now"),
    "expanding": ("◢", "WINGS", "its wings fill; it must hang free"),
    "drying": ("◣", "DRIES", "its wings are full and still soft: hands off"),
    "judge": ("?", "JUDGE", "its wings should be hard: judge them"),
    "flightless": ("✗", "KEEP", "it cannot fly: say where it is kept"),
    "kept": ("·", "KEPT", "it cannot fly and is kept"),
    "ready": ("+", "READY", "it may be let fly"),
    "mark": ("+", "MARK", "it may be marked, and is let fly later"),
    "handle": ("△", "HAND", "it may be taken in the hand, and is marked later"),
    "resting": ("·", "RESTS", "its wings are hard; leave it in peace"),
}
"""What an adult waits for: a sign that needs no colour, a word, and what that means."""


def age_words(pupa: Pupa, now: datetime) -> str:
    """How long an adult has been out, as an interval: ``0:05-11:40 h``; in days after the second."""
    low, high = (max(0.0, hours) for hours in age_hours(pupa, now))
    if low >= 48:
        return interval(f"{low / 24:.0f}", f"{high / 24:.0f}") + " d"
    return interval(_hours_minutes(low), _hours_minutes(high)) + " h"


def adult_line(butterfly: Butterfly, now: datetime) -> str:
    """One living adult in one line."""
    pupa = butterfly.pupa
    sign, word, _ = PHASES[butterfly.phase]
    wings = pupa.wings.condition if pupa.wings else ""
    mark = pupa.marked.code if pupa.marked else ""
    told = f"{sign} {word:<5} {pupa.label:<7} {age_words(pupa, now):>12}  {pupa.sex or '?':<6} {wings or '?':<8}"
    return f"{told} {mark:<9} {butterfly.do}"


def unreleased_words(number: int) -> str:
    """How many butterflies of long ago nobody recorded an end of."""
    return f"{number} more of long ago, never recorded as released or dead"


def _hours_minutes(hours: float) -> str:
    minutes = int(hours * 60)
    return f"{minutes // 60}:{minutes % 60:02}"
