"""The keeper's acts. Every change goes through here: it is checked against the rule, written, and answered."""

import difflib
import os
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from typing import Any

import msgspec.structs

from pupawatch import settings as files
from pupawatch.care import hang, spots
from pupawatch.desk import Desk, Done, Draft
from pupawatch.errors import NotUnderstood, Refused
from pupawatch.model.entries import (
    STAGES,
    Emerged,
    Entry,
    Fell,
    Found,
    Hanging,
    Looked,
    Lost,
    Moved,
    Note,
    Seen,
    Wings,
    kind_of,
)
from pupawatch.model.ids import entry_id
from pupawatch.model.pupa import Pupa, fold
from pupawatch.model.settings import Place, Settings
from pupawatch.model.state import State
from pupawatch.model.text import LONGEST_LABEL, LONGEST_NAME, LONGEST_NOTE, checked, not_among, quoted
from pupawatch.model.times import Span, hours_between, shown_time


class Keeper(Desk):
    """One keeper at work. Acts without a time happen now; a time in the future is not understood.

    Every act raises NotUnderstood where it makes no sense, Refused where a care rule stands against it, and Unusable
    where the journal cannot be written; nothing is written then.
    """

    def found(
        self, label: str, place: str = "", species: str = "", when: Span | None = None, prepupa: bool = False
    ) -> Done:
        """A new pupa (or, as ``prepupa``, a hanging caterpillar) in a place; or a known prepupa has pupated.

        Without a time it formed after the place was last looked over (or the prepupa last seen) and by now.
        """
        known = self.state.pupae.get(label)
        label = known.label if known else checked(label, "the label", LONGEST_LABEL)

        def plan(now: datetime) -> Draft:
            holder = known or next((p for p in self.state.labelled(label) if p.holds_label), None)
            if holder and not (holder.is_prepupa and holder.is_open and not prepupa):
                free = self.next_label(holder.species)
                raise NotUnderstood(f"The label {label} is taken by a {_what(holder)} in {holder.place}; try {free}.")
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
            fields = {"label": label, "species": kind, "place": where}
            fields["pupa"] = holder.id if holder else entry_id(now, os.urandom(8))
            verb = "is hanging" if prepupa else "is a pupa"
            return Draft(f"{label} {verb} in {where}.", warnings, [(Hanging if prepupa else Found, span, fields)])

        return self.write(when, plan)

    def looked(self, places: Iterable[str] = (), when: Span | None = None) -> Done:
        """These places were looked over, nothing new; every place of the round where none is named."""
        names = list(places)

        def plan(now: datetime) -> Draft:
            walked, warnings = [], []
            for name in names or self.round_places():
                where, more = self._place(name)
                walked.append(where)
                warnings += more
            if not walked:
                raise NotUnderstood("There is no place to look over yet; add one with `pupawatch place NAME`.")
            bodies: list[tuple[type[Entry], Span | None, dict[str, Any]]] = [
                (Looked, when, {"place": where}) for where in dict.fromkeys(walked)
            ]
            return Draft(
                f"Looked over: {', '.join(where for _, _, f in bodies for where in f.values())}.",
                warnings,
                bodies,
            )

        return self.write(when, plan)

    def saw(self, label: str, stage: str, when: Span | None = None) -> Done:
        """The pupa showed this colour stage."""
        if stage not in STAGES:
            raise NotUnderstood(not_among("colour stage", stage, STAGES))
        return self._about(label, when, Seen, lambda p: f"{p.label} is {stage}.", stage=stage)

    def fell(self, label: str, reason: str = "fallen", when: Span | None = None) -> Done:
        """The pupa fell, or is in another of the named dangers, until it is moved to safety."""
        self._one_of("emergency reason", reason, self.settings.care.emergencies)
        return self._about(
            label,
            when,
            Fell,
            lambda p: f"{p.label}: {reason.replace('-', ' ')}. It needs rescue.",
            reason=reason,
        )

    def move(self, label: str, to: str, method: str = "", emergency: str = "", when: Span | None = None) -> Done:
        """Hang the pupa elsewhere, if the move rule allows it at that time.

        Raises Refused, with the instant from which it may be moved, where the rule stands against it and no
        emergency with a named reason waives it. The rule's advice is written with the move.
        """
        if method:
            self._one_of("method", method, self.settings.care.methods)
        if emergency:
            self._one_of("emergency reason", emergency, self.settings.care.emergencies)

        def plan(now: datetime) -> Draft:
            pupa = self.pupa(label)
            where, warnings = self._place(to)
            at = when.since or when.until if when else now
            then = _as_of(pupa, at)
            if then.place == where:
                raise NotUnderstood(f"{pupa.label} hangs in {where} already.")
            reason = emergency or then.danger
            verdict = self._allowed(then, at, reason)
            warnings += self._doubts(then, verdict, where)
            fields = {
                "pupa": pupa.id,
                "to": where,
                "method": method,
                "emergency": reason,
                "advice": verdict.kind,
            }
            noted = f" (emergency: {reason.replace('-', ' ')})" if reason else ""
            return Draft(
                f"{pupa.label} moved from {then.place or '?'} to {where}{noted}.",
                warnings,
                [(Moved, when, fields)],
            )

        return self.write(when, plan)

    def may_move(self, label: str) -> hang.Verdict:
        """What the move rule says of this pupa now. Raises Refused where it stands against a move."""
        pupa = self.pupa(label)
        return self._allowed(pupa, self.clock(), pupa.danger)

    def _allowed(self, pupa: Pupa, at: datetime, emergency: str) -> hang.Verdict:
        verdict = hang.judge(pupa, at, self.settings)
        if verdict.kind == "none" or (verdict.kind == "wait" and not emergency):
            raise Refused(self._refusal(pupa, verdict), verdict.movable_from)
        return verdict

    def emerged(self, label: str, place: str = "", when: Span | None = None) -> Done:
        """The adult is out: after the pupa was last seen (or within ``when``), and by now."""

        def plan(now: datetime) -> Draft:
            pupa = self._in_care(label, when)
            if pupa.is_prepupa:
                raise NotUnderstood(
                    f"{pupa.label} is still a hanging caterpillar; write down first when it was found as a pupa."
                )
            where, warnings = self._place(place) if place else ("", [])
            span = when or Span(self._last_sighting(pupa, now), now)
            fields = {"pupa": pupa.id, "place": "" if where == pupa.place else where}
            hours = self.settings.profile(pupa.species).judge_wings_after_hours
            judge = shown_time(span.until + timedelta(hours=hours), self.settings.zone, now)
            words = f"{pupa.label} has emerged. See that it can climb; judge its wings from {judge}."
            return Draft(words, warnings, [(Emerged, span, fields)])

        return self.write(when, plan)

    def wings(self, label: str, condition: str, when: Span | None = None) -> Done:
        """Judge the wings of an adult, when they should be hard."""
        self._one_of("wing condition", condition, self.settings.care.wings)

        def plan(now: datetime) -> Draft:
            pupa = self.pupa(label)
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
                [(Wings, when, {"pupa": pupa.id, "condition": condition})],
            )

        return self.write(when, plan)

    def lost(self, label: str, cause: str, when: Span | None = None) -> Done:
        """The pupa gave no adult."""
        self._one_of("cause of loss", cause, self.settings.care.losses)
        return self._about(label, when, Lost, lambda p: f"{p.label} is lost ({cause}).", prepupae=True, cause=cause)

    def note(self, label: str, text: str, when: Span | None = None) -> Done:
        """Free words about a pupa."""
        text = checked(text, "the note", LONGEST_NOTE)

        def plan(now: datetime) -> Draft:
            pupa = self.pupa(label)
            return Draft(f"Noted for {pupa.label}.", [], [(Note, when, {"pupa": pupa.id, "text": text})])

        return self.write(when, plan)

    def describe_place(self, place: Place) -> Done:
        """Add a place at the end of the walk, or put this description in the stead of the old one."""
        known = self.settings.knows_place(place.name)
        checked(place.name, "the place's name", LONGEST_NAME)
        self._keep_places(files.with_place(self.settings, place))
        return Done(f"{place.name} {'changed' if known else 'added'}.", [], [], place.name)

    def walk_place(self, name: str, at: int) -> Done:
        """Give a described place another turn in the walk; ``at`` counts from 0 and is kept within the walk."""
        others = [place for place in self.settings.places if place.name != name]
        if len(others) == len(self.settings.places):
            raise NotUnderstood(f"{name} is not described yet; describe it, then it takes its turn in the walk.")
        at = min(max(at, 0), len(others))
        places = [*others[:at], self.settings.place(name), *others[at:]]
        self._keep_places(msgspec.structs.replace(self.settings, places=places))
        return Done(f"{name} is number {at + 1} of the walk.", [], [], name)

    def _keep_places(self, changed: Settings) -> None:
        files.save_places(changed.places, self.folder)
        self.settings = changed

    def _about(
        self,
        label: str,
        when: Span | None,
        kind: type[Entry],
        words: Callable[[Pupa], str],
        prepupae: bool = False,
        **fields: Any,
    ) -> Done:
        """Write one entry about a pupa that is in care at that time."""

        def plan(now: datetime) -> Draft:
            pupa = self._in_care(label, when)
            if kind is Seen and pupa.is_prepupa:
                raise NotUnderstood(
                    f"{pupa.label} is still a hanging caterpillar; write down first that it became a pupa."
                )
            return Draft(words(pupa), [], [(kind, when, {"pupa": pupa.id, **fields})])

        return self.write(when, plan)

    # -- what an act needs to know

    def _in_care(self, label: str, when: Span | None) -> Pupa:
        pupa = self.pupa(label)
        ended = pupa.emerged or pupa.lost or pupa.released
        if ended is not None and (when is None or when.until > ended.happened):
            told = shown_time(ended.happened, self.settings.zone, self.clock())
            raise NotUnderstood(f"{pupa.label} is no longer a pupa in your care: {kind_of(ended)} {told}.")
        return pupa

    def _place(self, name: str) -> tuple[str, list[str]]:
        """The place meant by ``name``; one that nobody described is taken as it is, unless it looks like a slip."""
        name = checked(name, "the place's name", LONGEST_NAME)
        known = [place.name for place in self.settings.places]
        known += [pupa.place for pupa in self.state.pupae.values() if pupa.place not in known]
        by_case = {place.casefold(): place for place in known}
        if name in known or name.casefold() in by_case:
            return (name if name in known else by_case[name.casefold()]), []
        near = difflib.get_close_matches(name.casefold(), by_case, 1, cutoff=0.75)
        if near:
            raise NotUnderstood(
                f"There is no place {quoted(name)}; did you mean {by_case[near[0]]}? "
                f"If it is new, describe it first: pupawatch place {quoted(name)} --surface …"
            )
        return name, [
            f"{name} is not described yet, so nobody knows whether it can be climbed; "
            f"describe it: pupawatch place {quoted(name)} --surface …"
        ]

    def _species(self, name: str) -> str:
        self._one_of("species", name, self.settings.species)
        return name

    def _one_of(self, what: str, found: str, allowed: Iterable[str]) -> None:
        if found not in allowed:
            raise NotUnderstood(not_among(what, found, allowed))

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

    def _refusal(self, pupa: Pupa, verdict: hang.Verdict) -> str:
        if verdict.kind == "none":
            return f"{pupa.label} cannot be moved: {verdict.why}."
        if verdict.movable_from is None:
            return f"{pupa.label} must not be moved: {verdict.why}. Touch nothing."
        from_then = shown_time(verdict.movable_from, self.settings.zone, self.clock())
        return (
            f"{pupa.label} must not be moved yet: {verdict.why}. It may be moved from {from_then}. "
            "If it is in danger, name the emergency."
        )

    def _doubts(self, pupa: Pupa, verdict: hang.Verdict, to: str) -> list[str]:
        """What speaks against an allowed move: the rule's advice, and what is wrong with the new place."""
        profile = self.settings.profile(pupa.species)
        unsafe = spots.shortfalls(self.settings.place(pupa.place), profile, self.settings)
        doubts = []
        if verdict.kind == "leave":
            doubts.append(f"{pupa.label} is clear: better bring a climb to it than move it.")
        elif verdict.kind in ("care", "soon") and not unsafe:
            doubts.append(f"{pupa.label} hangs safely in {pupa.place}; it was better left alone ({verdict.why}).")
        target = self.settings.place(to)
        doubts += [f"{to} {fault}." for fault in spots.shortfalls(target, profile, self.settings)]
        if spots.room_left(target, self.state.living_by_place()) == 0:
            doubts.append(f"{to} is full ({target.capacity}).")
        return doubts


def _as_of(pupa: Pupa, at: datetime) -> Pupa:
    """The pupa as it stood at ``at``, with all that is known of how it formed."""
    return fold(pupa.id, [e for e in pupa.entries if e.happened <= at or isinstance(e, Found | Hanging)])


def _what(pupa: Pupa) -> str:
    return "hanging caterpillar" if pupa.is_prepupa else "pupa" if pupa.is_open else "butterfly"
