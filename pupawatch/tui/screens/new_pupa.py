"""A new pupa, or a hanging caterpillar, in a place; or several that were found at once."""

from functools import partial

from pupawatch.care.round import Stretch
from pupawatch.errors import NotUnderstood
from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.model.text import quoted
from pupawatch.model.times import Span, shown_time
from pupawatch.model.typed_times import parse_span
from pupawatch.tui.screens.dialogs import Field, Form, way_words
from pupawatch.words.entries import reading


def known_broods(stretch: Stretch) -> list[str]:
    """The broods of what hangs there, the newest first."""
    return list(dict.fromkeys(one.pupa.brood for one in reversed(stretch.standings) if one.pupa.brood))


def new_pupa_form(keeper: Keeper, stretch: Stretch) -> Form:
    """A form that proposes the next label, and the species of the neighbours."""
    now, zone = keeper.clock(), keeper.settings.zone
    species = stretch.standings[-1].pupa.species if stretch.standings else keeper.settings.keeper.species
    looked = shown_time(stretch.looked, zone, now) if stretch.looked else "not known; or as in yesterday 21:00"

    def keep(values: dict[str, str]) -> Done:
        kind = values["what"].strip().casefold() or "pupa"
        meant = next((one for one in ("pupa", "prepupa", "caterpillar") if one.startswith(kind)), None)
        if meant is None:
            raise NotUnderstood(f"{quoted(kind)} is neither pupa nor prepupa")
        prepupa = meant != "pupa"
        now, when = keeper.clock(), None
        if values["since"].strip() and not prepupa:
            when = Span(parse_span(values["since"], zone, now).since, now)
        brood = values["brood"]
        place, labels = values["place"], keeper.labels([values["label"]])
        each = [partial(keeper.pupae.found, one, place, values["species"], when, prepupa, brood) for one in labels]
        told = keeper.together(each, strict=True)
        what = "prepupae" if prepupa else "pupae"
        return told.done[0] if len(each) == 1 else told.as_one(f"{len(each)} {what}: {', '.join(labels)}.")

    fields = [
        Field("label", "Label, or several as in M41-M44", keeper.next_label(species)),
        Field("place", "Place", stretch.place.name, known=keeper.round_places()),
        Field(
            "what", "pupa, or prepupa (a caterpillar hanging to pupate)", "pupa", known=("pupa", "prepupa"), one_of=True
        ),
        Field("species", "Species", species, known=list(keeper.settings.species), one_of=True),
        Field(
            "since",
            "Pupated after (06:40, yesterday 21:00, last night, 3 days ago)",
            hint=looked,
            reads=lambda typed: reading(typed, zone, keeper.clock()),
        ),
    ]
    fields.insert(-1, Field("brood", "Brood (a name of your own)", hint="not recorded", known=known_broods(stretch)))
    return Form("A new pupa", fields, keep, above=way_words(keeper.settings.care.keeping))
