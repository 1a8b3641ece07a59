"""Everything that can ever happen to a pupa or a place.

To add a kind: write its class here, give it a line in ``Kind``, and say in ``pupa.py`` (or ``state.py``) what it
changes. Nothing else needs to know of it before a door writes it.
"""

from datetime import datetime
from typing import Annotated, ClassVar

from msgspec import Meta, Struct
from msgspec.json import Decoder, Encoder

Instant = Annotated[datetime, Meta(tz=True)]
"""A time with its offset; one without is not read."""

STAGES = ("soft", "set", "darkening", "clear", "empty")
"""The colour stages of a pupa, in the order in which they come."""


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
    only an interval is known (None: not known, or a moment). recorded: when it was written down. zone: IANA name
    of the zone it was entered in. act: shared by the entries that were written in one go, so that
    what one key did one key undoes. history: brought in from a notebook, kept as it was.
    """

    rank: ClassVar[int] = 5
    """Which of two entries of the same instant comes first: a pupa is found before it is looked at."""

    id: str
    act: str
    happened: Instant
    recorded: Instant
    zone: str
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


class OfPupa(Entry, frozen=True, kw_only=True):
    """An entry about one pupa (or the adult that came out of it)."""

    pupa: str

    @property
    def about(self) -> str:
        return self.pupa


class Hanging(OfPupa, frozen=True, kw_only=True, tag="hanging"):
    """A caterpillar was seen hanging, not yet a pupa."""

    rank = 0
    label: str
    species: str
    place: str


class Found(OfPupa, frozen=True, kw_only=True, tag="found"):
    """A pupa was found: it formed after ``since`` and by ``happened``."""

    rank = 1
    label: str
    species: str
    place: str


class Seen(OfPupa, frozen=True, kw_only=True, tag="seen"):
    """A colour stage was seen."""

    rank = 2
    stage: str


class Fell(OfPupa, frozen=True, kw_only=True, tag="fell"):
    """It fell, or is in another danger named in the care rules; open until it is moved to safety."""

    rank = 3
    reason: str


class Moved(OfPupa, frozen=True, kw_only=True, tag="moved"):
    """It was hung elsewhere. ``advice`` is what the move rule said just before; ``emergency`` the waiving reason."""

    rank = 4
    to: str
    method: str = ""
    emergency: str = ""
    advice: str = ""


class Emerged(OfPupa, frozen=True, kw_only=True, tag="emerged"):
    """The adult came out, after ``since`` and by ``happened``; ``place`` where it is not the pupa's own."""

    place: str = ""


class Wings(OfPupa, frozen=True, kw_only=True, tag="wings"):
    """The wings were judged, when they should have been hard."""

    rank = 6
    condition: str


class Sexed(OfPupa, frozen=True, kw_only=True, tag="sexed"):
    """The sex was seen: ``female`` or ``male``."""

    rank = 6
    sex: str


class Finding(OfPupa, frozen=True, kw_only=True, tag="finding"):
    """A sign of health or disease was seen, in the keeper's words."""

    rank = 6
    sign: str


class Marked(OfPupa, frozen=True, kw_only=True, tag="marked"):
    """A numbered wing mark was put on."""

    rank = 7
    code: str


class Released(OfPupa, frozen=True, kw_only=True, tag="released"):
    """The adult was let fly."""

    rank = 8
    place: str = ""


class Lost(OfPupa, frozen=True, kw_only=True, tag="lost"):
    """The pupa gave no adult; ``cause`` may be ``unknown``."""

    rank = 8
    cause: str


class Note(OfPupa, frozen=True, kw_only=True, tag="note"):
    """Free words about a pupa."""

    rank = 9
    text: str


class Looked(Entry, frozen=True, kw_only=True, tag="looked"):
    """A place was looked over; whatever is new there afterwards formed later."""

    place: str

    @property
    def about(self) -> str:
        return self.place


class Retraction(Entry, frozen=True, kw_only=True, tag="retraction"):
    """An act is taken back. Taking back a retraction makes the act count again."""

    rank = 10
    target: str

    @property
    def about(self) -> str:
        return self.target


Kind = (
    Hanging
    | Found
    | Seen
    | Fell
    | Moved
    | Emerged
    | Wings
    | Sexed
    | Finding
    | Marked
    | Released
    | Lost
    | Note
    | Looked
    | Retraction
)
"""Any entry, by its kind."""

encode = Encoder().encode
decode = Decoder(Kind).decode
decode_many = Decoder(list[Kind]).decode


def kind_of(entry: Entry) -> str:
    """The word the journal uses for this kind of entry."""
    return str(entry.__struct_config__.tag)


def in_order(entry: Entry) -> tuple[datetime, int, str]:
    """The order in which entries are told: when it happened, then what comes first by nature, then the id."""
    return entry.happened, entry.rank, entry.id
