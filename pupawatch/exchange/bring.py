"""A notebook brought into a journal: previewed, then taken in as one act, all of it or nothing."""

from pathlib import Path
from typing import NamedTuple

from pupawatch.care import hang
from pupawatch.errors import NotUnderstood
from pupawatch.exchange import notebook
from pupawatch.keeper import Keeper
from pupawatch.model.state import State

_MOST_PROBLEMS = 20


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
    return preview, len(keeper.bring_in(read.entries).entries)


def _read(keeper: Keeper, path: Path) -> notebook.Notebook:
    held = {
        pupa.label: notebook.Holder(pupa.id, pupa.place, pupa.is_prepupa)
        for pupa in keeper.whole_state().pupae.values()
        if pupa.is_open
    }
    read = notebook.read(path, keeper.settings, keeper.clock(), held.get)
    if read.problems:
        told = [f"{path}, {problem}" for problem in read.problems[:_MOST_PROBLEMS]]
        if len(read.problems) > _MOST_PROBLEMS:
            told.append(f"and {len(read.problems) - _MOST_PROBLEMS} more")
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
