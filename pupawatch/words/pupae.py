"""How pupae, hours and entries are put into words; the command line and the dashboard say the same."""

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from pupawatch.care.hang import HangTime
from pupawatch.care.round import Standing
from pupawatch.model.degrees import Unit, degrees, shown_degrees
from pupawatch.model.entries import (
    AdultSeen,
    Cleaned,
    Climb,
    Emerged,
    Entry,
    Fell,
    Finding,
    Found,
    Hanging,
    Held,
    Kept,
    Looked,
    Lost,
    Marked,
    Measured,
    Moved,
    Note,
    Origin,
    Relabelled,
    Released,
    Seen,
    Sexed,
    Tied,
    Wings,
)
from pupawatch.model.pupa import Pupa
from pupawatch.model.times import shown_time
from pupawatch.words.forecast import due_words, is_likely_out

if TYPE_CHECKING:  # only named here: what starts often shall start quickly
    from pupawatch.care.moves import PastMove
    from pupawatch.care.plan import Proposal
    from pupawatch.keeper.session import Edited

_DUE_CELLS = 20
_HOURS_UP_TO = 96
"""Up to four days hang times are told in hours, beyond in days: what matters there is the day."""


def hang_words(hang: HangTime) -> str:
    """A hang time as an interval: ``26–38 h``, ``≥ 26 h`` where its upper end is not known, ``6.1–6.6 d``."""
    low, high = hang
    if high == 0:
        return "–"
    if high is None:
        return f"≥ {low:.0f} h" if low <= _HOURS_UP_TO else f"≥ {low / 24:.1f} d"
    if high <= _HOURS_UP_TO:
        return interval(f"{low:.0f}", f"{high:.0f}") + " h"
    return interval(f"{low / 24:.1f}", f"{high / 24:.1f}") + " d"


def to_do(standing: Standing, now: datetime, zone: str) -> str:
    """What to do about a pupa, in one short line."""
    verdict, suggestion = standing.verdict, standing.suggestion
    if not standing.pupa.is_open:
        return became(standing.pupa, now, zone)
    match verdict.kind:
        case "rescue":
            where = f" to {suggestion.place}" if suggestion else " to a climbable spot"
            return f"rescue{where} now"
        case "leave":
            if standing.choice.no_climb:
                return "bring a climb to it"
            due = due_words(standing.outlook, now, zone) or "out today"
            return "do not touch; clear below" if standing.unsafe else f"do not touch; {due}"
        case "wait":
            until = f" until {shown_time(verdict.movable_from, zone, now)}" if verdict.movable_from else ""
            return f"hands off{until}" if standing.stage != "prepupa" else "hanging caterpillar, hands off"
        case "none":
            return "write down what became of it"
        case _ if is_likely_out(standing.outlook):
            return "likely out already: look"
        case _ if suggestion:
            how = {"soon": "move today", "care": "move gently"}.get(verdict.kind, "move")
            return f"{how} to {suggestion.place}"
        case "soon" if standing.choice.no_climb:
            return "bring a climb to it"
        case _ if standing.choice.options:
            return "move it tomorrow: enough for today"
        case _ if standing.unsafe:
            return "unsafe here; find it a climbable spot"
        case _ if standing.look_again:
            return "look whether it holds"
        case "soon":
            return f"leave it; {due_words(standing.outlook, now, zone) or 'out within days'}"
        case _ if standing.outlook and standing.outlook.overdue:
            return "overdue: leave it, check the signs"
        case _:
            due = due_words(standing.outlook, now, zone)
            peace = "leave it in peace" if len(due) <= _DUE_CELLS else "leave it"
            return f"{peace}; {due}" if due else peace


