"""How a journal is kept: looked through for damage, copied, put back, and united with another keeper's."""

import sys
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from pupawatch import settings as files
from pupawatch.clock import system_clock
from pupawatch.errors import Damaged, NotUnderstood, Unusable
from pupawatch.journal import backup as copies
from pupawatch.journal import leftovers, whereabouts
from pupawatch.journal.file import Journal
from pupawatch.journal.merge import Merged
from pupawatch.keeper import Keeper
from pupawatch.keeper.conditions import expected_days
from pupawatch.keeper.desk import REMEMBERED
from pupawatch.model.entries import kind_of
from pupawatch.model.ids import CLOCK_SLACK
from pupawatch.model.labels import handles
from pupawatch.model.places import told_of
from pupawatch.model.state import State
from pupawatch.model.text import counted, typed
from pupawatch.model.times import shown_time
from pupawatch.words.labels import told_apart

_NAMED = 3
"""So many entries that hold what they may not are named."""


# -- check


def check(path: Path, folder: Path | None) -> Iterator[str]:
    """All that is wrong with the journal, its copies, the settings, in words. Raises Unusable for damage."""
    newest = next(copies.good_copies(path), None)
    way = "There is no good backup."
    if newest:
        way = f"The newest good backup is {newest}: pupawatch restore {typed(str(newest))}"
    try:
        journal = Journal(path)
    except Unusable as error:
        raise Unusable(f"{error} {way}" if newest else str(error)) from None
    try:
        problems = _problems(journal)
        entries = 0 if problems else journal.last()
    finally:
        journal.close()
    yield from problems
    if problems:
        raise Unusable(f"{path} is damaged. {way}")
    yield f"{path}: {entries} entries, all undamaged."
    yield f"The journal is in {path.parent}, your settings are in {folder or files.default_folder()}."
    if unsafe := whereabouts.warning(path):
        yield unsafe
    if told := journal.left_out():
        yield f"{told} Nothing can be written in this journal until then."
    yield from _of_copies(path, newest)
    yield from _of_entries(path)
    expected_days(files.load(folder), folder)  # both say themselves what is wrong


def _problems(journal: Journal) -> list[str]:
    """What is wrong with a journal, a sentence each: what SQLite, the checksums and the reading of every entry find."""
    try:
        found = journal.problems()
        for _ in () if found else journal.read_all():
            pass
    except Damaged as error:
        return [str(error)]
    return found


def _is_damaged(path: Path) -> bool:
    try:
        journal = Journal(path)
    except Unusable:
        return True
    try:
        return bool(_problems(journal))
    finally:
        journal.close()


def _of_copies(path: Path, newest: Path | None) -> Iterator[str]:
    """What should be known of the copies of a whole journal, and of who may read them and it."""
    beside = list(copies.folder_of(path).glob(f"*{path.suffix}"))
    bad = [copy.name for copy in beside if not copies.is_whole(copy)]
    if newest:
        yield f"{counted(len(beside) - len(bad), 'good backup', 'good backups')}, the newest is {newest}."
    elif path.exists():
        yield "There is no backup yet; `pupawatch backup` writes one."
    if bad:
        yield f"Damaged backups, to be deleted: {', '.join(sorted(bad))}."
    if path.exists() and sys.platform != "win32":
        open_to_all = [p for p in (path, *beside) if p.exists() and p.stat().st_mode & 0o077]
        for one in open_to_all[:3]:
            yield f"Others on this computer can read {one}; `chmod 600 {typed(str(one))}` makes it yours alone."


def _of_entries(path: Path) -> Iterator[str]:
    """What should be known of the entries and readings of a whole journal, and of the clock they were written by."""
    journal = Journal(path)
    now, disputed = system_clock(), journal.disputed_readings()
    state = State(entry for some in journal.read_current(now - REMEMBERED) for entry in some)
    misfits, implausible = list(journal.misfits()), journal.implausible_readings()
    journal.close()
    at, label = state.newest_writing() or (now, "")
    if at > now + CLOCK_SLACK:
        written = shown_time(at, "UTC", now)
        yield f"An entry about {label} was written {written} (UTC), later than the clock shows here. Is it right?"
    if disputed:
        yield f"{disputed} readings differ between two files; the lower one is used."
    for entry, misfit in misfits[:_NAMED]:
        yield f"Entry {entry.id} ({kind_of(entry)}): {misfit}. It stays in the journal and is ignored."
    if more := len(misfits[_NAMED:]):
        yield f"The same applies to {counted(more, 'more entry', 'more entries')}."
    if implausible:
        yield f"{counted(implausible, 'reading', 'readings')} that no place can reach; ignored."


# -- backup and restore


def backup(keeper: Keeper, named: Path | None) -> Path:
    """Write a checked copy of the journal, among its copies where no file is named; gives where it is.

    Raises NotUnderstood where that file is there already or has no folder, Unusable where it cannot be written.
    """
    stamp = keeper.clock().strftime("%Y-%m-%dT%H%M%SZ")
    path = keeper.path
    target = named or copies.folder_of(path) / f"{path.stem}-{stamp}{path.suffix}"
    if target.exists() or target.is_symlink():
        raise NotUnderstood(f"{target} exists already; name a new file.")
    if named and not target.parent.is_dir():
        raise NotUnderstood(f"There is no folder {target.parent}; make it first, or name another file.")
    return keeper.journal.copy_to(target)


