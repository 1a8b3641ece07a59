"""The hang rule: is a pupa too soft to touch, free to move, or to be left alone?

Judged by the *certain* hang time, the one it has even if it formed at the last possible instant.
"""

from datetime import datetime, timedelta
from typing import NamedTuple

from pupawatch.model.codes import DARK, HungStage, VerdictKind
from pupawatch.model.entries import Entry, Seen
from pupawatch.model.ids import CLOCK_SLACK, moment_of
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Profile, Settings
from pupawatch.model.times import hours_between

HOURS_UP_TO = 96
"""Up to four days hang times are told in hours, beyond in days: what matters there is the day."""
EXACT = 1e-9
"""What a division may lose of a whole number."""


def at_least_words(hours: float) -> str:
    """A hang time that is certain: rounded down, for 23.6 h told as 24 would stand beside a move that is refused."""
    return f"{int(hours + EXACT)} h" if hours <= HOURS_UP_TO else f"{int(hours / 2.4 + EXACT) / 10:.1f} d"


class HangTime(NamedTuple):
    """Elapsed hours since pupation: at least (the certain part), and at most (None: not known)."""

    at_least: float
    at_most: float | None


class SetHours(NamedTuple):
    """The set hanging times that hold for one pupa, in hours, and whether they are those for cold."""

    soft: float
    firm: float
    cold: bool


class Hung(NamedTuple):
    """How one pupa hangs at one instant: for how long, how long it has to, the stage to show, and the instant by which
    it had certainly pupated (None: nothing tells it)."""

    time: HangTime
    limits: SetHours
    stage: HungStage
    formed_by: datetime | None


class Verdict(NamedTuple):
    """What the move rule says of one pupa at one instant.

    why: one line for the keeper. movable_from: the instant from which a move will be
    allowed, where waiting helps; None otherwise.
    """

    kind: VerdictKind
    why: str
    movable_from: datetime | None = None


def found_by_wrong_clock(pupa: Pupa, clock: datetime) -> bool:
    """Whether the clock was behind when the pupa was found. clock: what it shows now.

    Ids only ever grow, so one that names a later instant than the clock showed at its writing tells of an entry that
    was written before, at that later instant. Either that one was written by a clock that was ahead, or this one by a
    clock that was behind. While the clock has not come to that instant, nothing was set right in between: the time
    from the finding until now is measured by one clock, and true however wrong it is. Once it has, the difference of
    the two times is the clock's correction as much as the pupa's age. What a notebook tells names its own times.
    """
    told = pupa.formed_told
    return told is not None and not told.history and told.recorded + CLOCK_SLACK < _written_after(told) <= clock


def told_by(pupa: Pupa, clock: datetime) -> datetime | None:
    """The instant by which it was said to have pupated, None where nothing says it. clock: what it shows now.

    Where the clock was wrong at the finding, the time in the finding's id is no help: the pupa was found after that, by
    hours or by days. Certain is only that it was found before the next entry about it that a right clock dates.
    """
    told = pupa.formed_told
    if told is None or pupa.formed_to is None or not found_by_wrong_clock(pupa, clock):
        return pupa.formed_to
    later = [entry for entry in pupa.entries if entry.id > told.id and not entry.history]
    dated = [entry.recorded for entry in later if entry.recorded + CLOCK_SLACK >= _written_after(entry)]
    return max(pupa.formed_to, min(dated)) if dated else None


def dark_twice(pupa: Pupa, clock: datetime) -> datetime | None:
    """Since when it was certainly dark: the first of the sightings of a dark or clear case that none of a paler one
    followed, where at least two acts tell of it by ``clock``. A single sighting may be a slip of a key."""
    dark: list[Seen] = []
    for seen in pupa.sightings:
        if seen.recorded <= clock and seen.code != "empty":
            dark = [*dark, seen] if seen.code in DARK else []
    return dark[0].happened if len({seen.act for seen in dark}) > 1 else None


