"""The shelf: the places in walking order as headings, their pupae beneath."""

from typing import NamedTuple

from textual.content import Content
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from pupawatch.care.round import Round, Standing, Stretch
from pupawatch.model.settings import Settings
from pupawatch.model.text import shown
from pupawatch.model.times import shown_time
from pupawatch.words import hang_words, to_do

STYLES = {
    "rescue": "bold $text-error on $error-muted",
    "leave": "bold $text-accent",
    "soon": "bold $text-warning",
    "care": "$text-warning",
    "free": "$text-success",
    "wait": "$text-primary",
    "none": "bold $text-warning",
}
"""Colour is the third sign of a verdict, after its word and its shape."""


class Row(NamedTuple):
    """A line of the shelf: a pupa in its place, or (standing None) the heading of a place.

    lifted: shown at the top because it cannot wait; the heading over those belongs to no place (stretch None).
    """

    stretch: Stretch | None
    standing: Standing | None
    lifted: bool = False

    @property
    def key(self) -> str:
        """Stays the same while the row stays."""
        if self.standing:
            return f"pupa:{self.standing.pupa.id}"
        return f"place:{self.stretch.place.name}" if self.stretch else "first"


class Shelf(OptionList):
    """Shows rows; keeps the cursor on its row whatever changes around it."""

    def __init__(self, id: str) -> None:
        super().__init__(id=id)
        self.rows: list[Row] = []
        self._told: list[Content] = []

    @property
    def row(self) -> Row | None:
        """The row under the cursor."""
        return self.rows[self.highlighted] if self.highlighted is not None and self.rows else None

    def show(self, rows: list[Row], morning: Round, settings: Settings) -> None:
        """Show these rows; only those whose words changed are drawn again."""
        contents = [_content(row, morning, settings) for row in rows]
        if [row.key for row in rows] == [row.key for row in self.rows]:
            for index, (new, old) in enumerate(zip(contents, self._told, strict=True)):
                if (new.plain, new.spans) != (old.plain, old.spans):
                    self.replace_option_prompt_at_index(index, new)
        else:
            here = self.row
            at = self.highlighted or 0
            self.clear_options()
            self.add_options([Option(content, id=row.key) for row, content in zip(rows, contents, strict=True)])
            keys = [row.key for row in rows]
            self.highlighted = (
                keys.index(here.key) if here and here.key in keys else min(at, len(rows) - 1) if rows else None
            )
        self.rows, self._told = rows, contents

    def go_to(self, key: str) -> bool:
        """Put the cursor on the row of that key; says whether it is there."""
        for index, row in enumerate(self.rows):
            if row.key == key:
                self.highlighted = index
                return True
        return False


def _content(row: Row, morning: Round, settings: Settings) -> Content:
    standing = row.standing
    if standing is None:
        if row.stretch is None:
            return Content.styled("Before the round", "bold underline $text-error")
        return _heading(row.stretch, morning, settings)
    where = f"{standing.pupa.place}: " if row.lifted else ""
    advice = settings.care.advice[standing.verdict.kind]
    sign = settings.care.stages[standing.stage].sign
    style = STYLES[standing.verdict.kind]
    strong = style if standing.needs_something else "$text-muted"
    flags = Content.styled(" !" * bool(standing.flags), "bold $text-warning")
    return Content.assemble(
        (f" {advice.sign} {advice.word:<6} ", style),
        (f"{_cut(shown(standing.pupa.label), 7):<7} ", "bold"),
        (f"{sign} {standing.stage:<9} ", "bold" if standing.stage in ("darkening", "clear") else ""),
        (f"{hang_words(standing.hang):>11}  ", ""),
        (shown(where + to_do(standing, morning.now, settings.zone)), strong),
        flags,
    )


def _heading(stretch: Stretch, morning: Round, settings: Settings) -> Content:
    place = stretch.place
    room = "" if stretch.room is None else " · full" if stretch.room == 0 else f" · room for {stretch.room}"
    climb = "" if settings.climbable(place) else " · no climb"
    if stretch.walked and stretch.looked:
        walked = (f"  ✓ walked {shown_time(stretch.looked, settings.zone, morning.now)}", "$text-success")
    elif stretch.looked:
        walked = (f"  □ not walked since {shown_time(stretch.looked, settings.zone, morning.now)}", "$text-muted")
    else:
        walked = ("  □ never walked", "$text-muted")
    return Content.assemble(
        (_cut(shown(place.name), 24), "bold underline"),
        (f" {shown(place.surface)}{climb}{room}", "$text-muted"),
        walked,
    )


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"
