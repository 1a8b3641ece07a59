"""A text file from outside, line by line, however large it is and whatever stands in it."""

from codecs import getincrementaldecoder
from collections.abc import Callable, Iterator
from pathlib import Path

from pupawatch import disk
from pupawatch.errors import NotUnderstood, Unusable

LONGEST_LINE = 1 << 20
"""Characters; a longer line is no row of a table, and is not read into memory to find out."""
MOST_COLUMNS = 1000
"""A wider table is none that a keeper or a logger writes."""


class NotText(Unusable):
    """A file that holds bytes which are no text of its encoding."""


def lines(path: Path, encoding: str = "utf-8-sig", seen: Callable[[int], None] = lambda _: None) -> Iterator[str]:
    """The lines of a file with their ends, as any system writes them. seen: gets the characters of each.

    Raises Unusable where it cannot be read, NotText where it is no text, NotUnderstood where a line has no end.
    """
    number = 0
    try:
        with disk.regular(path).open(encoding=encoding, newline="") as file:
            while line := file.readline(LONGEST_LINE):
                number += 1
                if len(line) == LONGEST_LINE and line[-1] not in "\r\n":
                    raise NotUnderstood(f"{path}, line {number}: is too long for a row of a table.")
                if "\0" in line:
                    raise NotText(
                        f"{path} holds zero bytes: it is not a text file; save it as “CSV UTF-8” and try again."
                    )
                seen(len(line))
                yield line
    except UnicodeError:
        raise NotText(
            f"{path}, line {_first_bad_line(path, encoding)}: the file is not {encoding.upper().removesuffix('-SIG')} "
            "text; save it as “CSV UTF-8” and try again."
        ) from None
    except OSError as error:
        raise Unusable(f"{path} cannot be read: {error.strerror}.") from None


def check_columns(path: Path, line: int, columns: int) -> None:
    """Raise NotUnderstood where a row has more columns than any table that is meant."""
    if columns > MOST_COLUMNS:
        raise NotUnderstood(f"{path}, line {line}: {columns} columns; {MOST_COLUMNS} is the most that can be read.")


def _first_bad_line(path: Path, encoding: str) -> int:
    """The line at which decoding fails: a file is decoded ahead of the line that is read."""
    number, decoder = 1, getincrementaldecoder(encoding)()
    with path.open("rb") as file:
        while piece := file.readline(LONGEST_LINE):
            try:
                decoder.decode(piece)
            except UnicodeError:
                break
            number += piece.endswith(b"\n")
    return number
