"""What the keeper named, taken as what is meant: a place, a species, one of a few words."""

import difflib
import shlex
from collections.abc import Iterable

from pupawatch.desk import Desk
from pupawatch.errors import NotUnderstood
from pupawatch.model.text import LONGEST_NAME, checked, not_among, quoted


class NamingDesk(Desk):
    """A desk that knows the names of the settings and the journal."""

    def _place(self, name: str) -> tuple[str, list[str]]:
        """The place meant by ``name``; one that nobody described is taken as it is, unless it looks like a slip."""
        name = checked(name, "the place's name", LONGEST_NAME)
        known = [place.name for place in self.settings.places]
        known += [pupa.place for pupa in self.state.pupae.values() if pupa.place not in known]
        by_case = {place.casefold(): place for place in known}
        where = name if name in known else by_case.get(name.casefold(), name)
        if self.settings.knows_place(where):
            return where, []
        typed = f"pupawatch place {shlex.quote(where)} --surface …"
        near = difflib.get_close_matches(name.casefold(), by_case, 1, cutoff=0.75)
        if near and where not in known:
            raise NotUnderstood(
                f"There is no place {quoted(name)}; did you mean {by_case[near[0]]}? "
                f"If it is new, describe it first: {typed}"
            )
        return where, [f"{where} is not described yet, so nobody knows whether it can be climbed; describe it: {typed}"]

    def _species(self, name: str) -> str:
        self._one_of("species", name, self.settings.species)
        return name

    def _one_of(self, what: str, found: str, allowed: Iterable[str]) -> None:
        if found not in allowed:
            raise NotUnderstood(not_among(what, found, allowed))
