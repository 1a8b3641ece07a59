"""Is the plan worth following? Simulated seasons in which the same keeper follows different advice. Asserts nothing.

    python -m tests.bench.seasons [--seasons 200] [--later 0.75 …]

Each season is lived through once for each way to decide: by nothing; the best free place in order of label; a paper
rule (from 24 hours on, the darkest first); the first version's plan (today alone, the whole shelf at once); and this
plan (three mornings, forecasts). Then the two plans once more with the climbing aids they propose. The seasons are
paired: the same pupae with the same luck pupate at the same time and place and would emerge at the same hour, whoever
decides. Printed are bad emergences (deformed, or lost to the place or the hand), losses, moves and minutes of work, and
the differences from this plan with their 95 % intervals.

The simulator's risks are its own, drawn anew for every season from the ranges named below and differing from pupa to
pupa; the program reckons with its shipped numbers, and learns from what the keeper records. None of its numbers but
``later`` was chosen by these seasons. Every number of the simulator is invented: it says how plans compare in such
seasons, not how many butterflies anybody will raise.
"""

import argparse
import random
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from math import exp
from pathlib import Path
from typing import Any, NamedTuple

import msgspec
import numpy as np

from pupawatch import settings as files
from pupawatch.care import forecast, risk, spots
from pupawatch.care.forecast import Conditions, DayRange, Temperatures
from pupawatch.care.forecast.pupae import finished, watched
from pupawatch.care.forecast.sun import Sky
from pupawatch.care.picture import Known
from pupawatch.care.plan import Candidate, best_moves
from pupawatch.care.proposals import decided
from pupawatch.care.round import Round, Standing, walk
from pupawatch.model import entries as kinds
from pupawatch.model.settings import Place, Settings
from pupawatch.model.state import State

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
FIRST = datetime(2026, 6, 1, tzinfo=UTC)
ZONE, ROUND_AT = "America/Chicago", 11.67  # 06:40 local time, in hours UTC
SKY = Sky(ZONE, 41.0, -93.0)
SHIPPED = files.load(Path("no-such-folder"))
MONARCH = SHIPPED.species["monarch"]
DAYS_AT_22 = 12.2  # the constant-temperature experiment of 2019

# What a season is drawn from: chances of a bad emergence by the kind of place; with a climbing aid; by the hand.
POOR = {"glass": (0.3, 0.7), "plastic": (0.3, 0.7), "leaf": (0.2, 0.6), "cut-stem": (0.15, 0.55)}
GOOD = {"mesh": (0.03, 0.14), "chamber": (0.02, 0.1), "line": (0.03, 0.14)}
AIDED = (0.05, 0.25)
HAND = {"not firm": (0.04, 0.16), "firm": (0.005, 0.05), "darkening": (0.02, 0.12)}
CLUMSY = (0.0, 0.04)  # dropped while it is moved, whatever its stage
ABSENT = (0.0, 0.3)  # of the mornings
LOST_OF_BAD = 0.2
# Minutes: a guess at what a keeper needs.
LOOK_MINUTES, MOVE_MINUTES, AID_MINUTES = 0.2, 4.0, 1.5


@dataclass
class Fated:
    """One pupa as it truly is: when it pupates and would emerge, how far ahead it darkens and clears, and its luck."""

    label: str
    site: str
    formed: datetime
    out: datetime
    dark: datetime
    clear: datetime
    tenderness: float
    luck: float
    hand_luck: list[float]
    lost_luck: float


class Season(NamedTuple):
    """What is the same whoever decides."""

    settings: Settings
    pupae: list[Fated]
    mornings: list[datetime]
    absent: set[int]
    days: list[DayRange]
    risks: dict[str, float]
    aided: float
    hand: dict[str, float]


class Result(NamedTuple):
    """How one season went: the counts that are compared."""

    bad: float
    lost: float
    moves: float
    minutes: float


