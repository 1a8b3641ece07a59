"""A second look at a pupa or an adult: which signs to look for, what to make of them, what to set apart and clean.

It names signs and what they often stand for. It claims no diagnosis.
"""

from collections.abc import Iterable
from datetime import datetime
from typing import NamedTuple

from pupawatch.care import hang
from pupawatch.model.adult_settings import Health, Sign
from pupawatch.model.codes import GRADES, Grade, LookedAt
from pupawatch.model.entries import Cleaned, Finding
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.model.state import State, by_label

NOTHING = "nothing-unusual"
"""The finding of a check that showed no sign."""


class Proposal(NamedTuple):
    """What to set apart after a finding: its place, what hangs beside it, and the places next to it on the walk."""

    place: str
    beside: list[Pupa]
    next_to: list[str]
    why: str


def stage_of(pupa: Pupa, now: datetime, settings: Settings) -> LookedAt:
    """The stage its signs are looked up under: a colour stage, ``prepupa`` or ``adult``."""
    return "adult" if pupa.emerged is not None else hang.stage(pupa, now, settings)


def signs_at(stage: LookedAt, health: Health) -> dict[str, Sign]:
    """The signs to look for at a stage, in the order in which they are asked."""
    return {name: sign for name, sign in health.signs.items() if stage in sign.stages}


def grade(seen: Iterable[str], health: Health) -> Grade:
    """What the seen signs ask for together: the gravest of their grades. The keeper's own words ask to look again."""
    grades: list[Grade] = [
        health.signs[name].grade if name in health.signs else "look-again" for name in seen if name != NOTHING
    ]
    return max(grades, key=GRADES.index, default="normal")


def concerns(pupa: Pupa, health: Health) -> list[Finding]:
    """Its findings that ask to set it apart."""
    return [f for f in pupa.findings if grade([f.sign], health) == "set-apart" and f.load != 0]


def proposal(pupa: Pupa, state: State, settings: Settings) -> Proposal | None:
    """What to set apart because of this pupa's or adult's findings, None where they do not ask for it."""
    found = concerns(pupa, settings.health)
    if not found or not pupa.place:
        return None
    walk = [place.name for place in settings.places if not place.retired]
    at = walk.index(pupa.place) if pupa.place in walk else None
    next_to = [] if at is None else [*walk[max(0, at - 1) : at], *walk[at + 1 : at + 2]]
    beside = [
        p for p in state.pupae.values() if p.place == pupa.place and p.id != pupa.id and (p.is_living or p.is_adult)
    ]
    why = f"{pupa.label}: {', '.join(dict.fromkeys(f.sign.replace('-', ' ') for f in found))}"
    return Proposal(pupa.place, sorted(beside, key=by_label), next_to, why)


def spore_class(count: int, health: Health) -> int:
    """The class of a spore count (≥ 0) on a tape print."""
    return next(number for number, load in enumerate(health.loads) if load.spores_to is None or count <= load.spores_to)


def cleaned_enough(entry: Cleaned, health: Health) -> bool:
    """Whether the solution stood for as long as it takes to work."""
    cleaning = health.cleanings.get(entry.how)
    return cleaning is None or entry.minutes >= cleaning.contact_minutes
