"""Where a journal's file really lies, how SQLite is told to open it, and who else has it open.

On POSIX a lock belongs to the process, and closing a file gives back all the locks the process has on it, whoever took
them (sqlite.org, "How To Corrupt An SQLite Database File", 2.2). So while this process has a connection to a journal,
nothing here opens that file, its ``-wal`` or its ``-shm`` other than through SQLite; ``raw`` sees to it.
"""

import errno
import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path, PurePath
from threading import RLock
from typing import TypeVar
from urllib.parse import quote
from weakref import WeakSet

from pupawatch.errors import Unusable

try:
    import fcntl
except ImportError:  # Windows: there a file that is open elsewhere can be neither replaced nor removed
    fcntl = None  # type: ignore[assignment]

_LEAST_ROOM_BYTES = 65_536
"""What SQLite needs to lock a file and to write a page or two."""
WAIT_SECONDS = 10.0
"""How long one program waits for another that writes."""
_SHARED_BYTES = (510, 0x4000_0002)
"""How many bytes SQLite locks as long as a write-ahead journal is open, and the first of them (``os_unix.c``)."""

Answer = TypeVar("Answer")


class Connection(sqlite3.Connection):
    """A connection to a journal. It is known which file it leads to, until it is closed."""

    file: tuple[int, int]
    path: Path

    def close(self) -> None:
        """Let go of the file."""
        super().close()
        with _turn:
            _open.discard(self)


_turn = RLock()
_open: WeakSet[Connection] = WeakSet()


def default_path() -> Path:
    """The journal that is used unless another is named: in the platform's data folder."""
    import platformdirs

    return Path(platformdirs.user_data_dir("pupawatch", appauthor=False)) / "journal.db"


def make_folder(path: Path) -> None:
    """Make the folder of the platform's own journal. For another there must be one, for a slip of the hand may have
    named it; raises Unusable where there is none."""
    if path.parent.is_dir():
        return
    if path != default_path().resolve():
        raise Unusable(
            f"The journal {path} cannot be used: there is no folder {path.parent}. Make it first, or name another file "
            "with --journal. Nothing was written."
        )
    path.parent.mkdir(parents=True, mode=0o700)


def real(path: Path) -> Path:
    """The file itself, where links lead to it: SQLite keeps its log beside that, so the copies belong there too.

    Raises Unusable for a link to what is not there, as to a stick that is not plugged in.
    """
    try:
        there = path.resolve()
        dangling = next((part for part in (path, *path.parents) if part.is_symlink() and not part.exists()), None)
    except (OSError, RuntimeError):
        raise Unusable(_NOWHERE.format(path)) from None
    if dangling and _is_a_circle(dangling):  # from Python 3.13 on it is not told before
        raise Unusable(_NOWHERE.format(path))
    if dangling:
        raise Unusable(
            f"{dangling} is a link to {os.readlink(dangling)}, which is not there. Plug in or connect the disk it lies "
            "on, or name another journal with --journal."
        )
    return there


_NOWHERE = "{} is a link that leads nowhere; name the journal itself."


def _is_a_circle(link: Path) -> bool:
    try:
        link.stat()
    except OSError as error:
        return error.errno == errno.ELOOP
    return False


def beside(path: Path) -> list[Path]:
    """What SQLite may keep beside a file: the write-ahead log and its index, and the journal of an act cut off."""
    return [path.with_name(path.name + tail) for tail in ("-wal", "-shm", "-journal")]


def identity(path: Path) -> tuple[int, int]:
    """What tells this file from any other that ever bears its name."""
    found = path.stat()
    return found.st_dev, found.st_ino


def age(path: Path) -> tuple[int, int]:
    """What is another one whenever the file was written; (0, 0) where there is none."""
    try:
        found = path.stat()
    except FileNotFoundError:
        return 0, 0
    return found.st_mtime_ns, found.st_size


def is_shelved(path: Path) -> bool:
    """Whether it lies where nothing can be written, by right or for want of room, and nothing stands in its log: SQLite
    reads it only if told so, because it would make its lock files there, as unwritable as the journal itself."""
    asked = {"effective_ids": True} if os.access in os.supports_effective_ids else {}
    if all(os.access(one, os.W_OK, **asked) for one in (path, path.parent)) and _has_room(path.parent):
        return False
    return is_settled(path)


def is_settled(path: Path) -> bool:
    """Whether all of it stands in the file itself, and nothing in a log."""
    wal, _, rollback = beside(path)
    return age(wal)[1] == age(rollback)[1] == 0


def _has_room(folder: Path) -> bool:
    if not hasattr(os, "statvfs"):  # Windows, where access tells no more than a file's read-only mark: it is tried
        return _takes_a_file(folder)
    free = os.statvfs(folder)
    return free.f_bavail * free.f_frsize >= _LEAST_ROOM_BYTES


