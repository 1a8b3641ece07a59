"""Everything that can ever happen to a pupa or a place.

To add a kind: write its class here, give it a line in ``Kind``, and say in ``pupa.py`` (or ``state.py``) what it
changes. Nothing else needs to know of it before a door writes it.
"""

from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from typing import Annotated, ClassVar, NamedTuple, get_args

from msgspec import MsgspecError, Struct
from msgspec.json import Decoder, Encoder

from pupawatch.errors import NotUnderstood
from pupawatch.model.codes import ADULT_SIGHTINGS, BROOD_SOURCES, ORIGINS, SEXES, SKIES, STAGES, Sighting, Stage, among
from pupawatch.model.fields import (
    Celsius,
    Count,
    Day,
    Id,
    Instant,
    Label,
    Minutes,
    Name,
    PupaId,
    SporeClass,
    SporeCount,
    Words,
    Zone,
    fitted,
    one_of,
)
from pupawatch.model.text import quoted
from pupawatch.model.times import in_years


class Misfit(NamedTuple):
    """A field of an entry that holds what no door lets in. must: what it has to be, in words."""

    field: str
    value: object
    must: str

    def __str__(self) -> str:
        found = quoted(self.value) if isinstance(self.value, str) else str(self.value)[:40]
        return f"{self.field} is {found}; it must be {self.must}"


class Entry(
    Struct,
    frozen=True,
    kw_only=True,
    omit_defaults=True,
    tag_field="kind",
    gc=False,
    forbid_unknown_fields=True,
):
    """One line of the journal.

    happened: UTC instant by which it had happened; since: the instant after which it must have happened, where
    only an interval is known (None: not known, or a moment). recorded: when it was recorded. zone: IANA name
    of the zone it was entered in. act: shared by the entries that were written in one go, so that
    what one key did one key undoes. history: brought in from a notebook, kept as it was.
    """

    rank: ClassVar[int] = 5
    """Which of two entries of the same instant comes first: a pupa is found before it is looked at."""

    id: Id
    act: Id
    happened: Instant
    recorded: Instant
    zone: Zone
    since: Instant | None = None
    history: bool = False

    @property
    def about(self) -> str:
        """What the entry is about: a pupa's id, a place's name, or for a retraction the act it takes back."""
        return ""

    @property
    def earliest(self) -> datetime:
        """The earliest instant at which it can have happened."""
        return self.since or self.happened

    def misfits(self) -> Iterator[Misfit]:
        """What no door lets in: fields that hold what they may not, and fields that contradict each other. A field that
        says nothing, as its default does, always fits."""
        for name, silent, fit in fitted(type(self)):
            value = getattr(self, name)
            for one in value if isinstance(value, list) else [value]:
                if one != silent and not fit.holds(one):
                    yield Misfit(name, one, fit.words)
        if self.since is not None and self.since > self.happened:
            yield Misfit("since", self.since, "no later than happened")

    @property
    def is_timely(self) -> bool:
        """Whether all its times lie in the years that can be reckoned with."""
        return in_years(self.happened) and in_years(self.recorded) and (self.since is None or in_years(self.since))


class OfPupa(Entry, frozen=True, kw_only=True):
    """An entry about one pupa (or the adult that came out of it)."""

    pupa: PupaId

    @property
    def about(self) -> str:
        return self.pupa


class HungUp(OfPupa, frozen=True, kw_only=True):
    """An entry that says where it hangs from then on.

    surface, usual_c: what the keeper had described that place as, and at how many °C it is usually kept; "" and None
    where nobody had. They travel with the entry, so that the move rule holds in another keeper's journal, and however
    the place is called and described later.
    """

    surface: Name = ""
    usual_c: Celsius | None = None


class Hanging(HungUp, frozen=True, kw_only=True, tag="hanging"):
    """A caterpillar was seen hanging, not yet a pupa."""

    rank = 0
    label: Label
    species: Words
    place: Name
    brood: Name = ""


class Found(HungUp, frozen=True, kw_only=True, tag="found"):
    """A pupa was found: it formed after ``since`` and by ``happened``."""

    rank = 1
    label: Label
    species: Words
    place: Name
    brood: Name = ""


