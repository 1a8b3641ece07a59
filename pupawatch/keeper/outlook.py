"""The forecasts of a journal: its temperatures and finished pupae brought to ``care.forecast``, and kept until they
change."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from pupawatch.care import forecast
from pupawatch.care.forecast import Conditions, Finished, Outlook, Watched
from pupawatch.care.forecast.heat import warned
from pupawatch.care.forecast.loggers import Loggers
from pupawatch.care.forecast.records import Widths
from pupawatch.care.forecast.scoring import Score, Story, replay, summary
from pupawatch.errors import PupawatchError
from pupawatch.keeper.conditions import LATELY, NOTHING, conditions, expected_days, expected_file, sky
from pupawatch.keeper.desk import Desk
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Profile
from pupawatch.model.state import State, folded, until
from pupawatch.model.times import local_day, start_of_day
from pupawatch.words.forecast import temperature_warning

if TYPE_CHECKING:
    from pupawatch.care.forecast.engine import Forecaster

_TAUGHT_BY = 250
"""So many of the newest emergences teach the forecast; more would not move it."""
_MORNING = timedelta(hours=6, minutes=30)
_TOLD = 3
"""So many entries that were passed over are named."""
_KEPT = timedelta(minutes=15)
"""A forecast changes little within a quarter of an hour."""


class Outlooks:
    """When each pupa will emerge. Asked again, it works out anew only what has changed since."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._basis: object = None
        self._made_at = self._since = datetime.min.replace(tzinfo=UTC)
        self.problem = ""
        """What of the temperatures, measured or expected, could not be used and why, "" where all of it was."""
        self._forecasters: dict[str, Forecaster] = {}
        self._told: dict[tuple[str, Watched], Outlook] = {}
        self.conditions = Conditions(sky(desk), {})

    def of(self, state: State, now: datetime) -> dict[str, Outlook]:
        """The outlook of every living pupa of ``state`` at ``now``, by its id. Prepupae have none."""
        from pupawatch.care.forecast.pupae import watched

        self._renew(state, now)
        found: dict[str, Outlook] = {}
        asked: dict[str, list[tuple[str, Watched]]] = {}
        for pupa in state.open_pupae():
            seen = watched(pupa, state.looks, now)
            if seen is None:
                continue
            seen = seen._replace(stays=tuple(seen.stays), sightings=tuple(seen.sightings))
            known = self._told.get((pupa.species, seen))
            if known is not None:
                found[pupa.id] = known
            else:
                asked.setdefault(pupa.species, []).append((pupa.id, seen))
        for species, pupae in asked.items():
            outlooks = self._forecaster(species).outlooks([seen for _, seen in pupae])
            for (pupa_id, seen), outlook in zip(pupae, outlooks, strict=True):
                found[pupa_id] = self._told[species, seen] = outlook
        return found

    def widths(self, state: State, pupa: Pupa, now: datetime) -> Widths | None:
        """Where the uncertainty of one pupa's date comes from; None where nothing is forecast for it."""
        from pupawatch.care.forecast.pupae import watched

        self._renew(state, now)
        seen = watched(pupa, state.looks, now)
        return None if seen is None else self._forecaster(pupa.species).widths(seen)

    def heat_warnings(self, state: State, now: datetime) -> dict[str, str]:
        """What to say of each place, by its name, that was or will be too hot or too cold for the pupae there."""
        settings = self.desk.settings
        self._renew(state, now)
        living: dict[str, list[Profile]] = {}
        for pupa in state.open_pupae():
            living.setdefault(pupa.place, []).append(settings.profile(pupa.species))
        told = {}
        for place, known in self.conditions.temperatures.items():
            if place in living:
                found = warned(known, now, settings.zone, living[place], settings.care.temperature)
                if words := [temperature_warning(one, settings.unit) for one in found]:
                    told[place] = ". It ".join(words)
        return told

    def loggers(self, state: State, now: datetime) -> dict[str, Loggers]:
        """What is to be told of the loggers in the places where pupae hang, by the places' names."""
        self._renew(state, now)
        living = {pupa.place for pupa in state.open_pupae()}
        return {place: told for place, told in self.conditions.loggers.items() if place in living}

    def _renew(self, state: State, now: datetime) -> None:
        """Begin anew where the temperatures, the settings or the emergences are other than before, or it is late."""
        desk = self.desk
        file = expected_file(desk.folder)
        touched = file.stat().st_mtime_ns if file.exists() else 0
        basis = (desk.journal.forecast_basis(now), id(desk.settings), touched)
        formed = [pupa.formed_from or pupa.formed_to for pupa in state.open_pupae() if pupa.formed_to]
        since = min((at for at in formed if at), default=now)
        if basis == self._basis and abs(now - self._made_at) < _KEPT and since >= self._since:
            return
        self._basis, self._made_at = basis, now
        self._told.clear()
        self._forecasters.clear()
        finished = taught_by(desk, now)
        taught = [pupa.formed_from or pupa.formed_to for some in finished.values() for pupa in some]
        self._since = min([since, *taught])
        problems, expected = [], NOTHING
        try:
            expected = expected_days(desk.settings, desk.folder)
        except PupawatchError as error:
            problems = [f"{error} The forecast ignores it."]
        self.conditions = conditions(desk, now, expected, min(self._since, now) - LATELY)
        self.problem = " ".join([*problems, *self.conditions.doubts[:_TOLD]])
        for species in desk.settings.species:
            profile = desk.settings.profile(species)
            self._forecasters[species] = forecast.forecaster(profile, self.conditions, now, finished.get(species, ()))

    def _forecaster(self, species: str) -> "Forecaster":
        known = species in self._forecasters
        return self._forecasters[species if known else self.desk.settings.keeper.species]


