"""From the pupae of the journal to what the forecast asks: where each hung, what was seen of it, and when."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from pupawatch.care.forecast.records import Finished, Sighting, Stay, Watched
from pupawatch.care.forecast.scoring import Story
from pupawatch.model.pupa import Pupa

Looks = Mapping[str, Sequence[datetime]]
"""When each place was looked over, as ``State.looks`` has it."""


def watched(pupa: Pupa, looks: Looks, now: datetime) -> Watched | None:
    """A living pupa as the forecast sees it at ``now``; None for a prepupa, and for one that is out or lost."""
    if pupa.formed_to is None or pupa.formed_to > now or not pupa.is_living:
        return None
    seen = [pupa.formed_to, *(entry.happened for entry in pupa.entries), *_looked(pupa, looks)]
    alive = max(at for at in seen if at <= now)
    sightings = [sighting for sighting in _sightings(pupa) if sighting.at <= now]
    stays = [stay for stay in _stays(pupa, pupa.formed_to) if stay.since <= now]
    return Watched(pupa.formed_from, pupa.formed_to, alive, stays, sightings)


def finished(pupa: Pupa, looks: Looks) -> Finished | None:
    """What a pupa that emerged teaches; None for any other."""
    told = story(pupa, looks)
    return told.finished if told else None


def story(pupa: Pupa, looks: Looks) -> Story | None:
    """A pupa that emerged, from beginning to end; None where it did not, or the order of its instants cannot be.

    Where nothing says until when it was still inside, the last look at it before tells.
    """
    if pupa.formed_to is None or pupa.emerged is None or pupa.emerged.happened <= pupa.formed_to:
        return None
    out = pupa.emerged.happened
    last_seen = [at for at in (pupa.last_seen, *_looked(pupa, looks)) if at is not None and at < out]
    since = max([pupa.formed_to, pupa.emerged.since or max(last_seen, default=pupa.formed_to)])
    inside = sorted({at for at in last_seen if pupa.formed_to <= at <= since})
    return Story(
        pupa.formed_from,
        pupa.formed_to,
        min(since, out),
        out,
        list(_stays(pupa, pupa.formed_to)),
        [sighting for sighting in _sightings(pupa) if sighting.at < out],
        inside,
    )


def _stays(pupa: Pupa, formed_to: datetime) -> Iterator[Stay]:
    yield Stay(formed_to, pupa.relocations[0].origin if pupa.relocations else pupa.place)
    for move in pupa.relocations:
        yield Stay(max(move.entry.happened, formed_to), move.entry.to)


def _sightings(pupa: Pupa) -> list[Sighting]:
    seen = ((sighting.happened, sighting.code) for sighting in pupa.sightings)
    return [Sighting(at, stage) for at, stage in seen if stage and stage != "empty"]


def _looked(pupa: Pupa, looks: Looks) -> list[datetime]:
    """When the places it hung in were looked over while it hung there."""
    if pupa.formed_to is None:
        return []
    stays = list(_stays(pupa, pupa.formed_to))
    ends = [stay.since for stay in stays[1:]] + [None]
    return [
        at
        for stay, end in zip(stays, ends, strict=True)
        for at in looks.get(stay.place, ())
        if at >= stay.since and (end is None or at < end)
    ]
