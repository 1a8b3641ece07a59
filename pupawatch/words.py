"""How pupae, hours and entries are put into words; the command line and the dashboard say the same."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from pupawatch.care.forecast.records import Outlook
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
    Released,
    Seen,
    Sexed,
    Tied,
    Wings,
)
from pupawatch.model.pupa import Pupa
from pupawatch.model.times import shown_time

if TYPE_CHECKING:  # only named here: what starts often shall start quickly
    from pupawatch.care.forecast.ahead import Expected
    from pupawatch.care.moves import PastMove
    from pupawatch.care.plan import Proposal
    from pupawatch.care.scoring import Score

_NEAR_DAYS, _DUE_CELLS = 20, 20
_LIKELY = 0.5
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
        return _became(standing.pupa, now, zone)
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


def _became(pupa: Pupa, now: datetime, zone: str) -> str:
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


def due_words(outlook: Outlook | None, now: datetime, zone: str) -> str:
    """When it is due, in a few words: the likeliest day and how far it may be off; "" where nothing is forecast."""
    if outlook is None:
        return ""
    if outlook.basis == "rest":
        return "may overwinter"
    if is_likely_out(outlook):
        return "likely out already: look"
    if outlook.overdue:
        return "overdue, check it"
    if outlook.median is None or outlook.low is None:
        return "due in many weeks"
    low, median, today = (_day(at, zone) for at in (outlook.low, outlook.median, now))
    if outlook.high is None:
        return f"due {_day_words(median, today)}, from {_day_words(low, today)}"
    high = _day(outlook.high, zone)
    if low == high:
        return f"due {_day_words(median, today)}"
    months = ("", "") if low.month == median.month == high.month else (f" {low:%b}", f" {high:%b}")
    return f"due {_day_words(median, today)} ({low.day}{months[0]}–{high.day}{months[1]})"


def odds_words(outlook: Outlook, now: datetime, zone: str) -> str:
    """The forecast in a sentence, with its odds."""
    if outlook.basis == "rest" or outlook.low is None or outlook.median is None:
        return f"{due_words(outlook, now, zone).capitalize()}."
    low, likeliest, today = (_day(at, zone) for at in (outlook.low, outlook.median, now))
    high = _day(outlook.high, zone) if outlook.high else None
    if is_likely_out(outlook):
        return f"Most likely out already, since about {_day_words(likeliest, today)}: look ({outlook.already:.0%})."
    if outlook.overdue:
        return "Overdue: hardly any such pupa would still be inside. Look at it."
    range_words = f"from {_day_words(low, today)} to {_day_words(high, today) if high else 'later'}"
    told = f"Due {_day_words(likeliest, today)}; four in five {'that day' if low == high else range_words}."
    morning = outlook.morning
    if morning is not None and morning.p >= 0.01:
        until = shown_time(morning.end, zone, now)
        told += f" Out by {until}: {morning.p:.0%}."
    return told


def is_likely_out(outlook: Outlook | None) -> bool:
    """Whether it has more likely than not come out since it was last looked at."""
    return outlook is not None and outlook.already > _LIKELY


def expected_days(standings: list[Standing], now: datetime, zone: str, days: int = 14) -> "list[Expected]":
    """How many adults each of the coming days may bring, today first."""
    from pupawatch.care.forecast.ahead import expected_by_day

    return expected_by_day([s.outlook for s in standings if s.outlook], _day(now, zone), days)


def day_lines(standings: list[Standing], now: datetime, zone: str) -> list[str]:
    """The days ahead on which an adult may come out, a line each; a day that likely brings one is marked."""
    told = []
    for day in expected_days(standings, now, zone):
        if day.mean >= 0.05:
            home = "  someone should be home" if day.low >= 1 else ""
            told.append(
                f"{day.day:%a} {day.day.day:>2} {day.day:%b}  {day.mean:4.1f} expected, {day.low} to {day.high}{home}"
            )
    return ["Emergences expected (four in five):", *told] if told else []


def watch_lines(standings: list[Standing], now: datetime, zone: str) -> list[str]:
    """Which pupae may emerge this morning, the likeliest first, and until when to be there."""
    mornings = [(s.outlook, s.outlook.morning, s.pupa.label) for s in standings if s.outlook and s.outlook.morning]
    chances = [(morning.p - outlook.already, label) for outlook, morning, label in mornings]
    likely = sorted(((p, label) for p, label in chances if p >= 0.2), reverse=True)
    if not likely:
        return []
    window = mornings[0][1]
    told = ", ".join(f"{label} {p:.0%}" for p, label in likely)
    return [f"Watch from {shown_time(window.start, zone, now)} to {shown_time(window.end, zone, now)}: {told}"]


def heat_lines(heat: Mapping[str, str]) -> list[str]:
    """What is to be told of heat, by place: a sentence for all places of which the same is so."""
    places: dict[str, list[str]] = {}
    for place, warning in heat.items():
        places.setdefault(warning, []).append(place)
    return [f"{', '.join(names)}: {warning}." for warning, names in places.items()]


def score_lines(species: str, score: "Score") -> list[str]:
    """How good the forecasts of one species were, beside the rule of a fixed number of days."""
    told = [
        f"{species}: {score.n} forecasts of past mornings, lived through again with nothing known that was not then.",
        f"  inside the 80 % interval: {score.coverage:.0%}",
        f"  median error: {score.median_error_days:.1f} days; by a fixed number of days "
        f"{score.fixed_median_error_days:.1f}",
        f"  CRPS: {score.crps_days:.2f} days; by a fixed number of days {score.fixed_crps_days:.2f}",
    ]
    if score.left_out:
        told.append(f"  left out: {score.left_out} pupae of which nobody knows within two days when they emerged")
    return told


def _day(moment: datetime, zone: str) -> date:
    return moment.astimezone(ZoneInfo(zone)).date()


def _day_words(day: date, today: date) -> str:
    """A day by its weekday while that is no riddle, else by its month."""
    if 0 <= (day - today).days <= 1:
        return "tomorrow" if day > today else "today"
    return f"{day:%a} {day.day}" if abs((day - today).days) <= _NEAR_DAYS else f"{day.day} {day:%b}"


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


def entry_time(entry: Entry, zone: str, now: datetime) -> str:
    """When an entry happened, as an interval where only that is known."""
    by = shown_time(entry.happened, zone, now)
    if entry.since is None or entry.since == entry.happened:
        return by
    return f"{shown_time(entry.since, zone, now)} – {by}"


def interval(low: str, high: str) -> str:
    """Two ends as one: ``12–24``, or a single one where they are alike."""
    return low if low == high else f"{low}–{high}"
