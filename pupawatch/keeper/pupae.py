"""The keeper's acts on pupae: found, seen, fallen, emerged, lost."""

import os
from datetime import datetime, timedelta

from pupawatch.errors import NotUnderstood
from pupawatch.keeper.drafts import Done, Draft, Stamp
from pupawatch.keeper.names import NamingDesk, Whom, one_of
from pupawatch.model.codes import DARK, STAGES
from pupawatch.model.entries import (
    Emerged,
    Fell,
    Found,
    Hanging,
    Lost,
    Note,
    Relabelled,
    Seen,
    Wings,
    kind_of,
)
from pupawatch.model.ids import entry_id
from pupawatch.model.labels import checked_label, is_handle
from pupawatch.model.pupa import Pupa
from pupawatch.model.state import State, folded
from pupawatch.model.text import LONGEST_NOTE, checked, not_among, typed
from pupawatch.model.times import Span, hours_between, shown_time
from pupawatch.words.hours import elapsed

_LATE = (*DARK, "empty")


class Pupae:
    """What a keeper sees and does about pupae. Errors are as for every act (see ``Keeper``)."""

    def __init__(self, desk: NamingDesk) -> None:
        self._desk = desk

    def found(
        self, whom: Whom, place: str = "", species: str = "", when: Span | None = None, prepupa: bool = False,
        brood: str = "",
    ) -> Done:  # fmt: skip
        """A new pupa (or, as ``prepupa``, a hanging caterpillar) in a place; or a known prepupa has pupated.

        whom: a new label that nobody holds, of whatever season; or the prepupa. Without a time it formed after the
        place was last looked over (or the prepupa last seen) and by now.
        """
        known = isinstance(whom, Pupa) or is_handle(whom.strip())
        of = self._desk.brood_named(brood) if brood.strip() else ""
        typed = "" if isinstance(whom, Pupa) or known else checked_label(whom)

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            holder = self._desk.pupa(whom) if known else self._desk.holder(typed)
            label = holder.label if holder else typed
            if holder and not (holder.is_prepupa and holder.is_open and not prepupa):
                raise self._desk.taken(holder, now)
            if not holder and not place:
                raise NotUnderstood(f"Where does {label} hang? Name its place.")
            where, warnings = self._desk.place_named(place or holder.place if holder else place)
            kind = self._desk.species_named(
                species or (holder.species if holder else self._desk.settings.keeper.species)
            )
            span = when or Span(None, now)
            if prepupa:
                span = Span(span.since if when else None, span.until)
            elif when is None or when.since == when.until:
                # A single instant says when it was found, not when it formed: that was after the last look.
                span = Span(self._not_there_at(holder, where, span.until, everything=when is not None), span.until)
            if holder and holder.hanging_at and span.until < holder.hanging_at:
                seen = shown_time(holder.hanging_at, self._desk.settings.zone, now)
                raise NotUnderstood(f"{label} was still a prepupa {seen}; it pupated after that.")
            pupa = holder.id if holder else entry_id(now, os.urandom(8))
            entry = (Hanging if prepupa else Found)(
                **stamp.at(span),
                **self._desk.described(where),
                pupa=pupa,
                label=label,
                species=kind,
                place=where,
                brood=of,
            )
            what = "is a prepupa" if prepupa else "has pupated" if holder else "is a pupa"
            return Draft(f"{label} {what} in {where}.", warnings, [entry])

        return self._desk.write(when, plan)

    def saw(self, whom: Whom, stage: str, when: Span | None = None) -> Done:
        """The pupa showed this colour stage."""
        if stage not in STAGES:
            raise NotUnderstood(not_among("colour stage", stage, STAGES))

        def plan(stamp: Stamp) -> Draft:
            pupa = self._in_care(whom, when)
            if pupa.is_prepupa:
                raise NotUnderstood(f"{pupa.label} is still a prepupa; record first that it pupated.")
            seen = Seen(**stamp.at(when), pupa=pupa.id, stage=stage)
            doubts = self._too_young(pupa, stage, stamp.now if when is None else when.until) if stage in _LATE else []
            return Draft(f"{pupa.label} is {stage}.", doubts, [seen])

        return self._desk.write(when, plan)

    def _too_young(self, pupa: Pupa, stage: str, at: datetime) -> list[str]:
        """A warning where a pupa can, at most, have hung for less than any case takes to come to that stage."""
        profile = self._desk.settings.profile(pupa.species)
        least = profile.dark_age_hours or profile.soft_hours
        if pupa.formed_from is None or (oldest := hours_between(pupa.formed_from, at)) >= least:
            return []
        return [
            f"It pupated {elapsed(oldest)} ago at most, and no pupa is {stage} before {elapsed(least)}. "
            f"Was it {pupa.label}? Undo takes it back."
        ]

    def fell(self, whom: Whom, reason: str = "fallen", when: Span | None = None) -> Done:
        """The pupa fell, or is in another of the named dangers, until it is moved to safety."""
        one_of("emergency reason", reason, self._desk.settings.care.emergencies)

        def plan(stamp: Stamp) -> Draft:
            pupa = self._in_care(whom, when)
            fell = Fell(**stamp.at(when), pupa=pupa.id, reason=reason)
            return Draft(f"{pupa.label}: {reason.replace('-', ' ')}. It needs rescue.", [], [fell])

        return self._desk.write(when, plan)

    def emerged(self, whom: Whom, place: str = "", when: Span | None = None) -> Done:
        """The adult is out: after the pupa was last seen (or within ``when``), and by now."""

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            pupa = self._in_care(whom, when)
            if pupa.is_prepupa:
                raise NotUnderstood(f"{pupa.label} is still a prepupa; record first when it was found as a pupa.")
            where, warnings = self._desk.place_named(place) if place else ("", [])
            span = when or Span(self._last_sighting(pupa, now), now)
            hours = self._desk.settings.profile(pupa.species).judge_wings_after_hours
            judge = shown_time(span.until + timedelta(hours=hours), self._desk.settings.zone, now)
            words = f"{pupa.label} has emerged. Make sure it can climb; judge its wings from {judge}."
            out = Emerged(**stamp.at(span), pupa=pupa.id, place="" if where == pupa.place else where)
            return Draft(words, [*warnings, *self._too_young(pupa, "empty", span.until)], [out])

        return self._desk.write(when, plan)

    def wings(self, whom: Whom, condition: str, when: Span | None = None) -> Done:
        """Judge the wings of an adult, when they should be hard."""
        one_of("wing condition", condition, self._desk.settings.care.wings)

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            pupa = self._desk.pupa(whom)
            if pupa.emerged is None:
                raise NotUnderstood(
                    f"{pupa.label} has not emerged yet; record that first (`pupawatch emerged {typed(pupa.label)}`)."
                )
            at = when.until if when else now
            hours = self._desk.settings.profile(pupa.species).judge_wings_after_hours
            early = hours_between(pupa.emerged.earliest, at) < hours
            warnings = [f"Wings are best judged {hours:g} h after emergence; check again later."] if early else []
            return Draft(
                f"{pupa.label}: wings {condition}.",
                warnings,
                [Wings(**stamp.at(when), pupa=pupa.id, condition=condition)],
            )

        return self._desk.write(when, plan)

    def lost(self, whom: Whom, cause: str, when: Span | None = None) -> Done:
        """The pupa produced no butterfly."""
        one_of("cause of loss", cause, self._desk.settings.care.losses)

        def plan(stamp: Stamp) -> Draft:
            pupa = self._in_care(whom, when)
            return Draft(f"{pupa.label} is lost ({cause}).", [], [Lost(**stamp.at(when), pupa=pupa.id, cause=cause)])

        return self._desk.write(when, plan)

    def note(self, whom: Whom, text: str, when: Span | None = None) -> Done:
        """Free words about a pupa."""
        text = checked(text, "the note", LONGEST_NOTE)

        def plan(stamp: Stamp) -> Draft:
            pupa = self._desk.pupa(whom)
            return Draft(f"Noted for {pupa.label}.", [], [Note(**stamp.at(when), pupa=pupa.id, text=text)])

        return self._desk.write(when, plan)

    def relabel(self, whom: Whom, label: str, when: Span | None = None) -> Done:
        """Give a pupa or a butterfly another label that nobody holds; the old one is free from then on."""
        label = checked_label(label)

        def plan(stamp: Stamp) -> Draft:
            pupa, holder = self._desk.pupa(whom), self._desk.holder(label)
            if pupa.label == label:
                raise NotUnderstood(f"{label} is already its label.")
            if holder and holder.id != pupa.id:
                raise self._desk.taken(holder, stamp.now)
            if when and pupa.relabelled and when.until < pupa.relabelled.happened:
                last = shown_time(pupa.relabelled.happened, self._desk.settings.zone, stamp.now)
                raise NotUnderstood(f"{pupa.label} was relabelled {last}, after that time; the newest label counts.")
            named = Relabelled(**stamp.at(when), pupa=pupa.id, label=label)
            return Draft(f"{pupa.label} is labelled {label} from now on.", [], [named])

        return self._desk.write(when, plan)

    # -- what an act needs to know

    def _in_care(self, whom: Whom, when: Span | None) -> Pupa:
        pupa = self._desk.pupa(whom)
        ended = pupa.emerged or pupa.lost or pupa.released
        if ended is not None and (when is None or when.until > ended.happened):
            told = shown_time(ended.happened, self._desk.settings.zone, self._desk.clock())
            raise NotUnderstood(f"{pupa.label} is no longer a pupa in your care: {kind_of(ended)} {told}.")
        return pupa

    def _looks(self, place: str, everything: bool) -> State:
        """A state that knows the looks at ``place``: all of them, or as the round remembers them the newest."""
        return folded(self._desk.journal.read_looks([place])) if everything else self._desk.state

    def _not_there_at(self, holder: Pupa | None, place: str, before: datetime, everything: bool) -> datetime | None:
        """The last instant at which this pupa was not a pupa yet: the last look at its place, or as a prepupa."""
        known = [self._looks(place, everything).last_look(place, before)]
        if holder and holder.hanging_at and holder.hanging_at <= before:
            known.append(holder.hanging_at)
        return max((at for at in known if at is not None), default=None)

    def _last_sighting(self, pupa: Pupa, before: datetime) -> datetime | None:
        """The last instant at which it had not emerged: when it, or its place, was last looked at."""
        known = [self._desk.state.last_look(pupa.place, before)]
        known += [entry.happened for entry in pupa.entries if entry.happened <= before]
        return max((at for at in known if at is not None), default=None)
