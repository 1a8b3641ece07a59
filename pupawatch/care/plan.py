"""Who is hung where, and on which of the coming mornings: the best of all plans, reckoned on plain numbers.

``best_moves`` is the whole of it. It knows no settings and no journal; ``care.picture`` makes what it is asked from
them, and ``care.proposals`` puts what it answers before the keeper.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from math import inf
from typing import NamedTuple

from pupawatch.care.assignment import SAME, Program, solve

Rooms = Mapping[str, Sequence[int] | None]


class Goal(NamedTuple):
    """A place where a pupa may be hung, and the chance of a bad emergence (0 to 1) for it once it hangs there."""

    place: str
    there: float


class Candidate(NamedTuple):
    """One pupa of which it is to be decided whether, when and where it moves. With D mornings, morning 0 being now:

    here: the chance b of a bad emergence where it hangs. goals: the places it may move to, the one to prefer among
    equals first; none twice. Its own place among them means that it is hung up again there, which takes no room beside
    its own and frees none. handling: what a move itself adds to the chance on mornings 0 to D, so D + 1 numbers.
    inside: S, the chance that it has not emerged on mornings 0 to D, so D + 1 numbers. movable: whether the move rule
    lets it move on mornings 0 to D − 1. takes: whether its body takes room on mornings 0 to D − 1, wherever it hangs.
    place: where it hangs. limited: whether its move counts against the limit. worth: a move must lower the chance by
    more than this.
    """

    here: float
    goals: Sequence[Goal]
    handling: Sequence[float]
    inside: Sequence[float]
    movable: Sequence[bool]
    takes: Sequence[bool]
    place: str = ""
    limited: bool = True
    worth: float = 0.0


class Step(NamedTuple):
    """It moves to ``place`` on this morning, 0 being now."""

    place: str
    morning: int


def chance_moved(one: Candidate, goal: Goal, morning: int) -> float:
    """m: the chance of a bad emergence of one that is moved to ``goal`` on that morning, and was inside until then:
    1 − (1 − there)(1 − handling)."""
    return 1.0 - (1.0 - goal.there) * (1.0 - one.handling[morning])


def cost_of_moving(one: Candidate, goal: Goal, morning: int) -> float:
    """b(1 − S(d)) + S(d)·m: it may emerge before it is moved."""
    inside = one.inside[morning]
    return one.here * (1.0 - inside) + inside * chance_moved(one, goal, morning)


def cost_of_staying(one: Candidate, later: float) -> float:
    """b(1 − S(D)) + S(D)·[(1 − λ)b + λ·min(b, m of the best goal)]: what is still inside after the last morning may yet
    be moved, and λ = ``later`` is how much that counts. Its best goal is taken with the handling of morning D, whether
    or not there is room."""
    inside = one.inside[-1]
    best = min((chance_moved(one, goal, -1) for goal in one.goals), default=inf)
    return one.here * (1.0 - inside) + inside * ((1.0 - later) * one.here + later * min(one.here, best))


def is_allowed(one: Candidate, goal: Goal, morning: int) -> bool:
    """Whether it is movable on that morning, and the move lowers the chance, b − m, by more than is worth a move."""
    return one.movable[morning] and one.here - chance_moved(one, goal, morning) > one.worth


def best_moves(candidates: Sequence[Candidate], rooms: Rooms, limits: Sequence[int], later: float) -> list[Step | None]:
    """For each candidate its move, or None where it stays, so that the costs add up to as little as can be.

    candidates: in the order in which they are served where it makes no difference, the one due first at the front.
    rooms: for each place, by name, how many more bodies it holds on each of the D mornings if nobody moves (None: any
    number; below 0 where it is overfull; a place that is not named holds none). limits: how many of the limited
    candidates may move on each morning, so D numbers. later: λ, from 0 to 1.

    A candidate moves once at most. One that moves to a place on morning d takes room there on every morning e ≥ d on
    which it ``takes`` any. The place it leaves is free of it from morning d + 1 on: on each morning e > d on which it
    takes room there is one more for others. So on every morning e those who came by then and take room may be no more
    than room was plus those who had left before and would take room; where room is below 0 and too few have left,
    nobody may have come.

    Exact to ``assignment.SAME``. Of plans that cost the same, the one that serves those at the front sooner, then a
    goal nearer the front; so the answer stays the same while the numbers do. Loads scipy only where one is in another's
    way.
    """
    columns = list(_columns(candidates, later))
    alone = _each_alone(columns, len(candidates))
    if _fits(alone, candidates, rooms, limits):
        return [None if column is None else column.step for column in alone]
    chosen = solve(_program(columns, candidates, rooms, limits))
    steps: list[Step | None] = [None] * len(candidates)
    for column, is_chosen in zip(columns, chosen, strict=False):
        if is_chosen:
            steps[column.who] = column.step
    return steps


class _Column(NamedTuple):
    """One move that is allowed. cost: against staying; wish: the less, the sooner it is served."""

    who: int
    step: Step
    cost: float
    wish: float


def _columns(candidates: Sequence[Candidate], later: float) -> Iterator[_Column]:
    most = max((len(one.goals) for one in candidates), default=0)
    for who, one in enumerate(candidates):
        stays, turn = cost_of_staying(one, later), len(candidates) - who
        mornings = len(one.movable)
        for rank, goal in enumerate(one.goals):
            for morning in range(mornings):
                if is_allowed(one, goal, morning):
                    cost = cost_of_moving(one, goal, morning) - stays
                    wish = turn * (rank / (most + 1) - (mornings - morning))
                    yield _Column(who, Step(goal.place, morning), cost, wish)


def _each_alone(columns: Sequence[_Column], number: int) -> list[_Column | None]:
    """What each would do if it were alone: the least cost, then the least wish."""
    found: dict[int, list[_Column]] = defaultdict(list)
    for column in columns:
        found[column.who].append(column)
    alone: list[_Column | None] = [None] * number
    for who, some in found.items():
        least = min(0.0, min(column.cost for column in some))
        as_good = [column for column in some if column.cost <= least + SAME]
        alone[who] = min(as_good, key=lambda column: column.wish, default=None)
    return alone


def _fits(
    chosen: Sequence[_Column | None], candidates: Sequence[Candidate], rooms: Rooms, limits: Sequence[int]
) -> bool:
    """Whether all of these moves can be made together."""
    moves: defaultdict[int, int] = defaultdict(int)
    came: defaultdict[str, list[int]] = defaultdict(lambda: [0] * len(limits))
    left: defaultdict[str, list[int]] = defaultdict(lambda: [0] * len(limits))
    for column in chosen:
        if column is None:
            continue
        one, (goal, morning) = candidates[column.who], column.step
        moves[morning] += one.limited
        if goal == one.place:
            continue
        for later in range(morning, len(limits)):
            came[goal][later] += one.takes[later]
            left[one.place][later] += one.takes[later] and later > morning
    if any(moves[morning] > most for morning, most in enumerate(limits)):
        return False
    for place, bodies in came.items():
        room = rooms.get(place, [0] * len(limits))
        if room is None:
            continue
        for morning, number in enumerate(bodies):
            if number and number > room[morning] + left[place][morning]:
                return False
    return True


def _program(
    columns: Sequence[_Column], candidates: Sequence[Candidate], rooms: Rooms, limits: Sequence[int]
) -> Program:
    mornings = range(len(limits))
    wanted = dict.fromkeys(column.step.place for column in columns)
    cost, wish = [column.cost for column in columns], [column.wish for column in columns]
    most: list[float] = [1.0] * len(candidates) + [float(limit) for limit in limits]
    of_limit = len(candidates)
    of_room: dict[tuple[str, int], int] = {}
    entries: list[tuple[int, int, float]] = []
    for place in wanted:
        room = rooms.get(place, [0] * len(limits))
        for morning in mornings if room is not None else ():
            assert room is not None
            of_room[place, morning] = len(most)
            most.append(float(max(0, room[morning])))
            if room[morning] < 0:  # nobody may come unless more than these have left
                switch = len(cost)
                cost.append(0.0)
                wish.append(0.0)
                entries.append((of_room[place, morning], switch, float(-room[morning])))
                entries.append((len(most), switch, -float(len(candidates))))
                of_room[place, morning + len(limits)] = len(most)
                most.append(0.0)
    for number, (who, (goal, day), _, _) in enumerate(columns):
        one = candidates[who]
        entries.append((who, number, 1.0))
        if one.limited:
            entries.append((of_limit + day, number, 1.0))
        if goal == one.place:
            continue
        for morning in mornings[day:]:
            if not one.takes[morning]:
                continue
            rows = of_room.get((goal, morning)), of_room.get((goal, morning + len(limits)))
            entries.extend((row, number, 1.0) for row in rows if row is not None)
            if morning > day and (row := of_room.get((one.place, morning))) is not None:
                entries.append((row, number, -1.0))
    return Program(cost, wish, entries, most)
