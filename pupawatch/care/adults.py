"""The first hours of an adult: the clocks of the watch, what it is ready for, and whether it should be released now.

Every clock is reckoned from the entries. Where nobody saw it come out, its emergence is an interval: what harms if it
comes too late is counted from the earliest instant, what harms if it comes too early from the latest.
"""

import re
from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from typing import Literal, NamedTuple, assert_never
from zoneinfo import ZoneInfo

from pupawatch.care import hang
from pupawatch.care.forecast.heat import Newest
from pupawatch.care.health import counted
from pupawatch.model.codes import Phase, Sky, Stage
from pupawatch.model.degrees import shown_degrees
from pupawatch.model.entries import Marked
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.model.spores import Counted
from pupawatch.model.state import State, by_label
from pupawatch.model.times import Span, first_of_season, hours_between, local_day, shown_time, start_of_round_day

LONG_AGO = timedelta(days=30)
"""Out for longer, and neither released nor kept: by then its record is more likely unfinished than its flight. Common
practice; a summer butterfly lives for two to six weeks."""


class Clocks(NamedTuple):
    """The instants that matter for one adult. hang_by: it should hang with its wings free; wings_full, hard: the
    interval in which its wings should be; the others: from when it may be judged, handled, marked and released."""

    hang_by: datetime
    wings_full: Span
    hard: Span
    judge_from: datetime
    handle_from: datetime
    mark_from: datetime
    release_from: datetime


class Butterfly(NamedTuple):
    """One living adult. phase: what it waits for; do: what to do, in one short line."""

    pupa: Pupa
    clocks: Clocks
    phase: Phase
    do: str

    @property
    def alarm(self) -> bool:
        """On the floor with soft wings."""
        return self.phase == "floor"


class Coming(NamedTuple):
    """A dark or clear pupa that may emerge this morning. can_climb: whether its adult could."""

    pupa: Pupa
    stage: Stage
    can_climb: bool


class Watch(NamedTuple):
    """This morning: the fresh adults, the most urgent first, and the pupae that come next."""

    now: datetime
    fresh: list[Butterfly]
    coming: list[Coming]

    @property
    def alarms(self) -> list[Butterfly]:
        """The butterflies on the floor with soft wings."""
        return [butterfly for butterfly in self.fresh if butterfly.alarm]


class Weather(NamedTuple):
    """The weather as the keeper says it: °C in the shade now or expected, and the sky, "" unsaid. newest: the newest
    temperature that was recorded anywhere; it speaks against a release where no other is said, and never for one."""

    temperature_c: float | None = None
    sky: Sky | Literal[""] = ""
    newest: Newest | None = None


class ReleaseAdvice(NamedTuple):
    """Whether to let it fly now; what stands against it; from when, where a time can be told; what else to know. asks:
    what the keeper has to decide first, "" where there is nothing."""

    now: bool
    against: list[str]
    when: datetime | None
    notes: list[str]
    asks: str = ""


def clocks(pupa: Pupa, settings: Settings) -> Clocks:
    """The clocks of an adult. pupa: one that has emerged."""
    assert pupa.emerged is not None
    profile = settings.profile(pupa.species)
    adult = profile.adult
    earliest, latest = pupa.emerged.earliest, pupa.emerged.happened
    return Clocks(
        max(earliest + timedelta(minutes=adult.hang_by_minutes), latest),
        Span(earliest + timedelta(minutes=adult.full_minutes_low), latest + timedelta(minutes=adult.full_minutes_high)),
        Span(earliest + timedelta(hours=adult.hard_hours_low), latest + timedelta(hours=adult.hard_hours_high)),
        latest + timedelta(hours=profile.judge_wings_after_hours),
        latest + timedelta(hours=adult.handle_after_hours),
        latest + timedelta(hours=adult.mark_after_hours),
        latest + timedelta(hours=profile.release_after_hours),
    )


def age_hours(pupa: Pupa, now: datetime) -> tuple[float, float]:
    """Hours since emergence at ``now``: at least, and at most."""
    assert pupa.emerged is not None
    return hours_between(pupa.emerged.happened, now), hours_between(pupa.emerged.earliest, now)


def cannot_fly(pupa: Pupa, settings: Settings) -> bool:
    """Whether its wings were judged as ones that do not carry."""
    return pupa.wings is not None and pupa.wings.condition in settings.care.cannot_fly


def recovered(pupa: Pupa, settings: Settings) -> bool:
    """Whether it fell with whatever wings, came up again, and its wings are not counted as deformed."""
    fell = any(seen.code == "fell" for seen in pupa.adult_seen)
    sound = pupa.wings is not None and pupa.wings.condition not in settings.care.review.deformed
    return fell and pupa.fallen is None and sound


