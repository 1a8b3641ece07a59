"""The round: what stands before the keeper this morning, pupa by pupa and place by place."""

from collections import Counter
from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple

from pupawatch.care import hang, health, prepupae, spots, survival
from pupawatch.care.forecast.records import Outlook
from pupawatch.care.hang import HangTime, Verdict
from pupawatch.care.picture import Choice, Known, Picture, PlaceNow, choose
from pupawatch.care.plan import Step
from pupawatch.care.rescue import at_once, wants_a_look
from pupawatch.model.codes import DARK, LEFT, PROPOSED, VERDICTS, Flag, HungStage, Left, Proposed, among
from pupawatch.model.places import hangs_in
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Method, Place, Settings
from pupawatch.model.state import State
from pupawatch.model.times import hours_between, start_of_round_day

_REMINDED_HOURS = 72
NOTHING_KNOWN = Known()


class Suggestion(NamedTuple):
    """Where the plan hangs a pupa this morning, with the reason in one line."""

    place: str
    why: str


class Proposal(NamedTuple):
    """What to do about one pupa this morning, or (kind in LEFT) why nothing.

    place: where to hang it, "" where it stays or no place is free; method: of the care rules, "" where nothing is
    done. stays, moved: the chance of a bad emergence if nothing is done, and if this is done. later: where the plan
    moves it on a coming morning. toss_up: a move that the risk numbers, within what they leave open, would not make.
    """

    standing: "Standing"
    kind: Proposed | Left
    why: str
    stays: float
    moved: float
    place: str = ""
    method: str = ""
    later: Step | None = None
    toss_up: bool = False

    @property
    def is_left(self) -> bool:
        """Whether it is best left where it is."""
        return among(self.kind, LEFT) is not None


class Plan(NamedTuple):
    """The plan of a morning. moves_left: what the keeper's limit leaves, rescues aside. saved_low, saved_high: between
    which numbers, with a chance of four in five, the bad emergences that it saves lie."""

    now: datetime
    proposals: list[Proposal]
    left: list[Proposal]
    moves_left: int
    saved_low: float
    saved_high: float

    @property
    def risk_now(self) -> float:
        """How many bad emergences are expected if nothing is done."""
        return sum(one.stays for one in (*self.proposals, *self.left))

    @property
    def risk_planned(self) -> float:
        """How many bad emergences are expected if what is proposed for this morning is carried out."""
        return sum(one.moved for one in (*self.proposals, *self.left))

    @property
    def tomorrow(self) -> list[Proposal]:
        """Those that the plan moves on the next morning."""
        return [one for one in self.left if one.later is not None and one.later.morning == 1]


RATHER_DEAD = 0.5
"""Below this chance to live a pupa is looked at for signs of death; reasoned."""


