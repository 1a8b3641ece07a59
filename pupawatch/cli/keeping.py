"""The commands that keep a journal: check, backup, restore and merge."""

import argparse
import sys
from pathlib import Path

from pupawatch.cli.parser import Commands, where
from pupawatch.cli.printing import say
from pupawatch.errors import NotUnderstood
from pupawatch.keeper import Keeper


def register(commands: Commands) -> None:
    """These commands, with their options."""
    commands.without_a_keeper("check", "look for damage in the journal", _check)

    backup = commands.plain("backup", "write a checked backup of the journal", _backup)
    backup.add_argument("file", type=Path, nargs="?", metavar="FILE", help="default: beside the journal, by its day")

    told = "replace the journal with a backup; what is readable in a damaged journal is kept as well"
    restore = commands.without_a_keeper("restore", told, _restore)
    restore.add_argument("file", type=Path, nargs="?", metavar="FILE", help="default: the newest good backup")
    restore.add_argument(
        "--yes", action="store_true", help="without asking, even if the journal holds entries the backup lacks"
    )

    unite = commands.plain("merge", "add another journal's entries to this one", _merge)
    unite.add_argument("file", type=Path, metavar="OTHER", help="the other journal; it is only read")
    unite.add_argument("--dry-run", action="store_true", help="preview only; write nothing")
    unite.add_argument("--with-newer", action="store_true", help="also entries written by a newer pupawatch, unread")


def _check(options: argparse.Namespace) -> int:
    from pupawatch.keeper import keeping

    for line in keeping.check(*where(options)):
        say(line)
    return 0


def _backup(keeper: Keeper, options: argparse.Namespace) -> int:
    from pupawatch.keeper import keeping

    say(f"A checked backup of the journal is in {keeping.backup(keeper, options.file)}.")
    return 0


def _restore(options: argparse.Namespace) -> int:
    from pupawatch.keeper import keeping

    path, _ = where(options)
    copy, aside, saved = keeping.restore(path, options.file, _agree if not options.yes else None)
    kept = f" The file that was there before is kept as {aside}." if aside else ""
    say(f"{path} is now {f'{copy} again' if copy else 'rebuilt'}.{kept}")
    if saved:
        say(f"Recovered from the damaged file: {saved.entries} more entries and {saved.readings} undamaged readings.")
    return 0


def _agree(told: str) -> None:
    """Ask whether what stands in a whole journal alone may be put aside. Raises NotUnderstood where it may not."""
    if not sys.stdin.isatty():
        raise NotUnderstood(f"{told} Nothing was changed; `restore --yes` puts the backup in its place anyway.")
    if input(f"{told} Replace it anyway? [y/N] ").strip().lower() not in ("y", "yes"):
        raise NotUnderstood("Nothing was changed.")


def _merge(keeper: Keeper, options: argparse.Namespace) -> int:
    from pupawatch.keeper import keeping

    how = keeping.merge_rehearsed if options.dry_run else keeping.merge
    for line in how(keeper, options.file, options.with_newer):
        say(line)
    if options.dry_run:
        say("Nothing was written (--dry-run).")
    else:
        keeping.add_places_told(keeper)
    return 0