def butterfly(pupa: Pupa, now: datetime, settings: Settings) -> Butterfly:
    """What an adult waits for at ``now``."""
    told = clocks(pupa, settings)
    phase = _phase(pupa, told, now, settings)
    is_old = phase != "kept" and now - _came_out(pupa) > LONG_AGO
    do = "record what became of it" if is_old else _to_do(pupa, phase, told, now, settings)
    return Butterfly(pupa, told, phase, do)


def living(state: State, now: datetime, settings: Settings) -> list[Butterfly]:
    """Every adult in care, the newest first."""
    adults = [butterfly(pupa, now, settings) for pupa in state.pupae.values() if pupa.is_adult]
    return sorted(adults, key=lambda b: (-b.clocks.judge_from.timestamp(), by_label(b.pupa)))


def watch(state: State, now: datetime, settings: Settings) -> Watch:
    """The watch at ``now``: adults out since the keeper's day began, or with soft wings; the clear and dark pupae."""
    began = start_of_round_day(now, settings.zone, settings.care.round_starts_hour)
    fresh = [b for b in living(state, now, settings) if b.clocks.hard.until > now or _came_out(b.pupa) >= began]
    fresh.sort(key=lambda b: (not b.alarm, b.clocks.hang_by, by_label(b.pupa)))
    coming = []
    for pupa in state.open_pupae():
        stage = hang.stage(pupa, now, settings)
        if stage in ("clear", "darkening"):
            coming.append(Coming(pupa, stage, settings.climbable(settings.place(pupa.place))))
    coming.sort(key=lambda c: (c.stage != "clear", c.can_climb, by_label(c.pupa)))
    return Watch(now, fresh, coming)


def on_the_floor(state: State, now: datetime, settings: Settings) -> list[str]:
    """The labels of the butterflies on the floor with soft wings."""
    fallen = (pupa for pupa in state.pupae.values() if pupa.is_adult and pupa.fallen)
    return [pupa.label for pupa in fallen if butterfly(pupa, now, settings).alarm]


def release_advice(pupa: Pupa, now: datetime, weather: Weather, settings: Settings) -> ReleaseAdvice:
    """Whether to let this adult fly at ``now``, by its wings, its hours, the hour of day and the weather."""
    if cannot_fly(pupa, settings):
        assert pupa.wings is not None
        why = f"its wings are {pupa.wings.condition}: it cannot fly; record where it is kept"
        return ReleaseAdvice(False, [why], None, [])
    told = clocks(pupa, settings)
    when = within_hours(max(now, told.release_from), settings)
    against = [*_bad_hour(pupa, told, now, when, settings), *_bad_weather(pupa, weather, settings)]
    notes, asks = _to_know(pupa, weather, settings), load_asks(pupa, settings)
    return ReleaseAdvice(not against and not asks, against, when if when > now else None, notes, asks)


def load_asks(pupa: Pupa, settings: Settings) -> str:
    """What is to be decided before it is released, because of the spores that were ever found on it; "" where nothing
    is. An infection with the spore parasite is for life (J. Invertebr. Pathol. 1996, doi:10.1006/jipa.1996.4634)."""
    words = settings.health
    counts = [found for finding in pupa.findings if (found := counted(finding, words)) is not None]
    most = max(counts, key=lambda found: found.low, default=Counted(0, 0))
    if most.low < words.release_asks_spores:
        return ""
    positions = "; ".join(f"({number}) {told}" for number, told in enumerate(words.load_positions, start=1))
    return (
        f"{most.words} were counted on it, and infection is for life. Published "
        f"advice differs: {positions}. Your marking programme and your local rules decide"
    )


def _bad_hour(pupa: Pupa, told: Clocks, now: datetime, when: datetime, settings: Settings) -> Iterator[str]:
    hours = settings.care.release
    if now < told.release_from:
        yield f"out for at least {age_hours(pupa, now)[0]:.0f} h; strong enough at {_hours(told, pupa):.0f} h"
    elif when > now:
        yield f"release between {hours.from_hour:02}:00 and {hours.until_hour:02}:00"


def _bad_weather(pupa: Pupa, weather: Weather, settings: Settings) -> Iterator[str]:
    adult = settings.profile(pupa.species).adult
    if weather.sky == "rain":
        yield "rain: wait until it is dry"
    where, limit = ("in sun", adult.flight_sun_c) if weather.sky == "sun" else ("without sun", adult.flight_cloud_c)
    if weather.temperature_c is not None and weather.temperature_c < limit:
        warm, least = (shown_degrees(celsius, settings.unit) for celsius in (weather.temperature_c, limit))
        yield f"{warm}: {where} it flies from {least}; wait until it is warmer"
    if weather.temperature_c is None and weather.newest is not None and weather.newest.celsius < adult.flight_sun_c:
        warm, least = (
            shown_degrees(celsius, settings.unit) for celsius in (weather.newest.celsius, adult.flight_sun_c)
        )
        yield f"{warm} in {weather.newest.place}, the newest recorded: even in sun it flies from {least}"


