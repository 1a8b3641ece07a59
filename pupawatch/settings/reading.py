"""The shipped settings with the keeper's own files over them, key by key."""

import errno
import re
from collections.abc import Iterable
from itertools import islice
from pathlib import Path
from typing import Annotated, Any, TypeVar

import msgspec
import msgspec.structs
import tomli
from msgspec import Meta, Struct

from pupawatch import disk
from pupawatch.errors import Unusable
from pupawatch.model.acts import settled
from pupawatch.model.adult_settings import Health
from pupawatch.model.settings import Care, Keeper, Place, Profile, Settings
from pupawatch.settings.checking import Parts, Source, across, problems, worded
from pupawatch.settings.zone import machine_zone

Kind = TypeVar("Kind")

_DEEPEST = 20
"""How deeply tables may be nested; no setting is nested half as deeply."""
_LARGEST_BYTES = 4_000_000
"""A file of settings; ten thousand places take half as much."""
_MOST_TOLD = 20
"""So many errors of a file are told."""
_ENDLESS = re.compile(r"\d(?:_?\d){4000}")


class _PlacesFile(Struct, forbid_unknown_fields=True):
    places: list[Place]


class _KeysFile(Struct, forbid_unknown_fields=True):
    keys: dict[str, Annotated[str, Meta(min_length=1, max_length=60)]]


def shipped(folder: str) -> Path:
    """The folder ``config`` or ``examples`` that came with the program, in a wheel or in a checkout."""
    package = Path(__file__).parent.parent
    inside = package / folder
    return inside if inside.is_dir() else package.parent / folder


def default_folder() -> Path:
    """Where the keeper's own settings are kept unless another folder is named."""
    import platformdirs

    return Path(platformdirs.user_config_dir("pupawatch", appauthor=False))


def load(folder: Path | None = None) -> Settings:
    """The shipped settings with those of ``folder`` over them, key by key.

    Raises Unusable with every error of every file, a line each, where a file cannot be read or a value is not
    allowed. A folder or file that does not exist adds nothing.
    """
    reader = _Reader(folder or default_folder())
    parts = Parts(
        species=reader.read("species.toml", dict[str, Profile]),
        care=reader.read("care.toml", Care),
        places=file.places if (file := reader.read("places.toml", _PlacesFile)) else None,
        keys=bound.keys if (bound := reader.read("keys.toml", _KeysFile)) else None,
        keeper=reader.read("keeper.toml", Keeper),
        health=reader.read("health.toml", Health),
    )
    if parts.keys is not None:
        own = [act for source in reader.sources["keys.toml"][1:] for act in source.table.get("keys", {})]
        parts = parts._replace(keys=settled(parts.keys, own))
    reader.errors += _first(worded(problem, reader.sources[name]) for name, problem in across(parts))
    if reader.errors or None in parts:
        raise Unusable("The settings have errors; correct them and try again:\n" + "\n".join(reader.errors))
    settings = Settings(**parts._asdict())
    return msgspec.structs.replace(settings, zone=settings.keeper.zone or _machine_zone(folder))


def word_lists(name: str, folder: Path | None = None) -> dict[str, dict[str, list[str]]]:
    """The lists of words in a file, by heading and meaning; those of the keeper's file are added to the shipped ones.

    Headings of headings are joined by a dot. Raises Unusable, with all that is wrong, where the file has errors.
    """
    reader = _Reader(folder or default_folder())
    reader.read(name, dict[str, dict[str, list[str] | dict[str, list[str]]]])
    if reader.errors:
        raise Unusable("The settings have errors; correct them and try again:\n" + "\n".join(reader.errors))
    lists: dict[str, dict[str, list[str]]] = {}
    for source in reader.sources[name]:
        for heading, table in source.table.items():
            for meaning, words in table.items():
                inner = words if isinstance(words, dict) else {meaning: words}
                key = f"{heading}.{meaning}" if isinstance(words, dict) else heading
                for code, some in inner.items():
                    lists.setdefault(key, {}).setdefault(code, []).extend(some)
    return lists


