"""From egg to release: how many of a brood came through each step, and at which age pupae were lost to what."""

from collections.abc import Iterable
from datetime import datetime
from itertools import pairwise
from typing import Any, NamedTuple

from pupawatch.model.broods import BroodTold
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.model.times import hours_between
from pupawatch.review.factors import Season
from pupawatch.review.fair import ended
from pupawatch.review.outcomes import SOUND, Rate, has_formed, outcomes

_AGES_DAYS = (1, 4, 8, 12)
"""Where the ages at a loss are parted: the first day, while it hardens, the first and the second week."""


NOT_RECORDED = "not recorded"
UNDATED = "an unknown age"


class Steps(NamedTuple):
    """How many there were at each step, None where nobody counted; pending: pupae that have not ended yet."""

    eggs: int | None
    hatched: int | None
    caterpillars: int | None
    pupated: int
    emerged: int
    sound: int
    released: int
    pending: int


def steps(brood: BroodTold, settings: Settings) -> Steps:
    """The steps of one brood."""
    pupae = [pupa for pupa in brood.pupae if has_formed(pupa)]
    ends = outcomes(pupae, settings)
    return Steps(
        brood.eggs,
        brood.hatched,
        brood.caterpillars,
        len(pupae),
        sum(pupa.emerged is not None for pupa in pupae),
        ends.count(SOUND),
        sum(pupa.released is not None for pupa in pupae),
        sum(pupa.is_open for pupa in pupae),
    )


def steps_by_source(broods: Iterable[BroodTold], settings: Settings) -> dict[str, Steps]:
    """The same for all broods of one source together; a step that was not counted in one of them is not added up."""
    together: dict[str, Steps] = {}
    for brood in broods:
        mine, source = steps(brood, settings), brood.source or NOT_RECORDED
        before = together.get(source)
        together[source] = mine if before is None else _added(before, mine)
    return together


def rates_by_source(broods: Iterable[BroodTold], settings: Settings, now: datetime) -> dict[str, Rate]:
    """Success of the pupae of each source, of those that had had time to end by ``now`` (see ``fair.ended``)."""
    pupae: dict[str, list[Pupa]] = {}
    for brood in broods:
        pupae.setdefault(brood.source or NOT_RECORDED, []).extend(brood.pupae)
    return {source: ended(Season(some, settings, now)).total().success for source, some in pupae.items()}


def losses_by_age(pupae: Iterable[Pupa]) -> dict[str, dict[str, int]]:
    """How many pupae were lost to which cause, by their certain age in days; the youngest first. A loss
    that a notebook gives no time for stands at the last time it knows, and its age is not known."""
    names = ["under 1 d", *(f"{low}–{high} d" for low, high in pairwise(_AGES_DAYS))]
    names += [f"{_AGES_DAYS[-1]} d or more", UNDATED]
    found: dict[str, dict[str, int]] = {name: {} for name in names}
    for pupa in pupae:
        if pupa.lost is None or pupa.emerged is not None or pupa.formed_to is None:
            continue
        days = hours_between(pupa.formed_to, pupa.lost.happened) / 24
        undated = pupa.lost.history and days <= 0
        causes = found[UNDATED if undated else names[sum(days >= age for age in _AGES_DAYS)]]
        causes[pupa.lost.cause] = causes.get(pupa.lost.cause, 0) + 1
    by_number = {age: sorted(causes.items(), key=lambda one: (-one[1], one[0])) for age, causes in found.items()}
    return {age: dict(causes) for age, causes in by_number.items() if causes}


def _added(one: Steps, other: Steps) -> Steps:
    pairs = zip(Steps._fields, one, other, strict=True)
    sums: dict[str, Any] = {name: None if a is None or b is None else a + b for name, a, b in pairs}
    return one._replace(**sums)
