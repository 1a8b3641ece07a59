"""Everything a set of entries says: a fold that is the same whatever order they come in."""

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import UTC, datetime
from functools import lru_cache

from msgspec.structs import replace

from pupawatch.model.entries import Entry, Looked, OfPupa, Retraction, encode
from pupawatch.model.fold import fold
from pupawatch.model.pupa import Pupa

_NEVER = datetime(1970, 1, 1, tzinfo=UTC)


class State:
    """The pupae and looks that the entries tell of, minus what was taken back.

    Entries can be added at any time and in any order; only the pupae and places they touch are folded again.
    """

    def __init__(self, entries: Iterable[Entry] = ()) -> None:
        self.pupae: dict[str, Pupa] = {}
        self.looks: dict[str, list[datetime]] = {}
        self.retracted: frozenset[str] = frozenset()
        self._of_pupa: dict[str, dict[object, Entry]] = defaultdict(dict)
        self._of_place: dict[str, dict[object, Entry]] = defaultdict(dict)
        self._retractions: dict[object, Retraction] = {}
        self._differing: dict[str, dict[str, set[Entry]]] = defaultdict(dict)  # by pupa and id
        self.add(entries)

    def add(self, entries: Iterable[Entry]) -> None:
        """Take in entries; those already known are passed over."""
        pupae: set[str] = set()
        places: set[str] = set()
        retractions = len(self._retractions)
        for entry in entries:
            if isinstance(entry, OfPupa):
                first = self._of_pupa[entry.pupa].setdefault(entry.id, entry)
                if first is not entry and first != entry:
                    self._differing[entry.pupa].setdefault(entry.id, {first}).add(entry)
                pupae.add(entry.pupa)
            elif isinstance(entry, Looked):
                self._of_place[entry.place][entry.id, entry.act, entry.happened] = entry
                places.add(entry.place)
            elif isinstance(entry, Retraction):
                self._retractions[entry.id, entry.act, entry.target] = entry
        if len(self._retractions) != retractions:
            before, self.retracted = self.retracted, retracted_acts(self._retractions.values())
            changed = before ^ self.retracted
            pupae.update(
                pupa
                for pupa, differing in self._differing.items()
                if any(entry.act in changed for told in differing.values() for entry in told)
            )
            for known, touched in ((self._of_pupa, pupae), (self._of_place, places)):
                touched.update(about for about, es in known.items() if any(e.act in changed for e in es.values()))
        for pupa_id in sorted(pupae):  # sets have another order in every process
            live = self._live({**self._of_pupa[pupa_id], **self._chosen(pupa_id)})
            if live:
                self.pupae[pupa_id] = fold(pupa_id, live)
                self.pupae[pupa_id].disputed = self._is_disputed(pupa_id)
            else:
                self.pupae.pop(pupa_id, None)
        for place in places:
            self.looks[place] = sorted(entry.happened for entry in self._live(self._of_place[place]))

    def _live(self, entries: dict[object, Entry]) -> list[Entry]:
        if not self.retracted:
            return list(entries.values())
        return [entry for entry in entries.values() if entry.act not in self.retracted]

    def _chosen(self, pupa_id: str) -> dict[object, Entry]:
        """Of what united journals tell differently about one entry: of each kind the one that claims least.

        What no one took back comes first; then the latest end, the earliest beginning, and at last the text, so that
        the choice is the same on every machine.
        """
        if pupa_id not in self._differing:
            return {}
        chosen: dict[object, Entry] = {}
        for identity, told in self._differing[pupa_id].items():
            kinds = {type(entry): entry for entry in sorted(told, key=self._claim)}
            chosen |= {identity if n == 0 else (identity, n): entry for n, entry in enumerate(kinds.values())}
        return chosen

    def _claim(self, entry: Entry) -> tuple[bool, datetime, bool, float, bytes]:
        since = entry.since
        begins = -since.timestamp() if since else 0.0
        return entry.act not in self.retracted, entry.happened, since is None, begins, encode(entry)

    def _is_disputed(self, pupa_id: str) -> bool:
        """Whether united journals tell anything about this pupa differently, beside who wrote it down and when."""
        differing = self._differing[pupa_id].values() if pupa_id in self._differing else ()
        alive = [{_bare(entry) for entry in told if entry.act not in self.retracted} for told in differing]
        return any(len(told) > 1 for told in alive)

    def living_by_place(self) -> Counter[str]:
        """How many living pupae hang in each place."""
        return Counter(pupa.place for pupa in self.pupae.values() if pupa.is_living)

    def open_pupae(self) -> list[Pupa]:
        """Every pupa still in care (see ``Pupa.is_open``), by label, and by id where two carry one label."""
        return sorted((pupa for pupa in self.pupae.values() if pupa.is_open), key=lambda p: (by_label(p), p.id))

    def labelled(self, label: str) -> list[Pupa]:
        """Whom a label means, by id; more than one where it is ambiguous, none where nobody ever carried it.

        All that hold it, where none does the newest that carries it, and where none does, those that once carried it,
        by the same rule. The same case of letters goes before any other.
        """
        return self._meant(label, lambda pupa: [pupa.label]) or self._meant(label, lambda pupa: pupa.labels)

    def _meant(self, label: str, names: Callable[[Pupa], list[str]]) -> list[Pupa]:
        pupae = [(pupa, names(pupa)) for pupa in self.pupae.values()]
        found = [pupa for pupa, called in pupae if label in called]
        if not found:
            folded = label.casefold()
            found = [pupa for pupa, called in pupae if folded in {name.casefold() for name in called}]
        holding = sorted((pupa for pupa in found if pupa.holds_label), key=lambda pupa: pupa.id)
        return holding or sorted(found, key=lambda pupa: (pupa.entries[-1].happened, pupa.id))[-1:]

    def holders(self, label: str) -> list[Pupa]:
        """The pupae that hold a label, in any case of letters, by id; those that spell it so where there are any."""
        held = [pupa for pupa in self.pupae.values() if pupa.holds_label]
        same = [pupa for pupa in held if pupa.label == label]
        any_case = [pupa for pupa in held if pupa.label.casefold() == label.casefold()]
        return sorted(same or any_case, key=lambda pupa: pupa.id)

    def ambiguous(self) -> dict[str, list[Pupa]]:
        """The labels that more than one pupa holds, each with those that do, by id."""
        held: dict[str, list[Pupa]] = defaultdict(list)
        for pupa in sorted(self.pupae.values(), key=lambda pupa: pupa.id):
            if pupa.holds_label and pupa.label:
                held[pupa.label].append(pupa)
        return {label: pupae for label, pupae in held.items() if len(pupae) > 1}

    def newest_writing(self) -> tuple[datetime, str] | None:
        """The latest time at which a clock dated the writing of an entry about one still in care, and its label.

        What was taken back, or is about one that is gone, says nothing for today's clock that still matters.
        """
        kept = (pupa for pupa in self.pupae.values() if pupa.holds_label)
        return max(((entry.recorded, pupa.label) for pupa in kept for entry in pupa.entries), default=None)

    def last_look(self, place: str, before: datetime) -> datetime | None:
        """When ``place`` was last looked over before (or at) that instant, None if never."""
        return max((at for at in self.looks.get(place, ()) if at <= before), default=None)


