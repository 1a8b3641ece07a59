"""The keeper's acts on broods: batches of eggs or caterpillars of one source, and which pupae belong to one."""

from collections.abc import Iterable, Mapping
from datetime import datetime

from pupawatch.errors import NotUnderstood
from pupawatch.keeper.drafts import Done, Draft, Stamp
from pupawatch.keeper.names import NamingDesk, Whom, one_of
from pupawatch.model.broods import BroodTold, broods
from pupawatch.model.codes import BROOD_SOURCES
from pupawatch.model.entries import Belongs, Brood
from pupawatch.model.text import LONGEST_NAME, LONGEST_NOTE, checked
from pupawatch.model.times import Span


class Broods:
    """What a keeper tells of broods. Errors are as for every act (see ``Keeper``)."""

    def __init__(self, desk: NamingDesk) -> None:
        self._desk = desk

    def known(self, moment: datetime | None = None) -> Mapping[str, BroodTold]:
        """Every brood by its name, with its pupae, the oldest first; as known at ``moment``, now where it is None."""
        written = [entry for entry in self._desk.written("brood") if isinstance(entry, Brood)]
        by = moment or self._desk.clock()
        state = self._desk.whole_state(moment)
        return broods([entry for entry in written if entry.happened <= by], state.pupae.values())

    def tell(
        self, name: str, source: str = "", counts: Mapping[str, int | None] | None = None, why: str = "",
        when: Span | None = None,
    ) -> Done:  # fmt: skip
        """A brood, or something new of a known one: its source, one of BROOD_SOURCES, and what was counted by ``eggs``,
        ``hatched``, ``caterpillars`` and ``lost`` (before pupation, of ``why``)."""
        name = checked(name, "the name of the brood", LONGEST_NAME)
        if source:
            one_of("source of a brood", source, BROOD_SOURCES)
        told = counts or {}
        if any(number is not None and number < 0 for number in told.values()):
            raise NotUnderstood("A count is 0 or more.")
        why = checked(why, "why they were lost", LONGEST_NOTE) if why.strip() else ""

        def plan(stamp: Stamp) -> Draft:
            entry = Brood(
                **stamp.at(when), brood=name, source=source, why=why, eggs=told.get("eggs"),
                hatched=told.get("hatched"), caterpillars=told.get("caterpillars"), lost=told.get("lost"),
            )  # fmt: skip
            return Draft(f"Brood {name} recorded.", [], [entry])

        return self._desk.write(when, plan)

    def belong(self, name: str, pupae: Iterable[Whom], when: Span | None = None) -> Done:
        """These pupae belong to a brood, in one act."""
        name = checked(name, "the name of the brood", LONGEST_NAME)
        asked = list(pupae)

        def plan(stamp: Stamp) -> Draft:
            found = list({pupa.id: pupa for pupa in map(self._desk.pupa, asked)}.values())
            labels = ", ".join(pupa.label for pupa in found)
            verb = "belongs" if len(found) == 1 else "belong"
            entries = [Belongs(**stamp.at(when), pupa=pupa.id, brood=name) for pupa in found]
            return Draft(f"{labels} {verb} to brood {name}.", [], list(entries))

        return self._desk.write(when, plan)