def own_places(folder: Path | None = None) -> list[Place] | None:
    """The keeper's places as they stand in their file now; None where there is no such file.

    Raises Unusable, with all that is wrong, where the settings have errors.
    """
    return load(folder).places if places_file(folder).exists() else None


def places_file(folder: Path | None = None) -> Path:
    """The file in which the keeper's places are described."""
    return (folder or default_folder()) / "places.toml"


def _machine_zone(folder: Path | None) -> str:
    try:
        return machine_zone()
    except Unusable as error:
        file = (folder or default_folder()).absolute() / "keeper.toml"
        raise Unusable(
            f'This computer\'s time zone is not clear: {error} Write yours into {file}, as in: zone = "America/Chicago"'
        ) from None


def _first(told: Iterable[str]) -> list[str]:
    """The first of many sentences, and whether there are more."""
    some = list(islice(told, _MOST_TOLD + 1))
    return some if len(some) <= _MOST_TOLD else [*some[:-1], "… and more; correct these first"]


class _Reader:
    """Reads each file of settings, the shipped one and the keeper's over it, and keeps what is wrong with them."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.errors: list[str] = []
        self.sources: dict[str, list[Source]] = {}

    def read(self, name: str, kind: type[Kind]) -> Kind | None:
        """The file of this name as what it must be; None where anything is wrong with it, which stands in errors."""
        unread = len(self.errors)
        found = (_source(file, self.errors) for file in (shipped("config") / name, self._folder / name))
        sources = self.sources[name] = [source for source in found if source]
        if len(self.errors) > unread:
            return None
        merged: dict[str, Any] = {}
        for source in sources:
            merged = _over(merged, source.table)
        wrong = _first(worded(problem, sources) for problem in problems(merged, kind, ()))
        self.errors += wrong
        return None if wrong else msgspec.convert(merged, kind)


def _source(path: Path, errors: list[str]) -> Source | None:
    """The file at ``path``, None where there is none; what is wrong with it is added to ``errors``."""
    try:
        text = _text_of(path)
        table = tomli.loads(text)
        if _depth(table) <= _DEEPEST:
            return Source(path, text, table)
        errors.append(f"{path}: its tables are nested too deeply")
    except RecursionError:
        errors.append(f"{path}: its tables are nested too deeply")
    except FileNotFoundError:
        if (link := disk.dead_link(path)) and (told := f"{link}: is a link that leads nowhere") not in errors:
            errors.append(told)
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        errors.append(f"{path}:{line}: the file is not UTF-8 text; save it as UTF-8")
    except tomli.TOMLDecodeError as error:
        errors.append(f"{path}:{error.lineno}: not TOML: {error.msg} (column {error.colno})")
    except ValueError:  # Python turns no number of so many digits into one
        found = _ENDLESS.search(text)
        line = text.count("\n", 0, found.start()) + 1 if found else 1
        errors.append(f"{path}:{line}: a number has more digits than any setting")
    except OSError as error:
        errors.append(f"{path}: cannot be read: {error.strerror}")
    return None


def _text_of(path: Path) -> str:
    with disk.regular(path).open("rb") as file:
        data = file.read(_LARGEST_BYTES + 1)
    if len(data) > _LARGEST_BYTES:
        raise OSError(errno.EFBIG, f"Is larger than settings may be ({_LARGEST_BYTES // 1_000_000} MB)")
    return data.decode("utf-8-sig")


def _depth(table: dict[str, Any]) -> int:
    depth = 0
    level: list[dict[str, Any] | list[Any]] = [table]
    while level:
        depth += 1
        inner = (value for one in level for value in (one.values() if isinstance(one, dict) else one))
        level = [value for value in inner if isinstance(value, dict | list)]
    return depth


def _over(below: dict[str, Any], above: dict[str, Any]) -> dict[str, Any]:
    merged = dict(below)
    for key, value in above.items():
        old = merged.get(key)
        merged[key] = _over(old, value) if isinstance(old, dict) and isinstance(value, dict) else value
    return merged
