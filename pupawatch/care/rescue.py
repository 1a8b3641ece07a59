"""A pupa in danger: what to do at once, and the look that comes afterwards."""

from typing import Literal

from pupawatch.model.codes import HungStage
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Care, Method

_LYING: dict[HungStage, Literal["soft", "dark"]] = {
    "prepupa": "soft",
    "soft": "soft",
    "darkening": "dark",
    "clear": "dark",
}


def at_once(pupa: Pupa, stage: HungStage, care: Care) -> Method:
    """The first steps for a pupa in danger, by whether it lies or hangs and by its colour stage."""
    if pupa.danger != "fallen":
        return care.rescue["hanging"]
    return care.rescue[_LYING.get(stage, "firm")]


def wants_a_look(pupa: Pupa) -> bool:
    """Whether it was rescued and nobody has written down since that it holds: asked every round until it emerges."""
    if not pupa.is_living or pupa.danger or not pupa.relocations:
        return False
    last = pupa.relocations[-1]
    return bool(last.entry.emergency) and last.held is None
