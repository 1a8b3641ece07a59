"""How a sheet is read: what each column tells, the order of its dates, what its words mean. Kept from week to week."""

from pathlib import Path
from typing import Any

import msgspec
import tomli
from msgspec import Struct, field

from pupawatch import disk
from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.settings.reading import default_folder

FILE = "notebooks.toml"
_HEADER = "# How your own tables are read, one table a sheet; pupawatch adds to this file when one came in.\n\n"


class Mapping(Struct, forbid_unknown_fields=True, omit_defaults=True):
    """The decisions about the sheet with this header.

    columns: by heading a field, "note" or "skip"; dates: by heading day-first, month-first or year-first; typed: by
    heading as-is or swapped, for days that a spreadsheet typed; years: by heading, for dates without one; values: by
    field and word a code, "note", or for places "new". "*" stands for all headings or words not named.
    """

    header: list[str]
    columns: dict[str, str] = field(default_factory=dict)
    dates: dict[str, str] = field(default_factory=dict)
    typed: dict[str, str] = field(default_factory=dict)
    years: dict[str, int] = field(default_factory=dict)
    values: dict[str, dict[str, str]] = field(default_factory=dict)

    def copy(self) -> "Mapping":
        """One to change without changing this."""
        return msgspec.convert(msgspec.to_builtins(self), Mapping)

    def answer(self, key: tuple[str, ...], answer: str) -> None:
        """Take the answer to a question by its key: the table of the answers, and what is asked about in it."""
        section, *names = key
        if section == "label":
            self.columns[answer] = "label"
        elif section == "years":
            if not answer.isdecimal():
                raise NotUnderstood(f"{answer!r} is not a year; write it as 2026.")
            self.years[names[0]] = int(answer)
        elif section == "values":
            self.values.setdefault(names[0], {})[names[1]] = answer
        else:
            getattr(self, section)[names[0]] = answer


class Kept(Struct, forbid_unknown_fields=True):
    """A file of mappings."""

    tables: list[Mapping] = field(default_factory=list)


def load(path: Path) -> list[Mapping]:
    """The mappings of a file, none where there is no such file. Raises Unusable where it is not a file of mappings."""
    try:
        return msgspec.convert(tomli.loads(disk.regular(path).read_text(encoding="utf-8-sig")), Kept).tables
    except FileNotFoundError:
        return []
    except (OSError, ValueError, RecursionError) as error:
        raise Unusable(f"{path} is not a file of mappings: {error}.") from None


def kept_in(folder: Path | None) -> Path:
    """The file in which mappings are kept."""
    return (folder or default_folder()) / FILE


def text(mappings: list[Mapping], notes: list[str] | None = None) -> str:
    """A file of mappings. notes: comments at its top."""
    import tomli_w

    table: dict[str, Any] = msgspec.to_builtins(Kept(mappings))
    return "".join(f"# {note}\n" for note in notes or []) + tomli_w.dumps(table)


def keep(folder: Path | None, mappings: list[Mapping]) -> None:
    """Keep mappings, replacing those with the same headers. Raises Unusable where they cannot be written."""
    path = kept_in(folder)
    headers = [mapping.header for mapping in mappings]
    others = [mapping for mapping in load(path) if mapping.header not in headers]
    try:
        disk.replace(path, (_HEADER + text([*others, *mappings])).encode())
    except OSError as error:
        raise Unusable(f"The reading could not be kept in {path}: {error.strerror}.") from None
