"""The keeper's acts on places. What a place is stands in places.toml alone; each edit is a step of the session."""

from collections.abc import Iterable
from contextlib import suppress
from datetime import datetime
from pathlib import Path

import msgspec.structs

from pupawatch import settings as files
from pupawatch.care import hang
from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.keeper.drafts import Done, Draft, Stamp
from pupawatch.keeper.names import NamingDesk, one_of
from pupawatch.keeper.session import Edited, Step, taken_back
from pupawatch.model.entries import Cleaned, Entry, Looked, OfPupa, Tied
from pupawatch.model.settings import Place
from pupawatch.model.text import LONGEST_NAME, checked
from pupawatch.model.times import Span
from pupawatch.words.health import recipe
from pupawatch.words.places import edit_words, walk_words

_NAMED = 5
"""So many places an error names."""


class Places:
    """What a keeper says and does about places. Errors are as for every act (see ``Keeper``)."""

    def __init__(self, desk: NamingDesk) -> None:
        self._desk = desk

    @property
    def file(self) -> Path:
        """Where the places are described."""
        return files.places_file(self._desk.folder)

    def looked(self, places: Iterable[str] = (), when: Span | None = None) -> Done:
        """These places were looked over, nothing new; every place of the round where none is named."""
        names = list(places)

        def plan(stamp: Stamp) -> Draft:
            walked, warnings = [], []
            for name in names or self._desk.round_places():
                where, more = self._desk.place_named(name)
                walked.append(where)
                warnings += more
            if not walked:
                raise NotUnderstood("There is no place to visit yet; add one with `pupawatch place NAME`.")
            once = list(dict.fromkeys(walked))
            looks: list[Entry] = [Looked(**stamp.at(when), place=where) for where in once]
            return Draft(f"Visited: {', '.join(once)}.", warnings, looks)

        return self._desk.write(when, plan)

    def describe(self, place: Place) -> Done:
        """Add a place at the end of the walk, or replace the old description."""
        name = checked(place.name, "the place's name", LONGEST_NAME)
        self._reread_places()
        name = self._desk.settings.place_like(name).name  # there is never a roof beside a Roof
        known = self._desk.settings.knows_place(name)
        places = files.with_place(self._desk.settings, msgspec.structs.replace(place, name=name)).places
        return Done(f"{name} {'changed' if known else 'added'}.", self._edit((name,), places), [], name)

    def quarantine(self, names: Iterable[str], begin: bool) -> Done:
        """Put places into quarantine, or end that, as one edit."""
        self._reread_places()
        changed, names = self._desk.settings, tuple(names)
        for name in names:
            changed = files.with_place(changed, msgspec.structs.replace(changed.place(name), quarantined=begin))
        words = f"{', '.join(names)}: {'in quarantine' if begin else 'quarantine ended'}."
        return Done(words, self._edit(names, changed.places), [], names[0] if len(names) == 1 else "")

    def walk(self, name: str, at: int) -> Done:
        """Give a described place another turn in the walk; ``at`` counts from 0 and is kept within the walk."""
        self._reread_places()
        others = [place for place in self._desk.settings.places if place.name != name]
        if len(others) == len(self._desk.settings.places):
            raise NotUnderstood(f"{name} is not described yet; describe it, then it takes its turn in the round.")
        at = min(max(at, 0), len(others))
        warnings = self._edit((name,), [*others[:at], self._desk.settings.place(name), *others[at:]])
        return Done(f"{name} is number {at + 1} of the round.", warnings, [], name)

    def add(self, places: Iterable[Place]) -> None:
        """Add those places that nobody described yet to the end of the walk, as far as the settings allow: that entries
        brought in name, and as they tell of them.

        Raises Unusable, saying that the entries are in, where the places cannot be written.
        """
        unknown = [place for place in places if not self._desk.settings.knows_place(place.name)]
        new = [allowed for place in unknown for allowed in self._as_allowed(place)]
        if not new:
            return
        try:
            self._reread_places()
            kept = [*self._desk.settings.places, *(one for one in new if not self._desk.settings.knows_place(one.name))]
            files.save_places(kept, self._desk.folder)
        except Unusable as error:
            some = f"{', '.join(one.name for one in new[:_NAMED])}{' …' if len(new) > _NAMED else ''}"
            raise Unusable(
                f"The entries are in the journal, but their places ({some}) are not in your settings yet. {error} "
                "Correct that and repeat: the entries are skipped and the places added."
            ) from None
        self._desk.settings = msgspec.structs.replace(self._desk.settings, places=kept)

    def check_can_be_added(self, names: Iterable[str]) -> None:
        """Raise Unusable, before anything is written, where ``add`` could not write these."""
        if any(not self._desk.settings.knows_place(name) for name in names):
            try:
                files.rehearse_saving(self._desk.folder)
            except Unusable as error:
                raise Unusable(f"{error} Nothing was imported.") from None

    def _as_allowed(self, place: Place) -> list[Place]:
        """The place as it is; by its name alone where the settings do not allow more; or nothing."""
        for one in (place, Place(name=place.name)):
            with suppress(NotUnderstood):
                files.checked_place(one, self._desk.settings)
                return [one]
        return []

    def cleaned(self, place: str, how: str, minutes: float | None = None, when: Span | None = None) -> Done:
        """A place was cleaned: how, and how long the solution stood (as long as it should, where nobody says)."""
        one_of("kind of cleaning", how, self._desk.settings.health.cleanings)
        cleaning = self._desk.settings.health.cleanings[how]
        stood = cleaning.contact_minutes if minutes is None else minutes

        def plan(stamp: Stamp) -> Draft:
            where, warnings = self._desk.place_named(place)
            if stood < cleaning.contact_minutes:
                warnings.append(f"{stood:g} min is too short to work: {recipe(cleaning)}.")
            elif self._desk.settings.place(where).quarantined:
                warnings.append(f"{where} is still in quarantine; end that when it is rinsed and dry.")
            done = Cleaned(**stamp.at(when), place=where, how=how, minutes=stood)
            return Draft(f"{where} was cleaned: {cleaning.words.split(':')[0]}.", warnings, [done])

        return self._desk.write(when, plan)

    def entries(self, name: str, moment: datetime | None = None) -> list[Entry]:
        """All that counts about a place, the oldest first, by ``moment`` where one is named: looks, cleanings,
        temperatures read off, and the sensors that tell of it."""
        taken_back = self._desk.taken_back()
        about = (entry for some in self._desk.journal.read_about(name) for entry in some)
        told = [entry for entry in about if not isinstance(entry, OfPupa | Tied)]
        told += [entry for entry in self._desk.written("tied") if isinstance(entry, Tied) and name in entry.places]
        counted = [entry for entry in told if entry.act not in taken_back]
        past = [entry for entry in counted if moment is None or entry.happened <= moment]
        return sorted(past, key=lambda entry: (entry.happened, entry.id))

    def cleanings(self) -> list[Cleaned]:
        """Every cleaning that counts, the newest first."""
        cleanings = [entry for entry in self._desk.written("cleaned") if isinstance(entry, Cleaned)]
        return sorted(cleanings, key=lambda entry: (entry.happened, entry.id), reverse=True)

    def undo_edit(self, step: Edited) -> Done:
        """Take back an edit of this session. What was changed elsewhere since stays as it is and is said."""
        done = self._put_back(step, self._desk.session.done, "Undone", step)
        self._desk.session.undid(step)
        return done

    def redo_edit(self, step: Edited) -> Done:
        """Make an edit of this session again."""
        done = self._put_back(step.reversed(), self._desk.session.undone, "Redone", step)
        self._desk.session.did_again(step)
        return done

    def _put_back(self, step: Edited, steps: list[Step], verb: str, told: Edited) -> Done:
        """Take an edit back, the last of ``steps``; one that cannot be is dropped there. told: the edit to name."""
        if told.is_of_the_walk:
            words = walk_words(told.names[0], told.after)
        else:
            words = edit_words(told.names, told.before, told.after, self._desk.settings.unit)
        self._reread_places()
        places = taken_back(step, self._desk.settings.places)
        if places is None:
            steps.pop()
            what = "The order of the round" if step.is_of_the_walk else ", ".join(step.names)
            raise NotUnderstood(
                f"{what} was changed elsewhere since, so nothing was undone: {words}. Edit it by hand (places)."
            )
        warnings = self._keep_places(places)
        steps.pop()
        return Done(f"{verb}: {words}.", warnings, [], step.names[0] if len(step.names) == 1 else "")

    def _edit(self, names: tuple[str, ...], places: list[Place]) -> list[str]:
        """Keep the places as a step of the session, where anything changed; gives what to warn of."""
        before = self._desk.settings.places
        warnings = self._keep_places(places)
        if places != before:
            self._desk.session.did(Edited(names, before, places))
        return warnings

    def _keep_places(self, places: list[Place]) -> list[str]:
        """Write the places down; gives what the keeper should know of it."""
        soft = self._soft_pupae()
        try:
            files.save_places(places, self._desk.folder)
        except Unusable as error:
            raise Unusable(f"{error} Nothing was changed.") from None
        self._desk.settings = msgspec.structs.replace(self._desk.settings, places=places)
        # Only those can be freed whose own entries say nothing of the cold: it was said after they were hung there.
        still = self._soft_pupae()
        freed = [label for label in soft if label not in still]
        told = f"{', '.join(freed)} hung in the cold until now and still counts as kept cold: do not move it yet."
        return [told] if freed else []

    def _reread_places(self) -> None:
        """Take in what another program did to the places, so that it is not written over."""
        if (places := files.own_places(self._desk.folder)) is not None:
            self._desk.settings = msgspec.structs.replace(self._desk.settings, places=places)

    def _soft_pupae(self) -> list[str]:
        now = self._desk.clock()
        waiting = (
            pupa for pupa in self._desk.state.open_pupae() if hang.judge(pupa, now, self._desk.settings).kind == "wait"
        )
        return [pupa.label for pupa in waiting]