class Restored(NamedTuple):
    """What was put back. copy: None where the journal was rebuilt; aside: how the file that was there is kept, None
    where none was; saved: what came out of a damaged file, None where it was whole."""

    copy: Path | None
    aside: Path | None
    saved: Merged | None


def restore(path: Path, chosen: Path | None, agree: Callable[[str], None] | None) -> Restored:
    """Replace the journal with a backup, and put into it whatever still reads in a damaged journal.

    chosen: the newest good copy where it is None. agree: is told which entries of a whole journal would be put aside,
    where there are any, and raises where they may not be; None where nobody is to be asked. The file that was there is
    kept. Without any good copy the journal is rebuilt of what still reads. Raises NotUnderstood where there is
    nothing to put back.
    """
    from pupawatch.journal import salvage

    copies.refuse_if_open(path)
    damaged = _is_damaged(path)
    if chosen is None:
        chosen = next(copies.good_copies(path), None)
        if chosen is None and not damaged:
            raise NotUnderstood("There is no good backup beside the journal; name the file to restore.")
    if agree and chosen is not None and not damaged and path.exists() and copies.is_whole(chosen):
        _ask_where_some_is_lost(path, chosen, agree)
    saved = Merged()

    def add(draft: Path) -> None:
        nonlocal saved
        journal = Journal(draft)
        with journal.writing(None, beside_newer=True):
            saved = salvage.into(journal, salvage.read(path))
        journal.close()

    stamp = system_clock().strftime("%Y-%m-%dT%H%M%S.%fZ")
    aside = copies.restore(chosen, path, stamp, add if damaged else lambda _: None)
    return Restored(chosen, aside, saved if damaged else None)


def _ask_where_some_is_lost(path: Path, chosen: Path, agree: Callable[[str], None]) -> None:
    apart = copies.only_in(path, chosen)
    if any(apart):
        agree(
            f"{path} is undamaged, and {counted(apart.entries, 'entry', 'entries')} and "
            f"{counted(apart.readings, 'reading', 'readings')} in it are not in the backup."
        )


# -- merge


def merge(keeper: Keeper, other: Path, with_newer: bool = False) -> list[str]:
    """Take in what stands in another journal; what that changed, a sentence each (see ``Keeper.merge``)."""
    known = keeper.whole_state()
    before = {pupa.id: pupa.flags for pupa in known.pupae.values()}
    merged = keeper.merge(other, with_newer)
    united = keeper.whole_state()
    told = [f"New: {counted(merged.entries, 'entry', 'entries')}, {counted(merged.readings, 'reading', 'readings')}."]
    if merged.differing:
        told.append(
            f"{counted(merged.differing, 'entry stands', 'entries stand')} in both differ: both versions are kept."
        )
    flagged = sorted(pupa.label for pupa in united.pupae.values() if set(pupa.flags) - set(before.get(pupa.id, ())))
    if flagged:
        told.append(f"Contradictory, and flagged: {', '.join(flagged)}.")
    gone = sorted(set(before) - set(united.pupae))
    if gone:
        told.append(f"Undone by the other journal: {counted(len(gone), 'pupa', 'pupae')}.")
    return [*told, *_newly_ambiguous(known, united, keeper.clock(), keeper.settings.zone)]


def merge_rehearsed(keeper: Keeper, other: Path, with_newer: bool = False) -> list[str]:
    """What ``merge`` would say; it is done to a copy of the journal that is gone afterwards."""
    with leftovers.folder() as folder:
        copy = folder / "journal.db"
        if keeper.path.exists():
            keeper.journal.copy_to(copy)
        journal = Journal(copy)
        try:
            return merge(Keeper(journal, keeper.settings, keeper.clock, keeper.folder), other, with_newer)
        finally:
            journal.close()


def add_places_told(keeper: Keeper) -> None:
    """Add to the settings every place pupae hang in that they do not know, as the entries of its keeper describe it."""
    hung_in = ((pupa, name) for pupa in keeper.whole_state().open_pupae() for name in (pupa.site, pupa.place) if name)
    places = {name: told_of(pupa, name, keeper.settings) for pupa, name in hung_in}
    keeper.places.add(places[name] for name in sorted(places))


def _newly_ambiguous(before: State, after: State, now: datetime, zone: str) -> Iterator[str]:
    """The labels that can mean more than they could before, a sentence each, and what to do about them."""
    known = {label: {pupa.id for pupa in held} for label, held in before.ambiguous().items()}
    new = {label: held for label, held in after.ambiguous().items() if {p.id for p in held} != known.get(label)}
    for label, held in new.items():
        yield f"{label} now means {len(held)} pupae: {told_apart(label, held, now, zone)}."
    if new:
        label, held = next(iter(new.items()))
        handle = handles([pupa.id for pupa in held], label)[0]
        yield f"Until one is relabelled such a label is refused: pupawatch relabel {typed(handle)} NEW"
