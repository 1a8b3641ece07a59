"""What threatens a pupa, what to do at once where it lies or hangs, and the look that comes afterwards."""

from collections.abc import Iterator

from pupawatch.model.codes import HungStage
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Care, Method, Place, Settings

_LYING: dict[HungStage, tuple[str, ...]] = {
    "prepupa": ("prepupa", "soft"),
    "soft": ("soft",),
    "darkening": ("dark",),
    "clear": ("clear", "dark"),
}
"""Under which names the steps for a stage are looked for, the closest first; any other stage is firm."""


def threats(pupa: Pupa, place: Place, care: Care) -> list[str]:
    """The emergencies that a pupa is in: the one recorded, or those that its place is said to have now."""
    if pupa.danger:
        return [pupa.danger]
    told = care.threats
    found = [told.drip] if place.drip else []
    found += [told.sun] if place.sun else []
    if place.disturbed:
        words = place.disturbed.casefold()
        found.append(next((danger for word, danger in told.disturbed_by.items() if word in words), told.disturbed))
    return list(dict.fromkeys(found))


def at_once(pupa: Pupa, stage: HungStage, place: Place, settings: Settings) -> list[Method]:
    """The first steps for all that threatens it, by its danger, its colour stage, whether it is belted, whether it fell
    before, and whether it leaks. Nothing where nothing threatens it."""
    care, belted = settings.care, settings.profile(pupa.species).hangs == "belt"
    found = [_steps(danger, pupa, stage, belted, care) for danger in threats(pupa, place, care)]
    signs = settings.health.signs
    if found and any(finding.sign in signs and signs[finding.sign].leaks for finding in pupa.findings):
        found.append(care.rescue["leak"])
    return found


def _steps(danger: str, pupa: Pupa, stage: HungStage, belted: bool, care: Care) -> Method:
    """Those for its case, or else the closest that are written down."""
    return next(care.rescue[name] for name in _names(danger, pupa, stage, belted) if name in care.rescue)


def _names(danger: str, pupa: Pupa, stage: HungStage, belted: bool) -> Iterator[str]:
    lying = _LYING.get(stage, ("firm",))
    if danger == "fallen":
        names = [*(["second-fall"] if pupa.times_fallen > 1 else []), *lying]
    else:
        names = [*(f"{danger}-{state}" for state in lying), danger, "hanging"]
    for name in names:
        if belted:
            yield f"belt-{name}"
        yield name


def best_method(pupa: Pupa, stage: HungStage, place: Place, settings: Settings) -> str:
    """How it is best moved: what lies there and cannot be hung is propped; a belted one is set up head up; any other is
    taken off as its surface asks for, and with its leaf or stem where that is so."""
    care, surface = settings.care, settings.care.surfaces.get(place.surface)
    belted = settings.profile(pupa.species).hangs == "belt"
    firm = stage not in _LYING
    if pupa.danger == "fallen":
        return care.belt_method if belted and firm and pupa.times_fallen < 2 else care.lying_method
    usual = surface.method if surface else next(iter(care.methods))
    return care.belt_method if belted and usual != care.whole_method else usual


def wants_a_look(pupa: Pupa) -> bool:
    """Whether it was rescued and nobody has recorded since that it holds: asked every round until it emerges."""
    if not pupa.is_living or pupa.danger or not pupa.relocations:
        return False
    last = pupa.relocations[-1]
    return bool(last.entry.emergency) and last.held is None