def taught_by(desk: Desk, now: datetime) -> dict[str, list[Finished]]:
    """The keeper's own pupae that emerged by ``now``, by species: they correct the forecast."""
    from pupawatch.care.forecast.pupae import finished

    taught: dict[str, list[Finished]] = {}
    state = emerged_state(desk, now, _TAUGHT_BY)
    for pupa in state.pupae.values():
        told = finished(pupa, state.looks)
        if told is not None:
            taught.setdefault(pupa.species, []).append(told)
    return taught


def emerged_state(desk: Desk, now: datetime, most: int) -> State:
    """The newest emergences by ``now``, with the looks at the places while they hung."""
    state = folded(desk.journal.read_emerged(most, now), now)
    formed = [pupa.formed_from or pupa.formed_to for pupa in state.pupae.values() if pupa.formed_to]
    places = {place for pupa in state.pupae.values() for place in _hung_in(pupa)}
    if formed:
        for entries in desk.journal.read_looks(places, min(at for at in formed if at)):
            state.add(until(entries, now))
    return state


def scores(
    desk: Desk, now: datetime, watch: Callable[[str, int, int], None] = lambda what, more, of: None
) -> list[tuple[str, Score]]:
    """How good the forecasts of each species would have been, on every past morning of its newest pupae.

    Nothing is used that was not known on that morning: neither later pupae nor later temperatures. watch: is told what
    is being done, how many more mornings are done, and of how many.
    """
    from pupawatch.care.forecast.pupae import story

    state = emerged_state(desk, now, _TAUGHT_BY)
    stories: dict[str, list[Story]] = {}
    for pupa in state.pupae.values():
        told = story(pupa, state.looks)
        if told is not None and told.formed_from is not None:
            stories.setdefault(pupa.species, []).append(told)
    known = conditions(desk, now)
    found = []
    for species, those in sorted(stories.items()):
        profile = desk.settings.profile(species)
        mornings = list(_mornings(those, desk.settings.zone))
        score = summary(replay(profile, known, those, _watched(mornings, f"replaying {profile.name}", watch)))
        if score is not None:
            found.append((profile.name, score._replace(left_out=sum(not story.is_yardstick for story in those))))
    return found


def _watched(mornings: Sequence[datetime], what: str, watch: Callable[[str, int, int], None]) -> Iterator[datetime]:
    for morning in mornings:
        yield morning
        watch(what, 1, len(mornings))


def _mornings(stories: Sequence[Story], zone: str) -> Iterator[datetime]:
    """Every morning, at half past six local time, on which one of these pupae hung."""
    last = max(story.emerged_to for story in stories)
    day = local_day(min(story.formed_to for story in stories), zone)
    while (morning := start_of_day(day, zone) + _MORNING) <= last:
        yield morning
        day += timedelta(days=1)


def _hung_in(pupa: Pupa) -> Iterable[str]:
    return (pupa.site, pupa.place, *(move.entry.to for move in pupa.relocations))
