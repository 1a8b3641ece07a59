"""The picture of the morning: all that is known now of each pupa and each place, from which one decision comes.

What was worked out elsewhere (forecasts, the record of each place, temperatures) is asked for as ``Known``. For each
pupa there is a ``Choice``: its chance of a bad emergence, whether it is still inside on the coming mornings, and what
it may do. For each place there is a ``PlaceNow``: what hangs and dries there, and how many more it will hold.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from math import inf
from typing import NamedTuple

from pupawatch.care import hang, health, risk, spots
from pupawatch.care.forecast.heat import warmest_day_mean_c
from pupawatch.care.forecast.loggers import Loggers
from pupawatch.care.forecast.records import MORNINGS, Outlook, Temperatures
from pupawatch.care.hang import Hung, Verdict
from pupawatch.care.health import Ailing
from pupawatch.care.plan import Candidate, Goal
from pupawatch.care.risk import Record
from pupawatch.care.survival import Ends
from pupawatch.model.codes import VerdictKind
from pupawatch.model.degrees import shown_degrees
from pupawatch.model.places import hangs_in
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Place, Profile, Settings
from pupawatch.model.state import State
from pupawatch.model.times import coming_mornings, hours_between, start_of_round_day

_IN_DAYS = 24.0
ALWAYS = (1.0,) * (MORNINGS + 1)
NEVER = (False,) * MORNINGS


class Known(NamedTuple):
    """What was worked out elsewhere: the forecasts by pupa id; by place how emergences went, its temperatures, and what
    is to be told of its heat and its loggers; how the keeper's own pupae ended."""

    outlooks: Mapping[str, Outlook] = {}
    records: Mapping[str, Record] = {}
    temperatures: Mapping[str, Temperatures] = {}
    heat: Mapping[str, str] = {}
    loggers: Mapping[str, Loggers] = {}
    ends: Ends = Ends()


class Course(NamedTuple):
    """inside: the chance that it has not emerged, now and on the coming mornings, MORNINGS + 1 numbers. takes: whether
    it takes room on each of the MORNINGS planned, be it its butterfly that dries."""

    inside: tuple[float, ...]
    takes: tuple[bool, ...]


class PlaceNow(NamedTuple):
    """One place this morning.

    living: the pupae that hang there; dries: the butterflies that take room there. room: how many more it holds now
    (None: no limit); rooms: how many more the plan may hang there on each morning if nobody moves, below 0 where it is
    overfull. frees: the pupae that will most likely emerge before tomorrow's round. sick: those of living and dries
    that show signs of disease. mean_c: the warmest day's mean lately or soon, in °C, where it is known.
    """

    place: Place
    living: tuple[Pupa, ...]
    dries: tuple[Pupa, ...]
    room: int | None
    rooms: tuple[int, ...] | None
    frees: tuple[Pupa, ...]
    sick: tuple[Pupa, ...]
    record: Record
    mean_c: float | None

    @property
    def is_full(self) -> bool:
        """Whether nothing more finds room there now."""
        return self.room == 0

    @property
    def has_healthy(self) -> bool:
        """Whether one hangs or dries there that shows no sign of disease."""
        return len(self.living) + len(self.dries) > len(self.sick)


class Choice(NamedTuple):
    """What one pupa may do. candidate: as the plan is asked about it. no_climb: where it hangs cannot be climbed;
    nowhere: it hangs in a poor place, and no good one is known."""

    candidate: Candidate
    no_climb: bool
    nowhere: bool = False

    @property
    def stays(self) -> float:
        """The chance of a bad emergence if it is left as it is."""
        return self.candidate.here


class Offered(NamedTuple):
    """A place to hang a pupa of one kind, and the chance of a bad emergence for it there."""

    there: float
    place: PlaceNow


