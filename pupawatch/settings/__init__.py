"""TOML in and out: shipped defaults, the keeper's own files over them, and errors that name file, line and key."""

import difflib
import errno
import re
import types
from collections.abc import Callable, Iterable, Iterator
from functools import cache, lru_cache
from itertools import islice
from pathlib import Path
from typing import Annotated, Any, NamedTuple, Union, get_args, get_origin

import msgspec
import msgspec.structs
import tomli
from msgspec import Meta, Struct

from pupawatch import disk
from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.model.adult_settings import Health
from pupawatch.model.codes import STAGES
from pupawatch.model.settings import Care, Keeper, Place, Profile, Settings
from pupawatch.model.text import shown, shown_lines
from pupawatch.model.times import is_zone
from pupawatch.settings.zone import machine_zone


class _PlacesFile(Struct, forbid_unknown_fields=True):
    places: list[Place]


class _KeysFile(Struct, forbid_unknown_fields=True):
    keys: dict[str, Annotated[str, Meta(min_length=1, max_length=60)]]


_FILES: dict[str, Any] = {
    "species.toml": dict[str, Profile],
    "care.toml": Care,
    "places.toml": _PlacesFile,
    "keys.toml": _KeysFile,
    "keeper.toml": Keeper,
    "health.toml": Health,
}

_FAR_HOURS = 3.5
"""The clocks of no place differ by so much from its sun (western China: 3 h); a longitude of the wrong sign does."""
_DEEPEST = 20
"""How deeply tables may be nested; no setting is nested half as deeply."""

_LARGEST_BYTES = 4_000_000
"""A file of settings; ten thousand places take half as much."""
_MOST_TOLD, _MOST_NAMED = 20, 60
"""So many errors of a file are told, and so many of the names that would be allowed."""
_SHORT = 60
_LONGEST_KEY = 300

_PLACES_HEADER = (
    "# The places a pupa can hang in or on, in the order in which you walk past them.\n"
    "# pupawatch writes this file anew when a place is added or edited, and keeps no other comments.\n\n"
)


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
    errors: list[str] = []
    read: dict[str, Any] = {}
    sources: dict[str, list[_Source]] = {}
    for name, kind in _FILES.items():
        files = (shipped("config") / name, (folder or default_folder()) / name)
        unread = len(errors)
        sources[name] = [source for source in (_Source.read(file, errors) for file in files) if source]
        if len(errors) > unread:
            continue
        merged: dict[str, Any] = {}
        for source in sources[name]:
            merged = _over(merged, source.table)
        told = _first(_worded(problem, sources[name]) for problem in _problems(merged, kind, ()))
        errors += told
        if not told:
            read[name] = msgspec.convert(merged, kind)
    errors += _first(_worded(problem, sources[name]) for name, problem in _across(read))
    if errors:
        raise Unusable("The settings have errors; correct them and try again:\n" + "\n".join(errors))
    settings = Settings(
        species=read["species.toml"],
        care=read["care.toml"],
        places=read["places.toml"].places,
        keys=read["keys.toml"].keys,
        keeper=read["keeper.toml"],
        health=read["health.toml"],
    )
    return msgspec.structs.replace(settings, zone=settings.keeper.zone or _machine_zone(folder))


def own_places(folder: Path | None = None) -> list[Place] | None:
    """The keeper's places as they stand in their file now; None where there is no such file.

    Raises Unusable, with all that is wrong, where the settings have errors.
    """
    return load(folder).places if places_file(folder).exists() else None


def places_file(folder: Path | None = None) -> Path:
    """The file in which the keeper's places are described."""
    return (folder or default_folder()) / "places.toml"


def save_places(places: list[Place], folder: Path | None = None) -> Path:
    """Write the places of the keeper, in walking order, and return the file. Replaced whole or not at all; raises
    Unusable where it cannot be."""
    import tomli_w

    text = "\n".join("[[places]]\n" + tomli_w.dumps(msgspec.to_builtins(place)) for place in places)
    return _written(disk.replace, folder, (_PLACES_HEADER + text).encode())


def rehearse_saving(folder: Path | None = None) -> None:
    """Raise Unusable where ``save_places`` would, as far as can be known beforehand."""
    _written(disk.rehearse, folder, _PLACES_HEADER.encode())


def _written(write: Callable[[Path, bytes], None], folder: Path | None, data: bytes) -> Path:
    path = places_file(folder)
    try:
        write(path, data)
    except OSError as error:
        raise Unusable(f"The places could not be written to {path}: {error.strerror}.") from None
    return path


