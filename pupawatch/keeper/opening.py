"""How a keeper comes to work: the journal found and looked through, the settings read, and all closed afterwards."""

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

from pupawatch import settings as files
from pupawatch.clock import Clock, system_clock
from pupawatch.journal import address, leftovers
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper


def journal_path(named: Path | None) -> Path:
    """Where the journal lies: the file that was named, else the platform's own; links are followed.

    Raises Unusable for a link to what is not there.
    """
    return address.real(named or address.default_path())


def keeper_of(journal: Path, folder: Path | None, clock: Clock | None = None) -> Keeper:
    """The keeper of this journal, with the settings of ``folder`` (see ``Keeper``). To be closed.

    clock: the computer's where none is handed in. Raises Unusable where the settings or the journal cannot be read.
    """
    settings = files.load(folder)
    return Keeper(Journal(journal), settings, clock or system_clock, folder)


@contextmanager
def opened(journal: Path, folder: Path | None, large_later: bool = False) -> Iterator[Keeper]:
    """The keeper of this journal, which was looked through for damage and is closed afterwards.

    large_later: whoever opens it looks through a large journal later (see ``Keeper.is_large``). Raises Unusable where
    the settings or the journal cannot be read, or the journal is damaged.
    """
    settings = files.load(folder)
    opening = Journal(journal)
    try:
        if not (large_later and opening.is_large):
            opening.verify()  # before anything is read: nothing is answered from a damaged file
        yield Keeper(opening, settings, system_clock, folder)
    finally:
        opening.close()


def passing_folder() -> AbstractContextManager[Path]:
    """A folder of the computer's own for a journal that is only tried out, gone afterwards, also after a kill."""
    return leftovers.folder()
