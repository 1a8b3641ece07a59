"""The journal lying open before the keeper: what it says now, and how an act is written into it."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

import msgspec.structs

from pupawatch.clock import Clock, system_clock
from pupawatch.errors import NotUnderstood, PupawatchError, Refused
from pupawatch.journal import whereabouts
from pupawatch.journal.file import Journal
from pupawatch.keeper.drafts import Done, Draft, Stamp, Together
from pupawatch.keeper.session import Session, Written
from pupawatch.model.entries import Entry, Found, Hanging, Looked, OfPupa, fitting
from pupawatch.model.ids import CLOCK_SLACK, digest, entry_id, moment_of
from pupawatch.model.settings import Settings
from pupawatch.model.state import State, folded, retracted_acts
from pupawatch.model.text import counted
from pupawatch.model.times import Span, local_day, shown_time

if TYPE_CHECKING:
    from pupawatch.journal.merge import Merged


class _Pen(NamedTuple):
    """With the journal held alone: the stamp of the act that is being written, and what appends its entries."""

    stamp: Stamp
    append: Callable[[Iterable[Entry]], None]

    def draw(self, plan: Callable[[Stamp], Draft]) -> Draft:
        draft = plan(self.stamp)
        self.append(fitting(draft.entries))
        return draft


REMEMBERED = timedelta(days=30)
"""How long a finished pupa stays in ``Desk.state``; older ones are read when they are asked for."""


class Desk:
    """A journal, the settings and a clock.

    ``state`` holds what a round needs: every pupa in care, those finished within the last thirty days, and when
    each place was last looked over.
    """

    def __init__(
        self, journal: Journal, settings: Settings, clock: Clock = system_clock, folder: Path | None = None
    ) -> None:
        """folder: where the keeper's own settings are kept, the platform's folder where none is named."""
        self.journal = journal
        self.settings = settings
        self.clock = clock
        self.folder = folder
        self.session = Session()
        self.state = State()
        self._pen: _Pen | None = None
        self._is_told = False
        self._read_to = 0
        self._changes = -1
        self.refresh()

    def refresh(self) -> bool:
        """Take in what others wrote since; says whether there was anything."""
        changes = self.journal.changes()
        if changes == self._changes:
            return False
        last = self.journal.last()
        if last != self._read_to:
            now, state = self.clock(), State()
            for entries in self.journal.read_current(now - REMEMBERED, by=now):  # a wrong clock's look hides no other
                state.add(entries)
            self.state = state  # only now: what could not be read leaves the last known state, and is asked for again
        anew, self._changes, self._read_to = last != self._read_to, changes, last
        return anew

    def state_at(self, moment: datetime | None) -> State:
        """The state as it stood at ``moment``: what had happened by then (now, where it is None)."""
        if moment is None:
            return self.state
        return folded(self.journal.read_current(moment - REMEMBERED, by=moment), moment)

    def whole_state(self, moment: datetime | None = None) -> State:
        """The state with every finished pupa, as it stood at ``moment`` (now, where it is None)."""
        return folded(self.journal.read_all(), moment)

    @property
    def path(self) -> Path:
        """Where the journal lies."""
        return self.journal.path

    @property
    def is_large(self) -> bool:
        """Whether ``verify`` takes longer than a keeper should wait for the first screen."""
        return self.journal.is_large

    def verify(self) -> None:
        """Raise Unusable where the journal's structure is damaged."""
        self.journal.verify()

    def last(self) -> int:
        """The number of the newest entry of the journal; 0 where there is none."""
        return self.journal.last()

    def close(self) -> None:
        """Let go of the journal."""
        self.journal.close()

    def left_out(self) -> str:
        """What to say of entries that a newer version wrote and no answer holds, "" where there are none."""
        return self.journal.left_out()

    def round_places(self) -> list[str]:
        """The places of the round: the keeper's in walking order, then those that only the journal knows."""
        names = [place.name for place in self.settings.places if not place.retired]
        return [*names, *sorted({p.place for p in self.state.open_pupae()} - set(names))]

    def write(self, when: Span | None, plan: Callable[[Stamp], Draft]) -> Done:
        """Write one act: what ``plan`` drafts, checked against a state that nobody else can change meanwhile. It is a
        step of the session.

        when: the time the keeper named for it, None for now. plan: is asked once, with the journal held alone, and
        raises where the act makes no sense or a rule stands against it. Either all of its entries are on disk when this
        returns, or none is; each is written only if it reads back as it is. Raises NotUnderstood for a time in the
        future, what ``plan`` raises, and Unusable where the journal cannot be written.
        """
        done = self.write_only(when, plan)
        if done.entries and self._pen is None:
            self.session.did(Written(done.entries[0].act))
        return done

    def write_only(self, when: Span | None, plan: Callable[[Stamp], Draft]) -> Done:
        now = self.clock()
        if when is not None:
            _check_span(when, now, self.settings.zone)
        if self._pen is not None:
            draft = self._pen.draw(plan)
        else:
            with self._writing(now) as pen:
                draft = pen.draw(plan)
        self._take_in(draft.entries)
        touched = {entry.about for entry in draft.entries} if not draft.about else {draft.about}
        about = touched.pop() if len(touched) == 1 else ""
        warnings = [*draft.warnings, *self._clock_doubts(now)]
        warnings += [self.journal.copy_problem] if self.journal.copy_problem else []
        warnings += self._where_unsafe()
        return Done(draft.words, warnings, draft.entries, about)

    def _where_unsafe(self) -> list[str]:
        """Told with the first act, and not again with each."""
        told, self._is_told = self._is_told, True
        return [] if told else [word for word in [whereabouts.warning(self.journal.path)] if word]

    def together(self, acts: Iterable[Callable[[], Done]], strict: bool = False) -> Together:
        """Do several acts as one: one moment, one step of the session, one undo; all of it on disk, or nothing.

        Each is checked against what those before it wrote. One that makes no sense or that a rule stands against is
        left out, and the rest done; strict: then nothing is, and what stands against it is raised. Raises Unusable
        where the journal cannot be written.
        """
        done: list[Done] = []
        refused: list[PupawatchError] = []
        try:
            with self._writing(self.clock()) as self._pen:
                for act in acts:
                    try:
                        done.append(act())
                    except (NotUnderstood, Refused) as error:
                        if strict:
                            raise
                        refused.append(error)
        except BaseException:
            self.read_anew()  # the state had taken in what was not written after all
            raise
        finally:
            self._pen = None
        if written := next((entry for one in done for entry in one.entries), None):
            self.session.did(Written(written.act))
        return Together(done, refused)

    @contextmanager
    def _writing(self, now: datetime) -> Iterator[_Pen]:
        with self.journal.writing(self.today(now)) as append:
            self.refresh()
            yield _Pen(Stamp(now, self._newest(), self.settings.zone, self._here), append)

    def _newest(self) -> str:
        """The newest id in the journal. The act of history is not one of its entries' ids, and counts too."""
        ids = (self.journal.newest_id(), self.journal.last_act())
        return max((one for one in ids if one), key=moment_of, default="")

    def _clock_doubts(self, now: datetime) -> list[str]:
        """What to tell where the clock shows a time before that of an entry which still matters."""
        newest = self.state.newest_writing()
        if newest is None or newest[0] <= now + CLOCK_SLACK:
            return []
        local = ZoneInfo(self.settings.zone)
        written, shows = (f"{at.astimezone(local):%Y-%m-%d %H:%M}" for at in (newest[0], now))
        return [
            f"The clock shows {shows}, but an entry about {newest[1]} was written at {written}. If the clock is wrong, "
            "undo this, set the clock, and record it again."
        ]

    def _take_in(self, entries: list[Entry]) -> None:
        """Bring the state up to date with what was just written, without reading the journal again."""
        ours = {Found, Hanging, Looked}
        if all(type(e) in ours or (isinstance(e, OfPupa) and e.pupa in self.state.pupae) for e in entries):
            self.state.add(entries)
            self._read_to = self.journal.last()
        else:
            self.read_anew()

    def read_anew(self) -> None:
        """Read the state anew."""
        self._changes, self._read_to = -1, -1
        self.refresh()

    def today(self, now: datetime) -> date:
        return local_day(now, self.settings.zone)

    def taken_back(self) -> frozenset[str]:
        return retracted_acts(self.journal.retractions())

    def written(self, kind: str) -> list[Entry]:
        """Every entry of this kind that counts, in the order of writing."""
        taken_back = self.taken_back()
        written = [entry for some in self.journal.read_kind(kind) for entry in some]
        return [entry for entry in written if entry.act not in taken_back]

    def unknown(self, batches: Iterable[list[Entry]]) -> Iterator[list[Entry]]:
        """Those of the drafts that do not count in the journal yet, batch by batch.

        An entry that was brought in before and then undone comes in under its next id: the old one stays retracted.
        """
        taken_back = self.taken_back()
        for asked in batches:
            fresh = []
            while asked:
                known = self.journal.known(entry.id for entry in asked)
                fresh += [entry for entry in asked if entry.id not in known]
                undone = [e for e in asked if known.get(e.id) in taken_back and not self._counts(e, taken_back)]
                asked = [msgspec.structs.replace(entry, id=_next_id(entry)) for entry in undone]
            yield fresh

    def _counts(self, entry: Entry, taken_back: frozenset[str]) -> bool:
        """Whether another journal's telling of an entry, taken in by uniting them, still counts."""
        told = (one for some in self.journal.read_about(entry.about) for one in some)
        return any(one.id == entry.id and one.act not in taken_back for one in told)

    def merge(self, other: Path, with_newer: bool = False) -> "Merged":
        """Take in all that stands in another journal and not in this one; that file is left as it is.

        with_newer: also where a newer version wrote some of it, which closes this journal to writing until this program
        is updated; raises NotUnderstood otherwise.
        """
        from pupawatch.journal import merge

        now = self.clock()
        with merge.opened(other) as theirs:
            if (newer := merge.newer_than_this(theirs)) and not with_newer:
                raise NotUnderstood(
                    f"{other} holds {counted(newer, 'entry', 'entries')} written by a newer pupawatch: update this one "
                    "first. With --with-newer they are added as they are, but nothing can be recorded here until then."
                )
            with self.journal.writing(self.today(now)):
                merged = merge.unite(self.journal, theirs)
        self.read_anew()
        return merged

    def bring_in(self, batches: Iterable[list[Entry]]) -> int:
        """Take in history as it was, as one act: those of the drafts the journal does not hold yet, all or none.

        Gives how many they were. History is not judged by the move rule; early moves in it stay and are flagged.
        """
        now = self.clock()
        count = 0
        with self.journal.writing(self.today(now)) as append:
            act = Stamp(now, self._newest(), self.settings.zone, self._here).id()
            for fresh in self.unknown(batches):
                append(
                    fitting(
                        msgspec.structs.replace(entry, act=act, recorded=now, zone=self.settings.zone, history=True)
                        for entry in fresh
                    )
                )
                count += len(fresh)
        if count:
            self.session.did(Written(act))
        self.read_anew()
        return count

    @cached_property
    def _here(self) -> bytes:
        """Two bytes that stand for this journal on this machine, so that an act of another one that was merged in is
        not taken for one that was recorded here. Where a machine is given another name, its older acts are not known
        again: undo then asks."""
        import platform

        return digest(platform.node(), str(self.journal.path))[:2]


def _next_id(entry: Entry) -> str:
    return entry_id(entry.earliest, digest(entry.id, "again"))


def _check_span(span: Span, now: datetime, zone: str) -> None:
    ahead = [moment for moment in (span.since, span.until) if moment is not None and moment > now]
    if ahead:
        raise NotUnderstood(
            f"{shown_time(ahead[0], zone, now)} lies in the future; only what has happened can be recorded."
        )
    if span.since is not None and span.since > span.until:
        raise NotUnderstood("The interval ends before it begins; give the earlier time first.")