class Standing(NamedTuple):
    """One pupa this morning. unsafe: what speaks against emerging where it hangs; flags: what conflicts, or asks to
    be looked at. outlook: when it will emerge, where that is forecast. choice: what it may do. decision: what the plan
    of the whole shelf says of it, None where it was not made (yet). first_steps: what to do at once for each thing that
    threatens it or its place now. pupates_by: by when a prepupa is expected to be a pupa. alive: the chance that it
    lives and will emerge.
    """

    pupa: Pupa
    stage: HungStage
    hang: HangTime
    verdict: Verdict
    unsafe: list[str]
    flags: list[Flag]
    outlook: Outlook | None
    choice: Choice
    decision: Proposal | None = None
    first_steps: tuple[Method, ...] = ()
    pupates_by: datetime | None = None
    alive: float = 1.0

    @property
    def suggestion(self) -> Suggestion | None:
        """Where it is to be hung this morning, None where it stays."""
        one = self.decision
        return Suggestion(one.place, one.why) if one is not None and not one.is_left and one.place else None

    @property
    def is_sick(self) -> bool:
        """Whether it shows signs that ask to hang nothing healthy beside it."""
        return "sick" in self.flags

    @property
    def ways(self) -> tuple[Method, ...]:
        """The steps to show for what threatens it: to bring it to safety, or to protect it where it hangs."""
        return self.first_steps if self.verdict.kind == "rescue" else self.protection

    @property
    def protection(self) -> tuple[Method, ...]:
        """How to protect it where it hangs: where something threatens it there, and it is not moved this morning."""
        one = self.decision
        moves = self.verdict.kind in ("soon", "care", "free") if one is None else not one.is_left and bool(one.place)
        return () if moves or self.verdict.kind == "rescue" else self.first_steps

    @property
    def wants_aid(self) -> bool:
        """Whether a climbing aid is to be brought to it."""
        if self.decision is not None:
            return self.decision.kind == "climb"
        return self.choice.no_climb and self.verdict.kind in ("leave", "soon")

    @property
    def look_again(self) -> bool:
        """Whether it was rescued, and nobody has seen yet whether it holds."""
        return wants_a_look(self.pupa)

    @property
    def needs_something(self) -> bool:
        """Whether the keeper has anything to do about it this morning, be it only to watch."""
        watched = self.verdict.kind in ("rescue", "leave", "soon", "none")
        if self.decision is None:  # worth a look, until it is decided where to
            proposed = bool(self.unsafe and self.choice.candidate.goals)
        else:
            proposed = not self.decision.is_left
        doubt = self.is_stranded or self.is_doubtful
        return watched or proposed or self.look_again or self.is_sick or bool(self.protection) or doubt

    @property
    def is_doubtful(self) -> bool:
        """Whether it is rather dead than alive, by how late it is."""
        return self.pupa.is_open and self.alive < RATHER_DEAD

    @property
    def is_stranded(self) -> bool:
        """Whether it may be moved, hangs where no adult can emerge well, and no place is open to it on any morning."""
        one = self.decision
        if one is None or not self.unsafe or self.verdict.kind not in ("soon", "care", "free"):
            return False
        return one.is_left and one.later is None and not (one.kind == "later" and self.choice.candidate.goals)

    @property
    def urgency(self) -> tuple[int, int, bool]:
        """Sorts the most urgent first."""
        order = len(PROPOSED) if self.decision is None or self.decision.is_left else PROPOSED.index(self.decision.kind)
        return VERDICTS.index(self.verdict.kind), order, not self.is_sick


class Stretch(NamedTuple):
    """One place on the round, with the pupae that hang there; looked None: never. heat: the warning where it was, or
    will be, hot enough to spoil wings, "" elsewhere. picture: what hangs and dries there, and the room to come."""

    place: Place
    standings: list[Standing]
    looked: datetime | None
    walked: bool
    picture: PlaceNow
    heat: str = ""

    @property
    def room(self) -> int | None:
        """How many more pupae find room there now; None: no limit."""
        return self.picture.room


class Round(NamedTuple):
    """The whole morning: the places in walking order, and the adults whose wings should be judged by now. plan: what is
    decided for the whole shelf, None where that was not worked out (yet); see ``care.proposals``."""

    now: datetime
    stretches: list[Stretch]
    to_judge: list[Pupa]
    picture: Picture
    plan: Plan | None = None

    @property
    def standings(self) -> list[Standing]:
        """Every pupa in care, in walking order."""
        return [standing for stretch in self.stretches for standing in stretch.standings]

    @property
    def first(self) -> list[Standing]:
        """What cannot wait until its place is reached: the fallen, the clear that have no climb, and the empty, whose
        butterfly may have soft wings somewhere."""
        kinds = ("rescue", "none")
        urgent = [s for s in self.standings if s.verdict.kind in kinds or (s.verdict.kind == "leave" and s.unsafe)]
        return sorted(urgent, key=lambda standing: standing.urgency)

    @property
    def to_visit(self) -> list[Place]:
        """The places not yet looked over since the keeper's day began."""
        return [stretch.place for stretch in self.stretches if not stretch.walked]


def standing(pupa: Pupa, picture: Picture, labels: Mapping[str, int]) -> Standing:
    """What is to be known about one pupa. labels: how many pupae carry each label."""
    settings = picture.settings
    hung = picture.hung.get(pupa.id) or hang.hung(pupa, picture.now, settings)
    verdict = hang.judged(pupa, hung, picture.now, settings)
    unsafe, steps = [], []
    if pupa.is_living:
        place = hangs_in(pupa, settings)
        unsafe = spots.shortfalls(place, settings.profile(pupa.species), settings)
        steps = at_once(pupa, hung.stage, place, settings)
    choice = choose(pupa, hung, verdict, unsafe, picture)
    flags = _flags(pupa, picture, labels)
    told = Standing(pupa, hung.stage, hung.time, verdict, unsafe, flags, picture.outlook(pupa), choice)
    by = prepupae.expected_by(pupa, settings)
    return told._replace(first_steps=tuple(steps), pupates_by=by, alive=_alive(told, picture))


