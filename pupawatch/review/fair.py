"""Who is compared with whom, so that neither time nor luck of a season nor family feigns a difference.

Only pupae that have had time to end are counted, always within one season and species. What happens after pupation (a
move, the place of emergence) is compared among those that were alive at one common age, within one pupation surface:
those lost early never got a move, and would make any move look good.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from typing import NamedTuple

from pupawatch.model.degrees import shown_degrees
from pupawatch.model.ended import had_time_to_end
from pupawatch.model.places import told_of
from pupawatch.model.pupa import Pupa
from pupawatch.review.factors import JOIN, NOT_KNOWN, NOT_MOVED, Season, first_move, hang_at_move
from pupawatch.review.families import Member
from pupawatch.review.outcomes import DEFORMED, LOST, SOUND

LATE = frozenset({"moved", "method", "emergency", "place", "temperature"})
"""Factors that are only settled some time after pupation."""

_SOON, _WEEK = timedelta(days=2), timedelta(days=7)
"""Brood mates pupate within a few days of each other (common practice)."""
_MOST_MOVES = 0.9
"""The common age is the one by which nine in ten planned moves were made."""


class Told(NamedTuple):
    """A pupa whose end counts, whether it went well, and the group it is in."""

    pupa: Pupa
    hit: bool
    group: str


def ended(season: Season) -> Season:
    """Those that have had time to end by the instant of the review; all of them where no instant is known."""
    if season.now is None:
        return season
    old = had_time_to_end(season.pupae, season.now, season.settings)
    return Season(old, season.settings, season.now)


def landmark_hours(season: Season) -> float | None:
    """The common age in hours at which pupae are compared by what happened to them until then; None where nothing was
    moved as planned."""
    moved = sorted(hours for pupa in season.pupae if _planned(pupa) and (hours := hang_at_move(pupa)) is not None)
    return moved[min(len(moved) - 1, int(_MOST_MOVES * len(moved)))] if moved else None


def told(season: Season, by: str) -> list[Told]:
    """The pupae that are compared by a factor: ended, their outcome and their group known."""
    age = landmark_hours(season) if by in LATE else None
    column = season.column(by)
    found = []
    for pupa, outcome, group in zip(season.pupae, season.outcomes, column, strict=True):
        if outcome not in (SOUND, DEFORMED) and not outcome.startswith(LOST):
            continue
        if age is not None:
            if not _alive_at(pupa, age):
                continue
            group = _group_at(pupa, by, age, group, season)
        if group != NOT_KNOWN:
            found.append(Told(pupa, outcome == SOUND, group))
    return found


def members(compared: Iterable[Told], season: Season, by: str, group: str) -> Iterator[Member]:
    """The same as the question whether one group differs from the others."""
    stratum_of, family_of = stratum_names(season, by), family_names(season)
    for one in compared:
        yield Member(family_of[one.pupa.id], stratum_of[one.pupa.id], one.group == group, one.hit)


def stratum_names(season: Season, by: str) -> dict[str, str]:
    """Within what each pupa is compared, by its id: season and species, and for what happens later the surface it
    pupated on."""
    factors = [name for name in ("season", "species") if name != by]
    factors += ["surface"] if by in LATE else []
    columns = [season.column(name) for name in factors]
    return {pupa.id: JOIN.join(parts) for pupa, *parts in zip(season.pupae, *columns, strict=True)}


def family_names(season: Season) -> dict[str, str]:
    """The family of each pupa by its id: its brood, or, where that was not recorded, those of its site and species that
    pupated one soon after the other, within a week at most."""
    named = {pupa.id: f"brood {pupa.brood}" for pupa in season.pupae if pupa.brood}
    at_site: dict[tuple[str, str], list[Pupa]] = defaultdict(list)
    for pupa, site in zip(season.pupae, season.column("site"), strict=True):
        if not pupa.brood:
            at_site[site, pupa.species].append(pupa)
    for (site, species), pupae in at_site.items():
        first = last = None
        for pupa in sorted(pupae, key=_pupated):
            at = _pupated(pupa)
            if first is None or last is None or at - last > _SOON or at - first >= _WEEK:
                first = at
            last = at
            named[pupa.id] = f"{site}{JOIN}{species}{JOIN}{first:%Y-%m-%d %H:%M}"
    return named


def _pupated(pupa: Pupa) -> datetime:
    return pupa.formed_to or pupa.entries[0].happened


def _planned(pupa: Pupa) -> bool:
    move = first_move(pupa)
    return move is not None and not move.emergency


def _alive_at(pupa: Pupa, hours: float) -> bool:
    """Whether it was a living pupa at that age."""
    if pupa.formed_to is None:
        return False
    at = pupa.formed_to + timedelta(hours=hours)
    ends = [pupa.lost.happened if pupa.lost else None, pupa.emerged.happened if pupa.emerged else None]
    return all(end is None or end > at for end in ends)


def _group_at(pupa: Pupa, by: str, hours: float, group: str, season: Season) -> str:
    """Its group by what had happened to it at that age."""
    assert pupa.formed_to is not None
    at = pupa.formed_to + timedelta(hours=hours)
    if by in ("place", "temperature"):
        place = next((move.entry.to for move in reversed(pupa.relocations) if move.entry.earliest <= at), pupa.site)
        if by == "place":
            return place or NOT_KNOWN
        return group if place == pupa.place else _kept_at(pupa, place, season)
    moved = first_move(pupa)
    return NOT_MOVED if moved is None or moved.earliest > at else group


def _kept_at(pupa: Pupa, place: str, season: Season) -> str:
    kept_at = told_of(pupa, place, season.settings).temperature_c
    return NOT_KNOWN if kept_at is None else shown_degrees(kept_at, season.settings.unit)