def season(seed: int) -> Season:
    """A season of one keeper."""
    chance = random.Random(seed)
    kinds_of_poor = chance.sample(list(POOR), 3)
    places = [Place(name=f"Poor {kind}", surface=kind, clearance_cm=30) for kind in kinds_of_poor]
    for kind, most in (("mesh", 8), ("chamber", 4), ("line", 5)):
        if kind == "mesh" or chance.random() < 0.8:
            places.append(Place(name=f"Good {kind}", surface=kind, capacity=chance.randint(1, most), clearance_cm=30))
    risks = {place.name: chance.uniform(*(POOR | GOOD)[place.surface]) for place in places}
    last = chance.randint(16, 30)
    hours, celsius, days = _weather(chance, last + 40)
    base, need = chance.gauss(12, 1), DAYS_AT_22 * exp(chance.gauss(0, 0.08))
    grown = np.cumsum(np.maximum(celsius - base, 0)) / (22 - base) / 24
    pupae = []
    for number in range(chance.randint(30, 80)):
        formed = chance.uniform(2, last) * 24
        ready = float(np.interp(np.interp(formed, hours, grown) + need * exp(chance.gauss(0, 0.05)), grown, hours))
        out = _gate(chance, ready)
        good = [place.name for place in places if place.capacity]
        site = chance.choice(good) if chance.random() < 0.2 else f"Poor {chance.choice(kinds_of_poor)}"
        pupae.append(
            Fated(
                f"P{number:02}", site, _at(formed), _at(out), _at(out - chance.uniform(18, 60)),
                _at(out - chance.uniform(6, 20)), exp(chance.gauss(0, 0.4)), chance.random(),
                [chance.random() for _ in range(12)], chance.random(),
            )
        )  # fmt: skip
    chance.shuffle(pupae)  # labels follow no age
    for number, pupa in enumerate(pupae):
        pupa.label = f"P{number:02}"
    mornings = [FIRST + day * DAY + ROUND_AT * HOUR for day in range(1, last + 36)]
    rate = chance.uniform(*ABSENT)
    absent = {day for day in range(len(mornings)) if chance.random() < rate}
    hand = {kind: chance.uniform(*told) for kind, told in HAND.items()} | {"clumsy": chance.uniform(*CLUMSY)}
    settings = msgspec.structs.replace(SHIPPED, zone=ZONE, places=places)
    return Season(settings, pupae, mornings, absent, days, risks, chance.uniform(*AIDED), hand)


def _weather(chance: random.Random, days: int) -> tuple[np.ndarray, np.ndarray, list[DayRange]]:
    """The hours of a season, their temperatures indoors, and what a thermometer shows of each day."""
    mean, spell = chance.uniform(19.5, 25), 0.0
    hours, celsius, told = np.arange(days * 24, dtype=float), [], []
    for day in range(days):
        spell = 0.7 * spell + chance.gauss(0, 1.0)
        swing = chance.uniform(1.5, 4)
        celsius += [mean + spell + swing * np.cos((hour - 20) / 24 * 2 * np.pi) for hour in range(24)]
        told.append(DayRange((FIRST + day * DAY).date(), mean + spell - swing, mean + spell + swing))
    return hours, np.array(celsius), told


def _gate(chance: random.Random, ready: float) -> float:
    """The hour at which it comes out: in the morning after it was ready, mostly."""
    if chance.random() < 0.05:
        return ready + chance.uniform(0, 10)
    opens = 11.0 + 24 * np.floor((ready - 11.0) / 24)  # dawn, in hours UTC
    if ready > opens + 4:
        opens += 24
    return float(max(ready, opens) + chance.uniform(0.2, 3))


def _at(hours: float) -> datetime:
    return FIRST + hours * HOUR


# -- one season lived through


