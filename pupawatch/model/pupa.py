"""One pupa: what is known of it, and what of that cannot all be so. ``model.fold`` makes it from its entries."""

from datetime import datetime
from functools import cached_property
from typing import Literal, NamedTuple

from msgspec import Struct, field

from pupawatch.model.codes import FLAGS, STAGES, Flag, Sighting, Stage
from pupawatch.model.entries import (
    AdultSeen,
    Emerged,
    Entry,
    Fell,
    Finding,
    Found,
    Hanging,
    Kept,
    Lost,
    Marked,
    Moved,
    Relabelled,
    Released,
    Seen,
    Wings,
)

_FALLS: tuple[Sighting, ...] = ("fell", "climbed", "helped")
"""What says whether an adult lies on the floor."""


class Relocation(Struct, frozen=True):
    """One move as the journal tells it: the entry, where the pupa hung until then, and whether it held afterwards
    (None: not recorded)."""

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
    instant it was seen. danger: the open emergency reason, "" where there is none; times_fallen: how often it came
    down (said twice of one fall counts once). origin: where it came from, "" where nobody said; brood: the brood it
    belongs to, "" where that was not recorded; kept: where it stays because it cannot fly. climb: whether a climb
    was brought to it where it hangs. disputed: whether united journals tell one of its entries differently.
    travelled: what its entries say of the places it hung in, by their names.
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
    times_fallen: int = 0
    relocations: list[Relocation] = field(default_factory=list)
    climb: bool = False
    emerged: Emerged | None = None
    wings: Wings | None = None
    sex: str = ""
    origin: str = ""
    brood: str = ""
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
    def stage_seen(self) -> Stage | Literal[""]:
        """The newest colour stage the keeper saw, or ""."""
        return (self.sightings[-1].code or "") if self.sightings else ""

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
        last = next((seen for seen in reversed(self.adult_seen) if seen.code in _FALLS), None)
        return last if last is not None and last.code == "fell" else None

    @property
    def wings_full(self) -> AdultSeen | None:
        """When the wings were first seen at their full size."""
        return self._first_seen("full")

    @property
    def died(self) -> AdultSeen | None:
        """The death of the adult in the keeper's care."""
        return self._first_seen("died")

    @property
    def gone(self) -> AdultSeen | None:
        """When the butterfly was first seen to have left the place where it dried."""
        return self._first_seen("gone")

    def _first_seen(self, sighting: Sighting) -> AdultSeen | None:
        return next((seen for seen in self.adult_seen if seen.code == sighting), None)

    @cached_property
    def flags(self) -> list[Flag]:
        """What in its entries cannot all be so, in the order of ``FLAGS``. Asked for when all of them are folded in."""
        raised = {flag for flag, holds in _checks(self) if holds}
        return [flag for flag in FLAGS if flag in raised]

    @property
    def last_seen(self) -> datetime | None:
        """The newest instant at which anything was recorded about it before it emerged."""
        if self.emerged is None:
            return self.entries[-1].happened if self.entries else None
        before = [entry.happened for entry in self.entries if entry.happened < self.emerged.earliest]
        return max(before, default=None)


def _checks(pupa: Pupa) -> list[tuple[Flag, bool]]:
    kinds = [type(entry) for entry in pupa.entries]
    found = [entry for entry in pupa.entries if isinstance(entry, Found)]
    formed = pupa.formed_from or pupa.formed_to
    emerged, lost = pupa.emerged, pupa.lost
    judged = {(entry.condition, entry.happened) for entry in pupa.entries if isinstance(entry, Wings)}
    moves = [relocation.entry for relocation in pupa.relocations]
    # Orders are compared by what must have been: an interval that only touches is no contradiction.
    emerged_by = emerged.happened if emerged else None
    emerged_from = emerged.earliest if emerged else None
    colours = [STAGES.index(seen.code) for seen in pupa.sightings if seen.code]
    return [
        ("never-found", not pupa.label),
        ("told-differently", pupa.disputed),
        ("found-twice", kinds.count(Found) > 1),
        (
            "formed-backwards",
            any(isinstance(e, Found) and e.since is not None and e.since > e.happened for e in pupa.entries),
        ),
        (
            "hanging-after-formed",
            any(isinstance(e, Hanging) and any(f.happened < e.happened for f in found) for e in pupa.entries),
        ),
        ("seen-before-formed", formed is not None and any(seen.happened < formed for seen in pupa.sightings)),
        ("stage-went-back", colours != sorted(colours)),
        ("empty-not-emerged", pupa.stage_seen == "empty" and emerged is None and lost is None),
        (
            "moved-after-emergence",
            emerged_by is not None and any(move.earliest > emerged_by for move in moves),
        ),
        ("moved-after-loss", lost is not None and any(move.earliest > lost.happened for move in moves)),
        ("emerged-twice", kinds.count(Emerged) > 1),
        ("emerged-before-formed", emerged_by is not None and formed is not None and emerged_by < formed),
        ("emerged-and-lost", emerged is not None and kinds.count(Lost) > 0),
        ("wings-without-emergence", pupa.wings is not None and emerged is None),
        ("wings-told-twice", len(judged) > len({at for _, at in judged})),
        (
            "marked-before-emergence",
            pupa.marked is not None and (emerged_from is None or pupa.marked.happened < emerged_from),
        ),
        (
            "released-before-emergence",
            pupa.released is not None and (emerged_from is None or pupa.released.happened < emerged_from),
        ),
    ]
