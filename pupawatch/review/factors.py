"""What the season can be asked by: each factor puts every pupa into one group, so that the groups add up.

To add a factor: write how it names the group of a pupa and give it a line in ``FACTORS``.
"""

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from functools import cache, cached_property
from itertools import chain
from zoneinfo import ZoneInfo

from pupawatch.errors import NotUnderstood
from pupawatch.model.degrees import shown_degrees
from pupawatch.model.entries import Finding, Moved
from pupawatch.model.places import told_of
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.model.state import natural_order
from pupawatch.model.text import did_you_mean
from pupawatch.model.times import first_of_season, hours_between
from pupawatch.review.outcomes import DEFORMED, LOST, SOUND, Counts, has_formed, outcomes

NOT_KNOWN, NOT_MOVED = "not known", "not moved"
JOIN = " · "
"""Stands between the groups of two factors asked at once."""

_DAY = timedelta(days=1)

Grouper = Callable[[Pupa], str]


def first_move(pupa: Pupa) -> Moved | None:
    """The first time it was hung elsewhere as a pupa; a move that came after its emergence is none."""
    if not pupa.relocations:
        return None
    move = pupa.relocations[0].entry
    return None if pupa.emerged is not None and move.earliest > pupa.emerged.happened else move


def hang_at_move(pupa: Pupa) -> float | None:
    """The certain hang time in hours when it was first moved, None where it was not, or that is not known."""
    move = first_move(pupa)
    if move is None or pupa.formed_to is None:
        return None
    return max(0.0, hours_between(pupa.formed_to, move.earliest))


def _site(_: Settings) -> Grouper:
    return lambda pupa: pupa.site or NOT_KNOWN


def _place(_: Settings) -> Grouper:
    return lambda pupa: pupa.place or NOT_KNOWN


def _surface(settings: Settings) -> Grouper:
    return lambda pupa: told_of(pupa, pupa.site, settings).surface


def _temperature(settings: Settings) -> Grouper:
    def temperature(pupa: Pupa) -> str:
        kept_at = told_of(pupa, pupa.place, settings).temperature_c
        return NOT_KNOWN if kept_at is None else shown_degrees(kept_at, settings.unit)

    return temperature


def _moved(_: Settings) -> Grouper:
    return lambda pupa: "moved" if first_move(pupa) else NOT_MOVED


def _method(_: Settings) -> Grouper:
    def method(pupa: Pupa) -> str:
        move = first_move(pupa)
        return NOT_MOVED if move is None else move.method or NOT_KNOWN

    return method


def _emergency(_: Settings) -> Grouper:
    def emergency(pupa: Pupa) -> str:
        move = first_move(pupa)
        return NOT_MOVED if move is None else "emergency" if move.emergency else "planned"

    return emergency


def _hang(settings: Settings) -> Grouper:
    ends = settings.care.review.hang_bins_hours
    bounds = [0.0, *ends]
    names = [f"{low:g}–{high:g} h" for low, high in zip(bounds, ends, strict=False)] + [f"{ends[-1]:g} h or more"]

    def hang(pupa: Pupa) -> str:
        hours = hang_at_move(pupa)
        if hours is None:
            return NOT_KNOWN if first_move(pupa) else NOT_MOVED
        return names[bisect_right(ends, hours)]

    return hang


def _season(settings: Settings) -> Grouper:
    first, zone = settings.care.review.season_starts_month, settings.zone

    def season(day: date) -> str:
        if first == 1:
            return str(day.year)
        year = first_of_season(day, first).year
        return f"{year}/{(year + 1) % 100:02}"

    return _by_local_day(zone, season)


def _week(settings: Settings) -> Grouper:
    def week(day: date) -> str:
        year, number, _ = day.isocalendar()
        return f"{year}-W{number:02}"

    return _by_local_day(settings.zone, week)


def _species(_: Settings) -> Grouper:
    return lambda pupa: pupa.species or NOT_KNOWN


def _sex(_: Settings) -> Grouper:
    return lambda pupa: pupa.sex or NOT_KNOWN


def _brood(_: Settings) -> Grouper:
    return lambda pupa: pupa.brood or NOT_KNOWN


def _finding(_: Settings) -> Grouper:
    def finding(pupa: Pupa) -> str:
        for entry in reversed(pupa.entries):
            if isinstance(entry, Finding):
                return entry.sign
        return "no finding"

    return finding


FACTORS: dict[str, tuple[str, Callable[[Settings], Grouper]]] = {
    "site": ("pupation site", _site),
    "place": ("the place where it emerged or hangs", _place),
    "surface": ("surface of the pupation site", _surface),
    "moved": ("moved or not", _moved),
    "method": ("how it was first moved", _method),
    "hang": ("hang time at the first move, at least", _hang),
    "emergency": ("first moved as planned or in an emergency", _emergency),
    "season": ("season of pupation", _season),
    "week": ("week of pupation", _week),
    "species": ("species", _species),
    "sex": ("sex", _sex),
    "brood": ("brood", _brood),
    "temperature": ("usual temperature of its last place", _temperature),
    "finding": ("newest health finding", _finding),
}
"""Every factor: what it asks in words, and how it names the group of a pupa under these settings."""


