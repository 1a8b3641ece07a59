"""What the fields of an entry may hold, beyond their type.

Every door asks before it lets an entry in (``Entry.misfits``): the keeper's acts, a notebook, another journal. The
decoder does not ask, so that what lies in a journal already always reads.
"""

from collections.abc import Callable, Iterable
from datetime import date, datetime
from functools import cache
from typing import Annotated, Any, NamedTuple, get_args

import msgspec.structs
from msgspec import Meta, Struct

from pupawatch.model.degrees import COLDEST_C, HOTTEST_C
from pupawatch.model.ids import is_id
from pupawatch.model.text import LONGEST_LABEL, LONGEST_NAME, LONGEST_NOTE, is_visible
from pupawatch.model.times import YEARS, in_years, is_zone


class Fit(NamedTuple):
    """What a value must be: in words that go on from “must be”, and whether one is."""

    words: str
    holds: Callable[[Any], bool]


def one_of(allowed: Iterable[str]) -> Fit:
    """One of these words."""
    return Fit(f"one of {', '.join(allowed)}", frozenset(allowed).__contains__)


def between(low: float, high: float, unit: str) -> Fit:
    """A number from ``low`` to ``high``, both among them; a number that is none is not."""
    return Fit(f"between {low:g} and {high:g}{unit}", lambda number: low <= number <= high)


def visible(longest: int) -> Fit:
    """Text that can be seen, and hides nothing; longest: in characters."""
    return Fit(f"visible text of at most {longest} characters", lambda text: is_visible(text, longest))


def is_day(text: str) -> bool:
    """Whether a text is a day of the years in which anything can have happened, as ISO 8601 writes it."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return False
    return day.year in YEARS and day.isoformat() == text


_LONGEST_CLEANING_MINUTES = 7 * 24 * 60

NAME = visible(LONGEST_NAME)
"""Of a place, a sensor, a sign."""
CELSIUS = between(COLDEST_C, HOTTEST_C, " °C")
"""At home, where pupae hang and butterflies fly."""

Instant = Annotated[
    datetime, Meta(tz=True), Fit(f"a time between the years {YEARS.start} and {YEARS.stop - 1}", in_years)
]
"""A time with its offset; one without is not read."""

Zone = Annotated[str, Fit("an IANA time zone, like America/Chicago", is_zone)]
Day = Annotated[str, Fit("a day, like 2026-08-14", is_day)]
"""A local day, ISO 8601."""

Id = Annotated[str, NAME]
PupaId = Annotated[str, Fit("an id, as pupawatch gives one", is_id)]
Label = Annotated[str, visible(LONGEST_LABEL)]
Name = Annotated[str, NAME]
Words = Annotated[str, visible(LONGEST_NOTE)]
"""What a keeper wrote, or one of the words of their settings, which another keeper's settings need not know."""

Celsius = Annotated[float, CELSIUS]
Minutes = Annotated[
    float,
    Fit(
        f"more than 0 and at most {_LONGEST_CLEANING_MINUTES} min",
        lambda minutes: 0 < minutes <= _LONGEST_CLEANING_MINUTES,
    ),
]
MOST_SPORES = 1_000_000_000
SporeCount = Annotated[int, between(0, MOST_SPORES, "")]
Count = Annotated[int, between(0, 1_000_000, "")]
"""So many eggs, caterpillars or others."""

SporeClass = Annotated[int, between(0, 1000, "")]


class Fitted(NamedTuple):
    """A field of a kind of entry: what it must be (for a list: each one in it), unless it says nothing."""

    name: str
    silent: object
    fit: Fit


@cache
def fitted(kind: type[Struct]) -> list[Fitted]:
    """The fields of a kind of entry that cannot hold just anything of their type."""
    found = [(field, _fit_in(field.type)) for field in msgspec.structs.fields(kind)]
    return [Fitted(field.name, field.default, fit) for field, fit in found if fit]


def _fit_in(hint: Any) -> Fit | None:
    own = (one for one in getattr(hint, "__metadata__", ()) if isinstance(one, Fit))
    return next(own, None) or next(filter(None, map(_fit_in, get_args(hint))), None)
