"""A notebook or a logger's readings brought into a journal: previewed, then all of it or nothing."""

from collections import defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

from pupawatch.care import hang
from pupawatch.errors import NotUnderstood
from pupawatch.exchange import logger, notebook
from pupawatch.keeper import Keeper
from pupawatch.model.state import State


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
        told = [f"{self.rows} rows, {self.pupae} pupae, {self.entries} entries that are new to the journal."]
        if self.unknown_places:
            told.append(f"Places not described yet (surface unknown): {', '.join(self.unknown_places)}.")
        if self.early:
            told.append(f"Moved before the set hanging time, kept as it was and flagged: {', '.join(self.early)}.")
        if self.contradictory:
            told.append(f"Entries that cannot all be so, kept and flagged: {', '.join(self.contradictory)}.")
        return told


def notebook_preview(keeper: Keeper, path: Path) -> Preview:
    """What the notebook at ``path`` would bring. Raises NotUnderstood with every bad cell."""
    return _preview(keeper, _read(keeper, path))


def notebook_in(keeper: Keeper, path: Path) -> tuple[Preview, int]:
    """Bring the notebook at ``path`` in; the preview, and how many entries were written."""
    read = _read(keeper, path)
    preview = _preview(keeper, read)
    written = len(keeper.bring_in(read.entries).entries)
    keeper.add_unknown_places(preview.unknown_places)
    return preview, written


class Logged(NamedTuple):
    """What a logger's file held: how it was read, good readings, those new to the journal, and what was left out."""

    layout: logger.Layout
    good: int
    new: int
    left: logger.Left

    def lines(self) -> list[str]:
        """The same in words."""
        return [*self.layout.lines(), f"{self.good} good readings, {self.new} of them new.", *self.left.lines()]


def temperatures(
    keeper: Keeper,
    path: Path,
    sensor: str,
    places: list[str],
    layout: str = "",
    dry_run: bool = False,
    seen: Callable[[int], None] = lambda _: None,
) -> Logged:
    """Bring a logger's readings in, and tie its sensors to ``places``; all of it or nothing.

    sensor: what to call the only sensor, "" takes the names in the file. layout: of its times, where it is not clear.
    seen: gets the number of characters read, for a progress bar. The file is never held whole.
    """
    how = logger.understand(path, keeper.settings.zone, sensor, layout)
    left, count = logger.Left({}, {}), 0

    def counted() -> Iterator[logger.Reading]:
        nonlocal count
        for reading in logger.readings(path, how, keeper.settings.zone, keeper.clock(), left, seen):
            count += 1
            yield reading

    if dry_run:
        for _ in counted():
            pass
        return Logged(how, count, 0, left)
    new = keeper.log(counted(), list(how.columns), places)
    return Logged(how, count, new, left)


def holders(state: State) -> defaultdict[str, list[notebook.Holder]]:
    """The pupae by the labels they carry, as far as reading a notebook needs to know them."""
    known: defaultdict[str, list[notebook.Holder]] = defaultdict(list)
    for pupa in state.pupae.values():
        ids = frozenset(entry.id for entry in pupa.entries)
        prepupa = pupa.is_open and pupa.is_prepupa
        begins = min(entry.earliest for entry in pupa.entries)
        known[pupa.label].append(notebook.Holder(pupa.id, pupa.place, begins, pupa.is_open, prepupa, ids))
    return known


def _read(keeper: Keeper, path: Path) -> notebook.Notebook:
    read = notebook.read(path, keeper.settings, keeper.clock(), holders(keeper.whole_state()).__getitem__)
    if read.problems:
        told = [f"{path}, {problem}" for problem in read.problems]
        raise NotUnderstood("Nothing was brought in; correct these cells first:\n" + "\n".join(told))
    return read


def _preview(keeper: Keeper, read: notebook.Notebook) -> Preview:
    settings = keeper.settings
    state = State(read.entries)
    pupae = list(state.pupae.values())
    places = {place for pupa in pupae for place in (pupa.site, pupa.place, *(m.entry.to for m in pupa.relocations))}
    return Preview(
        read.rows,
        len(pupae),
        len(keeper.unknown(read.entries)),
        sorted(place for place in places if not settings.knows_place(place)),
        sorted(pupa.label for pupa in pupae if hang.early_moves(pupa, settings)),
        sorted(pupa.label for pupa in pupae if pupa.flags),
    )
