"""The word lists by which a table is understood: those that ship, and the keeper's own."""

import re
import unicodedata
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from pupawatch.settings.reading import word_lists

Lookup = dict[str, str]
"""From a word as ``plain`` makes it to what it means."""


class Words(NamedTuple):
    """columns, dayparts, months: by heading or word; values: by field; cells: nothing, ditto and sums."""

    columns: Lookup
    values: dict[str, Lookup]
    cells: Lookup
    dayparts: Lookup
    months: Lookup


@lru_cache(maxsize=20_000, typed=True)
def plain(text: object) -> str:
    """A word without case, spacing and punctuation; one that is nothing but punctuation stays as it is."""
    told = unicodedata.normalize("NFKC", str(text)).casefold()
    return " ".join(re.sub(r"[^\w#♀♂]+|_", " ", told).split()) or told.strip()


def load(folder: Path | None) -> Words:
    """The words of the settings folder over the shipped ones. Raises Unusable with what is wrong with the file."""
    lists = word_lists("tables.toml", folder)
    known = {
        name: {plain(word): meaning for meaning, some in table.items() for word in some}
        for name, table in lists.items()
    }
    values = {name.removeprefix("values."): table for name, table in known.items() if name.startswith("values.")}
    return Words(known["columns"], values, known["cells"], known["dayparts"], known["months"])