def until(entries: Iterable[Entry], moment: datetime) -> Iterator[Entry]:
    """Those that had happened by then, and every retraction: what was taken back never was so."""
    return (entry for entry in entries if entry.happened <= moment or isinstance(entry, Retraction))


def _bare(entry: Entry) -> Entry:
    """An entry without what two machines may tell differently of the same thing: the act, the hour and zone of writing,
    and in history the end of an interval, which is the hour of bringing it in where the notebook names none."""
    ends = {"since": None, "happened": _NEVER} if entry.history else {}
    return replace(entry, act="", recorded=_NEVER, zone="", **ends)


def retracted_acts(retractions: Iterable[Retraction]) -> frozenset[str]:
    """The acts that are taken back: those named by a retraction that is not itself taken back.

    A retraction only takes back what was written before it, and ids grow with every act, so the newest are settled
    first: no order of arrival, and no circle of hostile entries, can change the answer.
    """
    dead: set[str] = set()
    for retraction in sorted(retractions, key=lambda entry: (entry.id, entry.act, entry.target), reverse=True):
        if retraction.act not in dead:
            dead.add(retraction.target)
    return frozenset(dead)


_NUMBERS = re.compile(r"(\d+)")


def by_label(pupa: Pupa) -> tuple[tuple[int, str], ...]:
    """A sorting key for pupae: by label, in natural order."""
    return natural_order(pupa.label)


@lru_cache(maxsize=4096)
def natural_order(text: str) -> tuple[tuple[int, str], ...]:
    """A sorting key that reads words with numbers as people do: A2 before A10."""
    parts = _NUMBERS.split(text.casefold())
    return tuple((int(part) if part.isdecimal() else -1, part) for part in parts)


def folded(batches: Iterable[Sequence[Entry]], moment: datetime | None = None) -> State:
    """What these entries say, as it stood at ``moment`` where one is named."""
    state = State()
    for entries in batches:
        state.add(entries if moment is None else until(entries, moment))
    return state
