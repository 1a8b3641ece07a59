"""Places as spots to emerge from: what speaks against one, and how many more pupae find room there."""

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import datetime
from math import floor

from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Place, Profile, Settings

_HAIR = 1e-9


def shortfalls(place: Place, profile: Profile, settings: Settings) -> list[str]:
    """What makes a place unsafe to emerge from, in words; empty where it is a spot.

    A clearance that was never measured is taken as enough: the keeper hung things there knowing the place.
    """
    faults = []
    if not settings.climbable(place):
        surface = settings.care.surfaces.get(place.surface)
        faults.append(f"cannot be climbed ({surface.words if surface else place.surface})")
    if place.clearance_cm is not None and place.clearance_cm < profile.clearance_below_cm:
        faults.append(f"has only {place.clearance_cm:g} cm clear below, {profile.clearance_below_cm:g} cm needed")
    if place.drip:
        faults.append("has drip or standing water")
    if place.sun:
        faults.append("gets direct sun")
    if place.disturbed:
        faults.append(f"is disturbed ({place.disturbed})")
    return faults


def capacity(place: Place, settings: Settings) -> int | None:
    """How many pupae find room: the count the keeper set, and no more than hang apart along its length.

    None where neither is known. Where the keeper set no spacing, the widest that any known species needs holds.
    """
    if place.length_cm is None:
        return place.capacity
    spacing_cm = place.spacing_cm or max(profile.spacing_cm for profile in settings.species.values())
    along = floor(place.length_cm / spacing_cm + _HAIR)
    return along if place.capacity is None else min(place.capacity, along)


def room_left(place: Place, taken: Mapping[str, int], settings: Settings) -> int | None:
    """How many more pupae find room there; None where the place has no limit. Never below 0.

    taken: how many living pupae hang in each place by name, as ``State.living_by_place`` counts them.
    """
    most = capacity(place, settings)
    return None if most is None else max(0, most - taken.get(place.name, 0))


def taken_from(pupae: Iterable[Pupa], day_began: datetime) -> Counter[str]:
    """How many pupae were moved out of each place since the keeper's day began."""
    return Counter(
        move.origin
        for pupa in pupae
        for move in pupa.relocations
        if move.entry.happened >= day_began and move.origin != move.entry.to
    )