def _alive(told: Standing, picture: Picture) -> float:
    """By how the keeper's own ended, and by how late it is: one that may be resting is the less likely dead by the odds
    that it rests (``Outlook.time_left`` holds them). By the calendar alone its warmth is not known, so that only a
    dark one, or one that hangs longer than any did, is late."""
    settings, outlook = picture.settings, told.outlook
    alive = survival.chance(told.hang.at_least, picture.known.ends, settings.care.risk)
    if outlook is None or (outlook.basis == "calendar" and not outlook.overdue and told.stage not in DARK):
        return alive
    return survival.given_late(alive, outlook.time_left, settings.care.risk)


def labels_of(state: State) -> Counter[str]:
    """How many pupae carry each label."""
    return Counter(pupa.label for pupa in state.pupae.values() if pupa.holds_label)


def round_began(now: datetime, settings: Settings) -> datetime:
    """When the round began that is under way: in the morning, or in the evening where the keeper goes twice a day."""
    hours = (settings.care.round_starts_hour, settings.care.evening_round_starts_hour)
    return max(start_of_round_day(now, settings.zone, hour) for hour in hours if hour is not None)


def walk(state: State, now: datetime, settings: Settings, known: Known = NOTHING_KNOWN) -> Round:
    """The round at ``now``, without its plan: the keeper's places in walking order, then any that only the journal
    knows. known: what was worked out elsewhere."""
    picture, labels = Picture.of(state, now, settings, known), labels_of(state)
    here: dict[str, list[Standing]] = {place.name: [] for place in settings.places if not place.retired}
    for pupa in state.open_pupae():
        here.setdefault(pupa.place, []).append(standing(pupa, picture, labels))
    began = round_began(now, settings)
    stretches = []
    for name, standings in here.items():
        looked = state.last_look(name, now)
        walked = looked is not None and looked >= began
        place, heat = picture.place(name), known.heat.get(name, "")
        stretches.append(Stretch(place.place, standings, looked, walked, place, heat))
    to_judge = [pupa for pupa in state.pupae.values() if wings_wait(pupa, now, settings)]
    return Round(now, stretches, to_judge, picture)


def wings_wait(pupa: Pupa, now: datetime, settings: Settings) -> bool:
    """Whether an adult's wings should be hard and nobody has judged them; nobody is reminded after three days."""
    if pupa.emerged is None or pupa.wings or not pupa.is_adult:
        return False
    hours = hours_between(pupa.emerged.happened, now)
    return settings.profile(pupa.species).judge_wings_after_hours <= hours <= _REMINDED_HOURS


def _flags(pupa: Pupa, picture: Picture, labels: Mapping[str, int]) -> list[Flag]:
    """The pupa's contradictions, and what only shows beside the settings, the hour and the other pupae."""
    settings, ailing, is_open = picture.settings, picture.ailing, pupa.is_open
    profile = settings.profile(pupa.species)
    more: dict[Flag, bool] = {
        "moved-early": hang.early_moves(pupa, settings) > 0,
        "unknown-place": is_open and not settings.knows_place(pupa.place),
        "unknown-species": pupa.species not in settings.species,
        "dark-too-long": hang.overdue_dark(pupa, picture.now, profile),
        "dark-too-early": is_open and hang.dark_too_early(pupa, profile),
        "prepupa-overdue": prepupae.is_overdue(pupa, picture.now, settings),
        "sick": is_open and pupa.id in ailing.sick,
        "exposed": is_open and pupa.id in ailing.exposed,
        "wasps": is_open and pupa.id in ailing.wasps,
        "look-again": is_open and health.asks_another_look(pupa, settings.health),
        "same-label": pupa.holds_label and labels[pupa.label] > 1,
        "clock-behind": hang.found_by_wrong_clock(pupa, picture.now),
    }
    return [*pupa.flags, *(flag for flag, raised in more.items() if raised)]
