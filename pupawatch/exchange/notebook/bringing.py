"""A notebook brought into a journal: previewed, then all of it or nothing."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from pupawatch.care import hang
from pupawatch.errors import NotUnderstood
from pupawatch.exchange.notebook import reading as notebook
from pupawatch.exchange.progress import Watch, size_of, unwatched
from pupawatch.exchange.staging import Staging
from pupawatch.keeper import Keeper
from pupawatch.model.entries import Entry, Found, Hanging, Relabelled
from pupawatch.model.fold import fold
from pupawatch.model.settings import Place
from pupawatch.model.state import State
from pupawatch.model.text import counted

_NAMED = 30
"""How many names a preview tells before it only counts."""


class Preview(NamedTuple):
    """What a notebook would bring: entries the journal does not hold yet, and what should be known beforehand."""

    rows: int
    pupae: int
    entries: int
    unknown_places: list[str]
    early: list[str]
    contradictory: list[str]

    def lines(self) -> list[str]:
        """The preview in words."""
        rows, pupae = counted(self.rows, "row", "rows"), counted(self.pupae, "pupa", "pupae")
        told = [f"{rows}, {pupae}, {counted(self.entries, 'entry', 'entries')} new to the journal."]
        if self.unknown_places:
            told.append(f"Places not described yet (surface unknown): {_some(self.unknown_places)}.")
        if self.early:
            told.append(f"Moved before the minimum hanging time, kept as recorded and flagged: {_some(self.early)}.")
        if self.contradictory:
            told.append(f"Contradictory entries, kept and flagged: {_some(self.contradictory)}.")
        return told


def _some(names: list[str]) -> str:
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more


def notebook_preview(keeper: Keeper, path: Path, watch: Watch = unwatched) -> Preview:
    """What the notebook at ``path`` would bring. Raises NotUnderstood with every bad cell."""
    with Staging() as staging:
        rows = _lay_out(keeper, path, staging, watch)
        return previewed(keeper, staging, rows)


def notebook_in(keeper: Keeper, path: Path, watch: Watch = unwatched) -> tuple[Preview, int]:
    """Bring the notebook at ``path`` in; the preview, and how many entries were written. It is never held whole."""
    with Staging() as staging:
        rows = _lay_out(keeper, path, staging, watch)
        preview = previewed(keeper, staging, rows)
        keeper.places.check_can_be_added(preview.unknown_places)
        written = keeper.bring_in(watched(staging.batches(), len(staging), watch))
    keeper.places.add(Place(name=name) for name in preview.unknown_places)
    return preview, written


def watched(batches: Iterable[list[Entry]], of: int, watch: Watch) -> Iterator[list[Entry]]:
    """The batches, while what is written of them is told."""
    for batch in batches:
        yield batch
        watch("writing", len(batch), of)


def holders(state: State) -> defaultdict[str, list[notebook.Holder]]:
    """The pupae by the labels they carry, as far as reading a notebook needs to know them."""
    known: defaultdict[str, list[notebook.Holder]] = defaultdict(list)
    for pupa in state.pupae.values():
        ids = frozenset(entry.id for entry in pupa.entries)
        prepupa = pupa.is_open and pupa.is_prepupa
        begins = min(entry.earliest for entry in pupa.entries)
        ends = [end.happened for end in (pupa.lost, pupa.released, pupa.emerged) if end]
        ended = None if pupa.is_open else ends[0]
        known[pupa.label].append(notebook.Holder(pupa.id, pupa.place, begins, ended, prepupa, ids))
    return known


def _lay_out(keeper: Keeper, path: Path, staging: Staging, watch: Watch) -> int:
    """Lay the notebook out and count its rows. Raises NotUnderstood with every bad cell."""
    size = size_of(path)
    problems, rows = notebook.lay_out(
        path,
        staging,
        keeper.settings,
        keeper.clock(),
        known_pupae(keeper, staging),
        lambda more: watch("reading", more, size),
    )
    if problems:
        told = [f"{path}, {problem}" for problem in problems]
        raise NotUnderstood("Nothing was imported; correct these cells first:\n" + "\n".join(told))
    return rows


def known_pupae(keeper: Keeper, staging: Staging) -> Callable[[str], list[notebook.Holder]]:
    """Asks the journal for the pupae that carry a label, only when a row names it."""
    naming = Found | Hanging | Relabelled
    for named in keeper.journal.read_naming():
        staging.hold((entry.label, entry.pupa) for entry in named if isinstance(entry, naming))
    retractions = keeper.journal.retractions()

    def known(label: str) -> list[notebook.Holder]:
        state = State(retractions)
        for pupa in staging.holding(label):
            for some in keeper.journal.read_about(pupa):
                state.add(some)
        return holders(state)[label]

    return known


def previewed(keeper: Keeper, staging: Staging, rows: int) -> Preview:
    """What would come in of so many rows that are laid out."""
    settings = keeper.settings
    places: set[str] = set()
    early, contradictory, pupae = [], [], 0
    for identity, entries in staging.by_pupa():
        pupa = fold(identity, entries)
        pupae += 1
        places.update((pupa.site, pupa.place, *(m.entry.to for m in pupa.relocations)))
        if hang.early_moves(pupa, settings):
            early.append(pupa.label)
        if pupa.flags:
            contradictory.append(pupa.label)
    unknown_places = sorted(place for place in places if not settings.knows_place(place))
    fresh = sum(len(batch) for batch in keeper.unknown(staging.batches()))
    return Preview(rows, pupae, fresh, unknown_places, sorted(early), sorted(contradictory))
