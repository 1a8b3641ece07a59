"""A file that somebody asked for: a new one, whole or not at all. Nothing that lies there is ever written over."""

from pathlib import Path

from pupawatch import disk
from pupawatch.errors import NotUnderstood, Unusable

FOR_SPREADSHEETS = "\ufeff"
"""What a CSV file for a spreadsheet begins with: without this mark some read UTF-8 in the system's old code page."""


def write(path: Path, text: str) -> None:
    """Write a text as UTF-8. Raises NotUnderstood where there is something of that name, be it a link to nowhere, and
    Unusable where it cannot be written; then there is no file, for a part would pass for the whole."""
    try:
        disk.create(path, text.encode())
    except FileExistsError:
        raise NotUnderstood(f"{path} exists already; name a new file.") from None
    except OSError as error:
        raise Unusable(f"{path} cannot be written: {error.strerror}.") from None
