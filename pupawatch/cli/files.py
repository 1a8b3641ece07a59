"""The commands that keep a journal: import and export, check, backup, restore and merge."""

import argparse
import shlex
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from pupawatch import settings as files
from pupawatch.care import spots
from pupawatch.clock import system_clock
from pupawatch.errors import Damaged, NotUnderstood, Unusable
from pupawatch.journal import backup, leftovers
from pupawatch.journal.file import Journal
from pupawatch.journal.merge import Merged
from pupawatch.keeper import Keeper
from pupawatch.keeper.conditions import expected_days
from pupawatch.keeper.desk import REMEMBERED
from pupawatch.model.entries import kind_of
from pupawatch.model.ids import CLOCK_SLACK
from pupawatch.model.labels import handles
from pupawatch.model.state import State
from pupawatch.model.text import counted
from pupawatch.model.times import shown_time
from pupawatch.words.labels import told_apart

Say = Callable[[str], None]
_NAMED = 3
"""So many entries that hold what they may not are named."""


def check(path: Path, folder: Path | None, say: Say) -> int:
    """Tell in words all that is wrong with the journal, its copies, the settings. Raises Unusable for damage."""
    newest = next(backup.good_copies(path), None)
    way = "There is no good copy."
    if newest:
        way = f"The newest good copy is {newest}: pupawatch restore {shlex.quote(str(newest))}"
    try:
        journal = Journal(path)
    except Unusable as error:
        raise Unusable(f"{error} {way}" if newest else str(error)) from None
    try:
        problems = _problems(journal)
        entries = 0 if problems else journal.last()
    finally:
        journal.close()
    for problem in problems:
        say(problem)
    if problems:
        raise Unusable(f"{path} is damaged. {way}")
    say(f"{path}: {entries} entries, all of them whole.")
    if told := journal.left_out():
        say(f"{told} Nothing can be written in this journal until then.")
    for line in _beside(path, newest):
        say(line)
    expected_days(files.load(folder), folder)  # both say themselves what is wrong
    return 0


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


def _beside(path: Path, newest: Path | None) -> Iterator[str]:
    """What should be known of a whole journal: its copies, who may read it, whether the clock is right."""
    copies = list(backup.folder_of(path).glob(f"*{path.suffix}"))
    bad = [copy.name for copy in copies if not backup.is_whole(copy)]
    if newest:
        yield f"{counted(len(copies) - len(bad), 'good copy', 'good copies')}, the newest is {newest}."
    elif path.exists():
        yield "There is no copy yet; `pupawatch backup` writes one."
    if bad:
        yield f"Damaged copies, to be deleted: {', '.join(sorted(bad))}."
    if path.exists() and sys.platform != "win32":
        open_to_all = [p for p in (path, *copies) if p.exists() and p.stat().st_mode & 0o077]
        for one in open_to_all[:3]:
            yield f"Others on this computer can read {one}; `chmod 600` makes it yours alone."
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
        yield f"{disputed} seconds of a sensor are told differently by two files; the lower value counts."
    for entry, misfit in misfits[:_NAMED]:
        yield f"Entry {entry.id} ({kind_of(entry)}): {misfit}. It stays, and what cannot be so is passed over."
    if more := len(misfits[_NAMED:]):
        yield f"So it is with {counted(more, 'more entry', 'more entries')}."
    if implausible:
        yield f"{counted(implausible, 'reading', 'readings')} no place can be like; passed over."


