"""One line of the notebook a keeper brings: its cells, read one by one into the entries of a pupa."""

from collections.abc import Callable, Iterable
from contextlib import suppress
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any, NamedTuple

from pupawatch.errors import NotUnderstood
from pupawatch.exchange.cells import NOTHING, unguarded
from pupawatch.exchange.staging import Begun, Staging
from pupawatch.model.codes import STAGES
from pupawatch.model.entries import (
    Belongs,
    Emerged,
    Entry,
    Fell,
    Found,
    Hanging,
    Lost,
    Marked,
    Moved,
    Note,
    OfPupa,
    Released,
    Seen,
    Sexed,
    Wings,
)
from pupawatch.model.ids import digest, entry_id
from pupawatch.model.settings import Settings
from pupawatch.model.text import LONGEST_LABEL, LONGEST_NAME, LONGEST_NOTE, checked, quoted
from pupawatch.model.times import Span, iso_exact
from pupawatch.model.typed_times import parse_span

FORMED = ("formed_from", "formed_to")


class When(NamedTuple):
    """When something happened: as the cells say it, so a day ends at midnight, be it later than now.

    derived: the end is no cell's word but what is known otherwise, as late as may be. Such an end is no part of what
    an entry is: it may be another one when the same file is read tomorrow.
    """

    since: datetime | None
    until: datetime
    derived: bool = False


class Problem(NamedTuple):
    """A cell that cannot be understood. line: of the file, the header is line 1."""

    line: int
    column: str
    reason: str

    def __str__(self) -> str:
        return f"line {self.line}, {self.column}: {self.reason}"


class Start(NamedTuple):
    """How a pupa begins in a row: as what, when, and named how. pupa: the id it has unless the journal knows it."""

    kind: type[Hanging] | type[Found]
    pupa: str
    formed: When
    named: dict[str, str]


class Context(NamedTuple):
    """What all rows of a file share. problems: what could not be understood so far."""

    settings: Settings
    now: datetime
    staging: Staging
    problems: list[Problem]


@lru_cache(maxsize=1024)  # a row's times are asked for again where an end is missing, and rows share their rounds
def _span(cell: str, zone: str) -> Span:
    """A cell as ``parse_span`` reads it, or two of these with a slash between them: an interval of ISO 8601."""
    begins, _, ends = cell.partition("/")
    if cell.count("/") != 1 or not ends:
        return parse_span(cell, zone)
    first, last = parse_span(begins, zone), parse_span(ends, zone)
    since = first.since or first.until
    if since > last.until:
        raise NotUnderstood(f"{quoted(cell)} ends before it begins")
    return Span(since, last.until)


