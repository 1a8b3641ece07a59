"""Whether a journal lies where its write-ahead log is unsafe: on a network, or in a folder that is synchronised.

"All processes using a database must be on the same host computer; WAL does not work over a network filesystem"
(sqlite.org/wal.html). What synchronises copies the file and its log one after the other, at instants of its own.
"""

import sys
from pathlib import Path, PurePath

from pupawatch.journal import address
from pupawatch.model.text import typed

_SYNCED = ("onedrive", "dropbox", "icloud", "mobile documents", "cloudstorage")
"""How the folders are called that well-known services synchronise, in small letters (from memory); also with more
behind, as in "OneDrive - Home". "Mobile Documents" and "CloudStorage" lie in the Library folder of macOS."""
_NETWORK_TYPES = frozenset(("nfs", "nfs4", "cifs", "smb3", "smbfs", "ncpfs", "afs", "ceph", "fuse.sshfs", "fuse.davfs"))
"""File systems of a network, as Linux calls them (``Documentation/filesystems``, and from memory)."""
_REMOTE_DRIVE = 4
"""What Windows calls a drive of the network: DRIVE_REMOTE (Microsoft, GetDriveTypeW)."""


def why_unsafe(path: Path) -> str:
    """Why a journal is not safe there, as in "a folder that is synchronised (Dropbox)"; "" where nothing is known."""
    if folder := synced_folder(path):
        return f"a folder that is synchronised ({folder})"
    return "a folder of the network" if is_unc(path) or _is_on_network(path) else ""


def warning(path: Path) -> str:
    """What to say of a journal that lies where it may come to harm, and how it is brought home; else ""."""
    why = why_unsafe(path)
    if not why:
        return ""
    home = address.default_path()
    way = "name one on a disk of this computer with --journal"
    if path != home:
        way = f"close pupawatch on every computer, then `pupawatch restore {typed(str(path))}` copies it to {home}"
    return f"{path} lies in {why}: there a journal may be damaged or lose entries. Better {way}."


def synced_folder(path: PurePath) -> str:
    """The folder on the way to a file that a service synchronises, by its usual name; "" where there is none."""
    return next((part for part in path.parts[:-1] if part.casefold().startswith(_SYNCED)), "")


def is_unc(path: PurePath) -> bool:
    """Whether a path begins with a computer of the network, as Windows writes it: ``//nas/share/journal.db``."""
    return len(path.drive) > 2 and path.drive.replace("\\", "/").startswith("//")


def _is_on_network(path: Path) -> bool:
    if sys.platform == "win32":
        import ctypes

        return int(ctypes.windll.kernel32.GetDriveTypeW(path.anchor)) == _REMOTE_DRIVE
    try:
        mounts = Path("/proc/self/mounts").read_text(encoding="utf-8", errors="replace")
    except OSError:  # macOS: not known without asking a program
        return False
    return network_type(mounts, path) != ""


def network_type(mounts: str, path: PurePath) -> str:
    """The type of the network's file system a path lies on, by a table as in ``/proc/mounts``; "" for another's."""
    at, kind = "", ""
    for line in mounts.splitlines():
        _, where, what, *_ = (part.replace("\\040", " ") for part in line.split(" "))
        if path.is_relative_to(where) and len(where) >= len(at):
            at, kind = where, what
    return kind if kind in _NETWORK_TYPES else ""
