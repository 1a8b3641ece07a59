"""The shelf: the places in walking order as headings, their pupae beneath."""

from typing import Any, NamedTuple

from rich.cells import cell_len, set_cell_size
from textual.content import Content
from textual.strip import Strip
from textual.visual import Visual
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from pupawatch.care.round import Round, Standing, Stretch
from pupawatch.model.settings import Settings
from pupawatch.model.text import shown
from pupawatch.model.times import shown_time
from pupawatch.words.hours import hang_words
from pupawatch.words.pupae import advice_of, to_do

STYLES = {
    "rescue": "bold $text-error",
    "leave": "bold $text-accent",
    "soon": "bold $text-warning",
    "care": "$text-warning",
    "free": "$text-success",
    "wait": "$text-primary",
    "none": "bold $text-warning",
}
"""Colour is the third sign of a verdict, after its word and its shape."""

_CALM = "$foreground 70%"
_LABEL_CELLS = 12


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


class _Line(Visual):
    """One line of the shelf, put into words only when it comes into view: a shelf may hold hundreds."""

    def __init__(self, told: tuple[Row, int, Round, Settings]) -> None:
        self.told = told

    def render_strips(self, *how: Any) -> list[Strip]:
        return _content(*self.told).render_strips(*how)

    def get_optimal_width(self, *where: Any) -> int:
        return _content(*self.told).get_optimal_width(*where)

    def get_height(self, *where: Any) -> int:
        return 1


class Shelf(OptionList):
    """Shows rows; keeps the cursor on its row whatever changes around it."""

    def __init__(self, id: str) -> None:
        super().__init__(id=id)
        self.rows: list[Row] = []
        self._told: list[_Line] = []

    @property
    def row(self) -> Row | None:
        """The row under the cursor."""
        return self.rows[self.highlighted] if self.highlighted is not None and self.rows else None

    def show(self, rows: list[Row], morning: Round, settings: Settings) -> None:
        """Show these rows; nothing moves on the screen where they are those that stand there already."""
        labels = [cell_len(shown(row.standing.pupa.label)) for row in rows if row.standing]
        width = min(_LABEL_CELLS, max(labels, default=0))
        told = [(row, width, morning, settings) for row in rows]
        here, keys = self.row, [row.key for row in rows]
        if rows and keys == [row.key for row in self.rows]:
            for line, anew in zip(self._told, told, strict=True):
                line.told = anew
            self.replace_option_prompt_at_index(0, self._told[0])  # and so every line in view is drawn again
        else:
            at = self.highlighted or 0
            self._told = [_Line(one) for one in told]
            self.clear_options()
            self.add_options([Option(line, id=key) for line, key in zip(self._told, keys, strict=True)])
            kept = here and here.key in keys
            self.highlighted = keys.index(here.key) if here and kept else min(at, len(rows) - 1) if rows else None
        self.rows = rows

    def go_to(self, key: str) -> bool:
        """Put the cursor on the row of that key; says whether it is there."""
        for index, row in enumerate(self.rows):
            if row.key == key:
                self.highlighted = index
                return True
        return False


def _content(row: Row, label_cells: int, morning: Round, settings: Settings) -> Content:
    standing = row.standing
    if standing is None:
        if row.stretch is None:
            return Content.styled("Before the round", "bold underline $text-error")
        return _heading(row.stretch, morning, settings)
    advice = advice_of(standing, settings)
    sign = settings.care.stages[standing.stage].sign
    calm = not standing.needs_something
    mine = _CALM if calm else "bold"
    label = shown(standing.pupa.label)
    if cell_len(label) > label_cells:
        label = set_cell_size(label, label_cells - 1) + "…"
    do = to_do(standing, morning.now, settings.zone)
    if row.lifted:  # told away from its place: the place comes first, the verdict's word already says the deed
        goal = standing.suggestion
        do = f"{standing.pupa.place} → {goal.place}" if goal else f"{standing.pupa.place}: {do}"
    return Content.assemble(
        (f" {advice.sign} {advice.word:<6} ", STYLES["rescue" if standing.is_sick else standing.verdict.kind]),
        (set_cell_size(label, label_cells), mine),
        ("! " if standing.flags else "  ", "bold $text-warning"),
        (f"{sign} {standing.stage:<9} ", mine),
        (f"{hang_words(standing.hang):>11}  ", mine),
        (shown(do), _CALM if calm else STYLES[standing.verdict.kind]),
    )


def _heading(stretch: Stretch, morning: Round, settings: Settings) -> Content:
    place = stretch.place
    room = "" if stretch.room is None else " · full" if stretch.room == 0 else f" · room for {stretch.room}"
    climb = "" if settings.climbable(place) else " · not climbable"
    when = shown_time(stretch.looked, settings.zone, morning.now) if stretch.looked else ""
    walked = f" · {'' if stretch.walked else 'last '}visited {when}" if when else " · never visited"
    heat = " · ‼ temperature" if stretch.heat else ""
    return Content.assemble(
        ("✓ " if stretch.walked else "□ ", "$text-success" if stretch.walked else "bold"),
        (shown(place.name), "bold underline"),
        (heat, STYLES["rescue"]),
        (f" · {shown(place.surface)}{climb}{room}{walked}", _CALM),
    )
