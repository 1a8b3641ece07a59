"""Acts taken back and redone: those of this program, those of today, and any other where the keeper says so."""

from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from pupawatch.clock import Clock, system_clock
from pupawatch.errors import AskFirst, NotUnderstood
from pupawatch.journal.file import Journal
from pupawatch.keeper.drafts import Done, Draft, Stamp
from pupawatch.keeper.names import NamingDesk
from pupawatch.keeper.places import Places
from pupawatch.keeper.session import Edited, Written
from pupawatch.model.entries import Entry, OfPupa, Relabelled, Retraction
from pupawatch.model.ids import CLOCK_SLACK, entry_id, is_from
from pupawatch.model.settings import Settings
from pupawatch.model.state import State
from pupawatch.model.text import counted, quoted, some_names
from pupawatch.model.times import shown_time, start_of_round_day
from pupawatch.words.entries import entry_words

_MUCH = 100
"""An act of more entries than these is taken back only where the keeper says so."""
_NAMED = 3
"""How many pupae or places are named of an act that is about more."""
_SHORTEST = 8
"""How many characters of an act's id must be typed at least: so many tell two acts apart that are a minute apart."""


class Told(NamedTuple):
    """An act as the keeper reads it. about: the one pupa or place it is about, "" where there are several."""

    words: str
    about: str
    entries: int
    recorded: datetime | None
    is_history: bool


