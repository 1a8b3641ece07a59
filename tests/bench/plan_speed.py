"""How fast is the plan? ``python tests/bench/plan_speed.py``

200 pupae in poor places × 60 spots, once scipy is imported: the assignment alone, and the whole plan of a round with
its reasons; goal 100 ms. Beside it scipy's mixed-integer program on the same shelf, and the import of scipy. At last
2,000 pupae × 10,000 spots, and the peak memory.
"""

import random
import resource
import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import msgspec

from pupawatch import settings as files
from pupawatch.care.assignment import assign
from pupawatch.care.plan import plan
from pupawatch.care.risk import Record
from pupawatch.care.round import walk
from pupawatch.model import entries as kinds
from pupawatch.model.settings import Place, Settings
from pupawatch.model.state import State

NOW = datetime(2026, 9, 8, 12, tzinfo=UTC)
PUPAE, SPOTS, ROUNDS = 200, 60, 15
MANY_PUPAE, MANY_SPOTS = 2000, 10_000


def main() -> None:
    began = time.perf_counter()
    from scipy.optimize import linear_sum_assignment  # noqa: F401

    print(f"import of scipy.optimize: {(time.perf_counter() - began) * 1000:.0f} ms")
    for name, capacity in (("one free place each", 1), ("four free places each", 4)):
        for limit in (8, 1000):
            settings, state, records = shelf(capacity, limit)
            morning = walk(state, NOW, settings, records=records)
            movable = [standing for standing in morning.standings if standing.choice.options]
            stays = [standing.choice.stays for standing in movable]
            moved = [{o.place: o.moved for o in standing.choice.options} for standing in movable]
            asked = (stays, moved, dict(morning.ground.rooms), [True] * len(stays), limit)
            assigned = measured(partial(assign, *asked))
            planned = measured(partial(plan, morning))
            walked = measured(partial(walk, state, NOW, settings, records=records))
            pairs = sum(map(len, moved))
            print(
                f"{len(stays)} pupae × {SPOTS} spots, {name}, {pairs} pairs, limit {limit}: "
                f"assignment {assigned:.1f} ms, whole plan {planned:.1f} ms, goal 100 (its round {walked:.1f} ms)"
            )
    sys.path.insert(0, str(Path(__file__).parents[1] / "outside"))
    from test_plan import Shelf, by_integer_program  # type: ignore[import-not-found]

    print(f"the last of these by scipy's milp: {measured(lambda: by_integer_program(Shelf(*asked)), 1):.0f} ms")
    settings, state, records = shelf(1, 8, MANY_PUPAE, MANY_SPOTS)
    walked = measured(partial(walk, state, NOW, settings, records=records), 3)
    planned = measured(partial(plan, walk(state, NOW, settings, records=records)), 3)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{MANY_PUPAE} pupae × {MANY_SPOTS} spots, limit 8: whole plan {planned:.0f} ms (its round {walked:.0f} ms), "
        f"peak memory {peak:.0f} MB"
    )


def measured(do: Callable[[], object], rounds: int = ROUNDS) -> float:
    """The median time in ms."""
    times = []
    for _ in range(rounds):
        began = time.perf_counter()
        do()
        times.append((time.perf_counter() - began) * 1000)
    return statistics.median(times)


def shelf(
    capacity: int, limit: int, pupae: int = PUPAE, among: int = SPOTS
) -> tuple[Settings, State, dict[str, Record]]:
    """Firm pupae in 20 jars and tanks, and spots whose records differ."""
    chance = random.Random(7)
    shipped = files.load(Path("no-such-folder"))
    poor = [Place(name=f"Jar {n}", surface=chance.choice(("glass", "plastic", "leaf"))) for n in range(20)]
    spots = [
        Place(name=f"Spot {n}", surface=chance.choice(("mesh", "chamber", "wood", "line")), capacity=capacity)
        for n in range(among)
    ]
    rules = msgspec.structs.replace(shipped.care.risk, moves_per_morning=limit)
    care = msgspec.structs.replace(shipped.care, risk=rules)
    settings = msgspec.structs.replace(shipped, zone="UTC", care=care, places=[*poor, *spots])
    records = {}
    for place in spots:
        n = chance.randrange(60)
        records[place.name] = Record(chance.randrange(n // 8 + 1), n)
    state = State()
    for number in range(pupae):
        at = NOW - timedelta(hours=chance.uniform(26, 200))
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