def restore(chosen: Path | None, path: Path, say: Say, agreed: bool = False) -> int:
    """Put a copy in the stead of the journal, and into it whatever still reads in a damaged journal.

    chosen: the newest good copy where it is None. agreed: not to ask before entries of a whole journal are put aside.
    The file that was there is kept. Without any good copy the journal is made anew of what still reads.
    """
    from pupawatch.journal import salvage

    backup.refuse_if_open(path)
    damaged = _is_damaged(path)
    if chosen is None:
        chosen = next(backup.good_copies(path), None)
        if chosen is None and not damaged:
            raise NotUnderstood("There is no good copy beside the journal; name the file to put back.")
    if chosen is not None and not (damaged or agreed) and path.exists() and backup.is_whole(chosen):
        _agree_to_lose(backup.only_in(path, chosen), path)
    saved = Merged()

    def add(draft: Path) -> None:
        nonlocal saved
        journal = Journal(draft)
        with journal.writing(None, beside_newer=True):
            saved = salvage.into(journal, salvage.read(path))
        journal.close()

    stamp = system_clock().strftime("%Y-%m-%dT%H%M%S.%fZ")
    aside = backup.restore(chosen, path, stamp, add if damaged else lambda _: None)
    kept = f" The file that was there before is kept as {aside}." if aside else ""
    say(f"{path} is now {f'{chosen} again' if chosen else 'made anew'}.{kept}")
    if damaged:
        say(f"Out of the damaged file came {saved.entries} more entries and {saved.readings} readings that were whole.")
    return 0


def _agree_to_lose(apart: backup.Apart, path: Path) -> None:
    """Ask whether what stands in a whole journal alone may be put aside. Raises NotUnderstood where it may not."""
    if not any(apart):
        return
    told = (
        f"{path} is whole, and {counted(apart.entries, 'entry', 'entries')} and "
        f"{counted(apart.readings, 'reading', 'readings')} stand in it that the copy does not hold."
    )
    if not sys.stdin.isatty():
        raise NotUnderstood(f"{told} Nothing was changed; `restore --yes` puts the copy in its place all the same.")
    if input(f"{told} Put it aside all the same? [y/N] ").strip().lower() not in ("y", "yes"):
        raise NotUnderstood("Nothing was changed.")


def merge(keeper: Keeper, options: argparse.Namespace, say: Say) -> int:
    """Take in what stands in another journal; with --dry-run only say what that would be."""
    known = keeper.whole_state()
    before = {pupa.id: pupa.flags for pupa in known.pupae.values()}
    with _rehearsal(keeper) if options.dry_run else _itself(keeper) as at_work:
        merged = at_work.merge(options.file, options.with_newer)
        united = at_work.whole_state()
        pupae = united.pupae.values()
        say(f"{merged.entries} entries and {merged.readings} readings are new.")
        if merged.differing:
            say(f"{merged.differing} entries stand in both and are told differently: both tellings are kept.")
        flagged = sorted(pupa.label for pupa in pupae if set(pupa.flags) - set(before.get(pupa.id, ())))
        if flagged:
            say(f"They cannot all be so, and are flagged: {', '.join(flagged)}.")
        gone = sorted(set(before) - {pupa.id for pupa in pupae})
        if gone:
            say(f"Taken back by the other journal: {counted(len(gone), 'pupa', 'pupae')}.")
        for line in _newly_ambiguous(known, united, keeper.clock(), keeper.settings.zone):
            say(line)
    if options.dry_run:
        say("Nothing was written (--dry-run).")
        return 0
    hung_in = ((pupa, name) for pupa in keeper.whole_state().open_pupae() for name in (pupa.site, pupa.place) if name)
    places = {name: spots.told_of(pupa, name, keeper.settings) for pupa, name in hung_in}
    keeper.places.add(places[name] for name in sorted(places))
    return 0


def _newly_ambiguous(before: State, after: State, now: datetime, zone: str) -> Iterator[str]:
    """The labels that can mean more than they could before, a sentence each, and what to do about them."""
    known = {label: {pupa.id for pupa in held} for label, held in before.ambiguous().items()}
    new = {label: held for label, held in after.ambiguous().items() if {p.id for p in held} != known.get(label)}
    for label, held in new.items():
        yield f"{label} now means {len(held)} pupae: {told_apart(label, held, now, zone)}."
    if new:
        label, held = next(iter(new.items()))
        handle = handles([pupa.id for pupa in held], label)[0]
        yield f"Until they are told apart such a label is refused; give one another: pupawatch relabel {handle} NEW"