class Picture(NamedTuple):
    """What all share this morning, and what is known of each.

    mornings: the instants of the MORNINGS planned and of the one after. hung: how each living pupa hangs, by its id.
    in_danger: the ids of those to rescue. moves_left: how many moves the keeper's limit leaves today, rescues aside;
    movers: how many pupae may move at all in the time that is planned. offered: filled as kinds of pupae are asked for.
    """

    now: datetime
    settings: Settings
    known: Known
    mornings: tuple[datetime, ...]
    ailing: Ailing
    hung: Mapping[str, Hung]
    courses: Mapping[str, Course]
    places: Mapping[str, PlaceNow]
    in_danger: frozenset[str]
    moves_left: int
    movers: int
    offered: dict[tuple[str, bool, bool], list[Offered]]

    @classmethod
    def of(cls, state: State, now: datetime, settings: Settings, known: Known) -> "Picture":
        """The picture at ``now``."""
        mornings = tuple(coming_mornings(now, settings.zone, MORNINGS))
        ailing = Ailing.of(state, now, settings)
        here: dict[str, list[Pupa]] = defaultdict(list)
        hung: dict[str, Hung] = {}
        courses: dict[str, Course] = {}
        dries: dict[str, list[Pupa]] = defaultdict(list)
        for pupa in state.pupae.values():
            if pupa.is_living:
                here[pupa.place].append(pupa)
                hung[pupa.id] = hang.hung(pupa, now, settings)
                outlook = None if pupa.id in ailing.sick else known.outlooks.get(pupa.id)
                courses[pupa.id] = _course(pupa, hung[pupa.id], outlook, pupa.id in ailing.sick, mornings, settings)
            elif health.dries(pupa, now, now, settings):
                dries[pupa.place].append(pupa)
        day_began = start_of_round_day(now, settings.zone, settings.care.round_starts_hour)
        left_today = spots.taken_from(state.pupae.values(), day_began)
        names = dict.fromkeys([*(place.name for place in settings.places), *here, *dries])
        places = {
            name: _place_now(
                settings.place(name), here[name], dries[name], left_today[name], mornings, courses, ailing, known,
                settings,
            )
            for name in names
        }  # fmt: skip
        moves_left = max(0, settings.care.risk.moves_per_morning - moves_made(state, day_began))
        danger = frozenset(pupa.id for living in here.values() for pupa in living if pupa.danger)
        limits = moves_left + (MORNINGS - 1) * settings.care.risk.moves_per_morning
        movers = min(len(hung), limits + len(danger))
        return cls(now, settings, known, mornings, ailing, hung, courses, places, danger, moves_left, movers, {})

    @property
    def limits(self) -> list[int]:
        """How many moves may be made on each of the mornings that are planned, rescues aside."""
        return [self.moves_left, *[self.settings.care.risk.moves_per_morning] * (MORNINGS - 1)]

    @property
    def rooms(self) -> dict[str, Sequence[int] | None]:
        """The room in each place on each of the mornings that are planned."""
        return {name: place.rooms for name, place in self.places.items()}

    def place(self, name: str) -> PlaceNow:
        """The place of that name; one where nothing hangs and that nobody described is empty."""
        empty = PlaceNow(self.settings.place(name), (), (), None, None, (), (), risk.NO_RECORD, None)
        return self.places.get(name, empty)

    def outlook(self, pupa: Pupa) -> Outlook | None:
        """When it will emerge; None where nothing is forecast, and for a sick one, which is no pupa like others."""
        return None if pupa.id in self.ailing.sick else self.known.outlooks.get(pupa.id)

    def against(self, place: PlaceNow, profile: Profile, sick: bool) -> list[str]:
        """What speaks against hanging a pupa of this kind there, room aside; empty where it is a goal."""
        faults = []
        if place.place.quarantined:
            faults.append("is in quarantine: nothing goes in or out until it is cleaned")
        if place.place.isolation and not sick:
            faults.append("is an isolation place, for the sick alone")
        if sick and not place.place.isolation:
            faults.append("is not an isolation place")
        if place.sick and not sick:
            faults.append(f"has a sick one ({', '.join(pupa.label for pupa in place.sick)})")
        return [
            *faults,
            *too_warm(place, profile, self.settings),
            *spots.shortfalls(place.place, profile, self.settings),
        ]

    def goals(self, profile: Profile, species: str, cold: bool, sick: bool) -> list[Offered]:
        """The places a pupa of this kind may be hung in to emerge, room aside, the best first, equals in walking order.
        cold: whether it hung in the cold already, and may be hung there again."""
        key = species, cold, sick
        if key not in self.offered:
            found = [
                Offered(risk.of_place(one.place, profile, one.record, self.settings), one)
                for one in (self.places[place.name] for place in self.settings.places if not place.retired)
                if (cold or not _is_cold(one.place, profile)) and not self.against(one, profile, sick)
            ]
            self.offered[key] = sorted(found, key=lambda one: one.there)
        return self.offered[key]


