"""A second look at a pupa or an adult: which signs to look for, what to make of them, what to set apart and clean.

It names signs and what they often stand for. It claims no diagnosis.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import NamedTuple

from pupawatch.care import hang
from pupawatch.model import spores
from pupawatch.model.adult_settings import Band, Health, Sign
from pupawatch.model.codes import GRADES, Grade, LookedAt
from pupawatch.model.entries import Cleaned, Entry, Finding
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.model.spores import Counted
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
    return [f for f in pupa.findings if grade([f.sign], health) == "set-apart" and not found_no_spores(f, health)]


def is_ill(pupa: Pupa, health: Health) -> bool:
    """Whether disease may be to blame for its end: signs of it as a pupa, or the spore parasite. What is seen of a
    butterfly alone, that it is weak or stuck, has other causes as well."""
    found = [health.signs[finding.sign] for finding in concerns(pupa, health)]
    return any(sign.parasite or not {"prepupa", "soft", "set", "darkening"}.isdisjoint(sign.stages) for sign in found)


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


def counted(finding: Finding, health: Health) -> Counted | None:
    """The spore count of a finding; of an older one that holds only a class, the counts that were meant. None where
    nobody counted."""
    return spores.counted(finding.spores, finding.load, health.older_classes)


def found_no_spores(finding: Finding, health: Health) -> bool:
    """Whether spores were looked for, and none seen."""
    found = counted(finding, health)
    return found is not None and found.high == 0


def band(count: int, health: Health) -> Band:
    """How such a spore count (≥ 0) is called."""
    return next(band for band in reversed(health.bands) if band.spores_from <= count)


def class_of(count: int, health: Health) -> int:
    """The class in which older versions put such a count, for programs that read it."""
    classes = enumerate(health.older_classes)
    return next(number for number, one in classes if one.high is None or count <= one.high)


def cleaned_enough(entry: Cleaned, health: Health) -> bool:
    """Whether the solution stood for as long as it takes to work."""
    cleaning = health.cleanings.get(entry.how)
    return cleaning is None or entry.minutes >= cleaning.contact_minutes


# -- what the decisions of the morning take from it


class Ailing(NamedTuple):
    """What is known of the health of all that hang or dry this morning, by pupa id.

    sick: the findings that ask to set it apart from others. exposed: whom it hung or dried beside that may carry the
    spore parasite. wasps: out of whom wasps came where and when it hung fresh itself.
    """

    sick: Mapping[str, list[Finding]]
    exposed: Mapping[str, list[Pupa]]
    wasps: Mapping[str, list[Pupa]]

    @classmethod
    def of(cls, state: State, now: datetime, settings: Settings) -> "Ailing":
        """The findings of this state, and what follows from them for the others, at ``now``."""
        sick: dict[str, list[Finding]] = {}
        exposed: dict[str, list[Pupa]] = {}
        wasps: dict[str, list[Pupa]] = {}
        for pupa in state.pupae.values():
            signs = settings.health.signs
            found = concerns(pupa, settings.health) if pupa.findings else []
            if catching := [finding for finding in found if signs[finding.sign].is_catching]:
                sick[pupa.id] = catching
            if any(signs[finding.sign].parasite for finding in found):
                stays = _stays(pupa, now, settings)
                for other in _others(pupa, state):
                    if any(_meet(a, b) for a in stays for b in _stays(other, now, settings)):
                        exposed.setdefault(other.id, []).append(pupa)
            for finding in found:
                if signs[finding.sign].attacks_fresh and now - finding.happened <= _WASPS_WATCHED:
                    for other in _others(pupa, state):
                        if _was_fresh_beside(other, pupa, finding, settings):
                            wasps.setdefault(other.id, []).append(pupa)
        return cls(sick, exposed, wasps)

    def is_taken_out(self, pupa: Pupa, settings: Settings) -> bool:
        """Whether what was found asks to take it out, and not to hang it elsewhere."""
        signs = settings.health.signs
        return any(signs[finding.sign].taken_out for finding in concerns(pupa, settings.health))


def asks_another_look(pupa: Pupa, health: Health) -> bool:
    """Whether the newest look at it found something that asks for another look."""
    if not pupa.findings:
        return False
    newest = [finding.sign for finding in pupa.findings if finding.act == pupa.findings[-1].act]
    return grade(newest, health) == "look-again"


def dries(pupa: Pupa, at: datetime, now: datetime, settings: Settings) -> bool:
    """Whether a butterfly takes up room at an instant, ``now`` or later, where it came out.

    Until it was released, kept elsewhere, seen dead or gone. It should be released after ``release_after_hours``; where
    nobody recorded that, it is taken to be there for a day more.
    """
    usual = _usually_released(pupa, settings)
    if usual is None or any(end.happened <= now for end in _ends(pupa)):
        return False
    return at < (usual if at > now else usual + _RELEASED_WITHIN)


def _usually_released(pupa: Pupa, settings: Settings) -> datetime | None:
    if pupa.emerged is None:
        return None
    return pupa.emerged.happened + timedelta(hours=settings.profile(pupa.species).release_after_hours)


def _ends(pupa: Pupa) -> list[Entry]:
    return [end for end in (pupa.released, pupa.lost, pupa.kept, pupa.died, pupa.gone) if end is not None]


_WASPS_WATCHED = timedelta(days=28)
"""Reasoned from the wasps' development: 12 d at 30 °C to 37 d at 18 °C (Takagi 1976, Jpn. J. Appl. Ent. Zool. 20)."""
_RELEASED_WITHIN = timedelta(hours=24)


