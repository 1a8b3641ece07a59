"""Does the forecast say how sure it is? Simulated seasons, and the time it takes. Prints tables; asserts nothing.

    python -m tests.bench.calibration [summer] [autumn] [speed] [cells] [--quick] [--against DIR] [--first=SEED]

``cells`` asks on fixed occasions (so many days after a pupa was found, and on the last look before it emerged), in
summer and autumn, with and without own pupae, and with loggers that fail; ``--against DIR`` prints another
version of the package, in DIR, beside this one.

The simulator is not the forecast's model turned round: its weather, its scatter, its gate in the morning and (in
autumn) its rate curves are its own, drawn anew for every season from ranges named below. Two numbers of the
forecast were chosen by score on such seasons and are proved only on other seeds: the season's swing (``SEASON_C``) on
the quick autumns (seeds 2000 on), how fast the season drifts (``SEASON_DRIFT_SHARE``) on seeds 5000 to 5002.
"""

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pupawatch import settings
from pupawatch.care.forecast import Conditions, Stay, Temperatures, Watched, forecaster
from pupawatch.care.forecast.scoring import Mark, Story, fixed_rule, mark, replay, summary
from pupawatch.care.forecast.sun import Sky

Array = NDArray[np.float64]
STEP_HOURS = 0.25
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
MONARCH = settings.load().species["monarch"]
KEEPERS_SD = 0.08
"""By so much of its logarithm the need of a keeper's pupae differs from another keeper's."""
DAYS_AT_22 = 12.2  # the constant-temperature experiment of 2019, between its incubators


class Truth(NamedTuple):
    """How the season truly was: development by place at each hour since the first day, and what pupae need of it.

    needed: the keeper's mean, in reference days; spread: of the logarithm, from pupa to pupa. dawns: in hours since
    the first day.
    """

    first: datetime
    hours: Array
    grown: dict[str, Array]
    needed: float
    spread: float
    dawns: Array


class Season(NamedTuple):
    """One keeper's season: what was recorded, and the instants at which the adults truly came out."""

    conditions: Conditions
    stories: list[Story]
    truths: list[datetime]
    rounds: list[datetime]
    truth: Truth


class Kind(NamedTuple):
    """A kind of season. Means and trend in °C, at the first day and for each day after."""

    first: datetime
    days: int
    mean_c: tuple[float, float]
    trend_c: float
    swing_c: tuple[float, float]
    rate: Callable[[np.random.Generator], Callable[[Array], Array]]
    fronts: bool = False
    fault: str = ""


def straight(rng: np.random.Generator) -> Callable[[Array], Array]:
    """Degree-days with a sharp bend; base and cap differ from keeper to keeper."""
    base, cap = rng.normal(12, 1), rng.normal(33, 1)
    return lambda c: np.clip(c, base, cap) - base


def curved(rng: np.random.Generator) -> Callable[[Array], Array]:
    """Briere et al. 1999, or the square root model of Ratkowsky et al. 1983: neither is the forecast's curve."""
    if rng.random() < 0.5:
        base, top = rng.normal(8.5, 1), rng.normal(40, 1)
        return lambda c: np.where(
            (c > base) & (c < top), c * np.maximum(c - base, 0) * np.sqrt(np.maximum(top - c, 0)), 0
        )
    base, top = rng.normal(4, 1), rng.normal(40, 1)
    return lambda c: np.where((c > base) & (c < top), ((c - base) * -np.expm1(0.3 * np.minimum(c - top, 0))) ** 2, 0)


SUMMER = Kind(datetime(2026, 5, 20, tzinfo=UTC), 110, (18.0, 25.0), 0.0, (3.0, 8.0), straight)
AUTUMN = Kind(datetime(2026, 9, 1, tzinfo=UTC), 110, (15.0, 17.0), -0.09, (6.0, 9.0), curved)


def weather(rng: np.random.Generator, kind: Kind) -> tuple[Array, Array]:
    """Hours since the first day and air temperatures: a course, spells of days, and each day's own swing."""
    hours = np.arange(0, 24 * (kind.days + 60), STEP_HOURS)
    days = hours / 24
    spell = np.zeros(int(days[-1]) + 3)
    for n in range(1, len(spell)):
        spell[n] = 0.75 * spell[n - 1] + rng.normal(0, 1.7)
    swing = np.interp(days, np.arange(len(spell)), rng.uniform(*kind.swing_c, len(spell)))
    # An autumn's fall ends where winter begins.
    course = rng.uniform(*kind.mean_c) + kind.trend_c * np.minimum(days, 80)
    if kind.trend_c == 0:
        course = course + 3 * np.sin(np.pi * (days - 10) / 110)
    local = (days - 5 / 24) % 1
    air = course + np.interp(days, np.arange(len(spell)), spell) + swing * np.cos(2 * np.pi * (local - 15 / 24))
    return hours, air


