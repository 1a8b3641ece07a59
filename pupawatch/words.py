"""How pupae, hours and entries are put into words; the command line and the dashboard say the same."""

from datetime import datetime

from pupawatch.care.hang import HangTime
from pupawatch.care.round import Standing
from pupawatch.model.entries import (
    Emerged,
    Entry,
    Fell,
    Finding,
    Found,
    Hanging,
    Looked,
    Lost,
    Marked,
    Moved,
    Note,
    Released,
    Seen,
    Sexed,
    Wings,
)
from pupawatch.model.pupa import Pupa
from pupawatch.model.times import shown_time

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
        return _range(f"{low:.0f}", f"{high:.0f}") + " h"
    return _range(f"{low / 24:.1f}", f"{high / 24:.1f}") + " d"


def to_do(standing: Standing, now: datetime, zone: str) -> str:
    """What to do about a pupa, in one short line."""
    verdict, suggestion = standing.verdict, standing.suggestion
    if not standing.pupa.is_open:
        return _became(standing.pupa, now, zone)
    match verdict.kind:
        case "rescue":
            where = f" to {suggestion.place}" if suggestion else " to a climbable spot"
            return f"rescue{where} now"
        case "leave":
            return "bring a climb to it" if standing.unsafe else "do not touch; out today"
        case "wait":
            until = f" until {shown_time(verdict.movable_from, zone, now)}" if verdict.movable_from else ""
            return f"hands off{until}" if standing.stage != "prepupa" else "hanging caterpillar, hands off"
        case "none":
            return "write down what became of it"
        case _ if suggestion:
            how = {"soon": "move today", "care": "move gently"}.get(verdict.kind, "move")
            return f"{how} to {suggestion.place}"
        case _ if standing.unsafe:
            return "unsafe here; find it a climbable spot"
        case "soon":
            return "leave it; out within days"
        case _:
            return "leave it in peace"


def _became(pupa: Pupa, now: datetime, zone: str) -> str:
    """What became of a pupa that is in care no more."""
    if pupa.lost:
        return f"lost {shown_time(pupa.lost.happened, zone, now)}: {pupa.lost.cause}"
    if pupa.emerged is None:
        return "let fly"
    wings = f"wings {pupa.wings.condition}" if pupa.wings else "wings not judged"
    flown = f", let fly {shown_time(pupa.released.happened, zone, now)}" if pupa.released else ""
    return f"{wings}, out {shown_time(pupa.emerged.happened, zone, now)}{flown}"


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


def entry_words(entry: Entry) -> str:
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
            return f"moved to {entry.to}{method}{emergency}"
        case Emerged():
            return "emerged" + (f" in {entry.place}" if entry.place else "")
        case Wings():
            return f"wings {entry.condition}"
        case Sexed():
            return entry.sex
        case Finding():
            return entry.sign
        case Marked():
            return f"marked {entry.code}"
        case Released():
            return "let fly" + (f" from {entry.place}" if entry.place else "")
        case Lost():
            return f"lost: {entry.cause}"
        case Note():
            return f"note: {entry.text}"
        case Looked():
            return "looked over"
        case _:
            return ""


def entry_time(entry: Entry, zone: str, now: datetime) -> str:
    """When an entry happened, as an interval where only that is known."""
    by = shown_time(entry.happened, zone, now)
    if entry.since is None or entry.since == entry.happened:
        return by
    return f"{shown_time(entry.since, zone, now)} – {by}"


def _range(low: str, high: str) -> str:
    return low if low == high else f"{low}–{high}"
