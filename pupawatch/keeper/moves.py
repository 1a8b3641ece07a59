"""The keeper's acts on where a pupa hangs: moved, seen to hold, brought a climb; and how each place has done so far."""

from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple

from pupawatch.care import hang, risk, spots, survival
from pupawatch.care.moves import as_of
from pupawatch.care.picture import Known, Picture
from pupawatch.care.survival import Ends
from pupawatch.errors import NotUnderstood, Refused
from pupawatch.keeper.drafts import Done, Draft, Stamp
from pupawatch.keeper.names import NamingDesk, Whom, one_of
from pupawatch.model.entries import Climb, Held, Moved
from pupawatch.model.places import hangs_in
from pupawatch.model.pupa import Pupa
from pupawatch.model.state import State, folded
from pupawatch.model.text import LONGEST_NOTE, checked
from pupawatch.model.times import Span, shown_time
from pupawatch.words.methods import how_words

_RECORD_OF = 300
"""So many of the newest ends make the record of the places: a season or more, and quick to read."""


class _Past(NamedTuple):
    records: Mapping[str, risk.Record]
    ends: Ends


class Moves:
    """What a keeper does about where a pupa hangs. Errors are as for every act (see ``Keeper``)."""

    def __init__(self, desk: NamingDesk) -> None:
        self._desk = desk
        self._asked: tuple[State, int] | None = None
        self._found = _Past({}, Ends())

    def place_records(self, moment: datetime | None = None) -> Mapping[str, risk.Record]:
        """How emergences went in each place, by the newest ends; as known at ``moment``, now where it is None."""
        return self._past(moment).records

    def ends(self, moment: datetime | None = None) -> Ends:
        """How long the keeper's own hung until they emerged or were lost, by the same ends."""
        return self._past(moment).ends

    def _past(self, moment: datetime | None) -> _Past:
        asked = self._desk.state, self._desk.journal.last()
        if moment is None and self._asked == asked:
            return self._found
        by, settings = moment or self._desk.clock(), self._desk.settings
        pupae = folded(self._desk.journal.read_ended(_RECORD_OF, by), by).pupae.values()
        found = _Past(risk.records(pupae, settings), survival.ends(pupae, by, settings))
        if moment is None:
            self._asked, self._found = asked, found
        return found

    def move(
        self,
        whom: Whom,
        to: str,
        method: str = "",
        emergency: str = "",
        when: Span | None = None,
        reason: str = "",
    ) -> Done:
        """Hang the pupa elsewhere (or again where it fell from), if the move rule allows it at that time.

        reason: why, in the keeper's or the plan's words. Raises Refused, with the instant from which it may be moved,
        where the rule stands against it and no emergency with a named reason waives it. The rule's advice is written
        with the move.
        """
        if method:
            one_of("method", method, self._desk.settings.care.methods)
        if emergency:
            one_of("emergency reason", emergency, self._desk.settings.care.emergencies)
        reason = checked(reason, "the reason", LONGEST_NOTE) if reason.strip() else ""

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            pupa = self._desk.pupa(whom)
            where, warnings = self._desk.place_named(to)
            at = when.since or when.until if when else now
            then = as_of(pupa, at)
            if then.place == where and not (then.danger or emergency):
                raise NotUnderstood(f"{pupa.label} already hangs in {where}.")
            waiving = emergency or then.danger
            verdict = self._allowed(then, at, waiving)
            warnings += self._doubts(then, verdict, where, method)
            entry = Moved(
                **stamp.at(when),
                **self._desk.described(where),
                pupa=pupa.id,
                to=where,
                method=method,
                emergency=waiving,
                advice=verdict.kind,
                reason=reason,
            )
            notes = [how_words(method), f"emergency: {waiving.replace('-', ' ')}" if waiving else ""]
            noted = f" ({'; '.join(note for note in notes if note)})" if any(notes) else ""
            moved = f"hung again in {where}" if then.place == where else f"moved from {then.place or '?'} to {where}"
            return Draft(f"{pupa.label} {moved}{noted}.", warnings, [entry])

        return self._desk.write(when, plan)

    def held(self, whom: Whom, held: bool, when: Span | None = None) -> Done:
        """After its last move the pupa was seen to hold where it was hung, or to have come down again."""

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            pupa = self._desk.pupa(whom)
            then = as_of(pupa, when.until if when else now)
            if not then.relocations:
                raise NotUnderstood(f"{pupa.label} has not been moved, so there is nothing to check.")
            if not then.is_open:
                raise NotUnderstood(f"{pupa.label} is no longer a pupa in your care.")
            words = f"{pupa.label} holds in {then.place}." if held else f"{pupa.label} did not hold. It needs rescue."
            return Draft(words, [], [Held(**stamp.at(when), pupa=pupa.id, held=held)])

        return self._desk.write(when, plan)

    def climb(self, whom: Whom, when: Span | None = None) -> Done:
        """A climb was brought to the pupa, which was not touched."""

        def plan(stamp: Stamp) -> Draft:
            now = stamp.now
            pupa = self._desk.pupa(whom)
            if not as_of(pupa, when.until if when else now).is_living:
                raise NotUnderstood(f"{pupa.label} is no longer a pupa in your care.")
            return Draft(f"{pupa.label} has a climbing aid beside it.", [], [Climb(**stamp.at(when), pupa=pupa.id)])

        return self._desk.write(when, plan)

    def asked_place(self, name: str) -> str:
        """The place to ask about, "" where none is named. Raises NotUnderstood for one nobody ever used."""
        return self._desk.place_named(name)[0] if name else ""

    def asked_method(self, name: str) -> str:
        """The method to ask about, "" where none is named."""
        if name:
            one_of("method", name, self._desk.settings.care.methods)
        return name

    def may_move(self, whom: Whom) -> hang.Verdict:
        """What the move rule says of this pupa now. Raises Refused where it stands against a move."""
        pupa = self._desk.pupa(whom)
        return self._allowed(pupa, self._desk.clock(), pupa.danger)

    def _allowed(self, pupa: Pupa, at: datetime, emergency: str) -> hang.Verdict:
        verdict = hang.judge(pupa, at, self._desk.settings, self._desk.clock())
        if verdict.kind == "none" or (verdict.kind == "wait" and not emergency):
            raise Refused(self._refusal(pupa, verdict), verdict.movable_from)
        return verdict

    def _refusal(self, pupa: Pupa, verdict: hang.Verdict) -> str:
        if verdict.kind == "none":
            return f"{pupa.label} cannot be moved: {verdict.why}."
        if verdict.movable_from is None:
            return f"{pupa.label} must not be moved: {verdict.why}. Touch nothing."
        from_then = shown_time(verdict.movable_from, self._desk.settings.zone, self._desk.clock())
        return (
            f"{pupa.label} must not be moved yet: {verdict.why}. It may be moved from {from_then}. "
            "If it is in danger, name the emergency."
        )

    def _doubts(self, pupa: Pupa, verdict: hang.Verdict, to: str, method: str) -> list[str]:
        """What speaks against an allowed move: the rule's advice, a method that hangs a belted pupa by its tail, and
        what is wrong with the places."""
        profile, care = self._desk.settings.profile(pupa.species), self._desk.settings.care
        origin = hangs_in(pupa, self._desk.settings)
        doubts = []
        if verdict.kind == "leave":
            doubts.append(f"{pupa.label} is clear: better bring a climbing aid to it than move it.")
        elif verdict.kind in ("care", "soon") and not spots.shortfalls(origin, profile, self._desk.settings):
            doubts.append(f"{pupa.label} hangs safely in {pupa.place}; better to leave it alone ({verdict.why}).")
        if profile.hangs == "belt" and method not in ("", care.belt_method, care.whole_method, care.lying_method):
            doubts.append(f"{pupa.label} is belted: it belongs head up ({care.belt_method}), never hung by its tail.")
        if to == pupa.place:
            return doubts
        return [*doubts, *self._against(pupa, to)]

    def _against(self, pupa: Pupa, to: str) -> list[str]:
        """What speaks against hanging it there: what is wrong with the place, who hangs there, and that it is full."""
        settings = self._desk.settings
        picture = Picture.of(self._desk.state, self._desk.clock(), settings, Known())
        place, sick = picture.place(to), pupa.id in picture.ailing.sick
        told = []
        if settings.knows_place(to):
            told += [f"{to} {fault}." for fault in picture.against(place, settings.profile(pupa.species), sick)]
        if place.is_full:
            dry = ", ".join(one.label for one in place.dries)
            told.append(
                f"{to} is full ({spots.capacity(place.place, settings)}){f'; {dry} dries there' if dry else ''}."
            )
        if settings.place(pupa.place).quarantined:
            told.append(f"{pupa.place} is in quarantine: nothing goes in or out until it is cleaned.")
        return told