def _takes_a_file(folder: Path) -> bool:
    """Tried once, under a name nobody has. ``tempfile`` takes a refusal by Windows for a name in use, and before Python
    3.13 tries two thousand million others (``_mkstemp_inner``, ``TMP_MAX``)."""
    draft = folder / f"pupawatch-{os.urandom(8).hex()}.tmp"
    of_its_own = os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_TEMPORARY", 0)  # Windows: gone even after a kill
    try:
        with open(os.open(draft, of_its_own), "wb") as file:
            file.write(bytes(_LEAST_ROOM_BYTES))
    except OSError:
        return False
    finally:
        with suppress(OSError):
            draft.unlink(missing_ok=True)
    return True


# -- through SQLite


def connect(path: Path, mode: str = "rw") -> Connection:
    """Open the file, which is never made: mode "rw" to read and write, "ro" only to read.

    "immutable": to read it as if nobody else ever wrote in it, without a lock and without a file beside it.
    """
    where = uri(path, "immutable" if is_shelved(path) else mode)
    with _turn:
        file = identity(path)
        connection = sqlite3.connect(
            where, uri=True, timeout=WAIT_SECONDS, isolation_level=None, check_same_thread=False, factory=Connection
        )
        connection.path, connection.file = path.absolute(), file
        for durable in ("fullfsync", "checkpoint_fullfsync"):  # macOS: past the disk's own cache; elsewhere no matter
            connection.execute(f"PRAGMA {durable} = ON")
        _open.add(connection)
        if identity(path) == file:
            return connection
        connection.close()  # just now it was put in another's place: whose name it has is not certain
        return connect(path, mode)


def uri(path: Path, mode: str) -> str:
    """How SQLite is told to open a file in one of these ways."""
    return f"{as_uri(path.absolute())}?{'mode=ro&immutable=1' if mode == 'immutable' else f'mode={mode}'}"


def as_uri(path: PurePath) -> str:
    """An absolute path as SQLite wants it (sqlite.org/uri.html): ``file:///C:/…``, and for a computer of the network
    ``file:////nas/…``, where other programs write ``file://nas/…``."""
    written = path.as_posix()
    return f"file://{'' if written.startswith('/') else '/'}{quote(written, safe='/:')}"


def asked(path: Path, question: Callable[[Connection], Answer]) -> Answer:
    """The answer of a file that is not open here; nothing is left beside it, nor taken away, where that can be.

    A file whose log is empty is read without a lock, and once more with one where it was written meanwhile.
    """
    before = age(path)
    if is_settled(path):
        with closing(connect(path, "immutable")) as connection:
            try:
                answer = question(connection)
                if age(path) == before and is_settled(path):
                    return answer
            except (sqlite3.DatabaseError, Unusable):
                if age(path) == before and is_settled(path):
                    raise
    with closing(connect(path, "ro")) as connection:
        return question(connection)


# -- and other than through SQLite


def knows_locks() -> bool:
    """Whether the system tells who holds which bytes of a file, and lets go of the name of a file that is open."""
    return fcntl is not None


def _is_let_go(path: Path) -> bool:
    """Whether Windows would let the file be replaced."""
    try:
        path.replace(path)
    except PermissionError:
        return False
    except OSError:  # it is not there
        return True
    return True


def is_open_here(path: Path) -> bool:
    """Whether this process has a connection to the file, or to another that bore its name."""
    with _turn:
        named = {one.path for one in _open}
        return path.absolute() in named or (path.exists() and identity(path) in {one.file for one in _open})


@contextmanager
def raw(path: Path) -> Iterator[bool]:
    """Whether the file and its log may be read other than through SQLite; no connection is opened here meanwhile."""
    with _turn:
        yield not is_open_here(path)


@contextmanager
def alone(path: Path) -> Iterator[bool]:
    """Whether no other pupawatch has the file open; none gets at it meanwhile, and here nothing else may open it.

    Asked by the bytes that SQLite locks; on Windows by giving the file its own name, which Windows refuses of one that
    is open. Of a file that cannot be written, where neither can be asked, it says yes.
    """
    with _turn, ExitStack() as stack:
        is_free = not is_open_here(path)
        if is_free and not fcntl:
            is_free = _is_let_go(path)
        with suppress(OSError):  # it is not there, may not be written, or lies on a disk that knows no locks
            if is_free and fcntl:
                file = stack.enter_context(path.open("rb+"))
                try:
                    fcntl.lockf(file, fcntl.LOCK_EX | fcntl.LOCK_NB, *_SHARED_BYTES)
                except (BlockingIOError, PermissionError):
                    is_free = False
        yield is_free
