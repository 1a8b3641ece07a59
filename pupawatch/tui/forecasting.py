"""What takes longer than a key may wait, worked out off the screen's thread and on a connection of its own."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from threading import Lock
from typing import NamedTuple

from pupawatch.care.forecast.ahead import Expected, expected_by_day
from pupawatch.care.forecast.records import Outlook
from pupawatch.care.risk import Record
from pupawatch.keeper import Keeper
from pupawatch.keeper.outlook import Outlooks
from pupawatch.model.settings import Settings
from pupawatch.model.times import local_day


class Ahead(NamedTuple):
    """The outlooks by pupa id and what the coming days may bring; by place the heat warnings and the record so far."""

    outlooks: Mapping[str, Outlook]
    days: Sequence[Expected]
    heat: Mapping[str, str]
    records: Mapping[str, Record]
    problem: str


class Forecasting:
    """Answers in a worker thread; keeps what has not changed between two questions."""

    def __init__(self, keeper: Keeper) -> None:
        self._asking = keeper
        self._turn = Lock()
        self._own: Keeper | None = None
        self._outlooks: Outlooks | None = None
        self._left = False

    def ask(self, now: datetime, settings: Settings) -> Ahead:
        """What is ahead at ``now``. A thread waits until the one before is done."""
        try:
            with self._turn:
                return self._answer(now, settings)
        finally:
            if self._left:
                self.close()

    def close(self) -> None:
        """Let go of the journal: at once, or as soon as the thread that is asking is done. Never waits."""
        self._left = True
        if self._turn.acquire(blocking=False):
            try:
                if self._own is not None:
                    self._own.close()
                self._own = self._outlooks = None
            finally:
                self._turn.release()

    def _answer(self, now: datetime, settings: Settings) -> Ahead:
        if self._own is None or self._outlooks is None:
            self._own = self._own or self._asking.elsewhere()
            self._outlooks = Outlooks(self._own)
        self._own.settings = settings
        self._own.refresh()
        outlooks = self._outlooks.of(self._own.state, now)
        today = local_day(now, settings.zone)
        days = expected_by_day(list(outlooks.values()), today) if outlooks else ()
        heat = self._outlooks.heat_warnings(self._own.state, now)
        return Ahead(outlooks, days, heat, self._own.moves.place_records(), self._outlooks.problem)