@dataclass
class Shelf:
    """What the keeper has recorded, and what truly became of each."""

    season: Season
    aids: bool
    state: State = field(default_factory=State)
    number: int = 0
    now: datetime = FIRST
    spoilt: set[str] = field(default_factory=set)
    aided: set[str] = field(default_factory=set)
    handled: dict[str, int] = field(default_factory=dict)
    bad: int = 0
    lost: int = 0
    moves: int = 0
    minutes: float = 0.0
    lessons: dict[Any, Any] = field(default_factory=dict)
    ended: list[str] = field(default_factory=list)

    def tell(self, kind: Any, pupa: str, at: datetime, since: datetime | None = None, **fields: object) -> None:
        self.number += 1
        name = f"{self.number:09}"
        self.state.add(
            [kind(id=name, act=name, happened=at, since=since, recorded=self.now, zone=ZONE, pupa=pupa, **fields)]
        )

    def bodies(self, place: str) -> int:
        """How many hang there, and how many butterflies dry there."""
        return sum(pupa.place == place and (pupa.is_living or pupa.is_adult) for pupa in self.state.pupae.values())

    def has_room(self, place: str) -> bool:
        most = spots.capacity(self.season.settings.place(place), self.season.settings)
        return most is None or self.bodies(place) < most

    def move(self, label: str, to: str) -> bool:
        """Hang it elsewhere, if there truly is room; the hand may spoil it."""
        pupa = self.state.pupae[label]
        if not self.has_room(to) or pupa.place == to:
            return False
        true = next(one for one in self.season.pupae if one.label == label)
        hung = (self.now - true.formed) / HOUR
        stage = "darkening" if self.now >= true.dark else "firm" if hung >= 48 else "not firm"
        chance = 1 - (1 - self.season.hand[stage]) * (1 - self.season.hand["clumsy"])
        turn = self.handled.get(label, 0)
        self.handled[label] = turn + 1
        if true.hand_luck[min(turn, len(true.hand_luck) - 1)] < min(0.9, chance * true.tenderness):
            self.spoilt.add(label)
        self.tell(kinds.Moved, label, self.now, to=to, method="silk", advice="free")
        self.aided.discard(label)
        self.moves += 1
        self.minutes += MOVE_MINUTES
        return True

    def aid(self, label: str) -> None:
        if self.aids and label not in self.aided:
            self.aided.add(label)
            self.tell(kinds.Climb, label, self.now)
            self.minutes += AID_MINUTES

    def emerge(self, true: Fated, at: datetime, since: datetime | None) -> None:
        """It comes out where it hangs; the keeper finds it at the next round and judges its wings."""
        place = self.state.pupae[true.label].place
        chance = min(0.95, self.season.risks[place] * true.tenderness)
        if true.label in self.aided:
            chance = min(chance, self.season.aided * true.tenderness)
        is_bad = true.luck < chance or true.label in self.spoilt
        self.bad += is_bad
        self.ended.append(true.label)
        if is_bad and true.lost_luck < LOST_OF_BAD:
            self.lost += 1
            self.tell(kinds.Lost, true.label, at, since, cause="fall")
            return
        self.tell(kinds.Emerged, true.label, at, since)
        self.tell(kinds.Wings, true.label, at + 0.01 * HOUR, condition="crumpled" if is_bad else "sound")

    def known(self) -> Known:
        """What the program knows this morning: forecasts, records and temperatures, as its keeper layer brings them."""
        pupae = self.state.pupae
        told = [day for day in self.season.days if day.day < self.now.date()]
        of_place = Temperatures(days=told)
        temperatures = {place.name: of_place for place in self.season.settings.places}
        taught = [one for label in self.ended if (one := finished(pupae[label], self.state.looks)) is not None]
        maker = forecast.forecaster(MONARCH, Conditions(SKY, temperatures), self.now, taught[-60:], self.lessons)
        seen = {pupa.id: watched(pupa, self.state.looks, self.now) for pupa in self.state.open_pupae()}
        asked = {label: one for label, one in seen.items() if one is not None}
        outlooks = dict(zip(asked, maker.outlooks(list(asked.values())), strict=True)) if asked else {}
        return Known(outlooks, self.records(), temperatures)

    def records(self) -> dict[str, risk.Record]:
        return risk.records([self.state.pupae[label] for label in self.ended], self.season.settings)


Decide = Callable[[Shelf], None]