class Seen(OfPupa, frozen=True, kw_only=True, tag="seen"):
    """A colour stage was seen."""

    rank = 2
    stage: Annotated[str, one_of(STAGES)]

    @property
    def code(self) -> Stage | None:
        """The stage, None where the journal holds a word that is none."""
        return among(self.stage, STAGES)


class Fell(OfPupa, frozen=True, kw_only=True, tag="fell"):
    """It fell, or is in another danger named in the care rules; open until it is moved to safety."""

    rank = 3
    reason: Words


class Moved(HungUp, frozen=True, kw_only=True, tag="moved"):
    """It was hung elsewhere, or again where it fell from.

    ``advice`` is what the move rule said just before; ``emergency`` the waiving reason; ``reason`` why, in words.
    """

    rank = 4
    to: Name
    method: Words = ""
    emergency: Words = ""
    advice: Words = ""
    reason: Words = ""


class Held(OfPupa, frozen=True, kw_only=True, tag="held"):
    """After its last move it was seen to hold where it was hung, or not to."""

    rank = 4
    held: bool


class Climb(OfPupa, frozen=True, kw_only=True, tag="climb"):
    """A climb was brought to it; the pupa was not touched."""

    rank = 4


class Emerged(OfPupa, frozen=True, kw_only=True, tag="emerged"):
    """The adult came out, after ``since`` and by ``happened``; ``place`` where it is not the pupa's own."""

    place: Name = ""


class Wings(OfPupa, frozen=True, kw_only=True, tag="wings"):
    """The wings were judged, when they should have been hard."""

    rank = 6
    condition: Words


class Sexed(OfPupa, frozen=True, kw_only=True, tag="sexed"):
    """The sex was seen: ``female`` or ``male``."""

    rank = 6
    sex: Annotated[str, one_of(SEXES)]


class Finding(OfPupa, frozen=True, kw_only=True, tag="finding"):
    """A sign of health or disease was seen: one of the signs of the settings, or the keeper's own words.

    text: what the keeper adds; spores: how many were counted on a tape print, None where nobody counted; load: the
    class of the count, in older entries that hold no count.
    """

    rank = 6
    sign: Name
    text: Words = ""
    load: SporeClass | None = None
    spores: SporeCount | None = None


class AdultSeen(OfPupa, frozen=True, kw_only=True, tag="adult-seen"):
    """Something was seen of the adult: one of ADULT_SIGHTINGS."""

    rank = 6
    what: Annotated[str, one_of(ADULT_SIGHTINGS)]

    @property
    def code(self) -> Sighting | None:
        """What was seen, None where the journal holds a word that is not one of these."""
        return among(self.what, ADULT_SIGHTINGS)


class Origin(OfPupa, frozen=True, kw_only=True, tag="origin"):
    """Where the individual came from: one of ORIGINS."""

    rank = 6
    origin: Annotated[str, one_of(ORIGINS)]


class Marked(OfPupa, frozen=True, kw_only=True, tag="marked"):
    """A numbered wing mark was put on."""

    rank = 7
    code: Label


class Released(OfPupa, frozen=True, kw_only=True, tag="released"):
    """The butterfly was released; in which weather, where the keeper said so (``sky``: one of SKIES). despite:
    why, where the program asked before."""

    rank = 8
    place: Name = ""
    temperature_c: Celsius | None = None
    sky: Annotated[str, one_of(SKIES)] = ""
    despite: Words = ""


class Kept(OfPupa, frozen=True, kw_only=True, tag="kept"):
    """The adult stays in care, in ``place``, because it cannot fly."""

    rank = 8
    place: Name


class Lost(OfPupa, frozen=True, kw_only=True, tag="lost"):
    """The pupa produced no butterfly; ``cause`` may be ``unknown``."""

    rank = 8
    cause: Words


class Relabelled(OfPupa, frozen=True, kw_only=True, tag="relabelled"):
    """It was given another label. The newest counts, whatever a later finding calls it (see ``model.pupa``)."""

    label: Label


class Note(OfPupa, frozen=True, kw_only=True, tag="note"):
    """Free words about a pupa."""

    rank = 9
    text: Words


class Belongs(OfPupa, frozen=True, kw_only=True, tag="belongs"):
    """It belongs to a brood: pupae of one brood are not independent of each other. The newest counts."""

    rank = 4
    brood: Name