def moves_made(state: State, day_began: datetime) -> int:
    """How many moves were made since the keeper's day began; emergencies are not counted."""
    return sum(
        move.entry.happened >= day_began and not move.entry.emergency
        for pupa in state.pupae.values()
        for move in pupa.relocations
    )


def too_warm(place: PlaceNow, profile: Profile, settings: Settings) -> list[str]:
    """That pupae of this species would hang too warm there, in words: by what it is usually kept at, or by the mean of
    a day. One afternoon's peak alone decides nothing."""
    limit, usual = profile.heat.heat_warning_c, place.place.temperature_c
    for celsius, words in ((usual, "is usually kept at"), (place.mean_c, "has a daily mean of")):
        if celsius is not None and celsius >= limit:
            return [f"{words} {shown_degrees(celsius, settings.unit)}: too warm"]
    return []


def choose(pupa: Pupa, hung: Hung, verdict: Verdict, unsafe: list[str], picture: Picture) -> Choice:
    """What this pupa may do on the coming mornings, within the move rule.

    A pupa in danger may go anywhere better today, and one that fell back to where it hung. A firm one may go where the
    chance falls by more than ``risk.worth_moving``; one not firm yet only if its place is unsafe, and a darkening one
    only then and only today; any other stays. A healthy one goes to no place where a sick one hangs, a sick one to an
    isolation place alone. Nothing is moved out of quarantine, nor from warmth into the cold, where it would harden
    slowly.
    """
    settings = picture.settings
    course = picture.courses.get(pupa.id, Course(ALWAYS, (True,) * MORNINGS))
    place = hangs_in(pupa, settings)
    still = Candidate(0.0, (), (0.0,) * (MORNINGS + 1), course.inside, NEVER, course.takes, place.name)
    if verdict.kind == "none":
        return Choice(still, no_climb=False)
    profile, rules = settings.profile(pupa.species), settings.care.risk
    now = picture.place(place.name)
    here = risk.of_place(place, profile, now.record, settings)
    rescue, sick = verdict.kind == "rescue", pupa.id in picture.ailing.sick
    stays = risk.any_of(here, rules.danger) if pupa.danger else here
    if sick and now.has_healthy:
        stays = risk.any_of(stays, rules.beside_sick)
    no_climb = not settings.climbable(place)
    still = still._replace(here=stays)
    kinds = _kinds(pupa, verdict, picture)
    movable = [_may_move(kind, bool(unsafe), morning) for morning, kind in enumerate(kinds)]
    movable += [False] * (MORNINGS - len(movable))
    if not any(movable):
        return Choice(still, no_climb)
    # One that may be moved today alone has no gentler day to wait for.
    instants = picture.mornings if any(movable[1:]) else picture.mornings[:1] * len(picture.mornings)
    hours = [hung.time.at_least + hours_between(picture.now, at) for at in instants]
    handling = tuple(risk.of_handling(at_least, hung.stage, hung.limits, rules) for at_least in hours)
    worth = 0.0 if rescue or sick else rules.worth_moving
    open_to = (
        []
        if place.quarantined or (place.isolation and not sick and not rescue)
        else picture.goals(profile, pupa.species, hung.limits.cold, sick)
    )
    if sick and picture.ailing.is_taken_out(pupa, settings):
        open_to = []
    least = min(chance for chance, may in zip(handling, movable, strict=False) if may)
    goals = list(
        _worth_it((one for one in open_to if one.place.place.name != place.name), least, stays - worth, picture)
    )
    if pupa.danger == "fallen" and not unsafe:  # its own room is still there
        goals = sorted([Goal(place.name, here), *goals], key=lambda goal: goal.there)
    nowhere = bool(unsafe) and not goals and not picture.goals(profile, pupa.species, True, sick)
    # What threatens one in danger does not wait for another morning: left there, all of its chance is spent today.
    inside = (1.0, *(0.0,) * MORNINGS) if rescue else course.inside
    candidate = still._replace(
        goals=goals, handling=handling, inside=inside, movable=movable, limited=not rescue, worth=worth
    )
    return Choice(candidate, no_climb, nowhere)


def _kinds(pupa: Pupa, verdict: Verdict, picture: Picture) -> list[VerdictKind]:
    """What the move rule says of it on each of the mornings, if it looks then as it does now."""
    kinds = [verdict.kind]
    if verdict.kind in ("wait", "care", "free"):
        later = picture.mornings[1:MORNINGS]
        kinds += [hang.judge(pupa, at, picture.settings, picture.now).kind for at in later]
    return kinds


