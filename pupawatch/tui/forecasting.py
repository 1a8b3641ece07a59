"""What takes longer than a key may wait, worked out off the screen's thread and on a connection of its own."""

from collections.abc import Sequence
from threading import Lock
from typing import NamedTuple

from pupawatch.care.forecast.ahead import Expected
from pupawatch.care.picture import Known
from pupawatch.care.round import Round
from pupawatch.keeper import Keeper
from pupawatch.keeper.advice import Advice
from pupawatch.model.settings import Settings
from pupawatch.words.forecast import expected_days

_DAYS = 28
"""So many days ahead are shown where the screen is wide enough."""


class Ahead(NamedTuple):
    """The round with its plan, and what the coming days may bring; what of the temperatures could not be used."""

    morning: Round
    days: Sequence[Expected]
    problem: str

    @property
    def known(self) -> Known:
        """What the picture of the morning was asked with."""
        return self.morning.picture.known


class Forecasting:
    """Answers in a worker thread; keeps what has not changed between two questions."""

    def __init__(self, keeper: Keeper) -> None:
        self._asking = keeper
        self._turn = Lock()
        self._own: Keeper | None = None
        self._advice: Advice | None = None
        self._left = False

    def ask(self, settings: Settings) -> Ahead:
        """What is ahead now. A thread waits until the one before is done."""
        try:
            with self._turn:
                return self._answer(settings)
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
                self._own = self._advice = None
            finally:
                self._turn.release()

    def _answer(self, settings: Settings) -> Ahead:
        if self._own is None or self._advice is None:
            self._own = self._own or self._asking.elsewhere()
            self._advice = Advice(self._own, self._own.moves)
        self._own.settings = settings
        self._own.refresh()
        morning = self._advice.morning()
        told = any(standing.outlook for standing in morning.standings)
        days = expected_days(morning.standings, morning.now, settings.zone, _DAYS) if told else ()
        return Ahead(morning, days, self._advice.problem)