class UndoingDesk(NamingDesk):
    """A desk at which acts and edits of places are taken back. Errors are as for every act (see ``Keeper``), and
    AskFirst."""

    def __init__(
        self, journal: Journal, settings: Settings, clock: Clock = system_clock, folder: Path | None = None
    ) -> None:
        super().__init__(journal, settings, clock, folder)
        self.places = Places(self)

    def undo(self) -> Done:
        """Take back what this program did last. Raises AskFirst for an import or a very large act, and where nothing
        that this program did is left."""
        while self.session.done:
            step = self.session.done[-1]
            if isinstance(step, Edited):
                return self.places.undo_edit(step)
            if step.act not in self.taken_back():
                return self._take_back(step.act)
            self.session.done.pop()  # another program was first
        raise self._further_back("Nothing is left to undo since this program was opened.")

    def undo_of_today(self) -> Done:
        """Take back what any program recorded here last, since today's round began. Raises AskFirst as ``undo``."""
        now = self.clock()
        start = self._round_began(now)
        taken_back = self.taken_back()
        act = next((act for act in self._acts_here(start) if act not in taken_back), "")
        recorded = self._act_told(act).recorded if act else None
        if recorded is None or not start <= recorded <= now + CLOCK_SLACK:
            began = shown_time(start, self.settings.zone, now)
            raise self._further_back(f"Nothing recorded here since {began} is left to undo.")
        return self._take_back(act)

    def undo_act(self, typed: str) -> Done:
        """Take back exactly that act, whatever it is. typed: its id, or a beginning of it that no other act has."""
        return self._take_back(self._act_named(typed), sure=True)

    def redo(self) -> Done:
        """Make what was undone last in this program count again, as long as nothing new was done in it since."""
        if not self.session.undone:
            why = "something new was done after the last undo" if self.session.is_overtaken else "nothing is undone"
            raise NotUnderstood(f"There is nothing to redo: {why}.")
        step = self.session.undone[-1]
        if isinstance(step, Edited):
            return self.places.redo_edit(step)
        try:
            done = self._redo(step.retraction, step.act)
        except NotUnderstood:
            self.session.undone.pop()
            raise
        self.session.undone.pop()
        self.session.did_again(Written(step.act))
        return done

    def redo_of_today(self) -> Done:
        """Make what was undone here last count again, as long as nothing was recorded here since."""
        retractions, taken_back = self.journal.retractions(), self.taken_back()
        undoing = {one.act for one in retractions}
        here = [one for one in retractions if is_from(one.act, self._here) and one.act not in taken_back]
        last = max((one for one in here if one.target not in undoing), key=lambda one: one.act, default=None)
        if last is None:
            raise NotUnderstood("There is nothing to redo: nothing is undone.")
        now, zone = self.clock(), self.settings.zone
        told = self._act_told(last.target).words
        if newer := next((act for act in self._acts_here(last.act)), ""):
            words = self._act_told(newer).words
            raise NotUnderstood(f"There is nothing to redo: after the last undo this was recorded: {words}.")
        if last.recorded < self._round_began(now):
            raise NotUnderstood(
                f"The last undo is older than today: {told}, undone {shown_time(last.recorded, zone, now)}. "
                f"Nothing was redone; `pupawatch undo {last.act}` makes it count again."
            )
        return self._redo(last.act, last.target)

    # -- how

    def _take_back(self, act: str, sure: bool = False) -> Done:
        """Take this act back. sure: also an import or a very large act."""

        def plan(stamp: Stamp) -> Draft:
            undone, verb = self._undone_by(act)
            told = self._act_told(undone)
            if act in self.taken_back():
                raise NotUnderstood(f"Already undone: {told.words}.")
            if not sure and (told.is_history or told.entries > _MUCH):
                raise self._ask("", act, told)
            return _retraction(stamp, act, verb, told)

        done = self.write_only(None, plan)
        if self.session.done and self.session.done[-1] == Written(act):
            self.session.done.pop()
        self.session.undid(Written(act, done.entries[0].act))
        return done

    def _redo(self, retraction: str, act: str) -> Done:
        """Make an act count again that this retraction took back, unless something new was recorded about the same."""

        def plan(stamp: Stamp) -> Draft:
            told = self._act_told(act)
            if retraction in self.taken_back():
                raise NotUnderstood(f"Already redone: {told.words}.")
            if newer := self.journal.act_about_the_same(act, after=retraction):
                since = self._act_told(newer).words
                raise NotUnderstood(f"{told.words}: it cannot be redone, because this was recorded since: {since}.")
            return _retraction(stamp, retraction, "Redone", told)

        return self.write_only(None, plan)

    def _undone_by(self, act: str) -> tuple[str, str]:
        """The act that stops or begins to count when this one is taken back, itself or through retractions, and the
        word for it."""
        undone = {one.act: one.target for one in self.journal.retractions()}
        verb = "Undone"
        while act in undone and undone[act] < act:  # as it always is, but in a forged journal
            act, verb = undone[act], "Redone" if verb == "Undone" else "Undone"
        return act, verb

    # -- which

    def _acts_here(self, since: datetime | str) -> list[str]:
        """The acts recorded on this machine from this instant or act on, the newest first, taken back or not."""
        first = entry_id(since, bytes(8)) if isinstance(since, datetime) else since
        return [act for act in self.journal.acts_since(first) if is_from(act, self._here)]

    def _further_back(self, why: str) -> NotUnderstood:
        """What to tell where the next act to undo is none that goes without asking."""
        act = self.journal.newest_act(without=self.taken_back())
        return self._ask(f"{why} ", act, self._act_told(act)) if act else NotUnderstood("There is nothing to undo.")

    def _ask(self, why: str, act: str, told: Told) -> AskFirst:
        count = counted(told.entries, "entry", "entries")
        size = "" if count in told.words else f", {count}"
        when = f", recorded {shown_time(told.recorded, self.settings.zone, self.clock())}" if told.recorded else ""
        return AskFirst(f"{why}Undo would take back: {told.words}{size}{when}.", act)

    def _act_named(self, typed: str) -> str:
        text = typed.strip()
        if len(text) < _SHORTEST:
            raise NotUnderstood(f"{quoted(text)} is too short for an act's id; type {_SHORTEST} characters or more.")
        found = self.journal.acts_beginning(text)
        if len(found) > 1 and text not in found:
            ids = some_names(found[:3], len(found))
            raise NotUnderstood(f"{len(found)} acts have an id that begins with {quoted(text)}; type more of it: {ids}")
        if not found:
            raise NotUnderstood(f"No act has an id that begins with {quoted(text)}; `history LABEL --json` shows them.")
        return text if text in found else found[0]

    def _round_began(self, now: datetime) -> datetime:
        return start_of_round_day(now, self.settings.zone, self.settings.care.round_starts_hour)

    # -- in words

    def _act_told(self, act: str) -> Told:
        entries = [entry for some in self.journal.read_act(act, _MUCH + 1) for entry in some]
        if not entries:
            return Told("an act that this journal does not hold", "", 0, None, False)
        about: dict[str, Entry] = {}
        for entry in entries:
            about.setdefault(entry.about, entry)
        number, several = (len(entries), len(about)) if len(entries) <= _MUCH else self.journal.act_size(act)
        names = some_names([self._name_of(entry) for entry in [*about.values()][:_NAMED]], several)
        what = list(dict.fromkeys(entry_words(entry, self.settings.unit) for entry in entries))
        is_history = entries[0].history
        if is_history:
            words = f"an import of {counted(number, 'entry', 'entries')}: {names}"
        elif several > 1 and len(what) > 1:
            words = f"{counted(number, 'entry', 'entries')} about {names}"
        else:
            words = f"{names} {', '.join(what)}".lstrip()
        return Told(words, entries[0].about if several == 1 else "", number, entries[0].recorded, is_history)

    def _name_of(self, entry: Entry) -> str:
        """The label of the pupa, or the place, that an entry is about; "" where its words name it."""
        if not isinstance(entry, OfPupa):
            return getattr(entry, "place", "")
        known = self.state.pupae.get(entry.pupa)
        if known is None or isinstance(entry, Relabelled):
            told = [one for some in self.journal.read_about(entry.pupa) for one in some]
            if isinstance(entry, Relabelled):  # it names the pupa as it was called until then
                gone = self.taken_back()
                told = [one for one in told if one.act < entry.act and one.act not in gone] or told
            known = State(told).pupae[entry.pupa]
        return known.label


def _retraction(stamp: Stamp, target: str, verb: str, told: Told) -> Draft:
    return Draft(f"{verb}: {told.words}.", [], [Retraction(**stamp.at(), target=target)], told.about)
