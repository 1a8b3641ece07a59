"""The keeper's acts. Every change goes through here: it is checked against the rule, written, and answered."""

import difflib
import os
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from pupawatch import settings as files
from pupawatch.care import hang, spots
from pupawatch.clock import Clock, system_clock
from pupawatch.errors import NotUnderstood, Refused
from pupawatch.journal.file import Journal
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
    OfPupa,
    Retraction,
    Seen,
    Wings,
    kind_of,
)
from pupawatch.model.ids import entry_id
from pupawatch.model.pupa import Pupa, fold
from pupawatch.model.settings import Place, Settings
from pupawatch.model.state import State, retracted_acts
from pupawatch.model.text import LONGEST_LABEL, LONGEST_NAME, LONGEST_NOTE, checked
from pupawatch.model.times import Span, hours_between, shown_time

_REMEMBERED = timedelta(days=30)
"""How long a finished pupa stays in ``Keeper.state``; older ones are read when they are asked for."""


class Done(NamedTuple):
    """What was written: in words, what the keeper should know beside it, and the entries."""

    words: str
    warnings: list[str]
    entries: list[Entry]


class _Draft(NamedTuple):
    words: str
    warnings: list[str]
    bodies: list[tuple[type[Entry], Span | None, dict[str, Any]]]


