"""Drafts and folders that are gone once their work is done, and what a kill left of them.

Each bears the number of the process that makes it, so that a later one can tell that nobody works at it any more.
"""

import glob
import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from pupawatch.journal import address

_DRAFT = r"{stem}(-.+)?{suffix}\.(?P<process>\d+)\.(new|restored)(-wal|-shm|-journal)?"
"""Of a journal, of a copy of it, or of what was rescued of it."""
_FOLDER = re.compile(r"pupawatch-(demo-)?((?P<process>\d+)-)?\w{8}")
"""Also as it was named before it bore a number."""
_DAY_SECONDS = 86_400


def draft(target: Path, word: str) -> Path:
    """Under which name to write what will bear the name ``target``. word: "new" or "restored"."""
    return target.with_name(f"{target.name}.{os.getpid()}.{word}")


@contextmanager
def folder() -> Iterator[Path]:
    """A folder of the computer's own for such files, gone afterwards."""
    with tempfile.TemporaryDirectory(prefix=f"pupawatch-{os.getpid()}-") as name:
        yield Path(name)


def sweep(journal: Path, copies: Path) -> None:
    """Remove what a kill left: drafts of the journal and of its copies, second names of the journal that a restore had
    only begun to give it, and folders of the computer's own."""
    ours = re.compile(_DRAFT.format(stem=re.escape(journal.stem), suffix=re.escape(journal.suffix)))
    for path in [*_left(journal.parent, ours), *_left(copies, ours), *_second_names(journal)]:
        with suppress(OSError):
            path.unlink()
    for path in _left(Path(tempfile.gettempdir()), _FOLDER):
        shutil.rmtree(path, ignore_errors=True)


def _second_names(journal: Path) -> Iterator[Path]:
    for part in (journal, *address.beside(journal)):
        for path in journal.parent.glob(f"{glob.escape(journal.stem)}-replaced-*"):
            if part.exists() and path.samefile(part):
                yield path


def _left(folder: Path, ours: re.Pattern[str]) -> Iterator[Path]:
    with suppress(OSError):
        for name in os.listdir(folder):
            if (found := ours.fullmatch(name)) and _is_left(folder / name, found["process"]):
                yield folder / name


def _is_left(path: Path, process: str | None) -> bool:
    """Whether the process that made it is gone; where that cannot be asked, whether it is older than a day."""
    if process and os.name == "posix":
        try:
            os.kill(int(process), 0)
        except ProcessLookupError:
            return True
        except (OSError, OverflowError):  # it is somebody else's
            return False
        return False
    with suppress(OSError):
        return path.stat().st_mtime < time.time() - _DAY_SECONDS
    return False
