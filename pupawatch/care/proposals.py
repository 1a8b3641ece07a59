"""What the plan says of each pupa this morning: what to do, where, how and why; for the whole shelf at once."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from math import sqrt
from typing import NamedTuple

from pupawatch.care import hang, risk
from pupawatch.care.picture import Picture, PlaceNow
from pupawatch.care.plan import Goal, Step, best_moves, chance_moved
from pupawatch.care.rescue import best_method
from pupawatch.care.round import Plan, Proposal, Round, Standing
from pupawatch.model.codes import LEFT, PROPOSED, VERDICTS, Left
from pupawatch.model.places import hangs_in, with_climb
from pupawatch.model.settings import Place, Settings
from pupawatch.model.state import by_label
from pupawatch.model.times import shown_time

_NEVER = datetime.max.replace(tzinfo=UTC)
_FOUR_IN_FIVE = 1.2816
"""So many standard deviations to either side hold four in five of a normal distribution."""
_MAY_EMERGE_BEFORE = 0.2
"""One that is moved on a coming morning gets a climbing aid today where it may emerge before, with a chance over this.
Reasoned: as for room."""


def decided(morning: Round) -> Round:
    """The round with its plan, and with each pupa what the plan says of it. Loads scipy only where pupae are in each
    other's way."""
    told = plan(morning)
    return with_plan(morning, told)


def with_plan(morning: Round, told: Plan) -> Round:
    """The round with a plan that was made for it, or for one just before: what has changed since is left open."""
    said = {one.standing.pupa.id: one for one in (*told.proposals, *told.left)}

    def with_decision(standing: Standing) -> Standing:
        one = said.get(standing.pupa.id)
        same = one is not None and one.standing.pupa.entries == standing.pupa.entries
        return standing._replace(decision=one if same else None)

    stretches = [
        stretch._replace(standings=[with_decision(standing) for standing in stretch.standings])
        for stretch in morning.stretches
    ]
    return morning._replace(stretches=stretches, plan=told)


def plan(morning: Round) -> Plan:
    """The plan for this round: of all that the move rule, room, health, quarantine and the keeper's limit allow on this
    and the coming mornings, the one with the least chance of bad emergences (``care.plan``). What falls to this morning
    is proposed."""
    picture = morning.picture
    served = sorted(morning.standings, key=_turn)
    steps = best_moves(
        [standing.choice.candidate for standing in served],
        picture.rooms,
        picture.limits,
        picture.settings.care.risk.later,
    )
    planned = {standing.pupa.id: step for standing, step in zip(served, steps, strict=True)}
    told = [_proposal(standing, planned[standing.pupa.id], planned, picture) for standing in morning.standings]
    proposals = [one for one in told if not one.is_left]
    proposals.sort(key=lambda one: (_first_what_hurries(one), one.moved - one.stays))
    left = [one for one in told if one.is_left]
    left.sort(key=lambda one: LEFT.index(one.kind))
    low, high = _saved(proposals, picture)
    return Plan(morning.now, proposals, left, picture.moves_left, low, high)


def _turn(standing: Standing) -> tuple[datetime, float, object, str]:
    """Whom to serve first where it makes no difference: the one due first, then the one that has hung longest."""
    outlook, pupa = standing.outlook, standing.pupa
    due = outlook.median if outlook is not None and outlook.median is not None else _NEVER
    return due, -standing.hang.at_least, by_label(pupa), pupa.id


def _first_what_hurries(one: Proposal) -> tuple[int, int]:
    """A rescue, an aid for one that may emerge today, a move, then an aid for one that has time."""
    urgency = VERDICTS.index(one.standing.verdict.kind)
    has_time = one.kind == "climb" and one.standing.verdict.kind not in ("leave", "soon", "wait")
    return len(PROPOSED) if has_time else PROPOSED.index(one.kind), urgency


