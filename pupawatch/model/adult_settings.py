"""What a keeper can set about adults, their health, their marks and the data sheet."""

import re
from collections.abc import Sequence
from typing import Annotated, Literal

from msgspec import Meta, Struct, field

from pupawatch.model.codes import SEXES, CheckedStage, Grade, Origin, Sex
from pupawatch.model.ranges import Words
from pupawatch.model.spores import OLDER_CLASSES, Counted

SheetColumn = Literal[
    "mark", "date", "sex", "origin", "wings", "release_place", "label", "species", "emerged", "marked", "released",
    "kept", "findings",
]  # fmt: skip


class Adult(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The first hours of an adult, counted from its emergence, and what it needs to fly.

    hang_by_minutes: it should hang with its wings free; full_minutes_*: its wings reach their full size;
    hard_hours_*: they are hard enough not to crumple; until the later one they count as soft. handle_after_hours:
    it may be taken in the hand; mark_after_hours: marked. (Judging and release: see Profile.) flight_sun_c,
    flight_cloud_c: air temperatures in °C from which it can fly. sexes: what each sex looks like.
    """

    hang_by_minutes: Annotated[float, Meta(gt=0, le=120)]
    full_minutes_low: Annotated[float, Meta(gt=0, le=240)]
    full_minutes_high: Annotated[float, Meta(gt=0, le=480)]
    hard_hours_low: Annotated[float, Meta(gt=0, le=24)]
    hard_hours_high: Annotated[float, Meta(gt=0, le=48)]
    handle_after_hours: Annotated[float, Meta(gt=0, le=168)]
    mark_after_hours: Annotated[float, Meta(gt=0, le=336)]
    flight_sun_c: Annotated[float, Meta(ge=0, le=40)]
    flight_cloud_c: Annotated[float, Meta(ge=0, le=40)]
    sexes: dict[Sex, Words]

    def __post_init__(self) -> None:
        for low, high in (
            ("full_minutes_low", "full_minutes_high"),
            ("hard_hours_low", "hard_hours_high"),
            ("hard_hours_high", "handle_after_hours"),
            ("handle_after_hours", "mark_after_hours"),
            ("flight_sun_c", "flight_cloud_c"),
        ):
            if getattr(self, low) > getattr(self, high):
                raise ValueError(f"{low} must not be more than {high}")
        if self.full_minutes_high > self.hard_hours_high * 60:
            raise ValueError("full_minutes_high must not be later than hard_hours_high")
        if self.sexes.keys() != set(SEXES):
            raise ValueError("sexes needs female and male")


class Release(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """When a butterfly is released: between two local hours. cautions: what stands beside marking and releasing."""

    from_hour: Annotated[int, Meta(ge=0, le=23)]
    until_hour: Annotated[int, Meta(ge=1, le=24)]
    cautions: list[Words]

    def __post_init__(self) -> None:
        if self.from_hour >= self.until_hour:
            raise ValueError("from_hour must be before until_hour")


class Sign(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A sign to look for. stages: where it can be seen (``adult`` is one); grade: what it asks for.

    means: what it often stands for, which is no diagnosis; do: the next step. What it often stands for decides what is
    advised: spreads: it may go from pupa to pupa where they hang together (None: where it asks to set it apart);
    parasite: the spore parasite; attacks_fresh: wasps, which reinfest the cage from the prepupae and fresh pupae in it;
    taken_out: such a pupa is taken out, and not hung elsewhere; leaks: fluid comes from it.
    """

    words: Words
    stages: list[CheckedStage]
    grade: Grade
    means: Words
    do: Words
    spreads: bool | None = None
    parasite: bool = False
    attacks_fresh: bool = False
    taken_out: bool = False
    leaks: bool = False

    @property
    def is_catching(self) -> bool:
        """Whether others may catch it where they hang together."""
        return self.grade == "set-apart" if self.spreads is None else self.spreads


class SporeLoad(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What a class stands for in older entries: from so many to so many spores (None: any number above)."""

    spores_from: Annotated[int, Meta(ge=0)]
    spores_to: Annotated[int, Meta(ge=0)] | None = None
    words: Words


class Band(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """How a spore count is called from so many spores on, up to the next band."""

    spores_from: Annotated[int, Meta(ge=0)]
    words: Words


class Cleaning(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A way to clean: household bleach as percent of the volume, and how long it stands at least."""

    words: Words
    bleach_percent: Annotated[float, Meta(ge=0, le=100)]
    contact_minutes: Annotated[float, Meta(gt=0, le=2880)]
    steps: list[Words]


class Health(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What to look for, what to make of a spore count, and how to clean. Nothing here is a diagnosis.

    bands: how a spore count is called. release_asks_spores: from so many spores on, releasing a butterfly asks why;
    load_positions: what published advice says of it, the positions that differ. loads, heavy_load: no longer used, but
    where a keeper had classes of his own, older entries are read by them.
    """

    disclaimer: Words
    release_asks_spores: Annotated[int, Meta(ge=1, le=1_000_000)]
    load_positions: Annotated[list[Words], Meta(min_length=1)]
    signs: dict[str, Sign]
    bands: Annotated[list[Band], Meta(min_length=1)]
    cleanings: dict[str, Cleaning]
    cautions: list[Words]
    loads: list[SporeLoad] = field(default_factory=list)
    heavy_load: Annotated[int, Meta(ge=1)] | None = None

    def __post_init__(self) -> None:
        starts = [band.spores_from for band in self.bands]
        if starts != sorted(set(starts)) or starts[0] != 0:
            raise ValueError("bands: the first must begin at 0 spores, and each at more than the one before")
        expected: int | None = 0 if self.loads else None
        for number, load in enumerate(self.loads):
            if load.spores_from != expected:
                raise ValueError(f"loads: class {number} must begin at {expected} spores")
            if load.spores_to is not None and load.spores_to < load.spores_from:
                raise ValueError(f"loads: class {number} ends before it begins")
            expected = None if load.spores_to is None else load.spores_to + 1
        if expected is not None:
            raise ValueError("loads: the last class must have no upper end")

    @property
    def older_classes(self) -> Sequence[Counted]:
        """What the classes of older entries stand for."""
        return [Counted(load.spores_from, load.spores_to) for load in self.loads] or OLDER_CLASSES


class Marks(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """How the keeper's marks are written. pattern: a regular expression every code fits whole, "" for any."""

    pattern: Annotated[str, Meta(max_length=200)]

    def __post_init__(self) -> None:
        try:
            re.compile(self.pattern)
        except re.error as error:
            raise ValueError(f"pattern is not a regular expression: {error}") from None


class Alarm(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """How a butterfly on the floor with soft wings is called out, beside the line on the screen."""

    bell: bool
    notify: bool


class Sheet(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The data sheet: its columns, from left to right, and the origin of those without a recorded one."""

    columns: Annotated[list[SheetColumn], Meta(min_length=1)]
    origin: Literal["", Origin]