def live(told: Season, decide: Decide, aids: bool) -> Result:
    """One season, every present morning of which is decided by ``decide``."""
    shelf = Shelf(told, aids)
    hanging: set[str] = set()
    out: set[str] = set()
    last_round: datetime | None = None
    for day, now in enumerate(told.mornings):
        if day in told.absent:
            continue
        shelf.now = now
        for true in told.pupae:
            if true.formed <= now and true.label not in hanging and true.out > now:
                hanging.add(true.label)
                shelf.tell(
                    kinds.Found, true.label, now, last_round, label=true.label, species="monarch", place=true.site
                )
            elif true.formed <= now and true.label not in hanging:  # out before anybody had seen it
                hanging.add(true.label)
                shelf.tell(
                    kinds.Found, true.label, now - 2 * HOUR, label=true.label, species="monarch", place=true.site
                )
            if true.label not in hanging or true.label in out:
                continue
            if true.out <= now:
                out.add(true.label)
                shelf.emerge(true, now, last_round)
            elif true.clear <= now and shelf.state.pupae[true.label].stage_seen != "clear":
                shelf.tell(kinds.Seen, true.label, now, stage="clear")
            elif true.dark <= now and not shelf.state.pupae[true.label].stage_seen:
                shelf.tell(kinds.Seen, true.label, now, stage="darkening")
        for pupa in list(shelf.state.pupae.values()):
            if pupa.is_adult and pupa.emerged is not None and now - pupa.emerged.happened >= 0.9 * DAY:
                shelf.tell(kinds.Released, pupa.id, now)
        shelf.minutes += LOOK_MINUTES * sum(pupa.is_living for pupa in shelf.state.pupae.values())
        decide(shelf)
        last_round = now
    return Result(shelf.bad, shelf.lost, shelf.moves, shelf.minutes)


# -- the ways to decide


def by_nothing(_: Shelf) -> None:
    """Leave all where they are."""


def _in_need(shelf: Shelf) -> Iterator[Standing]:
    """Those in a poor place that the move rule lets go, clear ones aside."""
    morning = walk(shelf.state, shelf.now, shelf.season.settings)
    return (one for one in morning.standings if one.unsafe and one.verdict.kind in ("care", "free", "soon"))


def _to_the_best_free(shelf: Shelf, standings: list[Standing]) -> None:
    """One after the other to the place that promises best, as far as there is room and time before breakfast."""
    settings = shelf.season.settings
    good = [place for place in settings.places if settings.climbable(place)]
    good.sort(key=lambda place: risk.expected_of(place, MONARCH, settings))
    left = settings.care.risk.moves_per_morning
    for standing in standings:
        goal = next((place.name for place in good if shelf.has_room(place.name)), None)
        if goal is None or not left:
            return
        left -= shelf.move(standing.pupa.id, goal)


def by_label(shelf: Shelf) -> None:
    """The best free place, in order of label."""
    _to_the_best_free(shelf, sorted(_in_need(shelf), key=lambda one: one.pupa.label))


def by_paper(shelf: Shelf) -> None:
    """From 24 hours on, the darkest first, then the one that hangs longest."""
    _to_the_best_free(shelf, sorted(_in_need(shelf), key=lambda one: (one.stage != "darkening", -one.hang.at_least)))


def by_first_plan(shelf: Shelf) -> None:
    """The whole shelf at once, for today alone: no forecast, no drying butterfly, and what darkens counts double."""
    settings = shelf.season.settings
    morning = walk(shelf.state, shelf.now, settings, Known(records=shelf.records()))
    rooms: dict[str, list[int] | None] = {}
    living = shelf.state.living_by_place()
    for place in settings.places:
        most = spots.capacity(place, settings)
        rooms[place.name] = None if most is None else [max(0, most - living[place.name])]
    standings = morning.standings
    steps = best_moves([_of_today(one) for one in standings], rooms, [settings.care.risk.moves_per_morning], 0.0)
    for standing, step in zip(standings, steps, strict=True):
        if step is not None:
            shelf.move(standing.pupa.id, step.place)
        elif standing.choice.no_climb and standing.stage in ("darkening", "clear"):
            shelf.aid(standing.pupa.id)


