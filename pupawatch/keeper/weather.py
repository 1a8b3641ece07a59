"""What is expected of the coming days: typed in, or taken from a weather file, and kept in ``expected.csv``."""

import csv
import io
import re
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path

from pupawatch import disk
from pupawatch.care.forecast.records import DayRange
from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.keeper.conditions import expected_days, expected_file
from pupawatch.keeper.drafts import Done
from pupawatch.keeper.names import NamingDesk
from pupawatch.model.degrees import COLDEST_C, HOTTEST_C, Unit, degrees, shown_degrees, typed_degrees
from pupawatch.model.text import counted

MOST_DAYS = 16
"""No weather forecast says anything of later days."""
_DAY_COLUMN = re.compile(r"date|day|time|datum")
_LOW, _HIGH = re.compile(r"min|low|\btn\b"), re.compile(r"max|high|\btx\b")
_OTHER = re.compile(r"hum|wind|gust|rain|precip|pressure|uv|dew|feel|apparent|chance|prob|time of|sunrise|sunset|snow")
_FAHRENHEIT = re.compile(r"°\s*f\b|fahrenheit|[\s_(\[]f\b")
_CELSIUS = re.compile(r"°\s*c\b|celsius|[\s_(\[]c\b")


def expect(desk: NamingDesk, typed: Sequence[str], place: str = "", first: date | None = None) -> Done:
    """Keep lowest and highest of the coming days, in order, tomorrow first (or from ``first``).

    typed: LOW HIGH LOW HIGH …, in the keeper's unit or with theirs. place: "" for all that nothing keeps warm. Raises
    NotUnderstood for an odd number, and for what no day can be.
    """
    if not typed or len(typed) % 2:
        raise NotUnderstood("Type the lowest and the highest of each day, as in 8 19 for tomorrow, or 8 19 9 22.")
    unit = desk.settings.unit
    begin = first or desk.today(desk.clock()) + timedelta(days=1)
    where = desk.place_named(place)[0] if place else ""
    pairs = zip(typed[::2], typed[1::2], strict=True)
    days = [
        _range(begin + timedelta(days=n), typed_degrees(low, unit), typed_degrees(high, unit), unit)
        for n, (low, high) in enumerate(pairs)
    ]
    return _keep(desk, {where: days}, unit)


def expect_from(desk: NamingDesk, path: Path, place: str = "") -> Done:
    """Keep the coming days of a weather file of any make: a table with a day, a lowest and a highest temperature."""
    where = desk.place_named(place)[0] if place else ""
    try:
        text = disk.regular(path).read_text(encoding="utf-8-sig")
    except OSError as error:
        raise Unusable(f"{path} cannot be read: {error.strerror}.") from None
    except UnicodeDecodeError:
        raise Unusable(f"{path} is not a text file.") from None
    days, unit = _read(text, desk.settings.unit, path)
    today = desk.today(desk.clock())
    coming = [day for day in days if today <= day.day < today + timedelta(days=MOST_DAYS)]
    if not coming:
        raise NotUnderstood(f"{path} has nothing for today or a coming day.")
    done = _keep(desk, {where: coming}, desk.settings.unit)
    return done._replace(words=f"{done.words} Read as °{unit}.")


def _range(day: date, low_c: float, high_c: float, unit: Unit) -> DayRange:
    if not COLDEST_C <= low_c <= high_c <= HOTTEST_C:
        raise NotUnderstood(
            f"{degrees(low_c, unit)} to {shown_degrees(high_c, unit)} cannot be a day's lowest and highest; the lower "
            "comes first."
        )
    return DayRange(day, low_c, high_c)


def _read(text: str, usual: Unit, path: Path) -> tuple[list[DayRange], Unit]:
    lines = text.splitlines()
    delimiter = max(",;\t", key=lambda sign: sum(line.count(sign) for line in lines[:40]))
    rows = list(csv.reader(lines, delimiter=delimiter))
    for number, row in enumerate(rows):
        names = [cell.strip().lower() for cell in row]
        day, low, high = (_column(names, found) for found in (_DAY_COLUMN, _LOW, _HIGH))
        if day is None or low is None or high is None:
            continue
        named = f"{names[low]} {names[high]}"
        unit: Unit = "F" if _FAHRENHEIT.search(named) else "C" if _CELSIUS.search(named) else usual
        return [one for cells in rows[number + 1 :] if (one := _day_of(cells, day, low, high, unit))], unit
    raise NotUnderstood(f"{path}: needs a heading that names a day, a lowest and a highest temperature (min and max).")


def _column(names: Sequence[str], wanted: re.Pattern[str]) -> int | None:
    found = [n for n, name in enumerate(names) if wanted.search(name) and not _OTHER.search(name)]
    return found[0] if found else None


def _day_of(cells: Sequence[str], day: int, low: int, high: int, unit: Unit) -> DayRange | None:
    """One day of the table; None for a line that holds none."""
    try:
        return _range(
            date.fromisoformat(cells[day].strip()[:10]),
            typed_degrees(cells[low], unit),
            typed_degrees(cells[high], unit),
            unit,
        )
    except (IndexError, ValueError, NotUnderstood):
        return None


def _keep(desk: NamingDesk, new: Mapping[str, Sequence[DayRange]], unit: Unit) -> Done:
    """Write the days into expected.csv beside what it says of others; days that have passed go."""
    path, today = expected_file(desk.folder), desk.today(desk.clock())
    known = {(place, day.day): day for place, days in expected_days(desk.settings, desk.folder).items() for day in days}
    known |= {(place, day.day): day for place, days in new.items() for day in days}
    table = io.StringIO()
    write = csv.writer(table, lineterminator="\n").writerow
    write(("day", "low_c", "high_c", "place"))
    for (place, day), told in sorted(known.items()):
        if day >= today:
            write((day.isoformat(), f"{told.low_c:g}", f"{told.high_c:g}", place))
    try:
        disk.replace(path, table.getvalue().encode())
    except OSError as error:
        raise Unusable(f"{path} cannot be written: {error.strerror}.") from None
    ((place, days),) = new.items()
    first = days[0]
    span = f"{degrees(first.low_c, unit)} to {shown_degrees(first.high_c, unit)} on {first.day:%a} {first.day.day}"
    more = f" and {counted(len(days) - 1, 'day', 'days')} more" if len(days) > 1 else ""
    return Done(f"Expected{f' in {place}' if place else ''}: {span}{more}; kept in {path.name}.", [], [], place)
