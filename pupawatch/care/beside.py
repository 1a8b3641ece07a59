"""What stands beside an act of the hand: its steps, and the cautions for pupa and person; the same at every door."""

from datetime import datetime

from pupawatch.care import hang
from pupawatch.care.rescue import at_once
from pupawatch.model.entries import (
    AdultSeen,
    Cleaned,
    Climb,
    Entry,
    Fell,
    Finding,
    Found,
    Hanging,
    Held,
    Kept,
    Marked,
    Moved,
    Released,
)
from pupawatch.model.places import hangs_in, told_of
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Method, Settings


def beside(entry: Entry, pupa: Pupa | None, now: datetime, settings: Settings) -> list[Method]:
    """The ways that belong to what was just recorded; pupa: the one it is about, as it stands since. Nothing beside an
    act that needs no hand."""
    care = settings.care
    match entry:
        case Found() | Hanging() | Kept():
            return [care.keeping]
        case Moved() if pupa is not None:
            return [care.methods[entry.method or _usual(entry, pupa, settings)]]
        case Climb():
            return [care.methods["climb"]]
        case Fell() | Held(held=False) if pupa is not None:
            return at_once(pupa, hang.stage(pupa, now, settings), hangs_in(pupa, settings), settings)
        case AdultSeen(what="fell"):
            return [on_the_floor(settings)]
        case Marked():
            return [marking(settings)]
        case Released():
            return [releasing(settings)]
        case Cleaned() if entry.how in settings.health.cleanings:
            return [cleaning(entry.how, settings)]
        case Finding() if entry.sign in settings.health.signs:
            return [sign(entry.sign, settings)]
    return []


def marking(settings: Settings) -> Method:
    """How a butterfly is held for its mark; permits and the programme's rules first."""
    way = settings.care.marking
    return Method(words=way.words, steps=way.steps, cautions=[settings.care.release.cautions[0], *way.cautions])


def releasing(settings: Settings) -> Method:
    """What stands beside a release."""
    return Method(words="released", steps=[], cautions=settings.care.release.cautions)


def on_the_floor(settings: Settings) -> Method:
    """What to do for a butterfly on the floor with soft wings."""
    floor = settings.care.floor
    return Method(words="on the floor with soft wings", steps=floor.steps, cautions=floor.cautions)


def cleaning(how: str, settings: Settings) -> Method:
    """How gear, surfaces, plants or eggs are cleaned, with the cautions of bleach."""
    way = settings.health.cleanings[how]
    return Method(words=way.words, steps=way.steps, cautions=settings.health.cautions)


def sign(name: str, settings: Settings) -> Method:
    """What a sign of disease means, and what is done next."""
    told = settings.health.signs[name]
    return Method(words=f"{told.words}: {told.means}", steps=[told.do], cautions=[settings.health.disclaimer])


def _usual(move: Moved, pupa: Pupa, settings: Settings) -> str:
    """The method that the surface it was taken off asks for, where the move names none."""
    care = settings.care
    if move.emergency == "fallen":
        return care.lying_method
    origin = next((one.origin for one in pupa.relocations if one.entry.id == move.id), "")
    surface = care.surfaces.get(told_of(pupa, origin, settings).surface)
    return surface.method if surface else next(iter(care.methods))
