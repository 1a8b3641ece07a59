"""A brood: a batch of eggs or caterpillars of one source, followed from egg to release."""

from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from typing import NamedTuple

from pupawatch.model.entries import Brood
from pupawatch.model.pupa import Pupa


class BroodTold(NamedTuple):
    """What is known of one brood. begun: when it was first told of; source: "" where nobody said; eggs, hatched,
    caterpillars: None where nobody counted; lost: how many were lost before pupation, by cause; pupae: that belong to
    it."""

    name: str
    begun: datetime
    source: str
    eggs: int | None
    hatched: int | None
    caterpillars: int | None
    lost: dict[str, int]
    pupae: list[Pupa]


def broods(entries: Iterable[Brood], pupae: Iterable[Pupa]) -> dict[str, BroodTold]:
    """Every brood that was told of, or that a pupa belongs to, by its name, the oldest first."""
    told: dict[str, BroodTold] = {}
    for entry in sorted(entries, key=lambda entry: (entry.happened, entry.id)):
        known = told.get(entry.brood) or BroodTold(entry.brood, entry.happened, "", None, None, None, {}, [])
        counts = {
            name: getattr(known, name) if (new := getattr(entry, name)) is None else new
            for name in ("eggs", "hatched", "caterpillars")
        }
        lost = Counter(known.lost)
        if entry.lost:
            lost[entry.why or "unknown"] += entry.lost
        told[entry.brood] = known._replace(source=entry.source or known.source, lost=dict(lost), **counts)
    for pupa in pupae:
        if pupa.brood:
            begun = pupa.entries[0].happened
            none = BroodTold(pupa.brood, begun, "", None, None, None, {}, [])
            told.setdefault(pupa.brood, none).pupae.append(pupa)
    return dict(sorted(told.items(), key=lambda one: (one[1].begun, one[0])))
