"""The round: what stands before the keeper this morning, pupa by pupa and place by place."""

from collections import Counter
from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple

from pupawatch.care import hang, spots
from pupawatch.care.choice import NO_RECORDS, Choice, Ground, choose, reason
from pupawatch.care.forecast.records import Outlook
from pupawatch.care.hang import HangTime, Verdict
from pupawatch.care.rescue import wants_a_look
from pupawatch.care.risk import Record
from pupawatch.model.codes import VERDICTS, Flag, HungStage
from pupawatch.model.places import hangs_in
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Place, Settings
from pupawatch.model.state import State
from pupawatch.model.times import hours_between, start_of_round_day

_REMINDED_HOURS = 72
NO_OUTLOOKS: Mapping[str, Outlook] = {}
NO_HEAT: Mapping[str, str] = {}


class Suggestion(NamedTuple):
    """A better place for a pupa, with the reason in one line."""

    place: str
    why: str


class Standing(NamedTuple):
    """One pupa this morning. unsafe: what speaks against emerging where it hangs; flags: what cannot be so.

    suggestion: the best place to move it to by itself, where that is worth it (``care.plan`` looks at all of them).
    outlook: when it will emerge, where that was asked for. choice: what it has to choose from.
    """

    pupa: Pupa
    stage: HungStage
    hang: HangTime
    verdict: Verdict
    unsafe: list[str]
    suggestion: Suggestion | None
    flags: list[Flag]
    outlook: Outlook | None
    choice: Choice

    @property
    def look_again(self) -> bool:
        """Whether it was rescued, and nobody has seen yet whether it holds."""
        return wants_a_look(self.pupa)

    @property
    def needs_something(self) -> bool:
        """Whether the keeper has anything to do about it this morning, be it only to watch."""
        watched = self.verdict.kind in ("rescue", "leave", "soon", "none")
        return watched or self.suggestion is not None or self.look_again

    @property
    def urgency(self) -> tuple[int, bool]:
        """Sorts the most urgent first."""
        return VERDICTS.index(self.verdict.kind), self.suggestion is None


class Stretch(NamedTuple):
    """One place on the round, with the pupae that hang there; room None: no limit; looked None: never. heat: the
    warning where it was, or will be, hot enough to spoil wings, "" elsewhere."""

    place: Place
    standings: list[Standing]
    room: int | None
    looked: datetime | None
    walked: bool
    heat: str = ""


class Round(NamedTuple):
    """The whole morning: the places in walking order, and the adults whose wings should be judged by now."""

    now: datetime
    stretches: list[Stretch]
    to_judge: list[Pupa]
    ground: Ground

    @property
    def standings(self) -> list[Standing]:
        """Every pupa in care, in walking order."""
        return [standing for stretch in self.stretches for standing in stretch.standings]

    @property
    def first(self) -> list[Standing]:
        """What cannot wait until its place is reached: the fallen, and the clear that have no climb."""
        urgent = [s for s in self.standings if s.verdict.kind == "rescue" or (s.verdict.kind == "leave" and s.unsafe)]
        return sorted(urgent, key=lambda standing: standing.urgency)

    @property
    def unwalked(self) -> list[Place]:
        """The places not yet looked over since the keeper's day began."""
        return [stretch.place for stretch in self.stretches if not stretch.walked]


class Scene(NamedTuple):
    """What a single pupa is judged against: the hour, the settings, and how the others hang and are called."""

    now: datetime
    settings: Settings
    taken: Counter[str]
    labels: Counter[str]
    outlooks: Mapping[str, Outlook]
    ground: Ground

    @classmethod
    def of(
        cls,
        state: State,
        now: datetime,
        settings: Settings,
        outlooks: Mapping[str, Outlook] = NO_OUTLOOKS,
        records: Mapping[str, Record] = NO_RECORDS,
    ) -> "Scene":
        """The scene at ``now``. outlooks: the forecasts by pupa id, where there are any yet; records: how emergences
        went in each place."""
        labels = Counter(pupa.label for pupa in state.pupae.values() if pupa.holds_label)
        ground = Ground.of(state, now, settings, records)
        return cls(now, settings, state.living_by_place(), labels, outlooks, ground)