class Row:
    """One line of the file."""

    def __init__(self, line: int, cells: dict[str, str], context: Context) -> None:
        self.line = line
        self.cells = cells
        self.settings, self.now, self.staging, self.problems = context
        self.problems_before = len(self.problems)

    def problem(self, column: str, reason: str) -> None:
        self.problems.append(Problem(self.line, column, reason))

    def has(self, column: str) -> bool:
        return self.cells.get(column, "").strip().lower() not in NOTHING

    def word(self, column: str, check: Callable[[str], str]) -> str:
        """The cell, checked; "" where it says nothing or is wrong."""
        if not self.has(column):
            return ""
        try:
            return check(self.cells[column])
        except NotUnderstood as error:
            self.problem(column, str(error).removesuffix("."))
            return ""

    def choice(self, column: str, allowed: Iterable[str]) -> str:
        def check(text: str) -> str:
            spelled = {one.casefold(): one for one in allowed}
            if text.casefold() not in spelled:
                raise NotUnderstood(f"{text[:30]!r} is not one of {', '.join(allowed)}")
            return spelled[text.casefold()]

        return self.word(column, check)

    def place(self, column: str) -> str:
        return self.word(column, lambda text: checked(unguarded(text), "the place's name", LONGEST_NAME))

    def time(self, column: str) -> When | None:
        """The cell as a moment, an interval, or a whole day where it is only a date; None where it says nothing."""
        if not self.has(column):
            return None
        try:
            since, until = _span(self.cells[column], self.settings.zone)
        except NotUnderstood as error:
            self.problem(column, str(error).removesuffix("."))
            return None
        if (since or until) > self.now:
            self.problem(column, f"{self.cells[column]} lies in the future")
            return None
        return When(since, until)

    def between(self, first: str, second: str) -> When | None:
        """Two cells as an interval; None where both say nothing."""
        begin, end = self.time(first), self.time(second)
        if begin is None and end is None:
            return None
        since = begin.since if begin else None
        if end is None:
            # Without an end it had happened by the next thing that is dated, or at least by now.
            later = [until for until in self._known() if since is None or until >= since]
            return When(since, min(later, default=self.now), derived=True)
        if since and since > end.until:
            self.problem(first, f"is after {second}")
        return When(since, end.until)

    def _known(self) -> list[datetime]:
        """The end of everything else that the row dates."""
        columns = ("stage_seen_at", "fell_at", "moved_at", "emerged_to", "loss_at", "marked_at", "released_at")
        ends = []
        for column in columns:
            with suppress(NotUnderstood):  # empty, or reported where it is read
                ends.append(_span(self.cells.get(column, ""), self.settings.zone).until)
        return ends

    def named(self, label: str, otherwise: dict[str, str]) -> dict[str, str]:
        """The label, species and place of the pupa. otherwise: what holds where the cells say nothing."""
        species = self.choice("species", self.settings.species) or otherwise["species"]
        return {"label": label, "species": species, "place": self.place("site") or otherwise["place"]}

    def start(self, label: str) -> Start | None:
        """How the pupa of this row begins, None where the row does not say."""
        formed = self.between(*FORMED)
        hanging = formed is None and self.cells.get("stage", "").lower() == "prepupa"
        if hanging:
            formed = self._needed("stage_seen_at", "stage")
        if formed is None and (ends := self._known()):
            formed = When(None, min(ends))
        if formed is None:
            self.problem("formed_to", "the row has no time at all; give at least one")
            return None
        told = ["" if at is None else iso_exact(at) for at in (formed.since, None if formed.derived else formed.until)]
        pupa = entry_id(formed.since or formed.until, digest("pupa", label, *told))
        named = self.named(label, {"species": self.settings.keeper.species, "place": "unknown place"})
        return Start(Hanging if hanging else Found, pupa, formed, named)

    def more(self, begun: Begun) -> list[Entry]:
        """What the row says of a pupa beyond how it began."""
        known_from = begun.known_from
        told: list[tuple[type[OfPupa], When | None, dict[str, Any]]] = []
        stage = self.choice("stage", ("prepupa", *STAGES))
        if stage == "prepupa" and not (begun.prepupa and begun.line == self.line):
            told.append((Hanging, self._needed("stage_seen_at", "stage"), begun.named))
        elif stage and stage != "prepupa":
            told.append((Seen, self._needed("stage_seen_at", "stage"), {"stage": stage}))
        if self.has("fell_at"):
            told.append((Fell, self.time("fell_at"), {"reason": "fallen"}))
        if self.has("moved_to") or self.has("moved_at"):
            told.append((Moved, self._needed("moved_at", "moved_to"), self._move()))
        wings = self.choice("wings", self.settings.care.wings)
        sex = self.choice("sex", ("female", "male"))
        mark = self.word("mark", lambda text: checked(unguarded(text), "the mark", LONGEST_LABEL))
        marked, released, lost_at = self.time("marked_at"), self.time("released_at"), self.time("loss_at")
        emerged = self.between("emerged_from", "emerged_to")
        if emerged is None and (wings or mark or marked or released):
            # An adult was seen, so it had emerged, by then or at least by now.
            seen = marked or released
            emerged = When(known_from, max(known_from, seen.until if seen else self.now), derived=True)
        if emerged:
            told.append((Emerged, emerged, {"place": self.place("emerged_place")}))
        adult = emerged or released or marked or When(None, max(self._known(), default=known_from))
        told += [
            (kind, when or adult, {field: said})
            for kind, when, field, said in (
                (Wings, None, "condition", wings),
                (Sexed, None, "sex", sex),
                (Marked, marked, "code", mark),
                (Lost, lost_at, "cause", self.choice("loss", self.settings.care.losses)),
                (Belongs, When(None, known_from), "brood", self._brood()),
                (Note, When(None, known_from), "text", self._note()),
            )
            if said
        ]
        if released:
            told.append((Released, released, {}))
        return [self.entry(kind, begun.pupa, when, fields) for kind, when, fields in told if when is not None]

    def _move(self) -> dict[str, str]:
        if not self.has("moved_to"):
            self.problem("moved_to", "is empty, but moved_at is not: where was it moved to?")
        # A named reason makes the move an emergency; other words are the keeper's remark and waive nothing.
        reason = self.cells.get("move_reason", "").strip().lower().replace(" ", "-")
        return {
            "to": self.place("moved_to"),
            "method": self.choice("move_method", self.settings.care.methods),
            "emergency": reason if reason in self.settings.care.emergencies else "",
        }

    def _brood(self) -> str:
        return self.word("brood", lambda text: checked(unguarded(text), "the name of the brood", LONGEST_NAME))

    def _note(self) -> str:
        return self.word("note", lambda text: checked(unguarded(text), "the note", LONGEST_NOTE))

    def _needed(self, column: str, beside: str) -> When | None:
        if not self.has(column):
            self.problem(column, f"is empty, but {beside} is not: when was it?")
            return None
        return self.time(column)

    def entry(self, kind: type[OfPupa], pupa: str, when: When, fields: dict[str, str]) -> Entry:
        since = when.since
        if since == when.until and not when.derived and kind not in (Found, Emerged):
            since = None
        told = ["" if at is None else iso_exact(at) for at in (since, None if when.derived else when.until)]
        content, moment, now = (
            digest(pupa, kind.__name__, *told, *fields.values()),
            since or when.until,
            self.now,
        )
        # What has the same time keeps the order of its lines: two moves of one day end where the last one led.
        turn = self.staging.turn(digest(pupa, kind.__name__, iso_exact(moment)), content)
        return kind(
            id=entry_id(moment + turn * timedelta(microseconds=1), content),
            act="",
            since=since and min(since, now),
            happened=min(when.until, now),
            recorded=now,
            zone=self.settings.zone,
            pupa=pupa,
            history=True,
            **fields,
        )
