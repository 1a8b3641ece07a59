"""What to do this morning: the one answer that every face shows.

It brings what the picture of the morning needs from the journal (forecasts, temperatures, the record of each place) and
has the whole shelf decided.
"""

from collections.abc import Mapping
from datetime import datetime

from pupawatch.care.picture import Known
from pupawatch.care.proposals import decided
from pupawatch.care.round import Round, walk
from pupawatch.keeper.moves import Moves
from pupawatch.keeper.names import NamingDesk
from pupawatch.keeper.outlook import Outlooks
from pupawatch.model.state import State
from pupawatch.quiet import quiet_output


class Advice:
    """The morning of a journal. Asked again, it works out anew only what has changed since."""

    def __init__(self, desk: NamingDesk, moves: Moves) -> None:
        self._desk, self._moves = desk, moves
        self.outlooks = Outlooks(desk)

    @property
    def problem(self) -> str:
        """What of the temperatures could not be used and why, "" where all of it was."""
        return self.outlooks.problem

    def morning(self, moment: datetime | None = None, state: State | None = None) -> Round:
        """The round with its plan, as known at ``moment``, now where it is None. state: that of the moment, where it is
        at hand."""
        known = self.known(moment, state)
        now = moment or self._desk.clock()
        found = walk(state or self._state(moment), now, self._desk.settings, known)
        with quiet_output():
            return decided(found)

    def known(self, moment: datetime | None = None, state: State | None = None) -> Known:
        """What the picture of the morning is asked with."""
        now, state = moment or self._desk.clock(), state or self._state(moment)
        outlooks = self.outlooks.of(state, now)
        heat: Mapping[str, str] = self.outlooks.heat_warnings(state, now)
        temperatures = self.outlooks.conditions.temperatures
        loggers = self.outlooks.loggers(state, now)
        records, ends = self._moves.place_records(moment), self._moves.ends(moment)
        return Known(outlooks, records, temperatures, heat, loggers, ends)

    def _state(self, moment: datetime | None) -> State:
        return self._desk.state if moment is None else self._desk.state_at(moment)
