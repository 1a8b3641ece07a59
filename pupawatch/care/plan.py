"""The morning's plan: where each pupa should hang, and which are best left in peace, for the whole shelf at once."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import NamedTuple

from pupawatch.care import risk
from pupawatch.care.assignment import assign
from pupawatch.care.choice import Ground, Option, reason
from pupawatch.care.round import Round, Standing
from pupawatch.model.codes import LEFT, PROPOSED, VERDICTS, Left, Proposed
from pupawatch.model.places import hangs_in, with_climb
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Place, Settings

_TIE = 1e-12


class Proposal(NamedTuple):
    """What to do about one pupa, or (kind in LEFT) why nothing.

    place: where to hang it, "" where it stays or no place is free; method: of the care rules, "" where nothing is
    done. stays, moved: the chance of a bad emergence if nothing is done, and if this is done.
    """

    standing: Standing
    kind: Proposed | Left
    why: str
    stays: float
    moved: float
    place: str = ""
    method: str = ""

    @property
    def is_left(self) -> bool:
        """Whether it is best left where it is."""
        return self.kind in LEFT


class Plan(NamedTuple):
    """The plan of a morning. moves_left: what the keeper's limit leaves, rescues aside."""

    now: datetime
    proposals: list[Proposal]
    left: list[Proposal]
    moves_left: int

    @property
    def risk_now(self) -> float:
        """How many bad emergences are to be expected if nothing is done."""
        return sum(one.stays for one in (*self.proposals, *self.left))

    @property
    def risk_planned(self) -> float:
        """How many bad emergences are to be expected if the plan is carried out."""
        return sum(one.moved for one in (*self.proposals, *self.left))


def plan(morning: Round) -> Plan:
    """The plan for this round: of all that the move rule, room, quarantine and the morning's limit allow, the one
    with the least total chance of bad emergences.

    A darkening pupa in a poor place comes before those that can wait a day. Imports scipy.
    """
    ground = morning.ground
    movable = [standing for standing in morning.standings if standing.choice.options]
    chosen = _solve(movable, ground)
    going = {standing.pupa.id: option for standing, option in zip(movable, chosen, strict=True) if option}
    rooms = _rooms_after(movable, going, ground)
    told = [_proposal(standing, going.get(standing.pupa.id), rooms, ground) for standing in morning.standings]
    proposals = [one for one in told if not one.is_left]
    proposals.sort(key=lambda one: (PROPOSED.index(one.kind), _urgency(one), one.moved - one.stays))
    left = [one for one in told if one.is_left]
    left.sort(key=lambda one: LEFT.index(one.kind))
    return Plan(morning.now, proposals, left, ground.moves_left)


def _rooms_after(movable: Sequence[Standing], going: Mapping[str, Option], ground: Ground) -> dict[str, int | None]:
    """The room that is left in each place once these went where they go."""
    rooms = dict(ground.rooms)
    for standing in movable:
        option = going.get(standing.pupa.id)
        if option and option.place != standing.pupa.place and (room := rooms.get(option.place)) is not None:
            rooms[option.place] = room - 1
    return rooms


def _urgency(one: Proposal) -> int:
    return VERDICTS.index(one.standing.verdict.kind)


def _solve(movable: Sequence[Standing], ground: Ground) -> list[Option | None]:
    stays, moved, limited = [], [], []
    for standing in movable:
        rescue, choice = standing.verdict.kind == "rescue", standing.choice
        costs = {
            option.place: option.moved + rank * _TIE  # between equals the first, as the round would say
            for rank, option in enumerate(choice.options)
            if option.place != standing.pupa.place
        }
        again = min((o.moved for o in choice.options if o.place == standing.pupa.place), default=choice.stays)
        # What darkens has no other morning: leaving it counts as a bad emergence for certain, on top of its own.
        stays.append(again + (1.0 if standing.verdict.kind == "soon" else 0.0))
        moved.append(costs)
        limited.append(not rescue)
    chosen = []
    for standing, place in zip(movable, assign(stays, moved, ground.rooms, limited, ground.moves_left), strict=True):
        goal = place or (standing.pupa.place if standing.verdict.kind == "rescue" else "")
        chosen.append(next((option for option in standing.choice.options if option.place == goal), None))
    return chosen


