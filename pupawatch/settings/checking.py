"""What is wrong with settings: values that are not allowed, names that nothing else knows; and where each stands."""

import re
import types
from collections.abc import Iterable, Iterator
from functools import cache, lru_cache
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple, Union, get_args, get_origin

import msgspec
import msgspec.structs
from msgspec import Struct

from pupawatch.model.acts import acts_by_name, clashes
from pupawatch.model.adult_settings import Health
from pupawatch.model.codes import STAGES
from pupawatch.model.settings import THEMES, Care, Keeper, Place, Profile
from pupawatch.model.text import nearest, shown, shown_lines
from pupawatch.model.times import is_zone

_FAR_HOURS = 3.5
"""The clocks of no place differ by so much from its sun (western China: 3 h); a longitude of the wrong sign does."""
_MOST_NAMED = 60
"""So many of the names that would be allowed are told."""
_SHORT = 60
_EXPECTED = re.compile(
    r"Expected `(?P<kinds>[^`]*)`(?:, got `[^`]*`)?(?: (?P<sign>>=|<=|>|<) (?P<bound>[-\d.]+)$)?(?P<more>.*)", re.DOTALL
)
_KINDS = {
    "int": "a whole number",
    "float": "a number",
    "str": "a text in quotation marks",
    "bool": "true or false",
    "null": "left out",
    "array": "a list",
    "object": "a table",
}
"""The types msgspec names, as they are written in a settings file."""
_BOUNDS = {">=": "of at least", "<=": "of at most", ">": "above", "<": "below"}
_LONGEST_KEY = 300


class Source(NamedTuple):
    """One file of settings: its text, and the table it holds."""

    path: Path
    text: str
    table: dict[str, Any]


class Parts(NamedTuple):
    """The files that are right in themselves; None where one is not."""

    species: dict[str, Profile] | None
    care: Care | None
    places: list[Place] | None
    keys: dict[str, str] | None
    keeper: Keeper | None
    health: Health | None


class Problem(NamedTuple):
    """What is wrong with the value at a path of keys and places in lists."""

    path: tuple[str | int, ...]
    text: str


def problems(value: Any, kind: Any, path: tuple[str | int, ...]) -> Iterator[Problem]:
    """Every place in ``value`` that ``kind`` does not allow: msgspec stops at the first, so each leaf is asked."""
    struct = _struct_of(kind)
    origin = get_origin(kind)
    if struct and isinstance(value, dict):
        fields, sound = _fields_of(struct), True
        for key in value.keys() - fields.keys():
            sound = False
            yield Problem((*path, key), f"there is no such key; {choices(key, fields)}")
        for name, field in fields.items():
            if name in value:
                for problem in problems(value[name], field.type, (*path, name)):
                    sound = False
                    yield problem
            elif field.required:
                sound = False
                yield Problem((*path, name), "is missing")
        if not sound:
            return
    elif origin is dict and isinstance(value, dict):
        for key, item in value.items():
            if shown(key) != key:
                yield Problem((*path, shown(key)), "the name holds control or invisible characters")
            yield from problems(item, get_args(kind)[1], (*path, key))
        return
    elif origin is list and isinstance(value, list):
        for index, item in enumerate(value):
            yield from problems(item, get_args(kind)[0], (*path, index))
        return
    if isinstance(value, str) and shown_lines(value) != value:
        yield Problem(path, f"holds control or invisible characters, got {_short(value)}")
        return
    try:
        msgspec.convert(value, kind)
    except msgspec.ValidationError as error:
        yield Problem(path, f"{_in_words(error)}, got {_short(value)}")


def _in_words(error: msgspec.ValidationError) -> str:
    """What msgspec says of a value, for somebody who does not know the types of a programming language."""
    text = str(error).split(" - at ")[0]
    if (told := _EXPECTED.match(text)) is None:
        return f"{text[0].lower()}{text[1:]}"
    kinds = [_KINDS.get(kind, kind) for kind in told["kinds"].split(" | ")]
    bound = f" {_BOUNDS[told['sign']]} {told['bound'].removesuffix('.0')}" if told["sign"] else ""
    return f"must be {' or '.join(kinds)}{bound or told['more']}"


@cache
def _fields_of(struct: type[Struct]) -> dict[str, msgspec.structs.FieldInfo]:
    return {field.encode_name: field for field in msgspec.structs.fields(struct)}