class Season:
    """Pupae under review: one outcome each, and on demand the group each is in by any factor. now: the instant they are
    looked at, None where that does not matter."""

    def __init__(self, pupae: Iterable[Pupa], settings: Settings, now: datetime | None = None) -> None:
        self.now = now
        formed = [pupa for pupa in pupae if has_formed(pupa)]
        self._by_outcome: defaultdict[str, list[Pupa]] = defaultdict(list)
        for pupa, outcome in zip(formed, outcomes(formed, settings), strict=True):
            self._by_outcome[outcome].append(pupa)
        self.settings = settings
        # Pupae of one outcome stand together, so that counting a column is counting its slices.
        self.pupae = list(chain.from_iterable(self._by_outcome.values()))
        self.outcomes = [outcome for outcome, found in self._by_outcome.items() for _ in found]
        self._columns: dict[str, list[str]] = {}

    def column(self, by: str) -> list[str]:
        """The group of each pupa by a factor, or by two joined with a comma (``site,moved``)."""
        if by not in self._columns:
            parts = [list(map(FACTORS[name][1](self.settings), self.pupae)) for name in understood(by)]
            self._columns[by] = parts[0] if len(parts) == 1 else list(map(JOIN.join, zip(*parts, strict=True)))
        return self._columns[by]

    def counts(self, by: str) -> dict[str, Counts]:
        """The counts of each group, in the natural order of the groups."""
        found: defaultdict[str, dict[str, int]] = defaultdict(dict)
        column, begin = self.column(by), 0
        for outcome, pupae in self._by_outcome.items():
            for group, number in Counter(column[begin : begin + len(pupae)]).items():
                found[group][outcome] = number
            begin += len(pupae)
        families = self._families(column)
        told = {group: Counts.of(found[group]) for group in sorted(found, key=natural_order)}
        return {group: counts._replace(families=families.get(group, ())) for group, counts in told.items()}

    def total(self) -> Counts:
        """The counts of all together."""
        counts = Counts.of({outcome: len(pupae) for outcome, pupae in self._by_outcome.items()})
        return counts._replace(families=self._families([""] * len(self.pupae)).get("", ()))

    @cached_property
    def _has_broods(self) -> bool:
        return any(pupa.brood for pupa in self.pupae)

    def _families(self, column: Sequence[str]) -> dict[str, tuple[tuple[int, int], ...]]:
        """By group the hits and number of known outcomes of each brood; one of no recorded brood stands for itself.
        Nothing in a group without any brood, whose pupae are taken as independent."""
        if not self._has_broods:
            return {}
        found: dict[str, dict[str, list[int]]] = defaultdict(lambda: defaultdict(lambda: [0, 0]))
        for pupa, outcome, group in zip(self.pupae, self.outcomes, column, strict=True):
            if outcome in (SOUND, DEFORMED) or outcome.startswith(LOST):
                one = found[group][pupa.brood or pupa.id]
                one[0] += outcome == SOUND
                one[1] += 1
        larger = {group: some for group, some in found.items() if any(n > 1 for _, n in some.values())}
        return {group: tuple((hits, n) for hits, n in some.values()) for group, some in larger.items()}

    def groups(self, by: str) -> dict[str, list[Pupa]]:
        """The pupae of each group, in the natural order of the groups."""
        found: defaultdict[str, list[Pupa]] = defaultdict(list)
        for group, pupa in zip(self.column(by), self.pupae, strict=True):
            found[group].append(pupa)
        return {group: found[group] for group in sorted(found, key=natural_order)}

    def only(self, filters: Mapping[str, str]) -> "Season":
        """The pupae that are in all of these groups, factor by factor.

        Raises NotUnderstood where a factor has no such group.
        """
        kept = [True] * len(self.pupae)
        for by, wanted in filters.items():
            column = self.column(by)
            if wanted not in column:
                groups = sorted(set(column), key=natural_order)
                hint = did_you_mean(wanted, groups) or f". There are: {', '.join(groups[:12]) or 'none'}."
                raise NotUnderstood(f"By {by} there is no group “{wanted}”{hint}")
            kept = [keep and group == wanted for keep, group in zip(kept, column, strict=True)]
        return Season([pupa for pupa, keep in zip(self.pupae, kept, strict=True) if keep], self.settings, self.now)


def understood(by: str) -> list[str]:
    """The factors named in ``by``, one or two with a comma between; NotUnderstood for anything else."""
    names = [name.strip() for name in by.split(",")]
    for name in names:
        if name not in FACTORS:
            hint = did_you_mean(name, FACTORS) or "."
            raise NotUnderstood(f"“{name}” is not a question of the review{hint} There are: {', '.join(FACTORS)}.")
    if len(names) > 2 or len(set(names)) < len(names):
        raise NotUnderstood(f"“{by}” asks too much at once; name one factor, or two different ones (site,moved).")
    return names


def _by_local_day(zone: str, name: Callable[[date], str]) -> Grouper:
    """Names the group of the local day by which it formed, or was last told of, seen from ``zone``."""
    local, of_day = ZoneInfo(zone), cache(name)

    @cache
    def offset(day: date) -> timedelta | None:
        # Zone rules are slow to ask, so each UTC day asks once; None on a day on which the clocks are changed.
        begin = datetime(day.year, day.month, day.day, tzinfo=UTC)
        first, last = ((begin + days * _DAY).astimezone(local).utcoffset() for days in (0, 1))
        return first if first == last else None

    def group(pupa: Pupa) -> str:
        moment = pupa.formed_to or pupa.entries[0].happened
        ahead = offset(moment.date())
        return of_day((moment.astimezone(local) if ahead is None else moment + ahead).date())

    return group