def _may_move(kind: VerdictKind, unsafe: bool, morning: int) -> bool:
    if kind == "free":
        return True
    if kind == "care":
        return unsafe
    return morning == 0 and (kind == "rescue" or (kind == "soon" and unsafe))


def _worth_it(offered: Iterator[Offered], handling: float, worth: float, picture: Picture) -> Iterator[Goal]:
    """Those that are worth a move, the best first, and no more of them than can matter.

    As many as may be moved at all cannot fill more: one of these has room for this pupa on every morning whatever the
    others do, so that no best plan needs a place behind them.
    """
    room = 0.0
    for there, spot in offered:
        if risk.any_of(there, handling) >= worth or room > picture.movers:
            return
        yield Goal(spot.place.name, there)
        room += inf if spot.rooms is None else max(0, min(spot.rooms))


def _course(
    pupa: Pupa, hung: Hung, outlook: Outlook | None, sick: bool, mornings: Sequence[datetime], settings: Settings
) -> Course:
    """Whether it is still inside on the coming mornings, by its forecast; where there is none, by the usual course of
    its species. Of a sick one nothing is expected."""
    if sick or hung.formed_by is None:
        return Course(ALWAYS, (True,) * MORNINGS)
    rules, profile = settings.care.risk, settings.profile(pupa.species)
    if outlook is not None:
        inside, present = outlook.inside, outlook.present
    else:
        inside = present = _usual_course(pupa, hung, mornings, profile)
    # What hangs there by the journal takes room today, whatever the forecast says: it is looked at first.
    return Course(inside, (True, *(chance >= rules.takes_room for chance in present[1:MORNINGS])))


def _usual_course(pupa: Pupa, hung: Hung, mornings: Sequence[datetime], profile: Profile) -> tuple[float, ...]:
    """The chances to be inside that fall in a straight line over the usual time of its stage."""
    first = next((seen.happened for seen in pupa.sightings if seen.code == hung.stage), None)
    if hung.stage == "darkening" and first is not None:
        low, high, age = profile.darkening_hours_low, profile.darkening_hours_high, hours_between(first, mornings[0])
    elif hung.stage == "clear" and first is not None:
        low, high, age = 0.0, profile.clear_hours, hours_between(first, mornings[0])
    else:
        low, high = (_IN_DAYS * days for days in (profile.pupal_days_low, profile.pupal_days_high))
        age = hung.time.at_least

    def falls(hours: float) -> float:
        return min(1.0, max(0.0, (high - hours) / max(high - low, 1.0)))

    now = falls(age)
    return (1.0, *(falls(age + hours_between(mornings[0], at)) / now if now else 0.0 for at in mornings[1:]))


def _place_now(
    place: Place,
    living: Sequence[Pupa],
    dries: Sequence[Pupa],
    left_today: int,
    mornings: Sequence[datetime],
    courses: Mapping[str, Course],
    ailing: Ailing,
    known: Known,
    settings: Settings,
) -> PlaceNow:
    most = spots.capacity(place, settings)
    sick = tuple(pupa for pupa in (*living, *dries) if pupa.id in ailing.sick)
    frees = tuple(
        pupa
        for pupa in living
        if pupa.stage_seen == "clear" or courses[pupa.id].inside[1] < settings.care.risk.takes_room
    )
    told = known.temperatures.get(place.name)
    mean_c = None if told is None else warmest_day_mean_c(told, mornings[0], settings.zone)
    room, rooms = None, None
    if most is not None:
        now = mornings[0]
        bodies = [
            sum(courses[pupa.id].takes[n] for pupa in living)
            + sum(health.dries(pupa, at, now, settings) for pupa in dries)
            for n, at in enumerate(mornings[:MORNINGS])
        ]
        room = max(0, most - len(living) - len(dries))
        # A place that a pupa was moved out of today rests until tomorrow: it is looked over and dry before another
        # hangs there (common practice), and so a plan that was carried out leaves nothing new to plan.
        rooms = (most - bodies[0] - left_today, *(most - number for number in bodies[1:]))
    record = risk.record_of(place.name, known.records)
    return PlaceNow(place, tuple(living), tuple(dries), room, rooms, frees, sick, record, mean_c)


def _is_cold(place: Place, profile: Profile) -> bool:
    return place.temperature_c is not None and place.temperature_c < profile.cold_below_c