def _proposal(standing: Standing, step: Step | None, planned: Mapping[str, Step | None], picture: Picture) -> Proposal:
    settings, stays = picture.settings, standing.choice.stays
    today = step.place if step is not None and step.morning == 0 else ""
    place = hangs_in(standing.pupa, settings)
    method = best_method(standing.pupa, standing.stage, place, settings)
    if today:
        candidate = standing.choice.candidate
        goal = next(goal for goal in candidate.goals if goal.place == today)
        moved, why = chance_moved(candidate, goal, 0), _reason(standing, goal, picture)
        if standing.verdict.kind == "rescue":
            return Proposal(standing, "rescue", why, stays, moved, today, method)
        unsure = not standing.is_sick and _may_flip(standing, goal, picture)
        return Proposal(standing, "move", why, stays, moved, today, method, None, unsure)
    if standing.verdict.kind == "rescue":
        there = (
            "lay it on rough paper against mesh" if standing.pupa.danger == "fallen" else "protect it where it hangs"
        )
        why = f"{standing.verdict.why}; no better place is free: {there}"
        return Proposal(standing, "rescue", why, stays, stays, "", method)
    if _wants_aid(standing, step):
        lifted = _aided(standing, picture).chance
        return Proposal(
            standing, "climb", _why_aid(standing, place, settings), stays, min(stays, lifted), "", "climb", step
        )
    kind, why = _left(standing, step, planned, picture)
    return Proposal(standing, kind, why, stays, stays, later=step)


def _wants_aid(standing: Standing, step: Step | None) -> bool:
    """Whether a climbing aid is to be brought to one that stays today.

    To every one that no adult could climb from, but a soft one, which is not disturbed before it is firm, and one that
    the plan moves before it may emerge.
    """
    if not standing.choice.no_climb or not standing.pupa.is_living or standing.stage in ("prepupa", "soft"):
        return False
    if standing.stage in ("darkening", "clear"):
        return True
    if standing.verdict.kind not in ("care", "free"):
        return False
    return step is None or standing.choice.candidate.inside[step.morning] < 1.0 - _MAY_EMERGE_BEFORE


def _why_aid(standing: Standing, place: Place, settings: Settings) -> str:
    profile = settings.profile(standing.pupa.species)
    near = f"within {profile.climb_within_cm:g} cm of it, down to the base"
    return f"{standing.stage}, and {place.name} {standing.unsafe[0]}: bring a climbing aid to {near}; touch nothing"


# -- why it moves, or why not


def _reason(standing: Standing, goal: Goal, picture: Picture) -> str:
    """Why it should hang there, in one line."""
    pupa, unsafe = standing.pupa, standing.unsafe
    if pupa.danger == "fallen" and pupa.times_fallen > 1:
        why = f"it fell before: lay it in a pouch or on paper in {goal.place}, which can be climbed"
    elif goal.place == pupa.place and standing.stage != "set":
        why = f"lay it on crumpled paper beside mesh in {goal.place}, which can be climbed"
    elif goal.place == pupa.place:
        why = f"hang it up again in {goal.place}, which can be climbed"
    elif standing.is_sick:
        signs = ", ".join(finding.sign.replace("-", " ") for finding in picture.ailing.sick[pupa.id])
        beside = f" beside others in {pupa.place}" if picture.place(pupa.place).has_healthy else ""
        why = f"shows signs of disease ({signs}){beside}; {goal.place} is an isolation place"
    elif unsafe:
        why = f"{pupa.place} {unsafe[0]}; {goal.place} can be climbed and has room"
    elif pupa.danger:
        why = f"{goal.place} can be climbed and has room"
    else:
        here, there = (picture.place(name).record for name in (pupa.place, goal.place))
        better = f"in {goal.place} for {there.bad} of {there.n}" if there.n else f"{goal.place} has a lower risk"
        why = f"bad emergences in {pupa.place} for {here.bad} of {here.n}; {better}"
    return f"{standing.verdict.why}; {why}" if standing.verdict.kind == "rescue" else why