class Keeper:
    """One keeper at work on a journal with these settings.

    ``state`` holds what a round needs: every pupa in care, those finished within the last thirty days, and when
    each place was last looked over. Acts without a time happen now; a time in the future is not understood.
    """

    def __init__(
        self, journal: Journal, settings: Settings, clock: Clock = system_clock, folder: Path | None = None
    ) -> None:
        """folder: where the keeper's own settings are kept, the platform's folder where none is named."""
        self.journal = journal
        self.settings = settings
        self.clock = clock
        self.folder = folder
        self.state = State()
        self._read_to = 0
        self._changes = -1
        self.refresh()

    # -- looking

    def refresh(self) -> bool:
        """Take in what others wrote since; says whether there was anything."""
        changes = self.journal.changes()
        if changes == self._changes:
            return False
        self._changes = changes
        last = self.journal.last()
        if last == self._read_to:
            return False
        self._read_to = last
        self.state = State()
        for entries in self.journal.read_current(self.clock() - _REMEMBERED):
            self.state.add(entries)
        return True

    def state_at(self, moment: datetime) -> State:
        """The state as it stood at ``moment``: what had happened by then."""
        state = State()
        for entries in self.journal.read_current(moment - _REMEMBERED):
            state.add(entry for entry in entries if entry.happened <= moment)
        return state

    def whole_state(self, moment: datetime | None = None) -> State:
        """The state with every finished pupa, as it stood at ``moment`` (now, where it is None)."""
        state = State()
        for entries in self.journal.read_all():
            state.add(entry for entry in entries if moment is None or entry.happened <= moment)
        return state

    def pupa(self, label: str, state: State | None = None) -> Pupa:
        """The pupa of that label: one in care first, else the newest. Raises NotUnderstood where there is none."""
        found = (state or self.state).labelled(label)
        if not found and state is None:
            older = State()
            for entries in self.journal.read_labelled(label):
                older.add(entries)
            found = older.labelled(label)
        if not found:
            near = difflib.get_close_matches(label, [p.label for p in (state or self.state).pupae.values()], 3)
            hint = f"; did you mean {', '.join(near)}?" if near else "; `pupawatch pupae --all` lists them"
            raise NotUnderstood(f"There is no pupa labelled {_quoted(label)}{hint}")
        return found[0]

    def next_label(self) -> str:
        """A label to propose: the newest one counted on, P1 in an empty journal."""
        named = [
            entry for pupa in self.state.pupae.values() for entry in pupa.entries if isinstance(entry, Found | Hanging)
        ]
        newest = max(named, key=lambda entry: entry.recorded, default=None)
        stem, number = _counted(newest.label) if newest else ("P", 0)
        taken = {pupa.label for pupa in self.state.pupae.values()}
        while f"{stem}{number + 1}" in taken:
            number += 1
        return f"{stem}{number + 1}"

    # -- acts

    def found(
        self, label: str, place: str = "", species: str = "", when: Span | None = None, prepupa: bool = False
    ) -> Done:
        """A new pupa (or, as ``prepupa``, a hanging caterpillar) in a place; or a known prepupa has pupated.

        Without a time it formed after the place was last looked over (or the prepupa last seen) and by now.
        """
        label = checked(label, "the label", LONGEST_LABEL)

        def plan(now: datetime) -> _Draft:
            holder = next((p for p in self.state.labelled(label) if p.holds_label), None)
            if holder and not (holder.is_prepupa and holder.is_open and not prepupa):
                raise NotUnderstood(
                    f"The label {label} is taken by a {_what(holder)} in {holder.place}; try {self.next_label()}."
                )
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
            return _Draft(f"{label} {verb} in {where}.", warnings, [(Hanging if prepupa else Found, span, fields)])

        return self._write(when, plan)

    def looked(self, places: Iterable[str] = (), when: Span | None = None) -> Done:
        """These places were looked over, nothing new; every place of the round where none is named."""
        names = list(places)

        def plan(now: datetime) -> _Draft:
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
            return _Draft(
                f"Looked over: {', '.join(where for _, _, f in bodies for where in f.values())}.",
                warnings,
                bodies,
            )

        return self._write(when, plan)

    def saw(self, label: str, stage: str, when: Span | None = None) -> Done:
        """The pupa showed this colour stage."""
        if stage not in STAGES:
            raise NotUnderstood(_choice("colour stage", stage, STAGES))
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

        def plan(now: datetime) -> _Draft:
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
            return _Draft(
                f"{pupa.label} moved from {then.place or '?'} to {where}{noted}.",
                warnings,
                [(Moved, when, fields)],
            )

        return self._write(when, plan)

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

        def plan(now: datetime) -> _Draft:
            pupa = self._in_care(label, when)
            if pupa.is_prepupa:
                raise NotUnderstood(
                    f"{pupa.label} is still a hanging caterpillar; write down first when it was found as a pupa."
                )
            where, warnings = self._place(place) if place else ("", [])
            span = when or Span(None, now)
            if when is None or when.since == when.until:
                seen = self._last_sighting(pupa, span.until, everything=when is not None)
                span = Span(seen if when is None else when.since, span.until)
            fields = {"pupa": pupa.id, "place": "" if where == pupa.place else where}
            return _Draft(f"{pupa.label} has emerged.", warnings, [(Emerged, span, fields)])

        return self._write(when, plan)

    def wings(self, label: str, condition: str, when: Span | None = None) -> Done:
        """Judge the wings of an adult, when they should be hard."""
        self._one_of("wing condition", condition, self.settings.care.wings)

        def plan(now: datetime) -> _Draft:
            pupa = self.pupa(label)
            if pupa.emerged is None:
                raise NotUnderstood(
                    f"{pupa.label} has not emerged yet; write that down first (`pupawatch emerged {pupa.label}`)."
                )
            at = when.until if when else now
            hours = self.settings.profile(pupa.species).judge_wings_after_hours
            early = hours_between(pupa.emerged.earliest, at) < hours
            warnings = [f"Wings are best judged {hours:g} h after emergence; look once more later."] if early else []
            return _Draft(
                f"{pupa.label}: wings {condition}.",
                warnings,
                [(Wings, when, {"pupa": pupa.id, "condition": condition})],
            )

        return self._write(when, plan)

    def lost(self, label: str, cause: str, when: Span | None = None) -> Done:
        """The pupa gave no adult."""
        self._one_of("cause of loss", cause, self.settings.care.losses)
        return self._about(label, when, Lost, lambda p: f"{p.label} is lost ({cause}).", prepupae=True, cause=cause)

    def note(self, label: str, text: str, when: Span | None = None) -> Done:
        """Free words about a pupa."""
        text = checked(text, "the note", LONGEST_NOTE)

        def plan(now: datetime) -> _Draft:
            pupa = self.pupa(label)
            return _Draft(f"Noted for {pupa.label}.", [], [(Note, when, {"pupa": pupa.id, "text": text})])

        return self._write(when, plan)

    def undo(self) -> Done:
        """Take back the newest act that still counts."""

        def plan(now: datetime) -> _Draft:
            taken_back = self._taken_back()
            for act, retraction in self.journal.newest_first():
                if not retraction and act not in taken_back:
                    return _Draft(f"Undone: {self._told(act)}", [], [(Retraction, None, {"target": act})])
            raise NotUnderstood("There is nothing to undo.")

        return self._write(None, plan)

    def redo(self) -> Done:
        """Make the act that was undone last count again, as long as nothing else was written since."""

        def plan(now: datetime) -> _Draft:
            taken_back = self._taken_back()
            undone = {r.act: r.target for r in self._retractions()}
            for act, retraction in self.journal.newest_first():
                if not retraction:
                    break
                if act not in taken_back and undone[act] not in undone:
                    return _Draft(f"Done again: {self._told(undone[act])}", [], [(Retraction, None, {"target": act})])
            raise NotUnderstood("There is nothing to redo; an undone act can be redone until something new is written.")

        return self._write(None, plan)

    def bring_in(self, drafts: list[Entry]) -> Done:
        """Take in history as it was, as one act: those of ``drafts`` the journal does not hold yet, all or none.

        History is not judged by the move rule; early moves in it stay and are flagged.
        """
        now = self.clock()
        with self.journal.writing(self._today(now)) as append:
            self.refresh()
            act = entry_id(now, os.urandom(8))
            entries = [
                _with(entry, act=act, recorded=now, zone=self.settings.zone, history=True)
                for entry in self.unknown(drafts)
            ]
            append(entries)
        self._read_anew()
        return Done(f"{len(entries)} entries brought in.", [], entries)

    def unknown(self, drafts: list[Entry]) -> list[Entry]:
        """Those of the drafts that do not count in the journal yet.

        An entry that was brought in before and then undone comes in under its next id: the old one stays retracted.
        """
        taken_back = self._taken_back()
        fresh, asked = [], drafts
        while asked:
            known = self.journal.known(entry.id for entry in asked)
            fresh += [entry for entry in asked if entry.id not in known]
            undone = [entry for entry in asked if known.get(entry.id) in taken_back]
            asked = [_with(entry, id=_next_id(entry)) for entry in undone]
        return fresh

    def describe_place(self, place: Place) -> Done:
        """Add a place at the end of the walk, or put this description in the stead of the old one."""
        known = self.settings.knows_place(place.name)
        checked(place.name, "the place's name", LONGEST_NAME)
        changed = files.with_place(self.settings, place)
        files.save_places(changed.places, self.folder)
        self.settings = changed
        return Done(f"{place.name} {'changed' if known else 'added'}.", [], [])

    def round_places(self) -> list[str]:
        """The places of the round: the keeper's in walking order, then those that only the journal knows."""
        names = [place.name for place in self.settings.places if not place.retired]
        return [*names, *sorted({p.place for p in self.state.open_pupae()} - set(names))]

    # -- how an act is written

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

        def plan(now: datetime) -> _Draft:
            pupa = self._in_care(label, when)
            if kind is Seen and pupa.is_prepupa:
                raise NotUnderstood(
                    f"{pupa.label} is still a hanging caterpillar; write down first that it became a pupa."
                )
            return _Draft(words(pupa), [], [(kind, when, {"pupa": pupa.id, **fields})])

        return self._write(when, plan)

    def _write(self, when: Span | None, plan: Callable[[datetime], _Draft]) -> Done:
        now = self.clock()
        if when is not None:
            _check_span(when, now, self.settings.zone)
        with self.journal.writing(self._today(now)) as append:
            self.refresh()
            draft = plan(now)
            entries: list[Entry] = []
            for kind, span, fields in draft.bodies:
                since, happened = span or Span(None, now)
                stamp = entry_id(now + timedelta(microseconds=len(entries)), os.urandom(8))
                entries.append(
                    kind(
                        id=stamp,
                        act=entries[0].act if entries else stamp,
                        since=since,
                        happened=happened,
                        recorded=now,
                        zone=self.settings.zone,
                        **fields,
                    )
                )
            append(entries)
        self._take_in(entries)
        warnings = [*draft.warnings, *([self.journal.copy_problem] if self.journal.copy_problem else [])]
        return Done(draft.words, warnings, entries)

    def _take_in(self, entries: list[Entry]) -> None:
        """Bring the state up to date with what was just written, without reading the journal again."""
        ours = {Found, Hanging, Looked}
        if all(type(e) in ours or (isinstance(e, OfPupa) and e.pupa in self.state.pupae) for e in entries):
            self.state.add(entries)
            self._read_to = self.journal.last()
        else:
            self._read_anew()

    def _read_anew(self) -> None:
        """Read the state anew."""
        self._changes, self._read_to = -1, -1
        self.refresh()

    def _today(self, now: datetime) -> Any:
        return now.astimezone(ZoneInfo(self.settings.zone)).date()

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
                f"There is no place {_quoted(name)}; did you mean {by_case[near[0]]}? "
                f"If it is new, describe it first: pupawatch place {_quoted(name)} --surface …"
            )
        return name, [
            f"{name} is not described yet, so nobody knows whether it can be climbed; "
            f"describe it: pupawatch place {_quoted(name)} --surface …"
        ]

    def _species(self, name: str) -> str:
        self._one_of("species", name, self.settings.species)
        return name

    def _one_of(self, what: str, found: str, allowed: Iterable[str]) -> None:
        if found not in allowed:
            raise NotUnderstood(_choice(what, found, allowed))

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

    def _last_sighting(self, pupa: Pupa, before: datetime, everything: bool) -> datetime | None:
        """The last instant at which it had not emerged: when it, or its place, was last looked at."""
        known = [self._looks(pupa.place, everything).last_look(pupa.place, before)]
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

    def _retractions(self) -> list[Retraction]:
        return [e for es in self.journal.read("kind = 'retraction'") for e in es if isinstance(e, Retraction)]

    def _taken_back(self) -> frozenset[str]:
        return retracted_acts(self._retractions())

    def _told(self, act: str) -> str:
        """An act in words, for undo and redo."""
        entries = [entry for some in self.journal.read_act(act) for entry in some]
        if len(entries) > 1:
            kinds = {kind_of(entry) for entry in entries}
            return f"{len(entries)} entries ({', '.join(sorted(kinds))})."
        entry = entries[0]
        known = self.state.pupae.get(entry.about)
        name = getattr(entry, "label", "") or (
            known.label if known else entry.about if isinstance(entry, Looked) else ""
        )
        detail = next(
            (getattr(entry, f) for f in ("stage", "to", "reason", "condition", "cause") if hasattr(entry, f)),
            "",
        )
        return " ".join(word for word in (name, kind_of(entry), detail) if word) + "."