def fronts(rng: np.random.Generator, kind: Kind) -> tuple[Array, Array]:
    """Another weather: air masses that come and go at once, each with its own swing, on a year's sine of its own."""
    hours = np.arange(0, 24 * (kind.days + 60), STEP_HOURS)
    days = hours / 24
    begins = np.cumsum(rng.gamma(2, 2.2, int(days[-1])))
    mass = np.searchsorted(begins, days)
    off, swing = rng.normal(0, 2.8, mass.max() + 1), rng.uniform(*kind.swing_c, mass.max() + 1)
    first = kind.first.timetuple().tm_yday
    warmest, height = rng.normal(200, 8), rng.uniform(7, 14)
    year = height * (
        np.cos(2 * np.pi * (first + days - warmest) / 365.25) - np.cos(2 * np.pi * (first - warmest) / 365.25)
    )
    course = rng.uniform(*kind.mean_c) + (year if kind.trend_c else 0.3 * year)
    local = (days - 5 / 24) % 1
    return hours, course + off[mass] + swing[mass] * np.cos(2 * np.pi * (local - 15 / 24))


def season(seed: int, kind: Kind, pupae: int) -> Season:
    """One season of one keeper, with two places, a logger in each, and rounds that are sometimes missed."""
    rng = np.random.default_rng(seed)
    sky = Sky("America/Chicago", float(rng.uniform(37, 44)), -95.0)
    hours, air = (fronts if kind.fronts else weather)(rng, kind)
    indoors = 21 + 0.35 * (air - 21)
    truly = {"porch": air, "shelf": indoors if kind is SUMMER else air + rng.normal(0, 0.5)}
    rate, needed = kind.rate(rng), DAYS_AT_22 * np.exp(rng.normal(0, KEEPERS_SD))
    per_day = {place: rate(c) / rate(np.array([22.0]))[0] for place, c in truly.items()}
    grown = {place: np.cumsum(r) * STEP_HOURS / 24 for place, r in per_day.items()}
    rounds = list(_rounds(rng, kind))
    own_spread = rng.uniform(0.03, 0.06)
    stories: list[Story] = []
    truths: list[datetime] = []
    tries = 0
    while len(stories) < pupae and (tries := tries + 1) < 100 * pupae:  # some autumns are too cold for any
        place = "porch" if rng.random() < 0.6 else "shelf"
        formed = 24 * rng.uniform(14, kind.days - 25 if kind is SUMMER else 45)  # loggers hang there since the eggs
        need = needed * np.exp(rng.normal(0, own_spread))
        ready = np.interp(np.interp(formed, hours, grown[place]) + need, grown[place], hours)
        if ready >= hours[-24 * 8]:
            continue  # winter came first: it is not of this season
        out = _morning(rng, kind, float(ready), sky)
        formed_at = kind.first + timedelta(hours=formed)
        formed_to = next(at for at in rounds if at >= formed_at)
        emerged_to = next(at for at in rounds if at >= out)
        looks = [at for at in rounds if formed_to <= at < out]
        if not looks:
            continue
        formed_from = max((at for at in rounds if at < formed_at), default=None)
        stories.append(Story(formed_from, formed_to, looks[-1], emerged_to, [Stay(formed_to, place)], (), looks))
        truths.append(out)
    at = kind.first.timestamp() + hours * 3600
    records = {}
    for place, c in truly.items():
        kept = np.ones(len(at), dtype=bool)
        silent = rng.integers(0, len(at) - 200, 2)  # twice a season the logger is silent for two days
        for begin in silent:
            kept[begin : begin + 192] = False
        if kind.fault == "silent":
            begin = 96 * int(rng.integers(20, 40))
            kept[begin : begin + 96 * 14] = False
        told = c + rng.normal(0, 0.2, len(c))
        if kind.fault == "stuck":
            begin = 96 * int(rng.integers(20, 40))
            told[begin : begin + 96 * 11] = 21.0
        records[place] = _logged(at[kept], told[kept], kind.fault, rng)
    dawns = [(sky.dawn(kind.first.date() + n * DAY) - kind.first) / HOUR for n in range(kind.days + 64)]
    truth = Truth(kind.first, hours, grown, needed, own_spread, np.array(dawns))
    return Season(Conditions(sky, records), stories, truths, rounds, truth)


