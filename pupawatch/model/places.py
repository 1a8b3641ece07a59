"""A place as one pupa has it: as the settings describe it, or as its entries do, and with the climb it was brought."""

from msgspec.structs import replace

from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Place, Settings


def hangs_in(pupa: Pupa, settings: Settings) -> Place:
    """The place as this pupa has it: one that was brought a climb can climb there."""
    place = told_of(pupa, pupa.place, settings)
    return with_climb(place) if pupa.climb else place


def told_of(pupa: Pupa, name: str, settings: Settings) -> Place:
    """The place of that name as the settings describe it; one they do not know, as the entries of the pupa do."""
    place, said = settings.place(name), pupa.travelled.get(name)
    if said is None or settings.knows_place(name):
        return place
    return replace(place, surface=said.surface or place.surface, temperature_c=said.usual_c)


def with_climb(place: Place) -> Place:
    """The place for a pupa that a climb was brought to."""
    return replace(place, climbable=True)