def _with(entry: Entry, **changes: Any) -> Entry:
    from msgspec.structs import replace

    return replace(entry, **changes)


def _next_id(entry: Entry) -> str:
    from pupawatch.model.ids import digest

    return entry_id(entry.earliest, digest(entry.id, "again"))


def _as_of(pupa: Pupa, at: datetime) -> Pupa:
    """The pupa as it stood at ``at``, with all that is known of how it formed."""
    return fold(pupa.id, [e for e in pupa.entries if e.happened <= at or isinstance(e, Found | Hanging)])


def _check_span(span: Span, now: datetime, zone: str) -> None:
    if span.until > now:
        raise NotUnderstood(
            f"{shown_time(span.until, zone, now)} lies in the future; what has not happened cannot be written down."
        )
    if span.since is not None and span.since > span.until:
        raise NotUnderstood("The interval ends before it begins; give the earlier time first.")


def _counted(label: str) -> tuple[str, int]:
    stem = label.rstrip("0123456789")
    return stem, int(label[len(stem) :] or 0)


def _what(pupa: Pupa) -> str:
    return "hanging caterpillar" if pupa.is_prepupa else "pupa" if pupa.is_open else "butterfly"


def _choice(what: str, found: str, allowed: Iterable[str]) -> str:
    near = difflib.get_close_matches(found, list(allowed), 1)
    hint = f"; did you mean {near[0]}?" if near else "."
    return f"{_quoted(found)} is not a {what}{hint} Allowed: {', '.join(allowed)}."


def _quoted(text: str) -> str:
    from pupawatch.model.text import shown

    return f"“{shown(text[:40])}”"
