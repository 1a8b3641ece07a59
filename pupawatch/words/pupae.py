"""What to do about a pupa, when it pupated, and what became of it, in words."""

from datetime import datetime
from typing import assert_never

from pupawatch.care.round import RATHER_DEAD, Standing
from pupawatch.model.codes import DARK, DarkStage, VerdictKind
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Advice, Profile, Settings
from pupawatch.model.text import in_percent
from pupawatch.model.times import shown_time
from pupawatch.words.forecast import due_words, is_likely_out

_DUE_CELLS = 20
_HOW_TO_MOVE: dict[VerdictKind, str] = {"soon": "move today", "care": "move gently", "free": "move"}


def advice_of(standing: Standing, settings: Settings) -> Advice:
    """The word, the sign and the steps to show for it: those of its verdict, but for one that shows signs of disease
    and needs neither a rescue nor to be left untouched."""
    sick = standing.is_sick and standing.verdict.kind in ("care", "free", "soon")
    return settings.care.advice["sick" if sick else standing.verdict.kind]


def to_do(standing: Standing, now: datetime, zone: str) -> str:
    """What to do about a pupa, in one short line."""
    verdict = standing.verdict
    if not standing.pupa.is_open:
        return became(standing.pupa, now, zone)
    match verdict.kind:
        case "rescue":
            where = f" to {standing.suggestion.place}" if standing.suggestion else " to a climbable place"
            if standing.pupa.danger == "fallen" and standing.stage in ("soft", "prepupa"):
                return f"do not lift it: bring it on paper{where}"
            return f"rescue{where} now"
        case "leave":
            if standing.wants_aid:
                return "bring a climbing aid to it"
            due = due_words(standing.outlook, now, zone) or "out today"
            if standing.is_sick:
                return "do not touch; sick: keep the others away"
            if standing.protection:
                return f"protect it where it hangs; {due}"
            return "do not touch; make room below" if standing.unsafe else f"do not touch; {due}"
        case "wait":
            return _hands_off(standing, now, zone)
        case "none":
            return "find the butterfly; then record it as out or lost"
        case "soon" | "care" | "free":
            return _move_or_leave(standing, now, zone)
        case never:
            assert_never(never)


def _hands_off(standing: Standing, now: datetime, zone: str) -> str:
    """What to do about one that is too soft to be moved, or no pupa yet."""
    movable = standing.verdict.movable_from
    until = f" until {shown_time(movable, zone, now)}" if movable else ""
    if standing.protection:
        return f"protect it where it hangs; hands off{until}"
    if standing.stage in DARK:
        return f"check again: {standing.stage}? hands off{until}"
    by = standing.pupates_by
    if by is not None and by > now:
        return f"hands off; likely to pupate by {shown_time(by, zone, now)}"
    return f"hands off{until}"


def dark_question(pupa: Pupa, stage: DarkStage, profile: Profile) -> tuple[str, str, str]:
    """What to ask before a second sighting of a dark case counts as its age, with the answers yes and no."""
    looks = profile.looks.get(stage, stage)
    days = (profile.dark_age_hours or 0.0) / 24
    return (
        f"Is {pupa.label} {stage} ({looks})?",
        f"Yes: then it has hung at least {days:g} days",
        "Not sure: record nothing",
    )


def _move_or_leave(standing: Standing, now: datetime, zone: str) -> str:
    """What to do about one that may be moved: the first line that fits."""
    kind, decision = standing.verdict.kind, standing.decision
    if is_likely_out(standing.outlook):
        return "probably out: check"
    if standing.suggestion:
        either = ", or leave it" if decision is not None and decision.toss_up else ""
        return f"{_HOW_TO_MOVE[kind]} to {standing.suggestion.place}{either}"
    if standing.wants_aid:
        return "bring a climbing aid to it"
    if standing.is_sick:
        return "sick: keep it away from the others"
    if decision is not None and decision.later is not None:
        return f"move it {'tomorrow' if decision.later.morning == 1 else 'in 2 days'} to {decision.later.place}"
    if decision is not None and decision.kind == "later" and standing.choice.candidate.goals:
        return "leave it today; every better place is full"
    if standing.unsafe and decision is not None:
        return "unsafe here; find it a climbable place"
    if decision is None and standing.unsafe and standing.choice.candidate.goals:
        return "unsafe here; comparing places …"
    if standing.look_again:
        return "check that it holds"
    if standing.alive < RATHER_DEAD:
        return f"may be dead ({in_percent(1 - standing.alive)}): check the signs"
    due = due_words(standing.outlook, now, zone)
    if kind == "soon":
        return f"leave it; {due or 'out within days'}"
    if standing.outlook and standing.outlook.overdue:
        return "overdue: leave it, check the signs"
    peace = "leave it alone" if len(due) <= _DUE_CELLS else "leave it"
    return f"{peace}; {due}" if due else peace


def became(pupa: Pupa, now: datetime, zone: str) -> str:
    """What became of a pupa that is in care no more."""
    if pupa.lost:
        return f"lost {shown_time(pupa.lost.happened, zone, now)}: {pupa.lost.cause}"
    if pupa.emerged is None:
        return "released"
    wings = f"wings {pupa.wings.condition}" if pupa.wings else "wings unjudged"
    last, at = "out", pupa.emerged.happened
    if pupa.released:
        last, at = "released", pupa.released.happened
    if pupa.died:
        last, at = "died", pupa.died.happened
    return f"{wings}, {last} {shown_time(at, zone, now)}"


def formed_words(standing: Standing, now: datetime, zone: str) -> str:
    """When it formed, as far as anybody knows."""
    pupa = standing.pupa
    if pupa.formed_to is None:
        seen = f", seen {shown_time(pupa.hanging_at, zone, now)}" if pupa.hanging_at else ""
        return f"a prepupa{seen}" if pupa.is_prepupa else "pupation time not recorded"
    by = shown_time(pupa.formed_to, zone, now)
    if pupa.formed_from is None:
        return f"pupated some time before {by}"
    if pupa.formed_from == pupa.formed_to:
        return f"pupated {by}"
    return f"pupated between {shown_time(pupa.formed_from, zone, now)} and {by}"
