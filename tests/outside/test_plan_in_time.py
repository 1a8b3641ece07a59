"""The plan over mornings against every assignment in time, counted out on small shelves.

What a plan costs is written here once more from its definition, and every plan is tried; nothing of the solver is used.
The method is enumeration (common practice, no source).
"""

from itertools import product
from random import Random
from typing import NamedTuple

import pytest

from pupawatch.care.plan import Candidate, Goal, best_moves

MORNINGS = 3
COUNTED = 0.2
"""A body takes room until the chance that it is inside or drying is under this."""


class Body(NamedTuple):
    """A pupa on the shelf: the risk where it hangs, what handling adds on mornings 0 to 3, the chance that it is inside
    on mornings 0 to 3 and that it takes room on mornings 0 to 2, when it may be moved, where it hangs, and the risk at
    each place it may go to. limited: whether its move counts against the limit."""

    risk: float
    handling: tuple[float, ...]
    inside: tuple[float, ...]
    room: tuple[float, ...]
    movable: tuple[bool, ...]
    home: int
    goals: dict[int, float]
    limited: bool


class Shelf(NamedTuple):
    """capacities: by place, None has no end; others: by place, the chance that each other body takes room, by morning;
    limits: moves on each morning."""

    bodies: tuple[Body, ...]
    capacities: tuple[int | None, ...]
    others: tuple[tuple[tuple[float, ...], ...], ...]
    limits: tuple[int, ...]
    worth: float
    later: float


Choice = tuple[int, int] | None
"""Morning and place; None stays."""


def moved_risk(body: Body, place: int, morning: int) -> float:
    return 1 - (1 - body.goals[place]) * (1 - body.handling[morning])


def allowed(body: Body, shelf: Shelf) -> list[Choice]:
    moves = product(range(MORNINGS), body.goals)
    worth = [(d, p) for d, p in moves if body.movable[d] and body.risk - moved_risk(body, p, d) > shelf.worth]
    return [None, *worth]


def cost(body: Body, choice: Choice, shelf: Shelf) -> float:
    if choice:
        morning, place = choice
        inside = body.inside[morning]
        return body.risk * (1 - inside) + inside * moved_risk(body, place, morning)
    best = min([body.risk, *(moved_risk(body, place, MORNINGS) for place in body.goals)])
    inside = body.inside[MORNINGS]
    return body.risk * (1 - inside) + inside * ((1 - shelf.later) * body.risk + shelf.later * best)


def is_whole(chance: float) -> bool:
    return chance >= COUNTED


def fits(choices: tuple[Choice, ...], shelf: Shelf) -> bool:
    decided = list(zip(shelf.bodies, choices, strict=True))
    for morning, limit in enumerate(shelf.limits):
        if sum(1 for body, c in decided if c and c[0] == morning and body.limited) > limit:
            return False
    for place, capacity in enumerate(shelf.capacities):
        for morning in range(MORNINGS) if capacity is not None else ():
            here = sum(is_whole(other[morning]) for other in shelf.others[place])
            came = 0
            for body, choice in decided:
                if not is_whole(body.room[morning]):
                    continue
                if body.home == place and (choice is None or choice[0] >= morning):
                    here += 1  # a place that is left is free from the next morning
                if choice and choice[1] == place and choice[0] <= morning:
                    came += 1
            if came and here + came > (capacity or 0):
                return False
    return True


def best(shelf: Shelf) -> float:
    """The least cost of all plans that can be carried out."""
    plans = product(*(allowed(body, shelf) for body in shelf.bodies))
    return min(total(plan, shelf) for plan in plans if fits(plan, shelf))


def total(choices: tuple[Choice, ...], shelf: Shelf) -> float:
    return sum(cost(body, choice, shelf) for body, choice in zip(shelf.bodies, choices, strict=True))


def falling(rng: Random, steps: int) -> tuple[float, ...]:
    chances = [1.0 if rng.random() < 0.5 else rng.uniform(0.3, 1)]
    while len(chances) < steps:
        chances.append(chances[-1] * rng.choice((1.0, rng.uniform(0.1, 1))))
    return tuple(chances)


def drawn(seed: int) -> Shelf:
    """A small shelf: up to five pupae, three places, three mornings."""
    rng = Random(seed)
    places = rng.randint(1, 3)

    def body() -> Body:
        inside, begins, home = falling(rng, MORNINGS + 1), rng.choice((0, 0, 0, 1, 2, 3)), rng.randrange(places)
        room = tuple(min(1.0, chance + rng.choice((0.0, 0.3))) for chance in inside[:MORNINGS])
        goals = {p: rng.uniform(0.01, 0.5) for p in range(places) if p != home and rng.random() < 0.8}
        handling = tuple(rng.choice((0.0, 0.02, 0.1)) for _ in range(MORNINGS + 1))
        movable = tuple(morning >= begins for morning in range(MORNINGS))
        risk, limited = rng.choice((0.03, 0.3, 0.5, 0.8)), rng.random() < 0.8
        return Body(risk, handling, inside, room, movable, home, goals, limited)

    return Shelf(
        tuple(body() for _ in range(rng.randint(1, 5))),
        tuple(rng.choice((None, 1, 1, 2, 3)) for _ in range(places)),
        tuple(tuple(falling(rng, MORNINGS) for _ in range(rng.choice((0, 0, 1, 2)))) for _ in range(places)),
        tuple(rng.choice((0, 1, 2, 9)) for _ in range(MORNINGS)),
        rng.choice((0.0, 0.02, 0.05)),
        rng.choice((0.5, 0.75, 1.0)),
    )


def asked(shelf: Shelf) -> list[Choice]:
    """What the program would do."""
    candidates = [
        Candidate(
            body.risk, [Goal(str(place), there) for place, there in body.goals.items()], body.handling, body.inside,
            body.movable, [is_whole(chance) for chance in body.room], str(body.home), body.limited, shelf.worth,
        )
        for body in shelf.bodies
    ]  # fmt: skip
    rooms: dict[str, list[int] | None] = {}
    for place, capacity in enumerate(shelf.capacities):
        bodies = [body.room for body in shelf.bodies if body.home == place] + [*shelf.others[place]]
        taken = [sum(is_whole(body[morning]) for body in bodies) for morning in range(MORNINGS)]
        rooms[str(place)] = None if capacity is None else [capacity - number for number in taken]
    steps = best_moves(candidates, rooms, shelf.limits, shelf.later)
    return [None if step is None else (step.morning, int(step.place)) for step in steps]


@pytest.mark.parametrize("first", range(0, 300, 50))
def test_no_plan_is_better_than_the_one_proposed(first: int) -> None:
    moved = 0
    for seed in range(first, first + 50):
        shelf = drawn(seed)
        plan = tuple(asked(shelf))
        for body, choice in zip(shelf.bodies, plan, strict=True):
            assert choice in allowed(body, shelf), seed
        assert fits(plan, shelf), seed
        assert total(plan, shelf) == pytest.approx(best(shelf), abs=1e-6), seed
        moved += sum(choice is not None for choice in plan)
    assert moved > 10  # the shelves ask something


def test_the_same_shelf_is_always_answered_the_same() -> None:
    for seed in range(40):
        assert asked(drawn(seed)) == asked(drawn(seed)), seed