def _left(
    standing: Standing, step: Step | None, planned: Mapping[str, Step | None], picture: Picture
) -> tuple[Left, str]:
    """Why nothing is done about it this morning."""
    verdict, choice, place = standing.verdict, standing.choice, standing.pupa.place
    unsafe, then = standing.unsafe, _then(step, picture)
    if verdict.kind == "none":
        return "empty", f"{verdict.why}: find the butterfly, then record it as out or lost"
    if standing.is_sick:
        return "apart", _why_sick_stays(standing, picture)
    if verdict.kind == "wait":
        free = verdict.movable_from
        told = [f"may be moved from {shown_time(free, picture.settings.zone, picture.now)}"] if free else []
        return "soft", "; ".join([*told, *_then_of_prepupa(standing, picture), verdict.why, *([then] if then else [])])
    if verdict.kind == "leave":
        return "clear", f"clear, and it can climb in {place}: hands off" + (
            "; clear the space below it" if unsafe else ""
        )
    if picture.place(place).place.quarantined:
        return "apart", f"{place} is in quarantine: nothing goes in or out until it is cleaned"
    if then or choice.candidate.goals:
        return "later", _why_later(standing, then, planned, picture)
    if choice.nowhere:
        return "later", f"{place} {unsafe[0]}, and no safe place is known: describe one"
    if unsafe:
        return "peace", f"{place} {unsafe[0]}, but a move would cost as much as it gains"
    if "dark-too-long" in standing.flags:
        return (
            "dark",
            f"darkening for longer than usual, and it can climb in {place}: check it for disease, do not move it",
        )
    if verdict.kind == "soon":
        return "dark", f"darkening, and it can climb in {place}: look again tomorrow"
    if standing.is_doubtful:
        return "peace", "may be dead: check the signs before anything else"
    if verdict.kind == "care":
        return "firming", f"hangs safely in {place} and is not firm yet"
    return "peace", f"hangs safely in {place}: a move would gain nothing"


def _then_of_prepupa(standing: Standing, picture: Picture) -> Iterator[str]:
    """By when a prepupa is expected to pupate, and from about when it may then be moved where it hangs badly."""
    by, settings = standing.pupates_by, picture.settings
    if by is None:
        return
    yield f"likely to pupate by {shown_time(by, settings.zone, picture.now)}"
    if standing.unsafe:
        soft = hang.set_hours(standing.pupa, settings).soft
        movable = shown_time(max(by, picture.now) + timedelta(hours=soft), settings.zone, picture.now)
        yield f"{standing.pupa.place} {standing.unsafe[0]}: it may be moved {soft:.0f} h after, about {movable}"


def _then(step: Step | None, picture: Picture) -> str:
    """When and where to the plan moves it later, "" where it does not."""
    if step is None:
        return ""
    return f"{'tomorrow' if step.morning == 1 else f'in {step.morning} days'} to {step.place}"


def _why_later(standing: Standing, then: str, planned: Mapping[str, Step | None], picture: Picture) -> str:
    """Why one that is worth moving stays this morning: the first reason that holds."""
    candidate, limit = standing.choice.candidate, picture.settings.care.risk.moves_per_morning
    goals = [picture.place(goal.place) for goal in candidate.goals if goal.place != standing.pupa.place]
    free = [one for one in goals if one.rooms is None or one.rooms[0] > _going_to(one, planned)]
    if not candidate.movable[0]:
        return f"worth moving once that is allowed{f': {then}' if then else ', where there is room'}"
    if not free:
        told = f"worth moving, but every better place is full{f': {then}' if then else ''}"
        return "; ".join([told, *frees_words(goals)])
    if not picture.moves_left:
        why = f"the limit is {limit} moves a morning and they are used up"
    elif _moves_today(planned, picture) >= picture.moves_left:
        why = f"the limit is {limit} moves a morning and others gain more this morning"
    else:
        why = "it gains more once it is firm"
    return f"worth moving, but {why}: {then or 'tomorrow'}"


def _moves_today(planned: Mapping[str, Step | None], picture: Picture) -> int:
    """How many moves of this morning count against the limit."""
    today = (pupa_id for pupa_id, step in planned.items() if step is not None and step.morning == 0)
    return sum(pupa_id not in picture.in_danger for pupa_id in today)


def _going_to(place: PlaceNow, planned: Mapping[str, Step | None]) -> int:
    """How many the plan hangs there this morning."""
    here = {pupa.id for pupa in place.living}
    return sum(
        step is not None and step == Step(place.place.name, 0) and pupa_id not in here
        for pupa_id, step in planned.items()
    )


