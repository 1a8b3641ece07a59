"""The forecasts of the dashboard, worked out off the screen's thread and on a connection of their own."""

from collections.abc import Mapping
from datetime import datetime
from threading import Lock

from pupawatch.care.forecast.records import Outlook
from pupawatch.desk import Desk
from pupawatch.journal.file import Journal
from pupawatch.model.settings import Settings
from pupawatch.outlook import Outlooks


class Forecasting:
    """Answers in a worker thread; keeps what has not changed between two questions."""

    def __init__(self, desk: Desk) -> None:
        self._mine = desk
        self._turn = Lock()
        self._desk: Desk | None = None
        self._outlooks: Outlooks | None = None

    def ask(self, now: datetime, settings: Settings) -> tuple[Mapping[str, Outlook], list[str]]:
        """The outlooks by pupa id at ``now``, and the heat warnings. A thread waits until the one before is done."""
        with self._turn:
            return self._answer(now, settings)

    def _answer(self, now: datetime, settings: Settings) -> tuple[Mapping[str, Outlook], list[str]]:
        if self._desk is None or self._outlooks is None:
            mine = self._mine
            self._desk = Desk(Journal(mine.journal.path), settings, mine.clock, mine.folder)
            self._outlooks = Outlooks(self._desk)
        self._desk.settings = settings
        self._desk.refresh()
        return self._outlooks.of(self._desk.state, now), self._outlooks.heat_warnings(now)
