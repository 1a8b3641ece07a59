"""How fast is the plan over three mornings? ``python tests/bench/plan_speed.py``

60 pupae × 15 places and 200 × 60, with residents that may leave and fewer places than pupae: the pure plan
(``care.plan.best_moves``, its ties and all) against scipy's bare ``milp`` on the same matrix in the same run, goal ≤ 3.
Then the whole morning of a shelf (its picture, and its plan with reasons) at the same sizes and at 2,000 × 10,000, and
the peak memory. At last the import of scipy.optimize against that of numpy.
"""

import random
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import msgspec
import numpy as np

from pupawatch import settings as files
from pupawatch.care import plan as plans
from pupawatch.care.picture import Known
from pupawatch.care.plan import Candidate, Goal, best_moves
from pupawatch.care.proposals import decided
from pupawatch.care.risk import Record
from pupawatch.care.round import walk
from pupawatch.model import entries as kinds
from pupawatch.model.settings import Place, Settings
from pupawatch.model.state import State

NOW = datetime(2026, 9, 8, 12, tzinfo=UTC)
SIZES = ((60, 15), (200, 60))
SHELVES, ROUNDS = 8, 5
GOAL = 3.0


def main() -> None:
    from scipy.optimize import linprog  # noqa: F401  (its import is no part of the plan)

    for pupae, places in SIZES:
        ratios, ours, theirs = [], [], []
        for seed in range(SHELVES):
            asked = shelf(pupae, places, seed)
            bare = partial(bare_milp, asked)
            first, second = alternately(partial(best_moves, *asked), bare)
            ratios.append(first / second)
            ours.append(first)
            theirs.append(second)
        print(
            f"{pupae} pupae × {places} places × 3 mornings: plan {statistics.median(ours):.0f} ms, bare milp "
            f"{statistics.median(theirs):.0f} ms; ratio: median {statistics.median(ratios):.2f}, worst "
            f"{max(ratios):.2f}, goal {GOAL:g}"
        )
    for pupae, places in (*SIZES, (2000, 10_000)):
        settings, state, records = stocked(pupae, places)
        walked = measured(partial(walk, state, NOW, settings, Known(records=records)), 3)
        whole = measured(lambda s=settings, t=state, r=records: decided(walk(t, NOW, s, Known(records=r))), 3)
        print(
            f"the whole morning of {pupae} pupae × {places} places: {whole:.0f} ms, of which its picture {walked:.0f}"
        )
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    print(f"import of scipy.optimize / numpy: {imported('scipy.optimize') / imported('numpy'):.1f}")


Asked = tuple[list[Candidate], dict[str, list[int]], list[int], float]


def shelf(pupae: int, places: int, seed: int) -> Asked:
    """Pupae of all ages on glass and leaves, one in seven in a good place that others want."""
    chance = random.Random(seed)
    good = [f"Spot {number}" for number in range(places)]
    there = {name: chance.choice([0.06, 0.08, 0.12]) + chance.random() * 0.08 for name in good}
    rooms = {name: [chance.choice([1, 1, 2, 3])] * 3 for name in good}
    candidates = []
    for _ in range(pupae):
        home = chance.choice(good) if chance.random() < 1 / 7 else "Jar"
        if home in rooms:
            rooms[home] = [max(0, room - 1) for room in rooms[home]]
        age = chance.uniform(1, 13)
        inside = [max(0.0, min(1.0, (14 - age - day) / 3)) for day in range(4)]
        goals = [Goal(name, there[name]) for name in sorted(good, key=there.__getitem__) if name != home]
        handling = [0.02 if age + day >= 2 else 0.08 for day in range(4)]
        takes = [True, inside[0] >= 0.2, inside[1] >= 0.2]
        here = chance.choice([0.5, 0.4, 0.35]) if home == "Jar" else 0.3
        candidates.append(Candidate(here, goals, handling, inside, [True] * 3, takes, home, True, 0.1))
    return candidates, rooms, [8, 8, 8], 0.75


def bare_milp(asked: Asked) -> None:
    """The same matrix to scipy's milp, and nothing else."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    cost, matrix, most = _matrix(asked)
    solved = milp(
        cost,
        integrality=np.ones(len(cost)),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(matrix, -np.inf, most),
        options={"mip_rel_gap": 0},
    )
    assert solved.success


_MATRICES: dict[int, tuple[np.ndarray, object, np.ndarray]] = {}


def _matrix(asked: Asked) -> tuple[np.ndarray, object, np.ndarray]:
    from scipy.sparse import csr_array

    if id(asked[0]) not in _MATRICES:
        columns = list(plans._columns(asked[0], asked[3]))
        program = plans._program(columns, *asked[:3])
        rows, numbers, values = zip(*program.entries, strict=True)
        shape = len(program.most), len(program.cost)
        matrix = csr_array((np.array(values), (np.array(rows), np.array(numbers))), shape=shape)
        _MATRICES[id(asked[0])] = np.array(program.cost), matrix, np.array(program.most)
    return _MATRICES[id(asked[0])]


def alternately(first: Callable[[], object], second: Callable[[], object]) -> tuple[float, float]:
    """The medians in ms of two measurements taken in turn, so that a busy machine disturbs both alike."""
    second()  # works its matrix out
    pairs = [(measured(first, 1), measured(second, 1)) for _ in range(ROUNDS)]
    return statistics.median(a for a, _ in pairs), statistics.median(b for _, b in pairs)


def measured(do: Callable[[], object], rounds: int) -> float:
    """The median time in ms."""
    times = []
    for _ in range(rounds):
        began = time.perf_counter()
        do()
        times.append((time.perf_counter() - began) * 1000)
    return statistics.median(times)


def imported(name: str) -> float:
    return measured(lambda: subprocess.run([sys.executable, "-c", f"import {name}"], check=True), 5)


def stocked(pupae: int, places: int) -> tuple[Settings, State, dict[str, Record]]:
    """Pupae of all ages in 20 jars and tanks, and places whose records differ."""
    chance = random.Random(7)
    shipped = files.load(Path("no-such-folder"))
    poor = [Place(name=f"Jar {n}", surface=chance.choice(("glass", "plastic", "leaf"))) for n in range(20)]
    spots = [
        Place(name=f"Spot {n}", surface=chance.choice(("mesh", "chamber", "wood", "line")), capacity=1)
        for n in range(places)
    ]
    settings = msgspec.structs.replace(shipped, zone="UTC", places=[*poor, *spots])
    records = {}
    for place in spots:
        n = chance.randrange(60)
        records[place.name] = Record(chance.randrange(n // 8 + 1), n)
    state = State()
    for number in range(pupae):
        at = NOW - timedelta(hours=chance.uniform(26, 300))
        state.add(
            [
                kinds.Found(
                    id=f"{number:04}", act=f"{number:04}", happened=at, recorded=at, zone="UTC", pupa=f"p{number}",
                    label=f"M{number}", species=chance.choice(("monarch", "painted-lady")),
                    place=chance.choice(poor).name,
                )
            ]
        )  # fmt: skip
    return settings, state, records


if __name__ == "__main__":
    main()