def with_place(settings: Settings, place: Place) -> Settings:
    """The settings with this place added at the end, or put in the stead of the one of the same name."""
    checked_place(place, settings)
    places = [place if old.name == place.name else old for old in settings.places]
    if not settings.knows_place(place.name):
        places.append(place)
    return msgspec.structs.replace(settings, places=places)


def checked_place(place: Place, settings: Settings) -> None:
    """Raise NotUnderstood where a place holds values that the settings file would not allow."""
    problems = [*_problems(msgspec.to_builtins(place), Place, ())]
    if problems:
        raise NotUnderstood("; ".join(f"{problem.path[-1]}: {problem.text}" for problem in problems))
    if place.surface not in settings.care.surfaces:
        raise NotUnderstood(f"surface: {_choices(place.surface, settings.care.surfaces)}")


def _machine_zone(folder: Path | None) -> str:
    try:
        return machine_zone()
    except Unusable as error:
        file = (folder or default_folder()).absolute() / "keeper.toml"
        raise Unusable(
            f"This computer's time zone is not clear: {error}. "
            f'Write yours into {file}, as in: zone = "America/Chicago"'
        ) from None


def _first(told: Iterable[str]) -> list[str]:
    """The first of many sentences, and whether there are more."""
    some = list(islice(told, _MOST_TOLD + 1))
    return some if len(some) <= _MOST_TOLD else [*some[:-1], "… and more; correct these first"]


class _Problem(NamedTuple):
    path: tuple[str | int, ...]
    text: str


class _Source(NamedTuple):
    path: Path
    text: str
    table: dict[str, Any]

    @classmethod
    def read(cls, path: Path, errors: list[str]) -> "_Source | None":
        """The file at ``path``, None where there is none; what is wrong with it is added to ``errors``."""
        try:
            text = _text_of(path)
            table = tomli.loads(text)
            if _depth(table) <= _DEEPEST:
                return cls(path, text, table)
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
        raise OSError(errno.EFBIG, f"Is larger than settings can be ({_LARGEST_BYTES // 1_000_000} MB)")
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


def _problems(value: Any, kind: Any, path: tuple[str | int, ...]) -> Iterator[_Problem]:
    """Every place in ``value`` that ``kind`` does not allow: msgspec stops at the first, so each leaf is asked."""
    struct = _struct_of(kind)
    origin = get_origin(kind)
    if struct and isinstance(value, dict):
        fields, sound = _fields_of(struct), True
        for key in value.keys() - fields.keys():
            sound = False
            yield _Problem((*path, key), f"there is no such key; {_choices(key, fields)}")
        for name, field in fields.items():
            if name in value:
                for problem in _problems(value[name], field.type, (*path, name)):
                    sound = False
                    yield problem
            elif field.required:
                sound = False
                yield _Problem((*path, name), "is missing")
        if not sound:
            return
    elif origin is dict and isinstance(value, dict):
        for key, item in value.items():
            if shown(key) != key:
                yield _Problem((*path, shown(key)), "the name holds control or invisible characters")
            yield from _problems(item, get_args(kind)[1], (*path, key))
        return
    elif origin is list and isinstance(value, list):
        for index, item in enumerate(value):
            yield from _problems(item, get_args(kind)[0], (*path, index))
        return
    if isinstance(value, str) and shown_lines(value) != value:
        yield _Problem(path, f"holds control or invisible characters, got {_short(value)}")
        return
    try:
        msgspec.convert(value, kind)
    except msgspec.ValidationError as error:
        text = str(error).split(" - at ")[0]
        yield _Problem(path, f"{text[0].lower()}{text[1:]}, got {_short(value)}")


@cache
def _fields_of(struct: type[Struct]) -> dict[str, msgspec.structs.FieldInfo]:
    return {field.encode_name: field for field in msgspec.structs.fields(struct)}


@cache
def _struct_of(kind: Any) -> type[Struct] | None:
    """The Struct inside ``kind``, also where it may be None."""
    options = get_args(kind) if isinstance(kind, types.UnionType) or get_origin(kind) is Union else (kind,)
    return next((o for o in options if isinstance(o, type) and issubclass(o, Struct)), None)


