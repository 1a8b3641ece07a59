"""The chance of a bad emergence: crippled wings, or none, because of where a pupa hangs or of being handled.

Every constant stands in the ``[risk]`` table of the care rules. Separate dangers are taken as independent: the chance
that none of them strikes is the product of the chances that each does not.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from itertools import pairwise
from math import sqrt
from typing import NamedTuple

from pupawatch.care.hang import SetHours
from pupawatch.care.health import is_ill
from pupawatch.model.codes import HungStage
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Place, Profile, Risks, Settings


class Record(NamedTuple):
    """How emergences went in one place: so many bad ones of ``n`` whose end is known and was up to the place."""

    bad: int = 0
    n: int = 0


NO_RECORD = Record()


def records(pupae: Iterable[Pupa], settings: Settings) -> dict[str, Record]:
    """The record of each place by its name: of the pupae that came to their end there.

    Bad are deformed wings, and losses to a cause named in ``risk.causes``; other losses say nothing of the place. Nor
    does one that showed signs of disease, whatever became of it.
    """
    deformed, causes = set(settings.care.review.deformed), set(settings.care.risk.causes)
    counts: defaultdict[str, list[int]] = defaultdict(lambda: [0, 0])
    for pupa in pupae:
        if is_ill(pupa, settings.health):
            continue
        if pupa.lost is not None and pupa.emerged is None:
            bad = known = pupa.lost.cause in causes
        else:
            known = pupa.wings is not None
            bad = pupa.wings is not None and pupa.wings.condition in deformed
        counts[pupa.place][0] += bad
        counts[pupa.place][1] += known
    return {place: Record(bad, n) for place, (bad, n) in counts.items() if n}


def any_of(*chances: float) -> float:
    """The chance that at least one of several independent things happens."""
    none = 1.0
    for chance in chances:
        none *= 1.0 - chance
    return 1.0 - none


def expected_of(place: Place, profile: Profile, settings: Settings) -> float:
    """The chance of a bad emergence to expect of a place nobody has a record of: by its surface and clear height."""
    rules, climbable = settings.care.risk, settings.climbable(place)
    surface = settings.care.surfaces.get(place.surface)
    chance = rules.climbable if climbable else rules.unclimbable
    if surface is not None and surface.climbable == climbable:
        chance = rules.surfaces.get(place.surface, chance)
    if place.clearance_cm is None:
        return chance
    missing = max(0.0, 1.0 - place.clearance_cm / profile.clearance_below_cm)
    return any_of(chance, missing * rules.no_clearance)


def of_place(place: Place, profile: Profile, record: Record, settings: Settings) -> float:
    """The chance of a bad emergence for a pupa that hangs there unhandled.

    The keeper's own record corrects what is to be expected, which weighs as much as ``risk.record_weight`` pupae: the
    mean of a Beta distribution (shrinkage of a rate; Robinson, empirical Bayes estimation). What threatens there now
    comes on top.
    """
    return any_of(_shrunk(place, profile, record, settings), _threats(place, settings))


def spread_of_place(place: Place, profile: Profile, record: Record, settings: Settings) -> float:
    """By how much that chance may be wrong: the standard deviation of the same Beta distribution."""
    mean = _shrunk(place, profile, record, settings)
    deviation = sqrt(mean * (1.0 - mean) / (settings.care.risk.record_weight + record.n + 1.0))
    return deviation * (1.0 - _threats(place, settings))


def _shrunk(place: Place, profile: Profile, record: Record, settings: Settings) -> float:
    weight = settings.care.risk.record_weight
    return (weight * expected_of(place, profile, settings) + record.bad) / (weight + record.n)


def _threats(place: Place, settings: Settings) -> float:
    """The chance that what threatens there now strikes."""
    rules = settings.care.risk
    now = (place.drip, rules.drip), (place.sun, rules.sun), (bool(place.disturbed), rules.disturbed)
    return any_of(*(chance for holds, chance in now if holds))


def of_handling(hang_hours: float, stage: HungStage, limits: SetHours, rules: Risks) -> float:
    """The chance that a move itself spoils the pupa: falls with the certain hang time, rises near emergence.

    Between a fresh case, the soft and the firm time it falls in straight lines.
    """
    corners = (
        (0.0, rules.handled_fresh),
        (limits.soft, rules.handled_soft),
        (limits.firm, rules.handled_firm),
    )
    hardening = rules.handled_firm
    for (start, high), (end, low) in pairwise(corners):
        if start <= hang_hours < end:
            hardening = high + (low - high) * (hang_hours - start) / (end - start)
    near: dict[HungStage, float] = {"darkening": rules.handled_darkening, "clear": rules.handled_clear}
    return any_of(hardening, near.get(stage, 0.0))


def record_of(place: str, known: Mapping[str, Record]) -> Record:
    """The record of a place, an empty one where it has none."""
    return known.get(place, NO_RECORD)
