"""How likely it is that a pupa lives and will emerge: by how the keeper's own ended, and by how late it is."""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import NamedTuple

from pupawatch.model.ended import had_time_to_end
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Risks, Settings
from pupawatch.model.times import hours_between


class Ends(NamedTuple):
    """How many hours the keeper's own hung until they emerged, and until they were lost; both rise."""

    emerged: Sequence[float] = ()
    lost: Sequence[float] = ()


def ends(pupae: Iterable[Pupa], now: datetime, settings: Settings) -> Ends:
    """Of the pupae that have had time to end by ``now``, where it is known when they pupated."""
    emerged, lost = [], []
    for pupa in had_time_to_end(pupae, now, settings):
        formed = pupa.formed_to
        if formed is None:
            continue
        if pupa.emerged is not None:
            emerged.append(max(0.0, hours_between(formed, pupa.emerged.happened)))
        elif pupa.lost is not None:
            lost.append(max(0.0, hours_between(formed, pupa.lost.happened)))
    return Ends(sorted(emerged), sorted(lost))


def chance(hang_hours: float, known: Ends, rules: Risks) -> float:
    """The chance that one that has hung for so many hours will emerge.

    The share of the keeper's own that did, of those that lived for as long; what is published weighs as much as
    ``risk.record_weight`` pupae beside them (the mean of a Beta distribution, as for places).
    """
    emerged = len(known.emerged) - bisect_left(known.emerged, hang_hours)
    lost = len(known.lost) - bisect_left(known.lost, hang_hours)
    return (rules.record_weight * rules.emerges + emerged) / (rules.record_weight + emerged + lost)


def given_late(alive: float, still_inside: float, rules: Risks) -> float:
    """The same chance once it is known to be late: a dead one is certainly still inside, of the living only the
    share ``still_inside`` would be (Bayes' rule), and never less than ``risk.late_doubt``: the date may be wrong."""
    late = alive * max(still_inside, rules.late_doubt)
    return late / (late + (1.0 - alive))
