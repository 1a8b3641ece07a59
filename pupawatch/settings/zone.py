"""Which zone this computer's clock keeps, by its IANA name; where that is not clear, nothing is guessed."""

import os
from datetime import timedelta
from zoneinfo import ZoneInfo

from pupawatch.clock import system_clock
from pupawatch.errors import Unusable
from pupawatch.model.text import quoted
from pupawatch.model.times import is_zone

_WEEKS = 53
"""Compared week by week for a year: zones that agree today may change their clocks on other days."""


def machine_zone() -> str:
    """The name of the zone, checked against what the clock shows. Raises Unusable, with what was found, where there is
    no such name or the clock keeps another time."""
    name = _named()
    for week in range(_WEEKS):
        moment = system_clock() + timedelta(weeks=week)
        shown, meant = moment.astimezone(), moment.astimezone(ZoneInfo(name))
        if shown.utcoffset() != meant.utcoffset():
            raise Unusable(f"it is called {name}, but on {shown:%Y-%m-%d} the clock is {shown:%z} and not {meant:%z}")
    return name


def _named() -> str:
    asked = os.environ.get("TZ", "").removeprefix(":")
    if asked and is_zone(asked):
        return asked
    if asked and not os.path.isabs(asked):  # a rule such as <-03>3: what the system is set to does not hold here
        raise Unusable(f"TZ is {quoted(asked)}, which is not the name of a zone")
    found = _by_the_system()
    if not found or not is_zone(found):
        raise Unusable(
            f"the system calls it {quoted(found)}, which is not a zone" if found else "the system names none"
        )
    return found


def _by_the_system() -> str | None:
    import logging
    import warnings

    logging.getLogger("tzlocal").addHandler(logging.NullHandler())  # or it would print beside the answer
    import tzlocal

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            return tzlocal.get_localzone_name()
        except LookupError as error:  # settings that contradict each other, or a name of Windows's own without a zone
            told = str(error.args[0]) if error.args else ""
            if "conflicting" in told:
                raise Unusable("the system's settings name several") from None
            raise Unusable(f"the system calls it {quoted(told)}, which is not a zone") from None
