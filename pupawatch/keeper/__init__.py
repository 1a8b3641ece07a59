"""The keeper's acts. Every change goes through here: it is checked against the rule, written, and answered."""

from pathlib import Path

from pupawatch.care.beside import beside
from pupawatch.clock import Clock, system_clock
from pupawatch.journal.file import Journal
from pupawatch.keeper.adults import Adults
from pupawatch.keeper.broods import Broods
from pupawatch.keeper.drafts import Done
from pupawatch.keeper.moves import Moves
from pupawatch.keeper.pupae import Pupae
from pupawatch.keeper.temperatures import Temperatures
from pupawatch.keeper.undo import UndoingDesk
from pupawatch.model.settings import Method, Settings


class Keeper(UndoingDesk):
    """One keeper at work, with all acts by subject. Acts without a time happen now; a time in the future is not
    understood.

    Every act raises NotUnderstood where it makes no sense, Refused where a care rule stands against it, and Unusable
    where the journal cannot be written; nothing is written then.
    """

    def __init__(
        self, journal: Journal, settings: Settings, clock: Clock = system_clock, folder: Path | None = None
    ) -> None:
        """folder: where the keeper's own settings are kept, the platform's folder where none is named."""
        super().__init__(journal, settings, clock, folder)
        self.pupae = Pupae(self)
        self.moves = Moves(self)
        self.adults = Adults(self)
        self.broods = Broods(self)
        self.temperatures = Temperatures(self)

    def beside(self, *done: Done) -> list[Method]:
        """The steps and cautions that belong to what was just recorded, each once."""
        now = self.clock()
        pupae = ((entry, self.state.pupae.get(entry.about)) for one in done for entry in one.entries)
        ways = (way for entry, pupa in pupae for way in beside(entry, pupa, now, self.settings))
        return list({way.words: way for way in ways}.values())

    def elsewhere(self) -> "Keeper":
        """The same keeper on a connection of its own, for another thread. To be closed."""
        return Keeper(Journal(self.journal.path), self.settings, self.clock, self.folder)
