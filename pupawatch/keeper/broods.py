"""The keeper's acts on broods: batches of eggs or caterpillars of one source, and which pupae belong to one."""

from collections.abc import Iterable, Mapping
from datetime import datetime

from pupawatch.errors import NotUnderstood
from pupawatch.keeper.drafts import Done, Draft, Stamp
from pupawatch.keeper.names import NamingDesk, Whom, one_of
from pupawatch.model.broods import BroodTold, broods
from pupawatch.model.codes import BROOD_SOURCES
from pupawatch.model.entries import Belongs, Brood, Entry
from pupawatch.model.pupa import Pupa
from pupawatch.model.text import LONGEST_NOTE, checked
from pupawatch.model.times import Span


class Broods:
    """What a keeper tells of broods. Errors are as for every act (see ``Keeper``)."""

    def __init__(self, desk: NamingDesk) -> None:
        self._desk = desk

    def known(self, pupae: Iterable[Pupa], moment: datetime | None = None) -> Mapping[str, BroodTold]:
        """Every brood by its name, the oldest first, with those of these pupae that belong to it; as known at
        ``moment``, now where it is None."""
        return broods(self._told(moment), pupae)

    def named(self, name: str) -> str:
        """A brood's name as it was first written."""
        return self._desk.brood_named(name)

    def entries(self, name: str, moment: datetime | None = None) -> list[Entry]:
        """All that was told of a brood and which pupae belong to it, the oldest first, by ``moment`` where one is
        named; nothing where there is no such brood."""
        name = self._desk.brood_named(name)
        members = (pupa for pupa in self._desk.whole_state(moment).pupae.values() if pupa.brood == name)
        joined = (entry for pupa in members for entry in pupa.entries if getattr(entry, "brood", "") == name)
        told: list[Entry] = [*(entry for entry in self._told(moment) if entry.brood == name), *joined]
        return sorted(told, key=lambda entry: (entry.happened, entry.id))

    def _told(self, moment: datetime | None) -> list[Brood]:
        by = moment or self._desk.clock()
        written = (entry for entry in self._desk.written("brood") if isinstance(entry, Brood))
        return [entry for entry in written if entry.happened <= by]

    def tell(
        self, name: str, source: str = "", counts: Mapping[str, int | None] | None = None, why: str = "",
        when: Span | None = None,
    ) -> Done:  # fmt: skip
        """A brood, or something new of a known one: its source, one of BROOD_SOURCES, and what was counted by ``eggs``,
        ``hatched``, ``caterpillars`` and ``lost`` (before pupation, of ``why``)."""
        name = self._desk.brood_named(name)
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
        name = self._desk.brood_named(name)
        asked = list(pupae)
        if not asked:
            raise NotUnderstood(f"Which pupae belong to {name}? Name at least one.")

        def plan(stamp: Stamp) -> Draft:
            found = list({pupa.id: pupa for pupa in map(self._desk.pupa, asked)}.values())
            labels = ", ".join(pupa.label for pupa in found)
            verb = "belongs" if len(found) == 1 else "belong"
            entries = [Belongs(**stamp.at(when), pupa=pupa.id, brood=name) for pupa in found]
            return Draft(f"{labels} {verb} to brood {name}.", [], list(entries))

        return self._desk.write(when, plan)
