"""The plan against other ways to solve it: a mixed-integer program, and taking the best pair one after the other.

The solver beside it is scipy's ``milp`` (HiGHS), which knows nothing of assignments.
"""

import random
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from pupawatch.care.assignment import assign
from pupawatch.care.plan import plan
from pupawatch.care.round import walk
from pupawatch.demo import MORNING, demo_keeper

INSTANCES = 200


class Shelf(NamedTuple):
    """What ``assign`` is asked: the costs of staying and of moving, the room, and the limit."""

    stays: list[float]
    moved: list[dict[str, float]]
    rooms: dict[str, int | None]
    limited: list[bool]
    most: int


def shelf(seed: int) -> Shelf:
    """A shelf with forbidden pairs, full places, places without limit, and often fewer spots than pupae."""
    chance = random.Random(seed)
    places = [f"P{number}" for number in range(chance.randint(1, 7))]
    pupae = chance.randint(1, 14)
    stays = [chance.random() + (1.0 if chance.random() < 0.2 else 0.0) for _ in range(pupae)]
    moved = [{place: chance.random() for place in places if chance.random() < 0.6} for _ in range(pupae)]
    rooms: dict[str, int | None] = {place: chance.choice((0, 1, 1, 2, 3)) for place in places}
    if chance.random() < 0.15:
        rooms[places[0]] = None
    limited = [chance.random() < 0.85 for _ in range(pupae)]
    return Shelf(stays, moved, rooms, limited, chance.choice((0, 1, 2, 3, 5, 20)))


def total(asked: Shelf, chosen: list[str | None]) -> float:
    return sum(
        stay if place is None else costs[place]
        for stay, costs, place in zip(asked.stays, asked.moved, chosen, strict=True)
    )


def by_integer_program(asked: Shelf) -> float:
    """The least total cost, by milp: one variable a pair, what is saved against staying as its gain."""
    pairs = [(row, place) for row, costs in enumerate(asked.moved) for place in costs]
    if not pairs:
        return sum(asked.stays)
    gain = np.array([asked.moved[row][place] - asked.stays[row] for row, place in pairs])
    rules, most = [], []
    for row in range(len(asked.stays)):
        rules.append([float(one == row) for one, _ in pairs])
        most.append(1.0)
    for place, room in asked.rooms.items():
        if room is not None:
            rules.append([float(one == place) for _, one in pairs])
            most.append(float(room))
    rules.append([float(asked.limited[row]) for row, _ in pairs])
    most.append(float(asked.most))
    solved = milp(
        gain,
        constraints=LinearConstraint(np.array(rules), -np.inf, np.array(most)),
        integrality=np.ones(len(pairs)),
        bounds=Bounds(0, 1),
    )
    assert solved.success
    return sum(asked.stays) + float(solved.fun)


def greedy(asked: Shelf) -> float:
    """The best pair first, then the best of what is left."""
    pairs = sorted(
        (costs[place] - asked.stays[row], row, place) for row, costs in enumerate(asked.moved) for place in costs
    )
    rooms, left = dict(asked.rooms), asked.most
    chosen: list[str | None] = [None] * len(asked.stays)
    for gain, row, place in pairs:
        room = rooms[place]
        if gain >= 0 or chosen[row] is not None or room == 0 or (asked.limited[row] and not left):
            continue
        chosen[row], left = place, left - asked.limited[row]
        rooms[place] = None if room is None else room - 1
    return total(asked, chosen)


@pytest.fixture(scope="module")
def shelves() -> list[Shelf]:
    return [shelf(seed) for seed in range(INSTANCES)]


def test_the_plan_costs_what_the_integer_program_finds_on_200_shelves(shelves: list[Shelf]) -> None:
    ours = [total(asked, assign(*asked)) for asked in shelves]
    assert ours == pytest.approx([by_integer_program(asked) for asked in shelves], abs=1e-9)


def test_a_greedy_plan_is_never_better_and_often_worse(shelves: list[Shelf]) -> None:
    more = [greedy(asked) - total(asked, assign(*asked)) for asked in shelves]
    assert min(more) > -1e-9
    assert sum(extra > 1e-9 for extra in more) >= 20


def test_no_shelf_is_overfilled_nor_its_limit_passed(shelves: list[Shelf]) -> None:
    for asked in shelves:
        chosen = assign(*asked)
        for place, room in asked.rooms.items():
            assert room is None or chosen.count(place) <= room
        assert sum(place is not None for place, held in zip(chosen, asked.limited, strict=True) if held) <= asked.most
        assert all(place is None or place in costs for place, costs in zip(chosen, asked.moved, strict=True))


def test_the_demo_morning_is_planned_as_well_as_the_integer_program_can(tmp_path: Path) -> None:
    keeper = demo_keeper(tmp_path)
    morning = walk(keeper.state, MORNING, keeper.settings, records=keeper.moves.place_records(MORNING))
    ground = morning.ground._replace(moves_left=3)  # so few that it matters who goes
    told = plan(morning._replace(ground=ground))
    movable = [standing for standing in morning.standings if standing.choice.options]
    # What darkens in a poor place has no other morning: all plans are compared with those two moved.
    urgent = [standing.verdict.kind == "soon" for standing in movable]
    asked = Shelf(
        [s.choice.stays + last for s, last in zip(movable, urgent, strict=True)],
        [{option.place: option.moved for option in s.choice.options} for s in movable],
        dict(ground.rooms),
        [s.verdict.kind != "rescue" for s in movable],
        3,
    )
    moved = {one.standing.pupa.id: one for one in told.proposals if one.place}
    ours = sum(
        moved[s.pupa.id].moved if s.pupa.id in moved else stay for s, stay in zip(movable, asked.stays, strict=True)
    )
    assert len(movable) > 8
    assert ours == pytest.approx(by_integer_program(asked), abs=1e-9)
