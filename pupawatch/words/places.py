"""What can be said of a place, and what was changed about it, in words."""

from collections.abc import Sequence

from pupawatch.care.picture import PlaceNow
from pupawatch.model.degrees import Unit, shown_degrees
from pupawatch.model.settings import Place
from pupawatch.model.text import counted

PLACE_WORDS = {
    "surface": "surface",
    "capacity": "room",
    "length_cm": "length, cm,",
    "spacing_cm": "spacing, cm,",
    "clearance_cm": "clearance, cm,",
    "climbable": "climbable",
    "temperature_c": "kept at",
    "drip": "drip",
    "sun": "direct sun",
    "disturbed": "disturbed by",
    "retired": "retired",
    "quarantined": "quarantine",
    "isolation": "isolation place",
}
"""What can be said of a place, by its key in places.toml."""


def room_words(place: PlaceNow) -> str:
    """How many more find room there now, and who is in the way."""
    if place.place.quarantined:
        return "in quarantine, nothing goes in or out"
    if place.room is None:
        return "no limit"
    drying = f", {counted(len(place.dries), 'butterfly', 'butterflies')} drying" if place.dries else ""
    return f"{f'room for {place.room} more' if place.room else 'full'}{drying}"


def walk_words(name: str, places: Sequence[Place]) -> str:
    """Where a place stands in the order of the round."""
    return f"{name} number {[place.name for place in places].index(name) + 1} of the round"


def edit_words(names: Sequence[str], before: Sequence[Place], after: Sequence[Place], unit: Unit = "C") -> str:
    """What an edit of these places changed. before, after: all places."""
    told = ", ".join(names)
    old, new = (next((place for place in places if place.name == names[0]), None) for places in (before, after))
    if old is None or new is None:
        return f"{told} added" if old is None else f"{told} removed"
    changes = [(name, getattr(old, name), getattr(new, name)) for name in PLACE_WORDS]
    said = [_change_words(name, was, becomes, unit) for name, was, becomes in changes if was != becomes]
    return f"{told} {', '.join(said) or 'unchanged'}"


def _change_words(name: str, was: object, becomes: object, unit: Unit) -> str:
    if name == "quarantined":
        return "in quarantine" if becomes else "quarantine ended"
    return f"{PLACE_WORDS[name]} {_value_words(name, was, unit)} → {_value_words(name, becomes, unit)}"


def _value_words(name: str, value: object, unit: Unit) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name == "temperature_c" and isinstance(value, float | int):
        return shown_degrees(value, unit)
    return f"{value:g}" if isinstance(value, float | int) else str(value or "–")