def frees_words(places: Sequence[PlaceNow]) -> Iterator[str]:
    """Of each full place that one emerges in before tomorrow's round, that it has room later today."""
    for place in places:
        if place.is_full and place.frees:
            who = ", ".join(pupa.label for pupa in place.frees)
            verb = "is" if len(place.frees) == 1 else "are"
            yield f"{place.place.name} has room later today ({who} {verb} about to emerge)"


def _why_sick_stays(standing: Standing, picture: Picture) -> str:
    settings, pupa = picture.settings, standing.pupa
    found = picture.ailing.sick[pupa.id][-1]
    told = f"signs of disease ({found.sign.replace('-', ' ')}): {settings.health.signs[found.sign].do}"
    if picture.ailing.is_taken_out(pupa, settings) or picture.place(pupa.place).place.isolation:
        return told.rstrip(".")
    if picture.place(pupa.place).place.quarantined:
        return f"{pupa.place} is in quarantine, and it {told}".rstrip(".")
    return f"it stays where it hangs. It shows {told} No isolation place is open to it now"


# -- how sure the figures are


class _Aided(NamedTuple):
    """The chance of a bad emergence with a climbing aid, and its standard deviation."""

    chance: float
    sd: float


def _aided(standing: Standing, picture: Picture) -> _Aided:
    settings, pupa = picture.settings, standing.pupa
    profile, record = settings.profile(pupa.species), picture.place(pupa.place).record
    place = with_climb(hangs_in(pupa, settings))
    return _Aided(
        risk.of_place(place, profile, record, settings), risk.spread_of_place(place, profile, record, settings)
    )


def _spreads(standing: Standing, goal: Goal, picture: Picture) -> tuple[float, float]:
    """By how much the chance where it hangs, and that once it is moved, may be wrong: their standard deviations."""
    settings, candidate = picture.settings, standing.choice.candidate
    profile = settings.profile(standing.pupa.species)
    place, record = hangs_in(standing.pupa, settings), picture.place(standing.pupa.place).record
    alone = risk.of_place(place, profile, record, settings)
    more = (1.0 - candidate.here) / (1.0 - alone) if alone < 1.0 else 0.0
    there = picture.place(goal.place)
    return (
        more * risk.spread_of_place(place, profile, record, settings),
        (1.0 - candidate.handling[0]) * risk.spread_of_place(there.place, profile, there.record, settings),
    )


def _may_flip(standing: Standing, goal: Goal, picture: Picture) -> bool:
    """Whether the gain, at the low end of what the risk numbers leave open, is not worth the move."""
    candidate = standing.choice.candidate
    here, there = _spreads(standing, goal, picture)
    gain = candidate.here - chance_moved(candidate, goal, 0)
    return gain - _FOUR_IN_FIVE * sqrt(here**2 + there**2) <= candidate.worth


def _saved(proposals: Sequence[Proposal], picture: Picture) -> tuple[float, float]:
    """Between which numbers the bad emergences saved lie, with a chance of four in five.

    What is wrong about a place is wrong for all that hang there: their deviations add up; those of different places
    are independent.
    """
    wrong: dict[str, float] = {}
    for one in proposals:
        standing, here = one.standing, one.standing.pupa.place
        if one.kind == "climb":
            aided = _aided(standing, picture)
            alone, _ = _spreads(standing, Goal(here, 0.0), picture)
            wrong[here] = wrong.get(here, 0.0) + alone
            wrong[f"{here} aided"] = wrong.get(f"{here} aided", 0.0) - aided.sd
        elif one.place and one.place != here:
            alone, there = _spreads(standing, Goal(one.place, 0.0), picture)
            wrong[here] = wrong.get(here, 0.0) + alone
            wrong[one.place] = wrong.get(one.place, 0.0) - there
    saved = sum(one.stays - one.moved for one in proposals)
    reach = _FOUR_IN_FIVE * sqrt(sum(sd**2 for sd in wrong.values()))
    return saved - reach, saved + reach
