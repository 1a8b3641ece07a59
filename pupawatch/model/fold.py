"""How the entries about a pupa make it: a fold, total whatever they say and in whatever order they come."""

from collections.abc import Callable, Iterable
from typing import Any

from pupawatch.model.entries import (
    AdultSeen,
    Belongs,
    Climb,
    Emerged,
    Entry,
    Fell,
    Finding,
    Found,
    Hanging,
    Held,
    HungUp,
    Kept,
    Lost,
    Marked,
    Moved,
    Note,
    Origin,
    Relabelled,
    Released,
    Seen,
    Sexed,
    Wings,
    in_order,
)
from pupawatch.model.pupa import Pupa, Relocation, Travelled


def fold(pupa_id: str, entries: Iterable[Entry]) -> Pupa:
    """The pupa that these live entries tell of. Never raises: what conflicts becomes a flag."""
    pupa = Pupa(pupa_id)
    pupa.entries = sorted(entries, key=in_order)
    for entry in pupa.entries:
        change = _CHANGES.get(type(entry))
        if change is not None:
            change(pupa, entry)
    return pupa


def _hung_up(pupa: Pupa, entry: HungUp, place: str) -> None:
    said = pupa.travelled.get(place, Travelled())
    usual = [celsius for celsius in (said.usual_c, entry.usual_c) if celsius is not None]
    pupa.travelled[place] = Travelled(entry.surface or said.surface, min(usual, default=None))


def _relabelled(pupa: Pupa, entry: Relabelled) -> None:
    pupa.relabelled = entry
    pupa.label = entry.label
    pupa.labels.append(entry.label)


def _named(pupa: Pupa, entry: Hanging | Found) -> None:
    # A finding names a pupa in passing, a relabelling names it on purpose. So no finding undoes one, not even one that
    # happened later: it was written by somebody who did not know the new label yet, as on another computer.
    if pupa.relabelled is None:
        pupa.label = entry.label
    pupa.labels.append(entry.label)
    _hung_up(pupa, entry, entry.place)
    pupa.species = entry.species
    pupa.brood = entry.brood or pupa.brood
    pupa.site = pupa.site or entry.place
    pupa.place = pupa.place or entry.place


def _hanging(pupa: Pupa, entry: Hanging) -> None:
    _named(pupa, entry)
    pupa.hanging_at = entry.happened
    if pupa.formed_to is not None and pupa.formed_to < entry.happened:
        # Said to be a pupa before it was seen as a caterpillar: of the two the one counts that claims less hang time.
        pupa.formed_from = pupa.formed_to = entry.happened
        pupa.formed_told = entry


def _found(pupa: Pupa, entry: Found) -> None:
    _named(pupa, entry)
    pupa.site = pupa.place = entry.place  # a caterpillar may have moved on before it pupated
    # A prepupa seen after the stated beginning of the interval narrows it: it had not pupated by then.
    bounds = [at for at in (entry.since, pupa.hanging_at) if at is not None and at <= entry.happened]
    pupa.formed_from = max(bounds, default=None)
    pupa.formed_to = entry.happened
    pupa.formed_told = entry


def _seen(pupa: Pupa, entry: Seen) -> None:
    pupa.sightings.append(entry)


def _fell(pupa: Pupa, entry: Fell) -> None:
    pupa.falls.append(entry)
    pupa.times_fallen += entry.reason == "fallen" != pupa.danger
    pupa.danger = entry.reason


def _moved(pupa: Pupa, entry: Moved) -> None:
    pupa.relocations.append(Relocation(entry, pupa.place))
    _hung_up(pupa, entry, entry.to)
    pupa.place = entry.to
    pupa.danger = ""
    pupa.climb = False


def _held(pupa: Pupa, entry: Held) -> None:
    if pupa.relocations:
        last = pupa.relocations[-1]
        pupa.relocations[-1] = Relocation(last.entry, last.origin, entry.held)
    if not entry.held and pupa.is_open:
        pupa.times_fallen += pupa.danger != "fallen"
        pupa.danger = "fallen"


def _belongs(pupa: Pupa, entry: Belongs) -> None:
    pupa.brood = entry.brood


def _climb(pupa: Pupa, _: Climb) -> None:
    pupa.climb = True


def _emerged(pupa: Pupa, entry: Emerged) -> None:
    pupa.emerged = pupa.emerged or entry
    pupa.place = entry.place or pupa.place
    pupa.danger = ""


def _wings(pupa: Pupa, entry: Wings) -> None:
    pupa.wings = entry


def _sexed(pupa: Pupa, entry: Sexed) -> None:
    pupa.sex = entry.sex


def _origin(pupa: Pupa, entry: Origin) -> None:
    pupa.origin = entry.origin


def _finding(pupa: Pupa, entry: Finding) -> None:
    pupa.findings.append(entry)


def _adult_seen(pupa: Pupa, entry: AdultSeen) -> None:
    pupa.adult_seen.append(entry)


def _kept(pupa: Pupa, entry: Kept) -> None:
    pupa.kept = entry


def _marked(pupa: Pupa, entry: Marked) -> None:
    pupa.marked = entry


def _released(pupa: Pupa, entry: Released) -> None:
    pupa.released = entry


def _lost(pupa: Pupa, entry: Lost) -> None:
    pupa.lost = entry


def _note(pupa: Pupa, entry: Note) -> None:
    pupa.notes.append(entry.text)


_CHANGES: dict[type[Entry], Callable[[Pupa, Any], None]] = {
    Hanging: _hanging,
    Found: _found,
    Seen: _seen,
    Fell: _fell,
    Moved: _moved,
    Held: _held,
    Climb: _climb,
    Emerged: _emerged,
    Wings: _wings,
    Sexed: _sexed,
    Origin: _origin,
    Finding: _finding,
    AdultSeen: _adult_seen,
    Kept: _kept,
    Marked: _marked,
    Released: _released,
    Lost: _lost,
    Relabelled: _relabelled,
    Note: _note,
    Belongs: _belongs,
}
