"""A spore count of a tape print: how many, or, in older entries, between which numbers."""

from collections.abc import Sequence
from typing import NamedTuple


class Counted(NamedTuple):
    """How many spores were counted: between ``low`` and ``high`` (None: any number above), which are alike where the
    count itself is known."""

    low: int
    high: int | None

    @property
    def words(self) -> str:
        """As in "45 spores", "21–100 spores", "more than 1000 spores"."""
        if self.high is None:
            return f"more than {self.low - 1} spores"
        if self.high == 0:
            return "no spores"
        return f"{self.low}–{self.high} spores" if self.low != self.high else f"{self.low} spore{'s'[: self.low != 1]}"


OLDER_CLASSES = (
    Counted(0, 0),
    Counted(1, 1),
    Counted(2, 20),
    Counted(21, 100),
    Counted(101, 1000),
    Counted(1001, None),
)
"""What the classes 0 to 5 stand for that older versions recorded where a count is recorded now."""


def counted(spores: int | None, older_class: int | None, classes: Sequence[Counted] = OLDER_CLASSES) -> Counted | None:
    """What was counted, None where nobody counted. A class beyond those that are known tells that some were found."""
    if spores is not None:
        return Counted(spores, spores)
    if older_class is None:
        return None
    return classes[older_class] if older_class < len(classes) else Counted(1, None)