def formed_by(pupa: Pupa, clock: datetime, profile: Profile) -> datetime | None:
    """The instant by which it had certainly pupated, None where nothing tells it. clock: what it shows now.

    A dark or clear case is days old. It counts so only where nobody can say since when the pupa may hang there: an
    interval that was recorded always wins (see ``dark_too_early``).
    """
    told = told_by(pupa, clock)
    if told is None or pupa.formed_from is not None or profile.dark_age_hours is None:
        return told
    dark = dark_twice(pupa, clock)
    return told if dark is None else min(told, dark - timedelta(hours=profile.dark_age_hours))


def is_dark_once(pupa: Pupa, clock: datetime, profile: Profile) -> bool:
    """Whether it was seen dark or clear, and to see that once more would tell that it has hung for days."""
    asked = pupa.formed_from is None and pupa.formed_to is not None and profile.dark_age_hours is not None
    return asked and pupa.stage_seen in DARK and dark_twice(pupa, clock) is None


def dark_too_early(pupa: Pupa, profile: Profile) -> bool:
    """Whether it was seen dark or clear before any pupa of its age is: by the interval recorded it was too young."""
    if pupa.formed_from is None or profile.dark_age_hours is None:
        return False
    return any(
        seen.code in DARK and hours_between(pupa.formed_from, seen.happened) < profile.dark_age_hours
        for seen in pupa.sightings
    )


def _written_after(entry: Entry) -> datetime:
    """The instant after which an entry must have been written: the one in its id, or the one its clock showed."""
    try:
        return max(moment_of(entry.id), entry.recorded)
    except (ValueError, OverflowError):  # an id that no pupawatch made
        return entry.recorded


def hang_time(pupa: Pupa, now: datetime, clock: datetime | None = None) -> HangTime:
    """How long the pupa has hung at ``now`` by what was said; once it emerged, how long it hung in all. clock: what the
    clock shows, where that is later than ``now``."""
    return _hung_since(told_by(pupa, clock or now), pupa, now)


def _hung_since(formed: datetime | None, pupa: Pupa, now: datetime) -> HangTime:
    if formed is None:
        return HangTime(0.0, 0.0 if pupa.is_prepupa else None)
    ended_after, ended_by = now, now
    if pupa.emerged is not None and pupa.emerged.happened <= now:
        ended_after = pupa.emerged.since or formed
        ended_by = pupa.emerged.happened
    elif pupa.lost is not None and pupa.lost.happened <= now:
        ended_after = ended_by = pupa.lost.happened
    at_least = max(0.0, hours_between(formed, ended_after))
    at_most = None if pupa.formed_from is None else max(at_least, hours_between(pupa.formed_from, ended_by))
    return HangTime(at_least, at_most)


def set_hours(pupa: Pupa, settings: Settings) -> SetHours:
    """The hanging times to wait for: those for cold where any place it hung in is kept below the species' limit.

    The settings say so of a place as it is now, its own entries as it was when it was hung there: the colder counts.
    """
    profile = settings.profile(pupa.species)
    hung_in = {pupa.site, pupa.place, *(move.entry.to for move in pupa.relocations)}
    usual = [settings.place(name).temperature_c for name in hung_in if name]
    usual += [said.usual_c for name, said in pupa.travelled.items() if name in hung_in]
    if any(celsius is not None and celsius < profile.cold_below_c for celsius in usual):
        return SetHours(profile.cold_soft_hours, profile.cold_firm_hours, cold=True)
    return SetHours(profile.soft_hours, profile.firm_hours, cold=False)


def hung(pupa: Pupa, now: datetime, settings: Settings, clock: datetime | None = None) -> Hung:
    """How the pupa hangs at ``now``. The stage is what was last seen, or told by the certain hang time where no colour
    has been seen: a pupa seen as soft turns ``set`` by time; darkening, clear and empty are only ever seen. clock: as
    for ``hang_time``."""
    formed = formed_by(pupa, clock or now, settings.profile(pupa.species))
    time, limits = _hung_since(formed, pupa, now), set_hours(pupa, settings)
    return Hung(time, limits, _shown_stage(pupa, time, limits), formed)


def _shown_stage(pupa: Pupa, time: HangTime, limits: SetHours) -> HungStage:
    if pupa.is_prepupa:
        return "prepupa"
    if pupa.emerged is not None:
        return "empty"
    if pupa.stage_seen and pupa.stage_seen != "soft":
        return pupa.stage_seen
    return "set" if time.at_least >= limits.soft else "soft"