class Brood(Entry, frozen=True, kw_only=True, tag="brood"):
    """What is known of a batch of eggs or caterpillars of one source. Of each count the newest holds; those lost before
    pupation add up. A count that nobody made is None."""

    brood: Name
    source: Annotated[str, one_of(BROOD_SOURCES)] = ""
    eggs: Count | None = None
    hatched: Count | None = None
    caterpillars: Count | None = None
    lost: Count | None = None
    why: Words = ""

    @property
    def about(self) -> str:
        return self.brood


class Looked(Entry, frozen=True, kw_only=True, tag="looked"):
    """A place was looked over; whatever is new there afterwards formed later."""

    place: Name

    @property
    def about(self) -> str:
        return self.place


class Measured(Entry, frozen=True, kw_only=True, tag="measured"):
    """The lowest and highest temperature of a local day (ISO 8601) in a place, in °C, as the keeper read them off."""

    place: Name
    day: Day
    low_c: Celsius
    high_c: Celsius

    @property
    def about(self) -> str:
        return self.place

    def misfits(self) -> Iterator[Misfit]:
        yield from super().misfits()
        if self.low_c > self.high_c:
            yield Misfit("low_c", self.low_c, f"no more than high_c, {self.high_c:g}")


class Tied(Entry, frozen=True, kw_only=True, tag="tied"):
    """A logger's sensor tells of these places, from ``since`` on where that is set, else in all its readings; none: it
    tells of nothing any more."""

    sensor: Name
    places: list[Name]

    @property
    def about(self) -> str:
        return self.sensor


class Cleaned(Entry, frozen=True, kw_only=True, tag="cleaned"):
    """A place was cleaned: how (one of the cleanings of the settings), and how many minutes the solution stood."""

    place: Name
    how: Words
    minutes: Minutes

    @property
    def about(self) -> str:
        return self.place


class Retraction(Entry, frozen=True, kw_only=True, tag="retraction"):
    """An act is taken back. Taking back a retraction makes the act count again."""

    rank = 10
    target: Id

    @property
    def about(self) -> str:
        return self.target


Kind = (
    Hanging
    | Found
    | Seen
    | Fell
    | Moved
    | Held
    | Climb
    | Emerged
    | Wings
    | Sexed
    | Finding
    | AdultSeen
    | Origin
    | Marked
    | Released
    | Kept
    | Lost
    | Relabelled
    | Note
    | Belongs
    | Brood
    | Looked
    | Measured
    | Tied
    | Cleaned
    | Retraction
)
"""Any entry, by its kind."""

KINDS = frozenset(str(kind.__struct_config__.tag) for kind in get_args(Kind))
"""The words the journal uses for the kinds of entries that this version knows."""


class Bare(Struct, gc=False):
    """What every version's entry has, read without knowing the rest of it."""

    id: str
    act: str
    kind: str
    happened: Instant
    recorded: Instant
    since: Instant | None = None


encode = Encoder().encode
decode: Callable[[bytes | str], Kind] = Decoder(Kind).decode
decode_many: Callable[[bytes | str], list[Kind]] = Decoder(list[Kind]).decode
decode_bare = Decoder(Bare).decode


def kind_of(entry: Entry) -> str:
    """The word the journal uses for this kind of entry."""
    return str(entry.__struct_config__.tag)


def written(entry: Entry) -> str:
    """The entry as the journal keeps it, in JSON. Raises NotUnderstood where it would not read back as it is.

    msgspec checks no value when an entry is built, and writes a number that is none as null; so it is read once more.
    """
    try:
        body = encode(entry)
        if decode(body) == entry:
            return body.decode()
        why = "it would read differently later"
    except (TypeError, MsgspecError) as error:
        why = str(error)
    raise NotUnderstood(f"Nothing was written: in the entry ({kind_of(entry)}) {why}.")


def fitting(entries: Iterable[Entry]) -> Iterator[Entry]:
    """The same entries; raises NotUnderstood, with the field, at the first that no door lets in."""
    for entry in entries:
        try:
            misfit = next(entry.misfits(), None)
        except TypeError:
            written(entry)  # says which field is not even of its type
            raise
        if misfit:
            raise NotUnderstood(f"Nothing was written: in the entry ({kind_of(entry)}) {misfit}.")
        yield entry


def in_order(entry: Entry) -> tuple[datetime, int, str]:
    """The order in which entries are told: when it happened, then what comes first by nature, then the id."""
    return entry.happened, entry.rank, entry.id
