"""The keeper's acts. Every change goes through here: it is checked against the rule, written, and answered."""

import os
from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta

from pupawatch.errors import NotUnderstood
from pupawatch.keeper.adults import AdultActs
from pupawatch.keeper.drafts import Done, Draft, Stamp
from pupawatch.keeper.moves import MoveActs
from pupawatch.keeper.names import Whom
from pupawatch.keeper.undo import UndoActs
from pupawatch.model.degrees import COLDEST_C, HOTTEST_C, degrees, shown_degrees
from pupawatch.model.entries import (
    STAGES,
    Emerged,
    Entry,
    Fell,
    Found,
    Hanging,
    Looked,
    Lost,
    Measured,
    Note,
    Relabelled,
    Seen,
    Tied,
    Wings,
    kind_of,
)
from pupawatch.model.ids import entry_id
from pupawatch.model.labels import checked_label, is_handle
from pupawatch.model.pupa import Pupa
from pupawatch.model.state import State
from pupawatch.model.text import LONGEST_NOTE, checked, not_among
from pupawatch.model.times import Span, hours_between, shown_time


class Keeper(AdultActs, MoveActs, UndoActs):
    """One keeper at work. Acts without a time happen now; a time in the future is not understood.

    Every act raises NotUnderstood where it makes no sense, Refused where a care rule stands against it, and Unusable
    where the journal cannot be written; nothing is written then.
    """

    def found(
        self, whom: Whom, place: str = "", species: str = "", when: Span | None = None, prepupa: bool = False
    ) -> Done:
        """A new pupa (or, as ``prepupa``, a hanging caterpillar) in a place; or a known prepupa has pupated.

        whom: a new label that nobody holds, of whatever season; or the prepupa. Without a time it formed after the
        place was last looked over (or the prepupa last seen) and by now.
        """
        known = isinstance(whom, Pupa) or is_handle(whom.strip())
        typed = "" if isinstance(whom, Pupa) or known else checked_label(whom)

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            holder = self.pupa(whom) if known else self._holder(typed)
            label = holder.label if holder else typed
            if holder and not (holder.is_prepupa and holder.is_open and not prepupa):
                raise self._taken(holder, now)
            if not holder and not place:
                raise NotUnderstood(f"Where does {label} hang? Name its place.")
            where, warnings = self._place(place or holder.place if holder else place)
            kind = self._species(species or (holder.species if holder else self.settings.keeper.species))
            span = when or Span(None, now)
            if prepupa:
                span = Span(span.since if when else None, span.until)
            elif when is None or when.since == when.until:
                # A single instant says when it was found, not when it formed: that was after the last look.
                span = Span(self._not_there_at(holder, where, span.until, everything=when is not None), span.until)
            if holder and holder.hanging_at and span.until < holder.hanging_at:
                seen = shown_time(holder.hanging_at, self.settings.zone, now)
                raise NotUnderstood(f"{label} still was a hanging caterpillar {seen}; it became a pupa after that.")
            pupa = holder.id if holder else entry_id(now, os.urandom(8))
            entry = (Hanging if prepupa else Found)(
                **stamp.at(span), **self._described(where), pupa=pupa, label=label, species=kind, place=where
            )
            return Draft(f"{label} {'is hanging' if prepupa else 'is a pupa'} in {where}.", warnings, [entry])

        return self.write(when, plan)

    def looked(self, places: Iterable[str] = (), when: Span | None = None) -> Done:
        """These places were looked over, nothing new; every place of the round where none is named."""
        names = list(places)

        def plan(stamp: Stamp) -> Draft:
            walked, warnings = [], []
            for name in names or self.round_places():
                where, more = self._place(name)
                walked.append(where)
                warnings += more
            if not walked:
                raise NotUnderstood("There is no place to look over yet; add one with `pupawatch place NAME`.")
            once = list(dict.fromkeys(walked))
            looks: list[Entry] = [Looked(**stamp.at(when), place=where) for where in once]
            return Draft(f"Looked over: {', '.join(once)}.", warnings, looks)

        return self.write(when, plan)

    def saw(self, whom: Whom, stage: str, when: Span | None = None) -> Done:
        """The pupa showed this colour stage."""
        if stage not in STAGES:
            raise NotUnderstood(not_among("colour stage", stage, STAGES))

        def plan(stamp: Stamp) -> Draft:
            pupa = self._in_care(whom, when)
            if pupa.is_prepupa:
                raise NotUnderstood(
                    f"{pupa.label} is still a hanging caterpillar; write down first that it became a pupa."
                )
            seen = Seen(**stamp.at(when), pupa=pupa.id, stage=stage)
            return Draft(f"{pupa.label} is {stage}.", [], [seen])

        return self.write(when, plan)

    def fell(self, whom: Whom, reason: str = "fallen", when: Span | None = None) -> Done:
        """The pupa fell, or is in another of the named dangers, until it is moved to safety."""
        self._one_of("emergency reason", reason, self.settings.care.emergencies)

        def plan(stamp: Stamp) -> Draft:
            pupa = self._in_care(whom, when)
            fell = Fell(**stamp.at(when), pupa=pupa.id, reason=reason)
            return Draft(f"{pupa.label}: {reason.replace('-', ' ')}. It needs rescue.", [], [fell])

        return self.write(when, plan)

    def emerged(self, whom: Whom, place: str = "", when: Span | None = None) -> Done:
        """The adult is out: after the pupa was last seen (or within ``when``), and by now."""

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            pupa = self._in_care(whom, when)
            if pupa.is_prepupa:
                raise NotUnderstood(
                    f"{pupa.label} is still a hanging caterpillar; write down first when it was found as a pupa."
                )
            where, warnings = self._place(place) if place else ("", [])
            span = when or Span(self._last_sighting(pupa, now), now)
            hours = self.settings.profile(pupa.species).judge_wings_after_hours
            judge = shown_time(span.until + timedelta(hours=hours), self.settings.zone, now)
            words = f"{pupa.label} has emerged. See that it can climb; judge its wings from {judge}."
            out = Emerged(**stamp.at(span), pupa=pupa.id, place="" if where == pupa.place else where)
            return Draft(words, warnings, [out])

        return self.write(when, plan)

    def wings(self, whom: Whom, condition: str, when: Span | None = None) -> Done:
        """Judge the wings of an adult, when they should be hard."""
        self._one_of("wing condition", condition, self.settings.care.wings)

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            pupa = self.pupa(whom)
            if pupa.emerged is None:
                raise NotUnderstood(
                    f"{pupa.label} has not emerged yet; write that down first (`pupawatch emerged {pupa.label}`)."
                )
            at = when.until if when else now
            hours = self.settings.profile(pupa.species).judge_wings_after_hours
            early = hours_between(pupa.emerged.earliest, at) < hours
            warnings = [f"Wings are best judged {hours:g} h after emergence; look once more later."] if early else []
            return Draft(
                f"{pupa.label}: wings {condition}.",
                warnings,
                [Wings(**stamp.at(when), pupa=pupa.id, condition=condition)],
            )

        return self.write(when, plan)

    def lost(self, whom: Whom, cause: str, when: Span | None = None) -> Done:
        """The pupa gave no adult."""
        self._one_of("cause of loss", cause, self.settings.care.losses)

        def plan(stamp: Stamp) -> Draft:
            pupa = self._in_care(whom, when)
            return Draft(f"{pupa.label} is lost ({cause}).", [], [Lost(**stamp.at(when), pupa=pupa.id, cause=cause)])

        return self.write(when, plan)

    def note(self, whom: Whom, text: str, when: Span | None = None) -> Done:
        """Free words about a pupa."""
        text = checked(text, "the note", LONGEST_NOTE)

        def plan(stamp: Stamp) -> Draft:
            pupa = self.pupa(whom)
            return Draft(f"Noted for {pupa.label}.", [], [Note(**stamp.at(when), pupa=pupa.id, text=text)])

        return self.write(when, plan)

    def relabel(self, whom: Whom, label: str, when: Span | None = None) -> Done:
        """Give a pupa or a butterfly another label that nobody holds; the old one is free from then on."""
        label = checked_label(label)

        def plan(stamp: Stamp) -> Draft:
            pupa, holder = self.pupa(whom), self._holder(label)
            if pupa.label == label:
                raise NotUnderstood(f"{label} is its label already.")
            if holder and holder.id != pupa.id:
                raise self._taken(holder, stamp.now)
            if when and pupa.relabelled and when.until < pupa.relabelled.happened:
                last = shown_time(pupa.relabelled.happened, self.settings.zone, stamp.now)
                raise NotUnderstood(f"{pupa.label} was relabelled {last}, after that time; the newest label counts.")
            named = Relabelled(**stamp.at(when), pupa=pupa.id, label=label)
            return Draft(f"{pupa.label} is labelled {label} from now on.", [], [named])

        return self.write(when, plan)

    def measured(self, place: str, low_c: float, high_c: float, day: date) -> Done:
        """The lowest and highest temperature of a day in a place, in °C, as read off by hand."""
        unit = self.settings.unit
        if not (COLDEST_C <= low_c <= high_c <= HOTTEST_C):
            raise NotUnderstood(
                f"{degrees(low_c, unit)} to {shown_degrees(high_c, unit)} cannot be a day's lowest and highest; the "
                f"lower comes first, both lie between {degrees(COLDEST_C, unit)} and "
                f"{shown_degrees(HOTTEST_C, unit)}."
            )

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            where, warnings = self._place(place)
            if day > self._today(now):
                raise NotUnderstood(f"{day} lies in the future; what is expected goes into expected.csv.")
            words = f"{where}, {day}: {degrees(low_c, unit)} to {shown_degrees(high_c, unit)}."
            told = Measured(**stamp.at(), place=where, day=day.isoformat(), low_c=low_c, high_c=high_c)
            return Draft(words, warnings, [told])

        return self.write(None, plan)

    def log(
        self, readings: Iterable[tuple[str, int, float]], sensors: Mapping[str, datetime | None], places: list[str]
    ) -> tuple[int, list[str]]:
        """Keep a logger's readings, and tie its sensors to places where any are named.

        sensors: from when on each tells of them, None for all its readings. Returns how many readings were new, and
        what the keeper should know of the places.
        """
        named = [self._place(place) for place in places]
        where, warnings = [place for place, _ in named], [warning for _, some in named for warning in some]
        new = 0

        def plan(stamp: Stamp) -> Draft:
            nonlocal new
            new = self.journal.add_readings(readings)
            tied: list[Entry] = [
                Tied(**stamp.at(Span(since, stamp.now) if since else None), sensor=sensor, places=where)
                for sensor, since in sensors.items()
                if where
            ]
            return Draft(f"{new} readings are new.", warnings, tied)

        done = self.write(None, plan)
        return new, done.warnings

    # -- what an act needs to know

    def _in_care(self, whom: Whom, when: Span | None) -> Pupa:
        pupa = self.pupa(whom)
        ended = pupa.emerged or pupa.lost or pupa.released
        if ended is not None and (when is None or when.until > ended.happened):
            told = shown_time(ended.happened, self.settings.zone, self.clock())
            raise NotUnderstood(f"{pupa.label} is no longer a pupa in your care: {kind_of(ended)} {told}.")
        return pupa

    def _looks(self, place: str, everything: bool) -> State:
        """A state that knows the looks at ``place``: all of them, or as the round remembers them the newest."""
        if not everything:
            return self.state
        looks = State()
        for entries in self.journal.read_looks([place]):
            looks.add(entries)
        return looks

    def _not_there_at(self, holder: Pupa | None, place: str, before: datetime, everything: bool) -> datetime | None:
        """The last instant at which this pupa was not a pupa yet: the last look at its place, or as a prepupa."""
        known = [self._looks(place, everything).last_look(place, before)]
        if holder and holder.hanging_at and holder.hanging_at <= before:
            known.append(holder.hanging_at)
        return max((at for at in known if at is not None), default=None)

    def _last_sighting(self, pupa: Pupa, before: datetime) -> datetime | None:
        """The last instant at which it had not emerged: when it, or its place, was last looked at."""
        known = [self.state.last_look(pupa.place, before)]
        known += [entry.happened for entry in pupa.entries if entry.happened <= before]
        return max((at for at in known if at is not None), default=None)