def stage(pupa: Pupa, now: datetime, settings: Settings) -> HungStage:
    """The stage to show (see ``hung``)."""
    return hung(pupa, now, settings).stage


def early_moves(pupa: Pupa, settings: Settings) -> int:
    """How many of its moves, emergencies aside, came before the set hanging time was certainly over."""
    if not pupa.relocations:
        return 0
    limits, profile = set_hours(pupa, settings), settings.profile(pupa.species)
    formed = [(move.entry, formed_by(pupa, move.entry.recorded, profile)) for move in pupa.relocations]
    return sum(
        1
        for move, by in formed
        if not move.emergency and (by is None or hours_between(by, move.earliest) < limits.soft)
    )


def judge(pupa: Pupa, now: datetime, settings: Settings, clock: datetime | None = None) -> Verdict:
    """What the move rule says of this pupa at ``now``, the first line of the rule that fits. clock: as for
    ``hang_time``."""
    return judged(pupa, hung(pupa, now, settings, clock), now, settings)


def judged(pupa: Pupa, hangs: Hung, now: datetime, settings: Settings) -> Verdict:
    """The same, where it is known already how the pupa hangs at ``now``."""
    hang, limits, shown, formed = hangs
    if not pupa.is_living:
        return Verdict("none", _gone(pupa, shown))
    if pupa.danger:
        reason = settings.care.emergencies.get(pupa.danger, pupa.danger)
        return Verdict("rescue", f"{pupa.danger.replace('-', ' ')}: {reason}")
    if formed is None:
        return Verdict("wait", _unformed(pupa))
    if hours_between(formed, now) < limits.soft:
        return Verdict("wait", _soft(pupa, hangs, now, settings), formed + timedelta(hours=limits.soft))
    if shown == "clear":
        return Verdict("leave", "it is clear: about to emerge")
    if shown == "darkening":
        return Verdict("soon", "darkening: move it only from an unsafe place, and then today")
    if hang.at_least < limits.firm:
        return Verdict(
            "care", f"has hung at least {at_least_words(hang.at_least)}, firm only after {limits.firm:.0f} h"
        )
    return Verdict("free", f"firm: has hung at least {at_least_words(hang.at_least)}")


def overdue_dark(pupa: Pupa, now: datetime, profile: Profile) -> bool:
    """Dark for longer than the species usually is, and not clear: a reason to look for death or disease."""
    if pupa.stage_seen != "darkening" or not pupa.is_living:
        return False
    first_dark = next(seen.happened for seen in pupa.sightings if seen.code == "darkening")
    return hours_between(first_dark, now) > profile.darkening_hours_high


def _soft(pupa: Pupa, hangs: Hung, now: datetime, settings: Settings) -> str:
    """Why one whose set time is not certainly over waits; a dark or clear one, what else it asks for."""
    kept = ", kept cold" if hangs.limits.cold else ""
    hung = (
        f"has hung at least {at_least_words(hangs.time.at_least)}" if hangs.time.at_least >= 1 else "may be quite new"
    )
    why = f"{hung}, soft until {hangs.limits.soft:.0f} h{kept}"
    if hangs.stage not in DARK:
        return why
    profile = settings.profile(pupa.species)
    if (age := profile.dark_age_hours) is not None and is_dark_once(pupa, now, profile):
        days = f"{age / 24:.0f} days" if age > 24 else f"{age:.0f} h"
        why += f"; but a {hangs.stage} pupa is at least {days} old: check again, and record {hangs.stage} once more"
    return f"{why}; bring a climbing aid to it without touching it"


def _unformed(pupa: Pupa) -> str:
    if pupa.is_prepupa:
        return "still a prepupa; it has not shed its last skin"
    if pupa.formed_to is None:
        return "pupation time unknown; record it first"
    return "the clock was slow when it was found; record its stage now, its hang time counts from then"


def _gone(pupa: Pupa, shown: HungStage) -> str:
    if pupa.lost is not None:
        return f"lost: {pupa.lost.cause}"
    if pupa.emerged is not None or pupa.released is not None:
        return "it has emerged"
    return f"it is {shown}"
