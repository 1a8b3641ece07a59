"""TOML in and out: shipped defaults, the keeper's own files over them, and errors that name file, line and key."""

from pupawatch.settings.reading import default_folder, load, own_places, places_file, shipped
from pupawatch.settings.writing import checked_place, rehearse_saving, save_places, with_place

__all__ = [
    "checked_place",
    "default_folder",
    "load",
    "own_places",
    "places_file",
    "rehearse_saving",
    "save_places",
    "shipped",
    "with_place",
]