def standing(pupa: Pupa, scene: Scene) -> Standing:
    """What is to be known and done about one pupa."""
    hung = hang.hung(pupa, scene.now, scene.settings)
    verdict = hang.judged(pupa, hung, scene.now, scene.settings)
    profile = scene.settings.profile(pupa.species)
    unsafe = spots.shortfalls(hangs_in(pupa, scene.settings), profile, scene.settings) if pupa.is_living else []
    choice = choose(pupa, hung, verdict, unsafe, scene.ground)
    return Standing(
        pupa,
        hung.stage,
        hung.time,
        verdict,
        unsafe,
        _suggestion(pupa, verdict, unsafe, choice, scene.ground),
        _flags(pupa, scene),
        scene.outlooks.get(pupa.id),
        choice,
    )


def walk(
    state: State,
    now: datetime,
    settings: Settings,
    outlooks: Mapping[str, Outlook] = NO_OUTLOOKS,
    records: Mapping[str, Record] = NO_RECORDS,
    heat: Mapping[str, str] = NO_HEAT,
) -> Round:
    """The round at ``now``: the keeper's places in walking order, then any that only the journal knows. heat: the
    warnings by place; the rest as for ``Scene.of``."""
    scene = Scene.of(state, now, settings, outlooks, records)
    here: dict[str, list[Standing]] = {place.name: [] for place in settings.places if not place.retired}
    for pupa in state.open_pupae():
        here.setdefault(pupa.place, []).append(standing(pupa, scene))
    day_began = start_of_round_day(now, settings.zone, settings.care.round_starts_hour)
    stretches = []
    for name, standings in here.items():
        place, looked = settings.place(name), state.last_look(name, now)
        walked = looked is not None and looked >= day_began
        room = spots.room_left(place, scene.taken, settings)
        stretches.append(Stretch(place, standings, room, looked, walked, heat.get(name, "")))
    return Round(
        now, stretches, [pupa for pupa in state.pupae.values() if wings_wait(pupa, now, settings)], scene.ground
    )


def wings_wait(pupa: Pupa, now: datetime, settings: Settings) -> bool:
    """Whether an adult's wings should be hard and nobody has judged them; nobody is reminded after three days."""
    if pupa.emerged is None or pupa.wings or not pupa.is_adult:
        return False
    hours = hours_between(pupa.emerged.happened, now)
    return settings.profile(pupa.species).judge_wings_after_hours <= hours <= _REMINDED_HOURS


def _suggestion(pupa: Pupa, verdict: Verdict, unsafe: list[str], choice: Choice, ground: Ground) -> Suggestion | None:
    """The best place by itself. The morning's limit holds for all but rescues."""
    if not choice.options or (verdict.kind != "rescue" and not ground.moves_left):
        return None
    return Suggestion(choice.options[0].place, reason(pupa, unsafe, choice.options[0], ground))


def _flags(pupa: Pupa, scene: Scene) -> list[Flag]:
    """The pupa's contradictions, and those that only show beside the settings, the hour and the other pupae."""
    settings = scene.settings
    more: dict[Flag, bool] = {
        "moved-early": hang.early_moves(pupa, settings) > 0,
        "unknown-place": pupa.is_open and not settings.knows_place(pupa.place),
        "unknown-species": pupa.species not in settings.species,
        "dark-too-long": hang.overdue_dark(pupa, scene.now, settings.profile(pupa.species)),
        "same-label": pupa.holds_label and scene.labels[pupa.label] > 1,
        "clock-behind": hang.found_by_wrong_clock(pupa, scene.now),
    }
    return [*pupa.flags, *(flag for flag, raised in more.items() if raised)]
