"""A file that somebody asked for: a new one, whole or not at all. Nothing that lies there is ever written over."""

from contextlib import suppress
from pathlib import Path

from pupawatch.errors import NotUnderstood, Unusable


def write(path: Path, text: str) -> None:
    """Write a text as UTF-8. Raises NotUnderstood where there is something of that name, be it a link to nowhere, and
    Unusable where it cannot be written; what was written by then is taken away, for a part would pass for the whole."""
    try:
        with path.open("xb") as out:
            try:
                out.write(text.encode())
                out.flush()
            except OSError:
                with suppress(OSError):
                    path.unlink()
                raise
    except FileExistsError:
        raise NotUnderstood(f"{path} exists already; name a new file.") from None
    except OSError as error:
        raise Unusable(f"{path} cannot be written: {error.strerror}.") from None