def best(one: Season, n: int, moment: datetime, warm: bool, rng: np.random.Generator) -> Array:
    """When pupa ``n`` may come out by all that could be known at ``moment`` and all weather to come beside, in POSIX
    hours, sorted: no forecast can do better. warm: whether the keeper's own mean is known.

    The simulator's own law of readiness, scatter and morning, drawn anew and kept where it agrees with the looks.
    """
    story, truth = one.stories[n], one.truth
    watched = story.as_of(moment)
    assert watched is not None
    draws = 4000
    until = (story.formed_to - truth.first) / HOUR
    since = until - 12 if story.formed_from is None else (story.formed_from - truth.first) / HOUR
    grown = truth.grown[story.stays[0].place]
    formed = rng.uniform(since, until, draws)
    need = truth.needed * np.exp(rng.normal(0, truth.spread, draws) + (0 if warm else rng.normal(0, KEEPERS_SD, draws)))
    ready = np.interp(np.interp(formed, truth.hours, grown) + need, grown, truth.hours)
    # As in _morning: this morning or the next, and one in twenty at any hour.
    day = ((ready - 5) // 24).astype(int)
    this, after = (truth.dawns[day + n] + rng.gamma(4, 0.5, draws) for n in (0, 1))
    out = np.where(this >= ready, this, np.where(ready - truth.dawns[day] < 4, ready, after))
    out = np.where(rng.random(draws) < 0.05, ready, out)
    alive = (watched.alive_at - truth.first) / HOUR
    kept = np.sort(out[out > alive])
    return np.asarray(truth.first.timestamp() / 3600 + (kept if len(kept) else np.array([alive + 1])))


def _logged(at: Array, told: Array, fault: str, rng: np.random.Generator) -> Temperatures:
    """What the journal hands over of these readings: as a version of the package that knows of the fault does, else as
    it did before (stuck readings as they are; of two loggers the hotter reading of each minute)."""
    other = told + rng.normal(2, 0.5) if fault == "two" else None
    try:
        from pupawatch.care.forecast import loggers
    except ImportError:
        return Temperatures(at, told if other is None else np.maximum(told, other))
    first = loggers.Readings(at.tolist(), told.tolist())
    if other is not None:
        mean, error_c = loggers.averaged([first, loggers.Readings(at.tolist(), other.tolist())])
        return Temperatures(*map(np.asarray, mean), error_c=error_c)
    if fault == "stuck":
        first = loggers.without(first, loggers.standing_still(first))
    return Temperatures(*map(np.asarray, first))


def _rounds(rng: np.random.Generator, kind: Kind) -> Iterator[datetime]:
    for day in range(kind.days + 60):
        midnight = kind.first + day * DAY + timedelta(hours=5)
        if rng.random() > 0.06:
            yield midnight + timedelta(hours=float(rng.normal(8.5, 0.8)))
        if rng.random() < 0.5:
            yield midnight + timedelta(hours=float(rng.normal(19, 1)))


def _morning(rng: np.random.Generator, kind: Kind, ready_hours: float, sky: Sky) -> datetime:
    """The adult waits for two hours or so after sunrise, if need be of the next day; one in twenty does not."""
    ready = kind.first + timedelta(hours=ready_hours)
    if rng.random() < 0.05:
        return ready
    day = (ready - timedelta(hours=5)).date()
    while True:
        opens = sky.dawn(day) + timedelta(hours=float(rng.gamma(4, 0.5)))
        if opens >= ready:
            return opens
        if ready - sky.dawn(day) < timedelta(hours=4):
            return ready
        day += DAY


class Result(NamedTuple):
    """marks: one a pupa, on a morning drawn at random while it hung; early: on the first morning; overdue: pupae that
    were called so and emerged later."""

    marks: list[Mark]
    early: list[Mark]
    overdue: int
    pupae: int


def lived_through(kind: Kind, seeds: range, pupae: int, every: int) -> Result:
    """Every season from morning to morning, each forecast made with what was known by then."""
    result = Result([], [], 0, 0)
    for seed in seeds:
        one = season(seed, kind, pupae)
        rng = np.random.default_rng(seed + 10**6)
        chosen = [int(rng.integers(0, len(story.looks))) for story in one.stories]
        wanted: dict[datetime, list[tuple[int, bool]]] = {}
        for n, story in enumerate(one.stories):
            wanted.setdefault(story.looks[chosen[n]], []).append((n, False))
            wanted.setdefault(story.looks[0], []).append((n, True))
        called: set[int] = set()
        for index, morning in enumerate(one.rounds):
            if morning not in wanted and index % every:
                continue
            hanging = [(n, w) for n, s in enumerate(one.stories) if (w := s.as_of(morning)) is not None]
            if not hanging:
                continue
            finished = [story.finished for story in one.stories if story.emerged_to <= morning]
            teller = forecaster(MONARCH, one.conditions, morning, finished)
            known = dict(zip((n for n, _ in hanging), teller.distributions([w for _, w in hanging]), strict=True))
            watched = dict(hanging)
            called.update(n for n, found in known.items() if found.left < 0.02 and one.truths[n] > morning)
            for n, first in wanted.get(morning, ()):
                made = mark(known[n], one.truths[n], fixed_rule(watched[n], MONARCH, morning), morning)
                (result.early if first else result.marks).append(made)
        result = result._replace(overdue=result.overdue + len(called), pupae=result.pupae + len(one.stories))
    return result


def table(name: str, result: Result) -> None:
    """One line a group of forecasts."""
    print(f"\n{name}: {result.pupae} pupae")
    print(f"{'forecast made':34}{'n':>6}{'in 80 %':>9}{'error d':>9}{'CRPS d':>8}{'fixed d':>9}{'ratio':>7}")
    leads = [("any morning", result.marks), ("the round it was found on", result.early)]
    leads += [
        (f"  {low}-{high} days ahead", [m for m in result.marks if low <= m.lead_days < high])
        for low, high in ((0, 1), (1, 3), (3, 7), (7, 14), (14, 99))
    ]
    for words, marks in leads:
        score = summary(marks)
        if score:
            print(
                f"{words:34}{score.n:6}{score.coverage:9.1%}{score.median_error_days:9.2f}{score.crps_days:8.2f}"
                f"{score.fixed_crps_days:9.2f}{score.ratio:7.2f}"
            )
    print(f"called overdue, but emerged later: {result.overdue} ({result.overdue / result.pupae:.1%})")


def speed(pupae: int = 500, days: int = 90, sensors: int = 4) -> None:
    """500 pupae over 90 days of 5-minute readings from four sensors, against a plain cumulative sum of them."""
    rng = np.random.default_rng(1)
    now = datetime(2026, 8, 30, 13, tzinfo=UTC)
    at: Array = now.timestamp() - np.arange(days * 288, dtype=np.float64)[::-1] * 300
    hours = at / 3600
    known = {
        f"sensor {n}": Temperatures(at, 22 + n + 5 * np.cos(hours * np.pi / 12) + rng.normal(0, 0.2, len(at)))
        for n in range(sensors)
    }
    conditions = Conditions(Sky("America/Chicago", 38.97, -95.24), known)
    watched = []
    for n in range(pupae):
        formed = now - timedelta(days=float(rng.uniform(0.2, 9)))
        watched.append(Watched(formed - timedelta(hours=12), formed, now, [Stay(formed, f"sensor {n % sensors}")]))
    finished = [
        Story(f, f + DAY / 2, f + 9 * DAY, f + 10 * DAY, [Stay(f, f"sensor {n % sensors}")]).finished
        for n in range(200)
        for f in [now - timedelta(days=float(rng.uniform(15, 85)))]
    ]
    celsius = np.concatenate([np.asarray(t.celsius) for t in known.values()])
    plain = min(_took(lambda: np.cumsum(celsius)) for _ in range(20))
    print(f"\n{pupae} pupae, {len(celsius)} readings, {len(finished)} finished pupae (best of 3)")
    for words, taught in (("prior belief", []), ("belief learned anew", finished)):
        took = min(
            _took(lambda taught=taught: forecaster(MONARCH, conditions, now, taught).outlooks(watched))  # type: ignore[misc]
            for _ in range(3)
        )
        print(f"  all outlooks, {words:20} {took * 1000:7.0f} ms = {took / plain:7.0f} x a plain cumulative sum")
    warm = forecaster(MONARCH, conditions, now, finished)
    warm.outlooks(watched)
    print(f"  one pupa more, after an entry       {_took(lambda: warm.outlooks(watched[:1])) * 1000:7.1f} ms")
    lived = season(1, SUMMER, 250)
    first = min(story.formed_to for story in lived.stories)
    mornings = [first + n * DAY for n in range((max(story.emerged_to for story in lived.stories) - first).days + 1)]
    took = _took(lambda: replay(MONARCH, lived.conditions, lived.stories, mornings))
    print(f"  scoring a season of 250 pupae       {took:7.1f} s  = {took / plain:7.0f} x a plain cumulative sum")


def _took(act: Callable[[], object]) -> float:
    began = time.perf_counter()
    act()
    return time.perf_counter() - began


OCCASIONS = ("+1 d", "+3 d", "+5 d", "last look")


class Cell(NamedTuple):
    """Forecasts of one kind: covered by the 80 % interval, median within a day, width and signed error in days.

    best: what ``best`` has of these. A last look is chosen by what came after it, so that no forecast's median is
    unbiased there: only this tells how much of an error could be helped.
    """

    n: int
    covered: float
    within_day: float
    crps_days: float
    width_days: float
    early_days: float
    overdue: float
    best_covered: float
    best_crps_days: float
    best_early_days: float


def cells(seasons: int, pupae: int, first: int, only: str = "") -> dict[str, Cell]:
    """Every cell whose name holds ``only``, by its name."""
    kinds = {
        "summer": SUMMER,
        "summer, fronts": SUMMER._replace(fronts=True),
        "autumn": AUTUMN,
        "autumn, fronts": AUTUMN._replace(fronts=True),
        "summer, silent 14 d": SUMMER._replace(fault="silent"),
        "autumn, silent 14 d": AUTUMN._replace(fault="silent"),
        "summer, stuck 11 d": SUMMER._replace(fault="stuck"),
        "summer, two loggers": SUMMER._replace(fault="two"),
    }
    found: dict[str, Cell] = {}
    for name, kind in kinds.items():
        if only not in name:
            continue
        made: dict[tuple[bool, str], list[tuple[Mark, float, float, bool, Ideal]]] = {}
        for seed in range(first, first + seasons):
            for warm in (False, True):
                for occasion, one in _asked(season(seed, kind, pupae), warm):
                    made.setdefault((warm, occasion), []).append(one)
        for warm in (False, True):
            for occasion in OCCASIONS:
                rows = made.get((warm, occasion), [])
                if rows:
                    found[f"{name}, {'own pupae' if warm else 'none own'}, {occasion}"] = _cell(rows)
        print(f"  … {name}", file=sys.stderr)
    return found


class Ideal(NamedTuple):
    """The best forecast beside what happened."""

    covered: bool
    crps_days: float
    off_days: float


def ideal(drawn: Array, truth: float) -> Ideal:
    """drawn: equally likely instants, sorted; truth: what happened, both in POSIX hours."""
    low, middle, high = np.quantile(drawn, (0.1, 0.5, 0.9))
    n = len(drawn)
    apart = 2 * float(((2 * np.arange(n) - n + 1) * drawn).sum()) / n**2  # mean distance of two of them
    crps = float(np.abs(drawn - truth).mean()) - apart / 2
    return Ideal(bool(low <= truth <= high), crps / 24, (float(middle) - truth) / 24)


def _asked(one: Season, warm: bool) -> Iterator[tuple[str, tuple[Mark, float, float, bool, Ideal]]]:
    """Each pupa's forecasts on the occasions: mark, width and signed error of the median in days, wrongly overdue."""
    lessons: dict[object, object] = {}
    rng = np.random.default_rng(7)
    wanted: dict[datetime, list[tuple[int, str]]] = {}
    for n, story in enumerate(one.stories):
        for days in (1, 3, 5):
            at = next((look for look in story.looks if look >= story.formed_to + (days - 0.3) * DAY), None)
            if at is not None:
                wanted.setdefault(at, []).append((n, f"+{days} d"))
        wanted.setdefault(story.looks[-1], []).append((n, "last look"))
    for moment, asked in wanted.items():
        finished = [story.finished for story in one.stories if warm and story.emerged_to <= moment]
        teller = forecaster(MONARCH, one.conditions, moment, finished, lessons)  # type: ignore[arg-type]
        watched = [w for n, _ in asked if (w := one.stories[n].as_of(moment)) is not None]
        found = teller.distributions(watched)
        for (n, occasion), distribution, known in zip(asked, found, watched, strict=True):
            late = distribution.left < 0.02 and teller.outlooks([known])[0].overdue  # the dear question only then
            made = mark(distribution, one.truths[n], fixed_rule(known, MONARCH, moment), moment)
            low, middle, high = (
                float(distribution.edges[-1]) if at is None else at for at in distribution.quantiles(0.1, 0.5, 0.9)
            )
            truth = one.truths[n].timestamp() / 3600
            could = ideal(best(one, n, moment, warm, rng), truth)
            yield occasion, (made, (high - low) / 24, (middle - truth) / 24, late, could)


def _cell(rows: list[tuple[Mark, float, float, bool, Ideal]]) -> Cell:
    marks = [row[0] for row in rows]
    return Cell(
        len(rows),
        float(np.mean([one.covered for one in marks])),
        float(np.mean([one.error_days <= 1 for one in marks])),
        float(np.mean([one.crps_days for one in marks])),
        float(np.median([row[1] for row in rows])),
        float(np.median([row[2] for row in rows])),
        float(np.mean([row[3] for row in rows])),
        float(np.mean([row[4].covered for row in rows])),
        float(np.mean([row[4].crps_days for row in rows])),
        float(np.median([row[4].off_days for row in rows])),
    )


def print_cells(new: dict[str, Cell], old: dict[str, Cell] | None) -> None:
    """One line a cell, old and new side by side."""
    sides = f"{'':8}new{'':43}best{'':18}old" if old else f"{'':54}best"
    print(
        f"\n{'':46}{sides}\n{'cell':46}"
        + "  ".join([_HEAD, f"{'80 %':>7}{'CRPS':>7}{'off':>7}", *([_HEAD] if old else [])])
    )
    for name, cell in new.items():
        could = f"{cell.best_covered:7.0%}{cell.best_crps_days:7.2f}{cell.best_early_days:+7.2f}"
        before = old.get(name) if old else None
        print(f"{name:46}" + "  ".join([_side(cell), could, *([_side(before)] if before else [])]))


_HEAD = f"{'n':>5}{'80 %':>7}{'<1 d':>7}{'CRPS':>7}{'width':>7}{'off':>7}{'late':>7}"


def _side(cell: Cell) -> str:
    return (
        f"{cell.n:5}{cell.covered:7.0%}{cell.within_day:7.0%}{cell.crps_days:7.2f}{cell.width_days:7.1f}"
        f"{cell.early_days:+7.2f}{cell.overdue:7.1%}"
    )


def _other(folder: str, seasons: int, pupae: int, first: int, only: str) -> dict[str, Cell]:
    """The cells of the package in another folder, reckoned by a process of its own."""
    counts = [f"--seasons={seasons}", f"--pupae={pupae}", f"--first={first}"]
    asked = [sys.executable, __file__, "cells", "--json", *counts, f"--only={only}"]
    told = subprocess.run(asked, env={**os.environ, "PYTHONPATH": folder}, check=True, capture_output=True, text=True)
    return {name: Cell(*values) for name, values in json.loads(told.stdout).items()}


def _number(asked: list[str], name: str, usual: int) -> int:
    return next((int(word.partition("=")[2]) for word in asked if word.startswith(f"--{name}=")), usual)


def main(asked: list[str]) -> None:
    """Print what was asked for, or everything."""
    quick = "--quick" in asked
    parts = [word for word in asked if word in ("summer", "autumn", "speed", "cells")] or ["summer", "autumn", "speed"]
    seasons = 8 if quick else 40
    if "summer" in parts:
        table("Summer, porch and room", lived_through(SUMMER, range(1000, 1000 + seasons), 50, every=4))
    if "autumn" in parts:
        table("Autumn, 5-20 °C, other curves", lived_through(AUTUMN, range(2000, 2000 + seasons // 2), 50, every=1))
    if "cells" in parts:
        counts = (
            _number(asked, "seasons", 4 if quick else 16),
            _number(asked, "pupae", 25 if quick else 40),
            _number(asked, "first", 6000),
        )
        only = next((word.partition("=")[2] for word in asked if word.startswith("--only=")), "")
        new = cells(*counts, only)
        if "--json" in asked:
            print(json.dumps(new))
            return
        against = asked[asked.index("--against") + 1] if "--against" in asked else ""
        print_cells(new, _other(against, *counts, only) if against else None)
    if "speed" in parts:
        speed()


if __name__ == "__main__":
    main(sys.argv[1:])