def became(pupa: Pupa, now: datetime, zone: str) -> str:
    """What became of a pupa that is in care no more."""
    if pupa.lost:
        return f"lost {shown_time(pupa.lost.happened, zone, now)}: {pupa.lost.cause}"
    if pupa.emerged is None:
        return "let fly"
    wings = f"wings {pupa.wings.condition}" if pupa.wings else "wings unjudged"
    last, at = "out", pupa.emerged.happened
    if pupa.released:
        last, at = "let fly", pupa.released.happened
    if pupa.died:
        last, at = "died", pupa.died.happened
    return f"{wings}, {last} {shown_time(at, zone, now)}"


PLAN_WORDS = {
    "rescue": "RESCUE",
    "climb": "CLIMB",
    "move": "MOVE",
    "soft": "too soft",
    "clear": "clear",
    "dark": "dark",
    "firming": "not firm",
    "apart": "set apart",
    "later": "not today",
    "peace": "in peace",
    "empty": "empty",
}
"""The kinds of ``care.plan`` in a word or two."""


def proposal_line(one: "Proposal") -> str:
    """A proposal of the plan: what, whom, where to, and why."""
    pupa = one.standing.pupa
    method = {"climb": "", "rescue": one.method}.get(one.kind, one.method)
    goal = f"→ {one.place} ({method})" if one.place else f"in {pupa.place}"
    gently = {"soon": "today: ", "care": "gently: "}.get(one.standing.verdict.kind, "")
    return f"{PLAN_WORDS[one.kind]:<9} {pupa.label:<8} {goal}; {gently}{one.why}"


def left_line(one: "Proposal") -> str:
    """One that the plan leaves where it is, and why."""
    return f"leave     {one.standing.pupa.label:<8} {one.why}"


def past_move_line(one: "PastMove") -> str:
    """A move that was made, without its time: whom, from where to where, how, and how it ended."""
    entry = one.move.entry
    way = f"again in {entry.to}" if one.move.origin == entry.to else f"{one.move.origin or '?'} → {entry.to}"
    marks = [entry.method, f"{hang_words(one.hang)}, {one.stage}"]
    marks += ["too early"] if one.early else []
    marks += [f"emergency: {entry.emergency.replace('-', ' ')}"] if entry.emergency else []
    ended = f"{one.ended}, {one.wings}" if one.wings else one.ended
    return f"{one.pupa.label:<8} {ended:<19} {way} ({', '.join(mark for mark in marks if mark)})"


def formed_words(standing: Standing, now: datetime, zone: str) -> str:
    """When it formed, as far as anybody knows."""
    pupa = standing.pupa
    if pupa.formed_to is None:
        seen = f", seen {shown_time(pupa.hanging_at, zone, now)}" if pupa.hanging_at else ""
        return f"a hanging caterpillar{seen}" if pupa.is_prepupa else "nobody wrote down when it formed"
    by = shown_time(pupa.formed_to, zone, now)
    if pupa.formed_from is None:
        return f"formed by {by}, nobody knows how long before"
    if pupa.formed_from == pupa.formed_to:
        return f"formed {by}"
    return f"formed between {shown_time(pupa.formed_from, zone, now)} and {by}"


ADULT_WORDS = {
    "fell": "the butterfly fell",
    "climbed": "it climbed back",
    "helped": "it was helped up",
    "full": "wings full",
    "died": "the butterfly died",
}
"""What was seen of an adult, in words."""


