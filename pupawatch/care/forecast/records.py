"""What a forecast is made from, and what it says: plain records, without numpy."""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from pupawatch.care.forecast.loggers import Loggers
from pupawatch.care.forecast.sun import Sky
from pupawatch.model.codes import Basis, Stage

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray

    Numbers: TypeAlias = Sequence[float] | NDArray[float64]


MORNINGS = 3
"""So many mornings are planned at once, this one among them."""


class DayRange(NamedTuple):
    """The lowest and highest temperature of one local day, in °C."""

    day: date
    low_c: float
    high_c: float


class Temperatures(NamedTuple):
    """All that is known of the temperatures of one place. What is missing is filled from the next best, and said.

    at_seconds, celsius: a logger's readings, POSIX seconds and °C, in order of time (arrays are welcome). days: minima
    and maxima the keeper wrote down, in order; they hold where there is no reading. constant_c: what the place is kept
    at, where it is heated. expected: minima and maxima expected for the coming days. error_c: the standard error of the
    readings, all erring together, where several loggers disagree.
    """

    at_seconds: "Numbers" = ()
    celsius: "Numbers" = ()
    days: Sequence[DayRange] = ()
    constant_c: float | None = None
    expected: Sequence[DayRange] = ()
    error_c: float = 0.0

    def tells_of(self, since: datetime, until: datetime) -> bool:
        """Whether anything was measured or recorded between two instants (days by UTC), or it is held constant."""
        if self.constant_c is not None:
            return True
        first = bisect_left(self.at_seconds, since.timestamp())
        if first < len(self.at_seconds) and self.at_seconds[first] <= until.timestamp():
            return True
        since_day, until_day = since.astimezone(UTC).date(), until.astimezone(UTC).date()
        return any(since_day <= told.day <= until_day for told in self.days)


class Conditions(NamedTuple):
    """The keeper's sky, and the temperatures of each place by its name. doubts: of what was passed over, a sentence
    each. loggers: what is to be known of those in each place."""

    sky: Sky
    temperatures: Mapping[str, Temperatures]
    doubts: Sequence[str] = ()
    loggers: Mapping[str, Loggers] = {}


class Stay(NamedTuple):
    """A pupa hung in ``place`` from ``since`` until its next stay began."""

    since: datetime
    place: str


class Sighting(NamedTuple):
    """A colour stage was seen."""

    at: datetime
    stage: Stage


class Watched(NamedTuple):
    """One living pupa as the forecast sees it.

    formed_from (None: not known), formed_to: it became a pupa between these. alive_at: the newest instant at which it
    was seen, or its place looked over, and it had not emerged. stays: in order of time, the first from formation on.
    """

    formed_from: datetime | None
    formed_to: datetime
    alive_at: datetime
    stays: Sequence[Stay]
    sightings: Sequence[Sighting] = ()


class Finished(NamedTuple):
    """One pupa that emerged, after ``emerged_from`` and by ``emerged_to``; the rest as ``Watched``."""

    formed_from: datetime | None
    formed_to: datetime
    emerged_from: datetime
    emerged_to: datetime
    stays: Sequence[Stay]
    sightings: Sequence[Sighting] = ()


class Morning(NamedTuple):
    """The emergence window that closes next, and the chance that the adult is out by its end."""

    start: datetime
    end: datetime
    p: float


class Rest(NamedTuple):
    """Why it may overwinter: it pupated on a day of so many hours of light (None: no place is told), and half of its
    species rest at the limit. in_spring: midwinter has passed, and warmth counts towards spring. learned: as in
    ``Grounds``."""

    light_hours: float | None
    limit_hours: float
    in_spring: bool = False
    learned: int = 0


class Dates(NamedTuple):
    """By when it is out with a chance of 10, 50 and 90 % (None: beyond the horizon)."""

    low: datetime
    median: datetime
    high: datetime | None


class Warmth(NamedTuple):
    """How far warmth has brought a pupa: degree-days above base_c so far, and how many such a pupa needs (half of
    them no more). spread: the relative standard deviation of that need between pupae, and what is not known of it."""

    base_c: float
    so_far_cd: float
    need_cd: float
    spread: float

    @property
    def share(self) -> float:
        """How much of the need is reached."""
        return self.so_far_cd / self.need_cd


class Widths(NamedTuple):
    """How wide the interval of four in five is, in days, as it is and if something were known (None: no end).

    weather: the temperatures that nothing measured, past and to come; pupation: when it pupated.
    """

    now: float | None
    weather: float | None
    pupation: float | None


class Grounds(NamedTuple):
    """What an outlook with a date rests on.

    learned: how many of the keeper's own pupae corrected it; filled_hours: of its past, without a reading and filled
    from the days around. since_known: whether the earliest instant of its pupation is known; sky_known: whether the
    keeper's latitude and longitude are; overwinters: whether its species can. warmth: None by the calendar.
    dated: between which instants it pupated, reckoned backwards from a dark colour, where that says more.
    """

    learned: int
    filled_hours: int
    since_known: bool
    sky_known: bool
    overwinters: bool
    warmth: Warmth | None = None
    dated: tuple[datetime, datetime] | None = None


class Outlook(NamedTuple):
    """When one pupa will emerge, and how sure that is.

    basis: temperatures, the usual days of the species where none are known, or none as it may overwinter. median, low,
    high: the instants by which it will be out with a chance of 50, 10 and 90 %; None: beyond ``horizon``, or no date.
    by_day: the chance for each local day from today on; already: that it came out since it was last seen; later: that
    it comes beyond the horizon. overdue: hardly any of the expected time is left (``time_left``, the share of such
    pupae that would still be inside), by what was measured alone. grounds: what all this rests on. inside: the chance
    that it has not emerged, now and on the coming mornings (``times.coming_mornings``); present: that it is inside or
    its butterfly still dries. rests: the chance that it rests until spring; otherwise: when it emerges if it does not,
    where the other dates are those of spring or none. too_cold: where it hangs it hardly comes to its end. days: the
    local days of low and high, as every face shows them; looks: the instants of ``inside``.
    """

    basis: Basis
    median: datetime | None
    low: datetime | None
    high: datetime | None
    by_day: tuple[tuple[date, float], ...]
    already: float
    later: float
    morning: Morning | None
    overdue: bool
    time_left: float
    horizon: datetime | None
    grounds: Grounds | Rest
    inside: tuple[float, ...] = (1.0,) * (MORNINGS + 1)
    present: tuple[float, ...] = (1.0,) * (MORNINGS + 1)
    rests: float = 0.0
    otherwise: Dates | None = None
    too_cold: bool = False
    days: tuple[date, date | None] | None = None
    looks: tuple[datetime, ...] = ()
