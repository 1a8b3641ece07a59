"""A pupa in danger: what to do at once, and the look that comes afterwards."""

from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Care, Method


def at_once(pupa: Pupa, stage: str, care: Care) -> Method:
    """The first steps for a pupa in danger, by whether it lies or hangs and by its colour stage."""
    if pupa.danger != "fallen":
        return care.rescue["hanging"]
    lying = {"soft": "soft", "prepupa": "soft", "darkening": "dark", "clear": "dark"}
    return care.rescue[lying.get(stage, "firm")]  # type: ignore[index]


def wants_a_look(pupa: Pupa) -> bool:
    """Whether it was rescued and nobody has written down since that it holds: asked every round until it emerges."""
    if not pupa.is_living or pupa.danger or not pupa.relocations:
        return False
    last = pupa.relocations[-1]
    return bool(last.entry.emergency) and last.held is None
