"""When it will emerge: a forecast that says how sure it is.

Importing this loads no numpy; the functions do, when they are called.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from pupawatch.care.forecast.records import (
    Conditions,
    DayRange,
    Finished,
    Morning,
    Outlook,
    Sighting,
    Stay,
    Temperatures,
    Watched,
)
from pupawatch.model.settings import Profile

if TYPE_CHECKING:
    from pupawatch.care.forecast.engine import Forecaster, Lessons

__all__ = [
    "Conditions",
    "DayRange",
    "Finished",
    "Morning",
    "Outlook",
    "Sighting",
    "Stay",
    "Temperatures",
    "Watched",
    "forecaster",
]


def forecaster(
    profile: Profile,
    conditions: Conditions,
    now: datetime,
    finished: Sequence[Finished] = (),
    lessons: "Lessons | None" = None,
) -> "Forecaster":
    """The forecaster of one species at ``now``, taught by the keeper's own finished pupae of that species."""
    from pupawatch.care.forecast.engine import Forecaster

    return Forecaster(profile, conditions, now, finished, lessons)
