"""What one pupa has to choose from: the chance of a bad emergence if it stays, and at every place worth moving to.

The round shows the best of these for each pupa; the plan (``care.plan``) gives each its place among all of them.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime
from math import inf
from typing import NamedTuple

from pupawatch.care import risk, spots
from pupawatch.care.hang import Hung, Verdict
from pupawatch.care.risk import Record
from pupawatch.model.places import hangs_in
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Place, Profile, Settings
from pupawatch.model.state import State
from pupawatch.model.times import start_of_round_day

NO_RECORDS: Mapping[str, Record] = {}


class Option(NamedTuple):
    """A place to hang a pupa, and the chance of a bad emergence: once it hangs there, and with the move itself."""

    place: str
    there: float
    moved: float


class Choice(NamedTuple):
    """stays: the chance of a bad emergence if it is left as it is. options: where a move lowers that by enough, the
    best first. no_climb: where it hangs cannot be climbed. crowded: every place worth moving to is full; nowhere: it
    hangs in a poor place, and no good one is known."""

    stays: float
    options: list[Option]
    no_climb: bool
    crowded: bool = False
    nowhere: bool = False


class Ground(NamedTuple):
    """What all pupae share this morning.

    records: how emergences went in each place; rooms: how many this morning's moves may hang in each (None: no limit);
    moves_left: how many moves the keeper's limit leaves, rescues aside; movers: how many pupae may be moved at most.
    offered: filled as species are asked for.
    """

    settings: Settings
    records: Mapping[str, Record]
    rooms: Mapping[str, int | None]
    moves_left: int
    movers: int
    offered: dict[tuple[str, bool], "Offered"]

    @classmethod
    def of(cls, state: State, now: datetime, settings: Settings, records: Mapping[str, Record]) -> "Ground":
        """The ground at ``now``."""
        day_began = start_of_round_day(now, settings.zone, settings.care.round_starts_hour)
        rooms = spots.room_to_plan(state.pupae.values(), state.living_by_place(), day_began, settings)
        moves_left = max(0, settings.care.risk.moves_per_morning - moves_made(state, day_began))
        care = state.open_pupae()
        movers = min(len(care), moves_left + sum(1 for pupa in care if pupa.danger))
        return cls(settings, records, rooms, moves_left, movers, {})

    def spots_for(self, profile: Profile, species: str, cold: bool) -> "Offered":
        """The places a pupa of this species may be hung to emerge. cold: whether it hung in the cold already, and may
        be hung there again."""
        if (species, cold) not in self.offered:
            found = [
                (risk.of_place(place, profile, risk.record_of(place.name, self.records), self.settings), place)
                for place in self.settings.places
                if spots.is_offered(place, profile, self.settings) and (cold or not _is_cold(place, profile))
            ]
            found.sort(key=lambda spot: spot[0])
            free = [spot for spot in found if self.rooms.get(spot[1].name, 0) != 0]
            full = [spot for spot in found if self.rooms.get(spot[1].name, 0) == 0]
            self.offered[species, cold] = Offered(free, full)
        return self.offered[species, cold]


class Offered(NamedTuple):
    """Places with the chance of a bad emergence in each, the best first, equals in walking order: with room this
    morning, and full."""

    free: list[tuple[float, Place]]
    full: list[tuple[float, Place]]


def moves_made(state: State, day_began: datetime) -> int:
    """How many moves were made since the keeper's day began; emergencies are not counted."""
    return sum(
        move.entry.happened >= day_began and not move.entry.emergency
        for pupa in state.pupae.values()
        for move in pupa.relocations
    )


def choose(pupa: Pupa, hung: Hung, verdict: Verdict, unsafe: list[str], ground: Ground) -> Choice:
    """Weigh staying against every place, within the move rule.

    A pupa in danger may go anywhere better, and one that fell back to where it hung. A firm one may go where the
    chance falls by more than ``risk.worth_moving``; one not firm yet, or darkening, only if its place is unsafe; any
    other stays. Nothing is moved out of quarantine, nor from warmth into the cold, where it would harden slowly.
    """
    settings = ground.settings
    if verdict.kind == "none":
        return Choice(0.0, [], False)
    profile, rules = settings.profile(pupa.species), settings.care.risk
    place = hangs_in(pupa, settings)
    here = risk.of_place(place, profile, risk.record_of(place.name, ground.records), settings)
    stays = risk.any_of(here, rules.danger) if pupa.danger else here
    no_climb, rescue = not settings.climbable(place), verdict.kind == "rescue"
    if not (rescue or verdict.kind == "free" or (verdict.kind in ("care", "soon") and unsafe)):
        return Choice(stays, [], no_climb)
    limits = hung.limits
    handling = risk.of_handling(hung.time.at_least, hung.stage, limits, rules)
    worth = stays - (0.0 if rescue else rules.worth_moving)
    offered = ground.spots_for(profile, pupa.species, limits.cold)
    free, full = (_elsewhere(some, place) for some in offered)
    options = list(_worth_it(free, handling, worth, ground))
    crowded = any(True for _ in _worth_it(full, handling, worth, ground))
    if pupa.danger == "fallen" and not unsafe:  # its own room is still there
        options = sorted([Option(place.name, here, risk.any_of(here, handling)), *options], key=lambda one: one.moved)
    nowhere = bool(unsafe) and not options and not any(ground.spots_for(profile, pupa.species, cold=True))
    return Choice(stays, options, no_climb, crowded and not options, nowhere)


def reason(pupa: Pupa, unsafe: list[str], goal: Option, ground: Ground) -> str:
    """Why it should hang there, in one line."""
    if goal.place == pupa.place:
        return f"hang it up again in {goal.place}, which can be climbed"
    if unsafe:
        return f"{pupa.place} {unsafe[0]}; {goal.place} can be climbed and has room"
    if pupa.danger:
        return f"{goal.place} can be climbed and has room"
    here, there = (risk.record_of(place, ground.records) for place in (pupa.place, goal.place))
    better = f"in {goal.place} for {there.bad} of {there.n}" if there.n else f"{goal.place} promises better"
    return f"emergence went badly in {pupa.place} for {here.bad} of {here.n}; {better}"


def _elsewhere(found: list[tuple[float, Place]], place: Place) -> Iterator[tuple[float, Place]]:
    return (spot for spot in found if not place.quarantined and spot[1].name != place.name)


def _worth_it(found: Iterator[tuple[float, Place]], handling: float, worth: float, ground: Ground) -> Iterator[Option]:
    """Those that are worth a move, the best first, and no more of them than can matter.

    As many as may be moved at all cannot fill more: one of these has room for this pupa whatever the others do, so
    that no best plan needs a place behind them.
    """
    room = 0.0
    for there, spot in found:
        moved = risk.any_of(there, handling)
        if moved >= worth or room > ground.movers:
            return
        yield Option(spot.name, there, moved)
        free = ground.rooms.get(spot.name, 0)
        room += inf if free is None else free


def _is_cold(place: Place, profile: Profile) -> bool:
    return place.temperature_c is not None and place.temperature_c < profile.cold_below_c
