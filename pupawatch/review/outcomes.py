"""What became of a pupa: one definition for every table, picture and sentence.

Success is sound / (sound + deformed + lost). A pupa whose end is not known is never dropped silently: the bounds
say what the rate would be if every unknown one went badly, or well.
"""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.review.intervals import effective_n, wilson

PENDING, SOUND, DEFORMED, UNKNOWN, LOST = "pending", "sound", "deformed", "unknown", "lost: "

DEFINITION = (
    "Success: emerged with sound wings, out of all whose end is known (sound + deformed + lost). "
    "Unknown: emerged, wings never judged. Lost with cause unknown counts as lost."
)
"""The definition as the keeper reads it."""


class Rate(NamedTuple):
    """``hits`` of ``n`` known outcomes, and how many more there are whose outcome is not known. families: where broods
    were recorded, the hits and number of each, by which the interval widens; the fewer they are, the more."""

    hits: int
    n: int
    unknown: int = 0
    families: tuple[tuple[int, int], ...] = ()

    @property
    def value(self) -> float | None:
        """The rate as a fraction, None where nothing is known."""
        return self.hits / self.n if self.n else None

    @property
    def interval(self) -> tuple[float, float] | None:
        """Its 95 % Wilson interval, None where nothing is known."""
        return wilson(self.hits, self.n, effective_n(self.families) if self.families else None) if self.n else None

    @property
    def worst(self) -> float | None:
        """The rate if every unknown outcome was bad, None where there is no outcome at all."""
        every = self.n + self.unknown
        return self.hits / every if every else None

    @property
    def best(self) -> float | None:
        """The rate if every unknown outcome was good, None where there is no outcome at all."""
        every = self.n + self.unknown
        return (self.hits + self.unknown) / every if every else None


class Counts(NamedTuple):
    """How many pupae of a group came to which end; ``causes`` counts the lost ones by cause; ``families`` are the hits
    and number of known outcomes of each brood, where any was recorded."""

    pending: int
    sound: int
    deformed: int
    unknown: int
    causes: dict[str, int]
    families: tuple[tuple[int, int], ...] = ()

    @classmethod
    def of(cls, outcomes: Mapping[str, int]) -> "Counts":
        """The counts of outcome words, as ``outcomes`` gives them."""
        causes = {word.removeprefix(LOST): n for word, n in outcomes.items() if word.startswith(LOST)}
        pending, sound, deformed, unknown = (outcomes.get(word, 0) for word in (PENDING, SOUND, DEFORMED, UNKNOWN))
        by_number = sorted(causes.items(), key=lambda cause: (-cause[1], cause[0]))
        return cls(pending, sound, deformed, unknown, dict(by_number))

    @property
    def lost(self) -> int:
        return sum(self.causes.values())

    @property
    def judged(self) -> int:
        return self.sound + self.deformed

    @property
    def emerged(self) -> int:
        return self.judged + self.unknown

    @property
    def formed(self) -> int:
        return self.pending + self.emerged + self.lost

    @property
    def success(self) -> Rate:
        """Sound of all whose end is known."""
        return Rate(self.sound, self.judged + self.lost, self.unknown, self.families)

    @property
    def deformity(self) -> Rate:
        """Deformed of the adults that were judged."""
        return Rate(self.deformed, self.judged, self.unknown)


def has_formed(pupa: Pupa) -> bool:
    """Whether it counts at all: a caterpillar that never became a pupa does not."""
    return pupa.formed_to is not None or pupa.emerged is not None or pupa.released is not None


def outcomes(pupae: Iterable[Pupa], settings: Settings) -> list[str]:
    """The outcome of each: PENDING, SOUND, DEFORMED, UNKNOWN, or LOST with the cause behind it.

    Emerged or let go, and never judged (or judged in a word the settings do not know), is unknown; so is what is
    recorded both as emerged and as lost, which cannot be.
    """
    by_wings = dict.fromkeys(settings.care.wings, SOUND) | dict.fromkeys(settings.care.review.deformed, DEFORMED)
    return [
        (UNKNOWN if pupa.wings is None else by_wings.get(pupa.wings.condition, UNKNOWN))
        if pupa.lost is None and (pupa.emerged is not None or pupa.released is not None)
        else PENDING
        if pupa.lost is None
        else LOST + pupa.lost.cause
        if pupa.emerged is None
        else UNKNOWN
        for pupa in pupae
    ]


def percent(rate: float | None) -> str:
    """A fraction in percent, ``88 %``; 100 and 0 are said only where they are meant."""
    if rate is None:
        return "no data"
    whole = round(100 * rate)
    if whole in (0, 100) and 0 < rate < 1:
        return f"{min(99.9, max(0.1, 100 * rate)):.1f} %"
    return f"{whole} %"