def entry_words(entry: Entry, unit: Unit = "C") -> str:
    """What an entry says, without its time."""
    match entry:
        case Hanging():
            return f"hanging caterpillar in {entry.place}"
        case Found():
            return f"pupa found in {entry.place}"
        case Seen():
            return f"seen {entry.stage}"
        case Fell():
            return entry.reason.replace("-", " ")
        case Moved():
            method = f" ({entry.method})" if entry.method else ""
            emergency = f", emergency: {entry.emergency.replace('-', ' ')}" if entry.emergency else ""
            reason = f": {entry.reason}" if entry.reason else ""
            return f"moved to {entry.to}{method}{emergency}{reason}"
        case Held():
            return "holds where it was hung" if entry.held else "did not hold"
        case Climb():
            return "a climb was brought to it"
        case Emerged():
            return "emerged" + (f" in {entry.place}" if entry.place else "")
        case Wings():
            return f"wings {entry.condition}"
        case Sexed():
            return entry.sex
        case Finding():
            load = f", spore class {entry.load}" if entry.load is not None else ""
            return entry.sign.replace("-", " ") + load + (f": {entry.text}" if entry.text else "")
        case AdultSeen():
            return ADULT_WORDS.get(entry.what, entry.what)
        case Origin():
            return f"origin: {entry.origin.replace('-', ' ')}"
        case Kept():
            return f"cannot fly, kept in {entry.place}"
        case Cleaned():
            return f"cleaned ({entry.how.replace('-', ' ')}, {entry.minutes:g} min)"
        case Marked():
            return f"marked {entry.code}"
        case Released():
            said = [shown_degrees(entry.temperature_c, unit)] if entry.temperature_c is not None else []
            said += [entry.sky] if entry.sky else []
            return (
                "let fly" + (f" from {entry.place}" if entry.place else "") + (f", {', '.join(said)}" if said else "")
            )
        case Lost():
            return f"lost: {entry.cause}"
        case Relabelled():
            return f"labelled {entry.label}"
        case Note():
            return f"note: {entry.text}"
        case Looked():
            return "looked over"
        case Measured():
            return f"{entry.day}: {degrees(entry.low_c, unit)} to {shown_degrees(entry.high_c, unit)}"
        case Tied():
            return f"sensor {entry.sensor} tells of {', '.join(entry.places) or 'no place'}"
        case _:
            return ""


def edit_words(edit: "Edited", unit: Unit = "C") -> str:
    """What an edit of places changed."""
    names = ", ".join(edit.names)
    before, after = ({place.name: place for place in places} for places in (edit.before, edit.after))
    old, new = before.get(edit.names[0]), after.get(edit.names[0])
    if edit.is_of_the_walk:
        return f"{names} number {list(after).index(edit.names[0]) + 1} of the walk"
    if old is None or new is None:
        return f"{names} added" if old is None else f"{names} removed"
    changes = [(name, getattr(old, name), getattr(new, name)) for name in PLACE_WORDS]
    told = [_change_words(name, was, becomes, unit) for name, was, becomes in changes if was != becomes]
    return f"{names} {', '.join(told) or 'as it was'}"


PLACE_WORDS = {
    "surface": "surface",
    "capacity": "room",
    "length_cm": "length, cm,",
    "spacing_cm": "spacing, cm,",
    "clearance_cm": "clearance, cm,",
    "climbable": "climbable",
    "temperature_c": "kept at",
    "drip": "drip",
    "sun": "direct sun",
    "disturbed": "disturbed by",
    "retired": "retired",
    "quarantined": "quarantine",
}
"""What can be said of a place, by its key in places.toml."""


def _change_words(name: str, was: object, becomes: object, unit: Unit) -> str:
    if name == "quarantined":
        return "in quarantine" if becomes else "quarantine ended"
    return f"{PLACE_WORDS[name]} {_value_words(name, was, unit)} → {_value_words(name, becomes, unit)}"


def _value_words(name: str, value: object, unit: Unit) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name == "temperature_c" and isinstance(value, float | int):
        return shown_degrees(value, unit)
    return f"{value:g}" if isinstance(value, float | int) else str(value or "–")


def some_names(names: Sequence[str], of: int) -> str:
    """The first names of so many: ``A1, A2, A3 and 12 more``."""
    return ", ".join(names) + (f" and {of - len(names)} more" if of > len(names) else "")


def entry_time(entry: Entry, zone: str, now: datetime) -> str:
    """When an entry happened, as an interval where only that is known."""
    by = shown_time(entry.happened, zone, now)
    if entry.since is None or entry.since == entry.happened:
        return by
    return f"{shown_time(entry.since, zone, now)} – {by}"


def interval(low: str, high: str) -> str:
    """Two ends as one: ``12–24``, or a single one where they are alike."""
    return low if low == high else f"{low}–{high}"