class _Stay(NamedTuple):
    """It hung or dried in ``place`` between two instants."""

    place: str
    since: datetime
    until: datetime


def _stays(pupa: Pupa, now: datetime, settings: Settings) -> list[_Stay]:
    """Where it hung and dried, from when it was first known of until ``now``."""
    if not pupa.entries:
        return []
    usual = _usually_released(pupa, settings)
    end = min([*(end.happened for end in _ends(pupa)), now if usual is None else usual + _RELEASED_WITHIN])
    begins = [pupa.entries[0].earliest, *(move.entry.happened for move in pupa.relocations)]
    places = [*(move.origin for move in pupa.relocations), pupa.place]
    return [
        _Stay(place, since, until)
        for place, since, until in zip(places, begins, [*begins[1:], min(now, end)], strict=True)
    ]


def _meet(one: _Stay, other: _Stay) -> bool:
    return one.place == other.place != "" and max(one.since, other.since) < min(one.until, other.until)


def _others(pupa: Pupa, state: State) -> Iterable[Pupa]:
    return (other for other in state.pupae.values() if other.id != pupa.id)


def _was_fresh_beside(other: Pupa, host: Pupa, finding: Finding, settings: Settings) -> bool:
    """Whether it hung fresh where the wasps came out: when the host was attacked, which itself was fresh then, or when
    they came out. Fresh is from a hanging caterpillar to the end of the minimum hanging time."""
    fresh = _fresh(other, finding.happened, settings)
    attacked = _fresh(host, finding.happened, settings)
    soft = timedelta(hours=settings.profile(other.species).soft_hours)
    came = _Stay(host.place, finding.happened - soft, finding.happened + soft)
    return fresh is not None and (_meet(fresh, came) or (attacked is not None and _meet(fresh, attacked)))


def _fresh(pupa: Pupa, now: datetime, settings: Settings) -> _Stay | None:
    """Where and when it could be attacked; None for one of which nothing tells."""
    since = pupa.hanging_at or pupa.formed_from or pupa.formed_to
    if since is None or not pupa.site:
        return None
    hard = timedelta(hours=settings.profile(pupa.species).soft_hours)
    return _Stay(pupa.site, since, (pupa.formed_to or now) + hard)