@contextmanager
def _itself(keeper: Keeper) -> Iterator[Keeper]:
    yield keeper


@contextmanager
def _rehearsal(keeper: Keeper) -> Iterator[Keeper]:
    """The same keeper at work on a copy of the journal that is gone afterwards."""
    with leftovers.folder() as folder:
        copy = folder / "journal.db"
        if keeper.journal.path.exists():
            keeper.journal.copy_to(copy)
        journal = Journal(copy)
        try:
            yield Keeper(journal, keeper.settings, keeper.clock, keeper.folder)
        finally:
            journal.close()


def copy_of(keeper: Keeper, options: argparse.Namespace, say: Say) -> int:
    """Write a checked copy of the journal."""
    stamp = keeper.clock().strftime("%Y-%m-%dT%H%M%SZ")
    path = keeper.journal.path
    target = options.file or backup.folder_of(path) / f"{path.stem}-{stamp}{path.suffix}"
    if target.exists() or target.is_symlink():
        raise NotUnderstood(f"{target} exists already; name a new file.")
    if options.file and not target.parent.is_dir():
        raise NotUnderstood(f"There is no folder {target.parent}; make it first, or name another file.")
    say(f"A checked copy of the journal is in {keeper.journal.copy_to(target)}.")
    return 0


def export(keeper: Keeper, options: argparse.Namespace, say: Say) -> int:
    """Write every pupa into a notebook."""
    import csv
    import io

    from pupawatch.exchange import new_file
    from pupawatch.exchange.notebook import writing as notebook_out

    pupae = keeper.whole_state().pupae.values()
    text = io.StringIO()
    csv.writer(text).writerows(notebook_out.rows(pupae, keeper.settings.zone))
    new_file.write(options.file, text.getvalue())
    say(f"{counted(len(pupae), 'pupa', 'pupae')} written to {options.file}.")
    return 0


def bring(keeper: Keeper, options: argparse.Namespace, say: Say) -> int:
    """Bring in a notebook or a logger's readings: all of it or nothing, also where it is stopped."""
    from pupawatch.exchange.logger import bringing as logged
    from pupawatch.exchange.notebook import bringing as exchange

    before = keeper.journal.last()
    try:
        with _bar() as watch:
            if options.kind == "temperatures":
                told = logged.temperatures(
                    keeper, options.file, options.sensor, options.places, options.layout, options.dry_run, watch
                ).lines()
            elif options.dry_run:
                told = exchange.notebook_preview(keeper, options.file, watch).lines()
            else:
                preview, written = exchange.notebook_in(keeper, options.file, watch)
                told = [*preview.lines(), f"{written} entries brought in."]
    except KeyboardInterrupt:
        how = "nothing was written" if keeper.journal.last() == before else "but all of it had been written already"
        print(f"Stopped; {how}.", file=sys.stderr)
        raise
    for line in told:
        say(line)
    if options.dry_run:
        say("Nothing was written (--dry-run).")
    elif options.kind == "temperatures" and not options.places:
        say("To use them for a place, import again with --for PLACE; readings already there are passed over.")
    return 0


@contextmanager
def _bar() -> Iterator[Callable[[str, int, int], None]]:
    """Progress bars where somebody watches; gives what to call with what is done, how much more, of how much."""
    if not sys.stderr.isatty():
        yield lambda what, more, of: None
        return
    from rich.console import Console
    from rich.progress import Progress, TaskID

    with Progress(console=Console(stderr=True), transient=True) as bar:
        tasks: dict[str, TaskID] = {}

        def watch(what: str, more: int, of: int) -> None:
            if what not in tasks:
                tasks[what] = bar.add_task(what, total=of or None)
            bar.advance(tasks[what], more)

        yield watch
