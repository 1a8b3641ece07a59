"""What an act would write, before it is written: entries that are built already, and the words for the keeper."""

import os
from datetime import datetime, timedelta
from typing import NamedTuple, TypedDict

from pupawatch.errors import PupawatchError
from pupawatch.model.entries import Entry
from pupawatch.model.ids import entry_id, moment_of
from pupawatch.model.times import Span

_TICK = timedelta(microseconds=1)


class Done(NamedTuple):
    """What was written: in words, what the keeper should know beside it, and the entries.

    about: the pupa's id or the place that it is about, "" where there is no single one.
    """

    words: str
    warnings: list[str]
    entries: list[Entry]
    about: str = ""


class Together(NamedTuple):
    """Several acts that were done as one, and those that were left out, each with its reason."""

    done: list[Done]
    refused: list[PupawatchError]

    def as_one(self, words: str) -> Done:
        """What was done, in these words, with all that should be known beside it; about the last of them."""
        warnings = [warning for one in self.done for warning in one.warnings]
        entries = [entry for one in self.done for entry in one.entries]
        told = [*dict.fromkeys(warnings), *(str(error) for error in self.refused)]
        return Done(words, told, entries, self.done[-1].about if self.done else "")


class Draft(NamedTuple):
    """What an act would write: in words, what the keeper should know beside it, and the entries.

    about: as in ``Done``, where it is not what the entries are about.
    """

    words: str
    warnings: list[str]
    entries: list[Entry]
    about: str = ""


class Head(TypedDict):
    """What every entry begins with (see ``Entry``)."""

    id: str
    act: str
    since: datetime | None
    happened: datetime
    recorded: datetime
    zone: str


class Stamp:
    """Gives the entries of one act their heads: ids that grow, one act, the hour and the zone of writing.

    now: the instant of the act. newest: the greatest id of the journal, "" where it is empty. Ids grow with every act,
    also within a microsecond and where the clock was put back: what was written later sorts later, and a retraction
    always sorts after what it takes back. here: two bytes that say where it was written; every id ends with them.
    """

    def __init__(self, now: datetime, newest: str, zone: str, here: bytes) -> None:
        self.now = now
        self.zone = zone
        self._here = here
        self._next = max(now, moment_of(newest) + _TICK) if newest else now
        self._act = ""

    def id(self) -> str:
        """The next id of this act; the first is also the act's."""
        made = entry_id(self._next, os.urandom(6) + self._here)
        self._next += _TICK
        self._act = self._act or made
        return made

    def at(self, when: Span | None = None) -> Head:
        """The head of an entry about something that happened at ``when``; now, where it is None."""
        since, happened = when or Span(None, self.now)
        made = self.id()
        return Head(id=made, act=self._act, since=since, happened=happened, recorded=self.now, zone=self.zone)