def _to_know(pupa: Pupa, weather: Weather, settings: Settings) -> list[str]:
    notes, adult = [], settings.profile(pupa.species).adult
    if weather.temperature_c is None:
        sun, cloud = (shown_degrees(celsius, settings.unit) for celsius in (adult.flight_sun_c, adult.flight_cloud_c))
        notes.append(f"it flies from {sun} in sun, {cloud} under cloud")
    if pupa.wings is None:
        notes.append("its wings were not judged")
    return notes


def season(moment: datetime, settings: Settings) -> int:
    """The season an instant belongs to: the year in which it began."""
    return season_begins(moment, settings).year


def season_begins(moment: datetime, settings: Settings) -> date:
    """The first day of the season an instant belongs to, in the keeper's zone."""
    return first_of_season(local_day(moment, settings.zone), settings.care.review.season_starts_month)


def same_code(code: str) -> str:
    """Codes that differ only in case or blanks would be read alike on a wing: what they share."""
    return "".join(code.split()).casefold()


def next_code(marks: Iterable[Marked], settings: Settings) -> str:
    """The code to propose: the newest counted one, counted on past those that are used; "" where there is none.

    marks: those of this season. Codes without a number belong to no series; a follower that does not fit the keeper's
    pattern is not proposed.
    """
    marks = list(marks)
    series = [(mark, found) for mark in marks if (found := re.fullmatch(r"(.*?)(\d{1,9})(\D*)", mark.code))]
    if not series:
        return ""
    _, counted = max(series, key=lambda one: (one[0].recorded, one[0].happened, one[0].id))
    used = {same_code(mark.code) for mark in marks}
    number = int(counted[2])
    while True:
        number += 1
        code = f"{counted[1]}{number:0{len(counted[2])}}{counted[3]}"
        if same_code(code) not in used:
            return code if fits(code, settings) else ""


def fits(code: str, settings: Settings) -> bool:
    """Whether a code is written as the keeper's pattern wants it."""
    pattern = settings.keeper.marks.pattern
    return not pattern or re.fullmatch(pattern, code) is not None


def _came_out(pupa: Pupa) -> datetime:
    assert pupa.emerged is not None
    return pupa.emerged.happened


def _phase(pupa: Pupa, told: Clocks, now: datetime, settings: Settings) -> Phase:
    if pupa.fallen and now < told.hard.until:
        return "floor"
    if cannot_fly(pupa, settings):
        return "kept" if pupa.kept else "flightless"
    if now < told.hard.until:
        return "expanding" if now < told.wings_full.until and not pupa.wings_full else "drying"
    if pupa.wings is None and now >= told.judge_from:
        return "judge"
    if now < told.handle_from:
        return "resting"
    if now < told.mark_from:
        return "handle"
    return "mark" if now < told.release_from else "ready"


def _to_do(pupa: Pupa, phase: Phase, told: Clocks, now: datetime, settings: Settings) -> str:
    def at(moment: datetime) -> str:
        return shown_time(moment, settings.zone, now)

    match phase:
        case "floor":
            return "give it a climbing aid now"
        case "expanding":
            hang_by = f"hang by {at(told.hang_by)}, " if now < told.hang_by else ""
            return f"{hang_by}wings full by {at(told.wings_full.until)}"
        case "drying" if not pupa.wings_full:
            return f"check: are its wings full? hard by {at(told.hard.until)}"
        case "drying":
            return f"wings full; hard by {at(told.hard.until)}, hands off"
        case "judge":
            return "judge its wings"
        case "flightless":
            return "keep it; record where it is kept"
        case "kept":
            return f"in {pupa.kept.place}" if pupa.kept else ""
        case "resting":
            return f"hands off until {at(told.handle_from)}"
        case "handle":
            return f"mark from {at(told.mark_from)}"
        case "mark":
            fly = f"release from {at(within_hours(told.release_from, settings))}"
            return fly if pupa.marked else f"mark; {fly}"
        case "ready":
            when = within_hours(now, settings)
            fly = "release it" if when <= now else f"release from {at(when)}"
            return fly if pupa.marked else f"mark; {fly}"
        case never:
            assert_never(never)


def _hours(told: Clocks, pupa: Pupa) -> float:
    return hours_between(_came_out(pupa), told.release_from)


def within_hours(moment: datetime, settings: Settings) -> datetime:
    """The first instant from ``moment`` on that lies within the local hours of release."""
    hours, zone = settings.care.release, ZoneInfo(settings.zone)
    local = moment.astimezone(zone)
    opens = local.replace(hour=hours.from_hour, minute=0, second=0, microsecond=0)
    if local < opens:
        return opens.astimezone(moment.tzinfo)
    if local.hour >= hours.until_hour:
        return (opens + timedelta(days=1)).astimezone(moment.tzinfo)
    return moment