def _of_today(standing: Standing) -> Candidate:
    one = standing.choice.candidate
    here = one.here + (1.0 if standing.verdict.kind == "soon" else 0.0)
    now = [one.movable[0]]
    return one._replace(here=here, handling=one.handling[:1] * 2, inside=(1.0, 1.0), movable=now, takes=(True,))


def by_this_plan(shelf: Shelf) -> None:
    """What is proposed this morning."""
    morning: Round = decided(walk(shelf.state, shelf.now, shelf.season.settings, shelf.known()))
    assert morning.plan is not None
    for one in morning.plan.proposals:
        if one.kind == "climb":
            shelf.aid(one.standing.pupa.id)
        elif one.place:
            shelf.move(one.standing.pupa.id, one.place)


WAYS: dict[str, tuple[Decide, bool]] = {
    "nothing": (by_nothing, False),
    "best free place, by label": (by_label, False),
    "paper rule, darkest first": (by_paper, False),
    "first version's plan": (by_first_plan, False),
    "this plan": (by_this_plan, False),
    "first version's, with aids": (by_first_plan, True),
    "this plan, with aids": (by_this_plan, True),
}


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seasons", type=int, default=200)
    parser.add_argument("--later", type=float, nargs="*", default=[], help="also this plan with other values of later")
    options = parser.parse_args()
    began = time.perf_counter()
    results: dict[str, list[Result]] = {way: [] for way in WAYS} | {
        f"this plan, later {x:g}": [] for x in options.later
    }
    pupae = 0
    for seed in range(options.seasons):
        told = season(seed)
        pupae += len(told.pupae)
        for way, (decide, aids) in WAYS.items():
            results[way].append(live(told, decide, aids))
        for later in options.later:
            results[f"this plan, later {later:g}"].append(live(_with_later(told, later), by_this_plan, False))
        if sys.stderr.isatty():
            print(f"\r{seed + 1} of {options.seasons}", end="", file=sys.stderr)
    print(f"{options.seasons} seasons, {pupae / options.seasons:.0f} pupae each; means a season")
    report(results)
    print(f"({time.perf_counter() - began:.0f} s)")


def _with_later(told: Season, later: float) -> Season:
    rules = msgspec.structs.replace(told.settings.care.risk, later=later)
    care = msgspec.structs.replace(told.settings.care, risk=rules)
    return told._replace(settings=msgspec.structs.replace(told.settings, care=care))


def report(results: dict[str, list[Result]]) -> None:
    print(f"{'':<28} {'bad':>7} {'lost':>6} {'moves':>7} {'minutes':>8}   bad emergences more than this plan (95 %)")
    ours = {False: results["this plan"], True: results["this plan, with aids"]}
    for way, some in results.items():
        bad, lost, moves, minutes = (statistics.fmean(column) for column in zip(*some, strict=True))
        against = ours["with aids" in way]
        told = "" if some is against else difference([a.bad - b.bad for a, b in zip(some, against, strict=True)])
        print(f"{way:<28} {bad:7.2f} {lost:6.2f} {moves:7.1f} {minutes:8.0f}   {told}")
    for name, pick in (("moves", 2), ("minutes", 3), ("losses", 1)):
        pairs = [("paper rule, darkest first", "this plan"), ("first version's plan", "this plan")]
        for other, mine in pairs:
            gap = [a[pick] - b[pick] for a, b in zip(results[other], results[mine], strict=True)]
            print(f"{name}: {other} minus this plan: {difference(gap)}")


def difference(gaps: list[float]) -> str:
    """The mean of paired differences with its 95 % interval (t)."""
    from scipy.stats import t

    mean = statistics.fmean(gaps)
    if len(gaps) < 2:
        return f"{mean:+.2f}"
    reach = float(t.ppf(0.975, len(gaps) - 1)) * statistics.stdev(gaps) / len(gaps) ** 0.5
    return f"{mean:+.2f} ({mean - reach:+.2f} to {mean + reach:+.2f})"


if __name__ == "__main__":
    main()
