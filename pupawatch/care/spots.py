"""Emergence spots: is a place good enough to emerge from, and what speaks against it?"""

from collections.abc import Mapping

from pupawatch.model.settings import Place, Profile, Settings


def shortfalls(place: Place, profile: Profile, settings: Settings) -> list[str]:
    """What makes a place unsafe to emerge from, in words; empty where it is a spot.

    A clearance that was never measured is taken as enough: the keeper hung things there knowing the place.
    """
    faults = []
    if not settings.climbable(place):
        surface = settings.care.surfaces.get(place.surface)
        faults.append(f"cannot be climbed ({surface.words if surface else place.surface})")
    if place.clearance_cm is not None and place.clearance_cm < profile.clearance_below_cm:
        faults.append(f"only {place.clearance_cm:g} cm clear below, {profile.clearance_below_cm:g} needed")
    return faults


def room_left(place: Place, taken: Mapping[str, int]) -> int | None:
    """How many more pupae find room there; None where the place has no limit. Never below 0.

    taken: how many living pupae hang in each place by name, as ``State.living_by_place`` counts them.
    """
    if place.capacity is None:
        return None
    return max(0, place.capacity - taken.get(place.name, 0))


def spots(profile: Profile, taken: Mapping[str, int], settings: Settings) -> list[Place]:
    """The places a pupa of this species can be hung to emerge from, the clearest and roomiest first."""
    good = [
        place
        for place in settings.places
        if not place.retired and not shortfalls(place, profile, settings) and room_left(place, taken) != 0
    ]

    def merit(place: Place) -> tuple[bool, float, float]:
        room = room_left(place, taken)
        return place.surface == "chamber", place.clearance_cm or 0.0, float("inf") if room is None else room

    return sorted(good, key=merit, reverse=True)