def _proposal(standing: Standing, goal: Option | None, rooms: dict[str, int | None], ground: Ground) -> Proposal:
    if standing.verdict.kind == "rescue":
        return _rescue(standing, goal, ground)
    stays = standing.choice.stays
    place = hangs_in(standing.pupa, ground.settings)
    if goal is not None:
        method = _method(standing.pupa, place, ground.settings)
        return Proposal(standing, "move", _reason(standing, goal, ground), stays, goal.moved, goal.place, method)
    leaving_soon = standing.stage in ("darkening", "clear") and standing.verdict.kind in ("leave", "soon", "wait")
    if leaving_soon and standing.choice.no_climb:
        return _climb(standing, place, ground)
    kind, why = _left(standing, place.quarantined, rooms, ground)
    return Proposal(standing, kind, why, stays, stays)


def _rescue(standing: Standing, goal: Option | None, ground: Ground) -> Proposal:
    method = _method(standing.pupa, hangs_in(standing.pupa, ground.settings), ground.settings)
    stays = standing.choice.stays
    if goal is None:
        why = f"{standing.verdict.why}; no better place is free: lay it on rough paper against mesh"
        return Proposal(standing, "rescue", why, stays, stays, "", method)
    return Proposal(standing, "rescue", _reason(standing, goal, ground), stays, goal.moved, goal.place, method)


def _climb(standing: Standing, place: Place, ground: Ground) -> Proposal:
    profile, stays = ground.settings.profile(standing.pupa.species), standing.choice.stays
    record = risk.record_of(place.name, ground.records)
    lifted = risk.of_place(with_climb(place), profile, record, ground.settings)
    near = f"within {profile.climb_within_cm:g} cm of it, down to the base"
    why = f"{standing.stage}, and {place.name} {standing.unsafe[0]}: bring a climb to {near}; touch nothing"
    return Proposal(standing, "climb", why, stays, min(stays, lifted), "", "climb")


def _method(pupa: Pupa, place: Place, settings: Settings) -> str:
    """How it is best taken off: one that lies there needs a prop, any other what its surface asks for."""
    surface = settings.care.surfaces.get(place.surface)
    return "prop" if pupa.danger == "fallen" else surface.method if surface else "silk"


def _reason(standing: Standing, goal: Option, ground: Ground) -> str:
    why = reason(standing.pupa, standing.unsafe, goal, ground)
    return f"{standing.verdict.why}; {why}" if standing.verdict.kind == "rescue" else why


def _left(standing: Standing, apart: bool, rooms: dict[str, int | None], ground: Ground) -> tuple[Left, str]:
    verdict, choice, place = standing.verdict, standing.choice, standing.pupa.place
    unsafe = standing.unsafe
    if verdict.kind == "none":
        return "empty", f"{verdict.why}: write down what became of it"
    if verdict.kind == "wait":
        return "soft", verdict.why
    if verdict.kind == "leave":
        return "clear", f"clear, and it can climb in {place}: hands off" + (
            "; clear away what stands below it" if unsafe else ""
        )
    if apart:
        return "apart", f"{place} is in quarantine: nothing goes in or out until it is cleaned"
    if any(rooms.get(option.place, 0) != 0 for option in choice.options):
        most = ground.settings.care.risk.moves_per_morning
        taken = "others gain more this morning" if ground.moves_left else "this morning's are made"
        return "later", f"worth moving, but the limit is {most} moves a morning and {taken}: tomorrow"
    if choice.options or choice.crowded:
        return "later", "worth moving, but every better place is full"
    if choice.nowhere:
        return "later", f"{place} {unsafe[0]}, and no good place is known: describe one"
    if unsafe:
        return "peace", f"{place} {unsafe[0]}, yet a move would cost it as much as it gains"
    if "dark-too-long" in standing.flags:
        return "dark", f"dark for longer than usual, and it can climb in {place}: check it for disease, do not move it"
    if verdict.kind == "soon":
        return "dark", f"darkening, and it can climb in {place}: look again tomorrow"
    if verdict.kind == "care":
        return "firming", f"hangs well in {place} and is not firm yet"
    return "peace", f"hangs well in {place}: a move would gain nothing"
