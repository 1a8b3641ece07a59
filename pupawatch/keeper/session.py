"""What one program did since it began, in order, so that it can be taken back and redone."""

from typing import NamedTuple

from pupawatch.model.settings import Place


class Written(NamedTuple):
    """An act in the journal. retraction: the act that took it back, "" while it counts."""

    act: str
    retraction: str = ""


class Edited(NamedTuple):
    """An edit of places: which they are, and all places, in walking order, before and after it."""

    names: tuple[str, ...]
    before: list[Place]
    after: list[Place]

    @property
    def is_of_the_walk(self) -> bool:
        """Whether it changed only the order in which the places are walked."""
        before, after = ([place.name for place in places] for places in (self.before, self.after))
        return before != after and sorted(before) == sorted(after)

    def reversed(self) -> "Edited":
        """The edit that takes this one back."""
        return Edited(self.names, self.after, self.before)


Step = Written | Edited


class Session:
    """The steps of one program that count, and those that were undone, each in order, the newest last.

    ``is_overtaken``: something new was done after an undo, so that nothing can be redone any more.
    """

    def __init__(self) -> None:
        self.done: list[Step] = []
        self.undone: list[Step] = []
        self.is_overtaken = False

    def did(self, step: Step) -> None:
        """Something new was done; what was undone before it stays undone."""
        self.done.append(step)
        self.is_overtaken = bool(self.undone) or self.is_overtaken
        self.undone.clear()

    def undid(self, step: Step) -> None:
        """A step was taken back, the last one or one from before this program began."""
        self.undone.append(step)
        self.is_overtaken = False

    def did_again(self, step: Step) -> None:
        """A step counts again; what was undone before it can still be redone."""
        self.done.append(step)


def taken_back(step: Edited, places: list[Place]) -> list[Place] | None:
    """``places``, as they are now, without this edit; None where somebody else changed since what it changed.

    Whatever else was changed since stays.
    """
    now, wrote, before = ({place.name: place for place in some} for some in (places, step.after, step.before))
    if any(now.get(name) != wrote.get(name) for name in step.names):
        return None
    if step.is_of_the_walk:
        return [now[name] for name in before] if list(now) == list(wrote) else None
    order = [name for name in now if name not in step.names or name in before]
    for name in step.names:
        if name in before and name not in now:
            order.insert(list(before).index(name), name)
    return [before[name] if name in step.names else now[name] for name in order]
