"""A logger's readings brought into a journal: all or none, each sensor told from the other, and tied to places."""

from collections.abc import Iterator
from datetime import datetime
from math import inf
from pathlib import Path
from typing import NamedTuple

from pupawatch.errors import NotUnderstood
from pupawatch.exchange.logger import reading as logger
from pupawatch.exchange.progress import Watch, size_of, unwatched
from pupawatch.exchange.staging import Staging
from pupawatch.keeper import Keeper
from pupawatch.keeper.conditions import ties, told_of_temperatures
from pupawatch.model.degrees import Unit
from pupawatch.model.text import quoted
from pupawatch.model.times import instant, shown_time

_TOLD_TWICE = 0.1
"""More seconds that are told twice, with different values, than by a jump of the clock."""
_COMPARED = 500
"""So many readings are looked up to see whether it is the same logger."""


class Logged(NamedTuple):
    """What a logger's file held: how it was read, good readings, those new to the journal (None in a rehearsal), what
    was left out, and what the keeper should know of the sensors and places."""

    layout: logger.Layout
    good: int
    new: int | None
    left: logger.Left
    notes: list[str]

    def lines(self) -> list[str]:
        """The same in words."""
        new = "" if self.new is None else f", {self.new} of them new"
        return [*self.layout.lines(), f"{self.good} good readings{new}.", *self.left.lines(), *self.notes]


def temperatures(
    keeper: Keeper,
    path: Path,
    sensor: str,
    places: list[str],
    layout: str = "",
    dry_run: bool = False,
    watch: Watch = unwatched,
    unit: Unit | None = None,
    accept: bool = False,
) -> Logged:
    """Bring a logger's readings in, and tie its sensor to ``places``; all of it or nothing.

    sensor: what to call the only sensor, or which of several to read; "" takes all by their names in the file. layout:
    of its times, where it is not clear. unit: of its temperatures, where the file names none. accept: bring in the good
    readings of a file that has many faults. The file is never held whole.
    """
    how = logger.understand(path, keeper.settings.zone, sensor, layout, unit, keeper.settings.unit)
    left, size = logger.Left({}, {}), size_of(path)
    read = logger.readings(path, how, keeper.clock(), left, lambda more: watch("reading", more, size))
    # Laid out first: the journal is held only while they are written, and others may write meanwhile.
    with Staging() as staging:
        good = staging.put_readings(read)
        if how.only and not good:
            raise NotUnderstood(f"{path} names its sensors line by line; {quoted(how.only)} is not among them.")
        faults, lines = left.total, good + left.total
        if not accept and faults > max(logger.FAULTS_PASSED, logger.MOST_FAULTS * lines):
            raise NotUnderstood(
                f"{path}: {faults} of {lines} readings are faulty. {' '.join(left.lines())} Is the unit right (read as "
                f"°{'F' if how.fahrenheit else 'C'})? Nothing was imported; --accept takes the others."
            )
        sensors, notes = _sensors(keeper, path, staging, good, places)
        if dry_run:
            return Logged(how, good, None, left, notes)

        def watched() -> Iterator[logger.Reading]:
            for number, reading in enumerate(staging.readings(), start=1):
                yield logger.Reading(*reading)
                if number % 2000 == 0:
                    watch("writing", 2000, good)

        new, warnings = keeper.temperatures.log(watched(), sensors, places)
        return Logged(how, good, new, left, [*notes, *warnings])


def _sensors(
    keeper: Keeper, path: Path, staging: Staging, good: int, places: list[str]
) -> tuple[dict[str, datetime | None], list[str]]:
    """From when on a sensor of the file tells of other places than before (None: in all its readings), and what to say
    of that.

    Raises NotUnderstood where two sensors would be taken for one, or one place be told of by several columns.
    """
    if staging.told_twice() > good * _TOLD_TWICE:
        raise NotUnderstood(
            f"{path} gives many times twice, with different temperatures: are two loggers in it? Import them file "
            "by file, each under its own --sensor NAME."
        )
    found = staging.sensors()
    if places and len(found) > 1:
        raise NotUnderstood(
            f"{path} holds the sensors {', '.join(quoted(name) for name in found)}; import it once for each place, "
            "with --sensor NAME and --for PLACE."
        )
    where = sorted(keeper.moves.asked_place(place) for place in places)
    now, zone, tied = keeper.clock(), keeper.settings.zone, ties(told_of_temperatures(keeper))
    since: dict[str, datetime | None] = {}
    notes = []
    for name in found:
        span = keeper.journal.reading_span(name)
        if span is not None:
            some = staging.some_between(name, *span, _COMPARED)
            if len(some) > _COMPARED // 10 and keeper.journal.holds_readings(name, some) < len(some) / 2:
                raise NotUnderstood(
                    f"The journal has other readings of a sensor {quoted(name)} for the same time. If this is "
                    "another logger, name it: --sensor NAME."
                )
        told_of = sorted(
            place for place, some in tied.items() if any(t.sensor == name and t.until == inf for t in some)
        )
        beside = sorted({t.sensor for place in where for t in tied.get(place, ()) if t.until == inf} - {name})
        if beside and told_of != where:
            notes.append(
                f"Another logger measures {', '.join(where)} as well ({', '.join(beside)}): their mean is used. To use "
                'one of them alone, write logger = "NAME" to the place in places.toml.'
            )
        if told_of == where:
            continue
        since[name] = None
        if not told_of or not where:
            continue
        new = None if span is None else staging.first_after(name, span[1])
        begin = since[name] = None if new is None else instant(new)
        when = f"from {shown_time(begin, zone, now)} on" if begin else "in all its readings"
        notes.append(f"Sensor {name} belonged to {', '.join(told_of)}; {when} it belongs to {', '.join(where)}.")
    return since, notes
