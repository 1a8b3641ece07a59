"""The places of a keeper, checked and written to their file."""

from collections.abc import Callable
from pathlib import Path

import msgspec

from pupawatch import disk
from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.model.settings import Place, Settings
from pupawatch.settings.checking import choices, problems
from pupawatch.settings.reading import places_file

_PLACES_HEADER = (
    "# The places a pupa can hang in or on, in the order of your round.\n"
    "# pupawatch writes this file anew when a place is added or edited, and keeps no other comments.\n\n"
)


def save_places(places: list[Place], folder: Path | None = None) -> Path:
    """Write the places of the keeper, in walking order, and return the file. Replaced whole or not at all; raises
    Unusable where it cannot be."""
    import tomli_w

    text = "\n".join("[[places]]\n" + tomli_w.dumps(msgspec.to_builtins(place)) for place in places)
    return _written(disk.replace, folder, (_PLACES_HEADER + text).encode())


def rehearse_saving(folder: Path | None = None) -> None:
    """Raise Unusable where ``save_places`` would, as far as can be known beforehand."""
    _written(disk.rehearse, folder, _PLACES_HEADER.encode())


def _written(write: Callable[[Path, bytes], None], folder: Path | None, data: bytes) -> Path:
    path = places_file(folder)
    try:
        write(path, data)
    except OSError as error:
        raise Unusable(f"The places could not be written to {path}: {error.strerror}.") from None
    return path


def with_place(settings: Settings, place: Place) -> Settings:
    """The settings with this place added at the end, or or instead of the one of the same name."""
    checked_place(place, settings)
    places = [place if old.name == place.name else old for old in settings.places]
    if not settings.knows_place(place.name):
        places.append(place)
    return msgspec.structs.replace(settings, places=places)


def checked_place(place: Place, settings: Settings) -> None:
    """Raise NotUnderstood where a place holds values that the settings file would not allow."""
    wrong = [*problems(msgspec.to_builtins(place), Place, ())]
    if wrong:
        raise NotUnderstood("; ".join(f"{problem.path[-1]}: {problem.text}" for problem in wrong))
    if place.surface not in settings.care.surfaces:
        raise NotUnderstood(f"surface: {choices(place.surface, settings.care.surfaces)}")
