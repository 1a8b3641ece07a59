"""The plan over the coming mornings against other ways to find it: a mixed-integer program written down anew, and
taking the best move one after the other.

The costs are worked out here from what the plan promises (see ``care.plan``), not with its own functions. The solver
beside it is scipy's ``milp`` (HiGHS) on rows written pair by pair.
"""

import random
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from pupawatch.care.plan import Candidate, Goal, Step, best_moves
from pupawatch.demo import MORNING, demo_keeper
from pupawatch.keeper.advice import Advice

INSTANCES, MORNINGS = 200, 3


class Shelf(NamedTuple):
    """What ``best_moves`` is asked."""

    candidates: list[Candidate]
    rooms: dict[str, list[int] | None]
    limits: list[int]
    later: float


def shelf(seed: int) -> Shelf:
    """A shelf with pupae of all ages, places that fill and free themselves, residents that may leave, and often fewer
    places than pupae."""
    chance = random.Random(seed)
    places = [f"P{number}" for number in range(chance.randint(1, 6))]
    candidates = []
    for _ in range(chance.randint(1, 12)):
        inside = [1.0]
        for _ in range(MORNINGS):
            inside.append(inside[-1] * chance.choice([1.0, 1.0, chance.random()]))
        here = chance.choice([0.5, 0.4, chance.random()])
        home = chance.choice([*places, "jar", "jar"])
        handling = sorted((chance.choice([0.02, 0.05, 0.24]) for _ in range(MORNINGS + 1)), reverse=True)
        goals = [Goal(place, chance.random() * 0.4) for place in places if place != home and chance.random() < 0.7]
        movable = [chance.random() < 0.8 for _ in range(MORNINGS)]
        takes = [True, inside[0] > 0.2, inside[1] > 0.2]
        limited = chance.random() < 0.85
        worth = 0.1 if limited else 0.0
        candidates.append(Candidate(here, goals, handling, inside, movable, takes, home, limited, worth))
    rooms: dict[str, list[int] | None] = {
        place: sorted(chance.choice((0, 0, 1, 1, 2)) for _ in range(MORNINGS)) for place in places
    }
    if chance.random() < 0.15:
        rooms[places[0]] = None
    limits = [chance.choice((0, 1, 2, 3, 20)) for _ in range(MORNINGS)]
    return Shelf(candidates, rooms, limits, chance.choice((0.5, 0.75, 1.0)))


def stays(one: Candidate, later: float) -> float:
    best = min((1 - (1 - goal.there) * (1 - one.handling[MORNINGS]) for goal in one.goals), default=9.0)
    left = one.inside[MORNINGS]
    return one.here * (1 - left) + left * ((1 - later) * one.here + later * min(one.here, best))


def moves(asked: Shelf) -> list[tuple[int, Step, float]]:
    """Every move that is allowed, with what it costs against staying."""
    found = []
    for who, one in enumerate(asked.candidates):
        for goal in one.goals:
            for day in range(MORNINGS):
                moved = 1 - (1 - goal.there) * (1 - one.handling[day])
                if one.movable[day] and one.here - moved > one.worth:
                    cost = one.here * (1 - one.inside[day]) + one.inside[day] * moved
                    found.append((who, Step(goal.place, day), cost - stays(one, asked.later)))
    return found


def total(asked: Shelf, chosen: list[Step | None]) -> float:
    """What these moves cost against nobody moving."""
    known = {(who, step): cost for who, step, cost in moves(asked)}
    return sum(known[who, step] for who, step in enumerate(chosen) if step is not None)


def in_place(asked: Shelf, chosen: list[Step | None], place: str, day: int) -> int:
    """How many more bodies are in a place on a morning than if nobody moved."""
    came = left = 0
    for one, step in zip(asked.candidates, chosen, strict=True):
        if step is not None and one.takes[day]:
            came += step.place == place and step.morning <= day
            left += one.place == place and step.morning < day
    return came - left


def holds(asked: Shelf, chosen: list[Step | None]) -> bool:
    """Whether nothing is overfilled and no limit passed."""
    for day in range(MORNINGS):
        made = [one for one, step in zip(asked.candidates, chosen, strict=True) if step and step.morning == day]
        if sum(one.limited for one in made) > asked.limits[day]:
            return False
        for place, room in asked.rooms.items():
            if room is not None and in_place(asked, chosen, place, day) > room[day]:
                return False
    return True


