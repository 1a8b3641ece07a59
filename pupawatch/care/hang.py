"""The hang rule: is a pupa too soft to touch, free to move, or to be left alone?

Judged by the *certain* hang time, the one it has even if it formed at the last possible instant.
"""

from datetime import datetime, timedelta
from typing import NamedTuple

from pupawatch.model.entries import STAGES
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Profile, Settings
from pupawatch.model.times import hours_between

VERDICTS = ("rescue", "leave", "soon", "wait", "care", "free", "none")
"""Every verdict, the most urgent first."""

REFUSING = frozenset({"wait", "none"})
"""The verdicts that refuse a move; the others advise."""


class HangTime(NamedTuple):
    """Elapsed hours since pupation: at least (the certain part), and at most (None: nobody knows)."""

    at_least: float
    at_most: float | None


class SetHours(NamedTuple):
    """The set hanging times that hold for one pupa, in hours, and whether they are those for cold."""

    soft: float
    firm: float
    cold: bool


class Hung(NamedTuple):
    """How one pupa hangs at one instant: for how long, how long it has to, and the stage to show."""

    time: HangTime
    limits: SetHours
    stage: str


class Verdict(NamedTuple):
    """What the move rule says of one pupa at one instant.

    kind: one of VERDICTS. why: one line for the keeper. movable_from: the instant from which a move will be
    allowed, where waiting helps; None otherwise.
    """

    kind: str
    why: str
    movable_from: datetime | None = None


def hang_time(pupa: Pupa, now: datetime) -> HangTime:
    """How long the pupa has hung at ``now``; once it emerged, how long it hung in all."""
    if pupa.formed_to is None:
        return HangTime(0.0, 0.0 if pupa.is_prepupa else None)
    ended_after, ended_by = now, now
    if pupa.emerged is not None and pupa.emerged.happened <= now:
        ended_after = pupa.emerged.since or pupa.formed_to
        ended_by = pupa.emerged.happened
    elif pupa.lost is not None and pupa.lost.happened <= now:
        ended_after = ended_by = pupa.lost.happened
    at_least = max(0.0, hours_between(pupa.formed_to, ended_after))
    at_most = None if pupa.formed_from is None else max(at_least, hours_between(pupa.formed_from, ended_by))
    return HangTime(at_least, at_most)


def set_hours(pupa: Pupa, settings: Settings) -> SetHours:
    """The hanging times to wait for: those for cold where any place it hung in is kept below the species' limit."""
    profile = settings.profile(pupa.species)
    hung_in = {pupa.site, pupa.place, *(move.entry.to for move in pupa.relocations)}
    temperatures = [settings.place(name).temperature_c for name in hung_in if name]
    if any(temperature is not None and temperature < profile.cold_below_c for temperature in temperatures):
        return SetHours(profile.cold_soft_hours, profile.cold_firm_hours, cold=True)
    return SetHours(profile.soft_hours, profile.firm_hours, cold=False)


def hung(pupa: Pupa, now: datetime, settings: Settings) -> Hung:
    """How the pupa hangs at ``now``. The stage is what was last seen, or told by the certain hang time where no colour
    has been seen: a pupa seen as soft turns ``set`` by time; darkening, clear and empty are only ever seen."""
    time, limits = hang_time(pupa, now), set_hours(pupa, settings)
    if pupa.is_prepupa:
        shown = "prepupa"
    elif pupa.emerged is not None:
        shown = "empty"
    elif pupa.stage_seen in STAGES[1:]:
        shown = pupa.stage_seen
    else:
        shown = "set" if time.at_least >= limits.soft else "soft"
    return Hung(time, limits, shown)


def stage(pupa: Pupa, now: datetime, settings: Settings) -> str:
    """The stage to show (see ``hung``)."""
    return hung(pupa, now, settings).stage


def early_moves(pupa: Pupa, settings: Settings) -> int:
    """How many of its moves, emergencies aside, came before the set hanging time was certainly over."""
    if not pupa.relocations:
        return 0
    limits = set_hours(pupa, settings)
    return sum(
        1
        for move in pupa.relocations
        if not move.entry.emergency
        and (pupa.formed_to is None or hours_between(pupa.formed_to, move.entry.earliest) < limits.soft)
    )


def judge(pupa: Pupa, now: datetime, settings: Settings) -> Verdict:
    """What the move rule says of this pupa at ``now``, the first line of the rule that fits."""
    return judged(pupa, hung(pupa, now, settings), now, settings)


def judged(pupa: Pupa, hangs: Hung, now: datetime, settings: Settings) -> Verdict:
    """The same, where it is known already how the pupa hangs at ``now``."""
    hang, limits, shown = hangs
    if not pupa.is_living:
        return Verdict("none", _gone(pupa, shown))
    if pupa.danger:
        reason = settings.care.emergencies.get(pupa.danger, pupa.danger)
        return Verdict("rescue", f"{pupa.danger.replace('-', ' ')}: {reason}")
    if pupa.formed_to is None:
        unformed = "still a hanging caterpillar; it has not shed its last skin"
        return Verdict("wait", unformed if pupa.is_prepupa else "nothing says when it formed; write that down first")
    if hours_between(pupa.formed_to, now) < limits.soft:
        kept = ", kept cold" if limits.cold else ""
        urge = "; dark or clear already, so bring a climb to it without touching it"
        return Verdict(
            "wait",
            f"hangs {hang.at_least:.0f} h for certain, soft until {limits.soft:.0f} h{kept}"
            + (urge if shown in ("darkening", "clear") else ""),
            pupa.formed_to + timedelta(hours=limits.soft),
        )
    if shown == "clear":
        return Verdict("leave", "its case is clear: it is about to emerge")
    if shown == "darkening":
        return Verdict("soon", "darkening: move it only from an unsafe place, and then today")
    if hang.at_least < limits.firm:
        return Verdict("care", f"hangs {hang.at_least:.0f} h for certain, firm only after {limits.firm:.0f} h")
    return Verdict("free", f"firm: hangs {hang.at_least:.0f} h for certain")


def overdue_dark(pupa: Pupa, now: datetime, profile: Profile) -> bool:
    """Dark for longer than the species usually is, and not clear: a reason to look for death or disease."""
    if pupa.stage_seen != "darkening" or not pupa.is_living:
        return False
    first_dark = next(seen.happened for seen in pupa.sightings if seen.stage == "darkening")
    return hours_between(first_dark, now) > profile.darkening_hours_high


def _gone(pupa: Pupa, shown: str) -> str:
    if pupa.lost is not None:
        return f"lost: {pupa.lost.cause}"
    if pupa.emerged is not None or pupa.released is not None:
        return "it has emerged"
    return f"its case is {shown}"