@cache
def _struct_of(kind: Any) -> type[Struct] | None:
    """The Struct inside ``kind``, also where it may be None."""
    options = get_args(kind) if isinstance(kind, types.UnionType) or get_origin(kind) is Union else (kind,)
    return next((o for o in options if isinstance(o, type) and issubclass(o, Struct)), None)


def across(parts: Parts) -> Iterator[tuple[str, Problem]]:
    """What no single value shows: names that must be known elsewhere, places named twice, keys used twice.

    Gives the file's name beside each problem.
    """
    yield from (("keeper.toml", problem) for problem in _of_keeper(parts))
    yield from (("places.toml", problem) for problem in _of_places(parts))
    for name, profile in (parts.species or {}).items():
        for stage in [stage for stage in STAGES if stage not in profile.looks]:
            yield "species.toml", Problem((name, "looks", stage), "is missing")
    keys, known = parts.keys or {}, acts_by_name()
    for act in [act for act in keys if act not in known]:
        yield "keys.toml", Problem(("keys", act), choices(act, known).replace("got", "is no act: got"))
    for act, key, other, screen in clashes(keys):
        words = f"{key!r} is already the key of {other!r} (screen: {screen.replace('_', ' ')})"
        yield "keys.toml", Problem(("keys", act), words)


def _of_keeper(parts: Parts) -> Iterator[Problem]:
    keeper = parts.keeper
    if keeper is None:
        return
    if parts.species and keeper.species not in parts.species:
        yield Problem(("species",), choices(keeper.species, parts.species))
    if keeper.theme not in THEMES:
        yield Problem(("theme",), choices(keeper.theme, THEMES))
    if keeper.zone and not is_zone(keeper.zone):
        yield Problem(("zone",), f"{_short(keeper.zone)} is not an IANA zone; write it like America/Chicago")
    if keeper.longitude is not None and is_zone(keeper.zone) and (hours := _off_zone(keeper)) > _FAR_HOURS:
        words = f"noon would be {hours:.0f} h off in {keeper.zone}; west of Greenwich it takes a minus"
        yield Problem(("longitude",), words)


def _of_places(parts: Parts) -> Iterator[Problem]:
    names: set[str] = set()
    for index, place in enumerate(parts.places or []):
        if parts.care and place.surface not in parts.care.surfaces:
            yield Problem(("places", index, "surface"), choices(place.surface, parts.care.surfaces))
        if place.name in names:
            words = f"{_short(place.name)} appears twice; each place needs its own name"
            yield Problem(("places", index, "name"), words)
        names.add(place.name)


def _off_zone(keeper: Keeper) -> float:
    """How far noon by the sun lies from noon by the clock, in hours, at the keeper's place, summer time aside."""
    from datetime import datetime, timedelta
    from zoneinfo import ZoneInfo

    zone = ZoneInfo(keeper.zone)
    standard = min(datetime(2026, month, 1, tzinfo=zone).utcoffset() or timedelta() for month in (1, 7))
    off = (standard / timedelta(hours=1) - (keeper.longitude or 0.0) / 15) % 24
    return min(off, 24 - off)


def choices(found: str, allowed: Iterable[str]) -> str:
    """What was found where only some names are allowed, and which of them may have been meant."""
    some = [*islice(allowed, _MOST_NAMED)]
    near = nearest(str(found), some)
    hint = f"did you mean {near[0]!r}? " if near else ""
    return f"{hint}got {_short(found)}, allowed: {', '.join(some)}"


def _short(value: Any) -> str:
    try:
        text = repr(value)
    except ValueError:  # as Python says it of a number of thousands of digits
        return "an endless number"
    return text if len(text) <= _SHORT else text[: _SHORT - 3] + "…"


def worded(problem: Problem, sources: list[Source]) -> str:
    """The problem with the file and line at which a reader finds it: in the keeper's own file where it is there."""
    parts = (f"[{part}]" if isinstance(part, int) else f".{part[:_SHORT]}" for part in problem.path)
    where = "".join(parts).lstrip(".")
    for source in reversed(sources):
        line = _line_of(problem.path, source.text)
        if line:
            return f"{source.path}:{line}: {where}: {problem.text}"
    line = next((at for at in (_line_of(problem.path[:-1], sources[-1].text),) if at), 1)
    return f"{sources[-1].path}:{line}: {where}: {problem.text}"


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
