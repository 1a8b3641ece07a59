"""One pupa: a fold over its entries, total whatever they say and in whatever order they come."""

from collections.abc import Callable, Iterable
from datetime import datetime
from functools import cached_property
from typing import Any, NamedTuple

from msgspec import Struct, field

from pupawatch.model.entries import (
    AdultSeen,
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
from pupawatch.model.flags import contradictions


class Relocation(Struct, frozen=True):
    """One move as the journal tells it: the entry, where the pupa hung until then, and whether it held afterwards
    (None: nobody wrote that down)."""

    entry: Moved
    origin: str
    held: bool | None = None


class Travelled(NamedTuple):
    """What a pupa's entries say of a place (see ``entries.HungUp``): its surface as it was last described, and the
    lowest of the temperatures in °C at which it was said to be kept."""

    surface: str = ""
    usual_c: float | None = None


class Pupa(Struct, dict=True):
    """What is known of one individual.

    labels: every label it ever carried. site: the place where it formed; place: where it hangs now (or came out).
    hanging_at: last seen as a prepupa. formed_from, formed_to: it became a pupa after the first and by the second
    (None: not known); formed_told: the entry that the second rests on. stage_seen: the newest colour stage with the
    instant it was seen. danger: the open emergency reason, "" where there is none. origin: where it came from, "" where
    nobody said; kept: where it stays because it cannot fly. climb: whether a climb was brought to it where it hangs.
    disputed: whether united journals tell one of its entries differently. travelled: what its entries say of the places
    it hung in, by their names.
    """

    id: str
    label: str = ""
    labels: list[str] = field(default_factory=list)
    relabelled: Relabelled | None = None
    species: str = ""
    site: str = ""
    place: str = ""
    hanging_at: datetime | None = None
    formed_from: datetime | None = None
    formed_to: datetime | None = None
    formed_told: Found | Hanging | None = None
    sightings: list[Seen] = field(default_factory=list)
    danger: str = ""
    falls: list[Fell] = field(default_factory=list)
    relocations: list[Relocation] = field(default_factory=list)
    climb: bool = False
    emerged: Emerged | None = None
    wings: Wings | None = None
    sex: str = ""
    origin: str = ""
    findings: list[Finding] = field(default_factory=list)
    adult_seen: list[AdultSeen] = field(default_factory=list)
    kept: Kept | None = None
    marked: Marked | None = None
    released: Released | None = None
    lost: Lost | None = None
    notes: list[str] = field(default_factory=list)
    disputed: bool = False
    travelled: dict[str, Travelled] = field(default_factory=dict)
    entries: list[Entry] = field(default_factory=list)

    @property
    def stage_seen(self) -> str:
        """The newest colour stage the keeper saw, or ""."""
        return self.sightings[-1].stage if self.sightings else ""

    @property
    def is_prepupa(self) -> bool:
        """Hanging, and not known to have pupated."""
        return self.formed_to is None and self.hanging_at is not None

    @property
    def is_open(self) -> bool:
        """Still in the keeper's care as a pupa: neither emerged nor lost nor let go."""
        return self.emerged is None and self.lost is None and self.released is None

    @property
    def is_living(self) -> bool:
        """Takes up room where it hangs: open, and its case not seen empty."""
        return self.is_open and self.stage_seen != "empty"

    @property
    def holds_label(self) -> bool:
        """Whether its label is taken: until it is lost or let go, or the adult died."""
        return self.lost is None and self.released is None and self.died is None

    @property
    def is_adult(self) -> bool:
        """A living adult in the keeper's care."""
        return self.emerged is not None and self.holds_label

    @property
    def fallen(self) -> AdultSeen | None:
        """The fall the adult has not come up from, None where it hangs."""
        last = next((seen for seen in reversed(self.adult_seen) if seen.what in ("fell", "climbed", "helped")), None)
        return last if last is not None and last.what == "fell" else None

    @property
    def wings_full(self) -> AdultSeen | None:
        """When the wings were first seen at their full size."""
        return next((seen for seen in self.adult_seen if seen.what == "full"), None)

    @property
    def died(self) -> AdultSeen | None:
        """The death of the adult in the keeper's care."""
        return next((seen for seen in self.adult_seen if seen.what == "died"), None)

    @cached_property
    def flags(self) -> list[str]:
        """What in its entries cannot all be so: codes of ``model.flags``. Asked for when all of them are folded in."""
        return contradictions(self)

    @property
    def last_seen(self) -> datetime | None:
        """The newest instant at which anything was recorded about it before it emerged."""
        if self.emerged is None:
            return self.entries[-1].happened if self.entries else None
        before = [entry.happened for entry in self.entries if entry.happened < self.emerged.earliest]
        return max(before, default=None)


def fold(pupa_id: str, entries: Iterable[Entry]) -> Pupa:
    """The pupa that these live entries tell of. Never raises: what cannot be so becomes a flag."""
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
        pupa.danger = "fallen"


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
}