def by_integer_program(asked: Shelf) -> float:
    """The least cost against nobody moving, by milp: one variable a move."""
    pairs = moves(asked)
    if not pairs:
        return 0.0
    rules, most = [], []
    for who in range(len(asked.candidates)):
        rules.append([float(one == who) for one, _, _ in pairs])
        most.append(1.0)
    for day in range(MORNINGS):
        rules.append([float(step.morning == day and asked.candidates[one].limited) for one, step, _ in pairs])
        most.append(float(asked.limits[day]))
        for place, room in asked.rooms.items():
            if room is not None:
                alone = [None] * len(asked.candidates)
                row = []
                for one, step, _ in pairs:
                    told: list[Step | None] = [*alone]
                    told[one] = step
                    row.append(float(in_place(asked, told, place, day)))
                rules.append(row)
                most.append(float(room[day]))
    solved = milp(
        np.array([cost for _, _, cost in pairs]),
        constraints=LinearConstraint(np.array(rules), -np.inf, np.array(most)),
        integrality=np.ones(len(pairs)),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": 0},
    )
    assert solved.success
    return float(solved.fun)


def greedy(asked: Shelf) -> float:
    """The best move first, then the best of what is left."""
    chosen: list[Step | None] = [None] * len(asked.candidates)
    for who, step, cost in sorted(moves(asked), key=lambda move: move[2]):
        if cost < 0 and chosen[who] is None:
            chosen[who] = step
            if not holds(asked, chosen):
                chosen[who] = None
    return total(asked, chosen)


@pytest.fixture(scope="module")
def shelves() -> list[Shelf]:
    return [shelf(seed) for seed in range(INSTANCES)]


@pytest.fixture(scope="module")
def answers(shelves: list[Shelf]) -> list[list[Step | None]]:
    return [best_moves(*asked) for asked in shelves]


def test_the_plan_costs_what_the_integer_program_finds_on_200_shelves(
    shelves: list[Shelf], answers: list[list[Step | None]]
) -> None:
    ours = [total(asked, chosen) for asked, chosen in zip(shelves, answers, strict=True)]
    assert ours == pytest.approx([by_integer_program(asked) for asked in shelves], abs=1e-6)


def test_a_greedy_plan_is_never_better_and_often_worse(shelves: list[Shelf], answers: list[list[Step | None]]) -> None:
    more = [greedy(asked) - total(asked, chosen) for asked, chosen in zip(shelves, answers, strict=True)]
    assert min(more) > -1e-6
    assert sum(extra > 1e-6 for extra in more) >= 20


def test_no_shelf_is_overfilled_nor_its_limits_passed(shelves: list[Shelf], answers: list[list[Step | None]]) -> None:
    assert [seed for seed, asked in enumerate(shelves) if not holds(asked, answers[seed])] == []


def test_the_order_of_serving_changes_no_cost(shelves: list[Shelf], answers: list[list[Step | None]]) -> None:
    for asked, chosen in zip(shelves[:60], answers, strict=False):
        turned = asked._replace(candidates=asked.candidates[::-1])
        assert total(turned, best_moves(*turned)) == pytest.approx(total(asked, chosen), abs=1e-6)


def test_between_equals_the_first_is_served_sooner_and_with_the_first_place() -> None:
    alike = Candidate(0.5, [Goal("A", 0.1), Goal("B", 0.1)], [0.02] * 4, [1.0] * 4, [True] * 3, [True] * 3, worth=0.1)
    rooms = {"A": [1, 1, 1], "B": [1, 1, 1]}
    assert best_moves([alike] * 3, rooms, [1, 1, 1], 0.75) == [Step("A", 0), Step("B", 1), None]


def test_the_demo_morning_is_planned_as_well_as_the_integer_program_can(tmp_path: Path) -> None:
    keeper = demo_keeper(tmp_path)
    morning = Advice(keeper, keeper.moves).morning(MORNING)
    picture = morning.picture
    candidates = [standing.choice.candidate for standing in morning.standings]
    rooms = {name: None if room is None else list(room) for name, room in picture.rooms.items()}
    for limit in (3, 8):  # so few that it matters who goes
        asked = Shelf(candidates, rooms, [limit, 8, 8], picture.settings.care.risk.later)
        asked = asked._replace(candidates=[one for one in candidates if all(g.place != one.place for g in one.goals)])
        assert len(moves(asked)) > 20
        assert total(asked, best_moves(*asked)) == pytest.approx(by_integer_program(asked), abs=1e-6)