def _across(read: dict[str, Any]) -> Iterator[tuple[str, _Problem]]:
    """What no single value shows: names that must be known elsewhere, places named twice, keys used twice.

    read: the files that are right in themselves, by name. Gives the file's name beside each problem.
    """
    species, care, keeper = read.get("species.toml"), read.get("care.toml"), read.get("keeper.toml")
    if keeper and species and keeper.species not in species:
        yield "keeper.toml", _Problem(("species",), _choices(keeper.species, species))
    if keeper and keeper.zone and not is_zone(keeper.zone):
        words = f"{_short(keeper.zone)} is not an IANA zone; write it like America/Chicago"
        yield "keeper.toml", _Problem(("zone",), words)
    if keeper and keeper.longitude is not None and is_zone(keeper.zone) and (hours := _off_zone(keeper)) > _FAR_HOURS:
        words = f"noon would be {hours:.0f} h off in {keeper.zone}; west of Greenwich it takes a minus"
        yield "keeper.toml", _Problem(("longitude",), words)
    places: list[Place] = read["places.toml"].places if "places.toml" in read else []
    names: set[str] = set()
    for index, place in enumerate(places):
        if care and place.surface not in care.surfaces:
            yield "places.toml", _Problem(("places", index, "surface"), _choices(place.surface, care.surfaces))
        if place.name in names:
            words = f"{_short(place.name)} stands twice; each place needs its own name"
            yield "places.toml", _Problem(("places", index, "name"), words)
        names.add(place.name)
    for name, profile in (species or {}).items():
        for stage in [stage for stage in STAGES if stage not in profile.looks]:
            yield "species.toml", _Problem((name, "looks", stage), "is missing")
    taken: dict[str, str] = {}
    for act, bound in (read["keys.toml"].keys if "keys.toml" in read else {}).items():
        for key in bound.split(","):
            if key.strip() in taken:
                words = f"{key.strip()!r} is already the key of {taken[key.strip()]!r}"
                yield "keys.toml", _Problem(("keys", act), words)
            taken[key.strip()] = act


def _off_zone(keeper: Keeper) -> float:
    """How far noon by the sun lies from noon by the clock, in hours, at the keeper's place, summer time aside."""
    from datetime import datetime, timedelta
    from zoneinfo import ZoneInfo

    zone = ZoneInfo(keeper.zone)
    standard = min(datetime(2026, month, 1, tzinfo=zone).utcoffset() or timedelta() for month in (1, 7))
    off = (standard / timedelta(hours=1) - (keeper.longitude or 0.0) / 15) % 24
    return min(off, 24 - off)


def _choices(found: str, allowed: Iterable[str]) -> str:
    some = [*islice(allowed, _MOST_NAMED)]
    near = difflib.get_close_matches(str(found)[:_SHORT], some, 1)
    hint = f"did you mean {near[0]!r}? " if near else ""
    return f"{hint}got {_short(found)}, allowed: {', '.join(some)}"


def _short(value: Any) -> str:
    try:
        text = repr(value)
    except ValueError:  # as Python says it of a number of thousands of digits
        return "an endless number"
    return text if len(text) <= _SHORT else text[: _SHORT - 3] + "…"


def _worded(problem: _Problem, sources: list[_Source]) -> str:
    """The problem with the file and line at which a reader finds it: in the keeper's own file where it is there."""
    parts = (f"[{part}]" if isinstance(part, int) else f".{part[:_SHORT]}" for part in problem.path)
    where = "".join(parts).lstrip(".")
    for source in reversed(sources):
        line = _line_of(problem.path, source.text)
        if line:
            return f"{source.path}:{line}: {where}: {problem.text}"
    line = next((at for at in (_line_of(problem.path[:-1], sources[-1].text),) if at), 1)
    return f"{sources[-1].path}:{line}: {where}: {problem.text}"


_ENDLESS = re.compile(r"\d(?:_?\d){4000}")
_HEADER = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]\]?")
_KEY = re.compile(r"""\s*(?:"([^"]+)"|'([^']+)'|([\w-]+))\s*=""")


_Path = tuple[str | int, ...]


def _line_of(path: _Path, text: str) -> int | None:
    """The line on which the value at ``path`` is set, by scanning headers and keys; None where it is not there."""
    if not path:
        return 1
    headers, keys = _lines_of(text)
    # Of an inline table or list, the line it begins on is as near as can be told.
    begun = (keys[path[:end]] for end in range(len(path), 0, -1) if path[:end] in keys)
    return headers.get(path) or next(begun, None)


@lru_cache(maxsize=16)
def _lines_of(text: str) -> tuple[dict[_Path, int], dict[_Path, int]]:
    """The lines of a file's headers and of its keys."""
    here: _Path = ()
    counts: dict[str, int] = {}
    headers: dict[_Path, int] = {}
    keys: dict[_Path, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line[:_LONGEST_KEY]):
            name = header[2]
            here = tuple(part.strip().strip("\"'") for part in name.split("."))
            if header[1] == "[[":
                counts[name] = counts.get(name, -1) + 1
                here = (*here, counts[name])
            headers[here] = number
        elif key := _KEY.match(line[:_LONGEST_KEY]):
            keys.setdefault((*here, key[1] or key[2] or key[3]), number)
    return headers, keys
