"""What the keeper named, taken as what is meant: a pupa, a place, a species, one of a few words."""

import unicodedata
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import TypedDict

from pupawatch.errors import NotUnderstood
from pupawatch.keeper.desk import Desk
from pupawatch.model import text
from pupawatch.model.entries import Brood, Found, Hanging, Relabelled
from pupawatch.model.labels import is_handle, is_handle_of, spread
from pupawatch.model.pupa import Pupa
from pupawatch.model.state import folded
from pupawatch.model.text import LONGEST_NAME, checked, not_among, quoted
from pupawatch.words.labels import ambiguity, taken

Whom = str | Pupa
"""Whom an act is about: a label or a handle as the keeper typed it, or the pupa that a screen shows."""


class Described(TypedDict):
    """The place where a pupa is hung, as its entry tells of it (see ``entries.HungUp``)."""

    surface: str
    usual_c: float | None


class NamingDesk(Desk):
    """A desk that knows the names of the settings and the journal."""

    def pupa(self, whom: Whom, moment: datetime | None = None) -> Pupa:
        """The pupa that is meant, as it stands now or stood at ``moment``. No word is ever taken for an id.

        A label means the pupa that holds it, of whatever season; where none does, the newest that carried it. Raises
        NotUnderstood where there is none, and where more than one can be meant.
        """
        if isinstance(whom, Pupa):
            return self._known(whom, moment)
        meant = self._meant(whom, moment)
        if not meant:
            labels = [pupa.label for pupa in self.state.pupae.values()]
            hint = text.did_you_mean(whom, labels, most=3) or "; `pupawatch pupae --all` lists them"
            raise NotUnderstood(f"There is no pupa labelled {quoted(whom)}{hint}")
        return self._only(whom, meant)

    def several(self, typed: str) -> list[Pupa]:
        """The pupae meant by labels with spaces or commas between, and by ranges; a label that holds a space stands
        between commas."""
        parts = [part.strip() for part in typed.split(",") if part.strip()]
        words = [word for part in parts for word in ([part] if self._meant(part, None) else part.split())]
        return [self.pupa(word) for word in self.labels(words)]

    def labels(self, words: Iterable[str]) -> list[str]:
        """These labels, each once, with the ranges among them (``M41-M44``) spread out; a pupa's own label is none."""
        told = (label for word in words for label in ([word] if self._meant(word, None) else spread(word)))
        return list(dict.fromkeys(told))

    def next_label(self, species: str) -> str:
        """A label to propose: the newest counted one of that species counted on, P1 where there is none."""
        named = [
            (entry.recorded, entry.happened, pupa.label)
            for pupa in self.state.pupae.values()
            if pupa.species == species and pupa.label[-1:].isdecimal()
            for entry in pupa.entries
            if isinstance(entry, Found | Hanging | Relabelled)
        ]
        stem, number = _counted(max(named)[2]) if named else ("P", 0)
        held = folded(self.journal.read_names()).pupae.values()
        taken = {pupa.label.casefold() for pupa in (*self.state.pupae.values(), *held)}
        while f"{stem}{number + 1}".casefold() in taken:
            number += 1
        return f"{stem}{number + 1}"

    def holder(self, label: str) -> Pupa | None:
        """The pupa that holds a label, of whatever season; None where it is free."""
        held = folded(self.journal.read_labelled(label)).holders(label)
        return self._only(label, held) if held else None

    def taken(self, holder: Pupa, now: datetime) -> NotUnderstood:
        """Why the label of a pupa cannot be given to another."""
        return NotUnderstood(taken(holder, self.next_label(holder.species), now, self.settings.zone))

    def _only(self, word: str, meant: Sequence[Pupa]) -> Pupa:
        if len(meant) > 1:
            raise NotUnderstood(ambiguity(word, meant, self.clock(), self.settings.zone))
        return meant[0]

    def _known(self, pupa: Pupa, moment: datetime | None) -> Pupa:
        """The same pupa as it stands now, or stood then."""
        if moment is None and pupa.id in self.state.pupae:
            return self.state.pupae[pupa.id]
        read = folded(self.journal.read_pupae([pupa.id]), moment).pupae
        if pupa.id not in read:
            raise NotUnderstood(f"{pupa.label} is no longer in the journal: its finding was taken back.")
        return read[pupa.id]

    def _meant(self, word: str, moment: datetime | None) -> list[Pupa]:
        """Whom a word can mean: by its label and, where the word has the form of one, by its handle."""
        word = unicodedata.normalize("NFC", word.strip())
        meant = folded(self.journal.read_labelled(word), moment).labelled(word)
        if not is_handle(word):
            return meant
        ids = [identity for identity in self.journal.pupa_ids() if is_handle_of(word, identity)]
        handled = folded(self.journal.read_pupae(ids), moment).pupae
        return list(({pupa.id: pupa for pupa in meant} | handled).values())

    def place_named(self, name: str) -> tuple[str, list[str]]:
        """The place meant by ``name``; one that nobody described is taken as it is, unless it looks like a slip."""
        name = checked(name, "the place's name", LONGEST_NAME)
        known = [place.name for place in self.settings.places]
        known += [pupa.place for pupa in self.state.pupae.values() if pupa.place not in known]
        by_case = {place.casefold(): place for place in known}
        where = name if name in known else by_case.get(name.casefold(), name)
        if self.settings.knows_place(where):
            return where, []
        typed = f"pupawatch place {text.typed(where)} --surface …"
        near = text.nearest(name.casefold(), by_case, likeness=0.75)
        if near and where not in known:
            raise NotUnderstood(
                f"There is no place {quoted(name)}; did you mean {by_case[near[0]]}? "
                f"If it is new, describe it first: {typed}"
            )
        return where, [f"{where} is not described yet, so whether it can be climbed is unknown; describe it: {typed}"]

    def described(self, where: str) -> Described:
        """What an entry takes along of the place where a pupa is hung."""
        place = self.settings.place(where)
        surface = place.surface if self.settings.knows_place(where) else ""
        return Described(surface=surface, usual_c=place.temperature_c)

    def brood_named(self, name: str) -> str:
        """The brood meant by ``name``, as it was first written; a new name as it is. Upper and lower case are one."""
        name = checked(name, "the name of the brood", LONGEST_NAME)
        told = [entry.brood for entry in self.written("brood") if isinstance(entry, Brood)]
        known = [*told, *(pupa.brood for pupa in self.state.pupae.values())]
        return name if name in known else next((one for one in known if one.casefold() == name.casefold()), name)

    def species_named(self, name: str) -> str:
        """The species of that name. Raises NotUnderstood where the settings have none."""
        one_of("species", name, self.settings.species)
        return name


def one_of(what: str, found: str, allowed: Iterable[str]) -> None:
    """Raise NotUnderstood where ``found`` is not one of the allowed words for ``what``."""
    if found not in allowed:
        raise NotUnderstood(not_among(what, found, allowed))


def _counted(label: str) -> tuple[str, int]:
    stem = label.rstrip("0123456789")
    return stem, int(label[len(stem) :] or 0)
