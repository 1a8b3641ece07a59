"""The shelf: the places in walking order as headings, their pupae beneath."""

from collections.abc import Collection
from typing import Any, NamedTuple

from rich.cells import cell_len, set_cell_size
from textual.content import Content
from textual.strip import Strip
from textual.visual import Visual
from textual.widgets.option_list import Option

from pupawatch.care.round import Round, Standing, Stretch
from pupawatch.care.spots import shortfalls
from pupawatch.model.settings import Settings
from pupawatch.model.text import shown
from pupawatch.model.times import shown_time
from pupawatch.tui.look import ADVICE, CALM, HEAD
from pupawatch.tui.widgets.lines import Lines
from pupawatch.words.hours import hang_words
from pupawatch.words.pupae import advice_of, to_do

_LABEL_CELLS = 12
_ROOMY_LINES = 34
"""A shelf of so many lines has a free line between the places."""


_NARROW_CELLS = 60
"""A narrower shelf (a telephone, half a window) leaves the hang time to the story."""


class Row(NamedTuple):
    """A line of the shelf: a pupa in its place, or (standing None) the heading of a place.

    lifted: shown away from its place, as what cannot wait is at the top; the heading over those belongs to no place
    (stretch None) and has words of its own.
    """

    stretch: Stretch | None
    standing: Standing | None
    lifted: bool = False
    heading: str = ""

    @property
    def pupa_id(self) -> str:
        """The id of its pupa, "" for a heading."""
        return self.standing.pupa.id if self.standing else ""

    @property
    def key(self) -> str:
        """Stays the same while the row stays."""
        if self.standing:
            return f"pupa:{self.standing.pupa.id}"
        return f"place:{self.stretch.place.name}" if self.stretch else "first"


class _Line(Visual):
    """One line of the shelf, put into words only when it comes into view: a shelf may hold hundreds."""

    def __init__(self, told: tuple[Row, int, Round, Settings, bool], above: "Shelf | None" = None) -> None:
        """above: the shelf, where a free line of it stands above this one."""
        self.told = told
        self.above = above

    def render_strips(self, *how: Any) -> list[Strip]:
        strips = _content(*self.told, is_narrow=how[0] < _NARROW_CELLS).render_strips(*how)
        if self.above is None:
            return strips
        return [Strip.blank(how[0], self.above.visual_style.rich_style), *strips]

    def get_optimal_width(self, *where: Any) -> int:
        return _content(*self.told).get_optimal_width(*where)

    def get_height(self, *where: Any) -> int:
        return 1 if self.above is None else 2


class Shelf(Lines):
    """Shows rows; keeps the cursor on its row whatever changes around it."""

    def __init__(self, id: str) -> None:
        super().__init__(id=id)
        self.rows: list[Row] = []
        self._told: list[_Line] = []
        self._is_roomy = False

    @property
    def row(self) -> Row | None:
        """The row under the cursor."""
        return self.rows[self.highlighted] if self.highlighted is not None and self.rows else None

    def show(self, rows: list[Row], morning: Round, settings: Settings, chosen: Collection[str] = ()) -> None:
        """Show these rows; nothing moves on the screen where they are those that stand there already. chosen: the ids
        of the pupae that the next act is about."""
        labels = [cell_len(shown(row.standing.pupa.label)) for row in rows if row.standing]
        width = min(_LABEL_CELLS, max(labels, default=0))
        told = [(row, width, morning, settings, row.pupa_id in chosen) for row in rows]
        here, keys = self.row, [row.key for row in rows]
        was_roomy, self._is_roomy = self._is_roomy, self.app.size.height >= _ROOMY_LINES
        if rows and keys == [row.key for row in self.rows] and was_roomy == self._is_roomy:
            for line, anew in zip(self._told, told, strict=True):
                line.told = anew
            self.replace_option_prompt_at_index(0, self._told[0])  # and so every line in view is drawn again
        else:
            at = self.highlighted or 0
            self._told = [_Line(one, self._above(number, one[0])) for number, one in enumerate(told)]
            self.clear_options()
            self.add_options([Option(line, id=key) for line, key in zip(self._told, keys, strict=True)])
            kept = here and here.key in keys
            self.highlighted = keys.index(here.key) if here and kept else _instead(here, at, rows)
        self.rows = rows

    @property
    def line(self) -> str | None:
        """The row under the cursor as a line of text."""
        at = self.highlighted
        return " ".join(_content(*self._told[at].told).plain.split()) if at is not None and self.rows else None

    def _above(self, number: int, row: Row) -> "Shelf | None":
        return self if self._is_roomy and number and row.standing is None else None

    def go_to(self, key: str) -> bool:
        """Put the cursor on the row of that key; says whether it is there."""
        for index, row in enumerate(self.rows):
            if row.key == key:
                self.highlighted = index
                return True
        return False


def _instead(gone: Row | None, at: int, rows: list[Row]) -> int | None:
    """Where the cursor goes when its row is gone: never out of the place one stands at, as that is visited next."""
    for index in (at, at - 1):
        row = rows[index] if 0 <= index < len(rows) else None
        if row and gone and _place_of(row) == _place_of(gone) and row.lifted == gone.lifted:
            return index
    return min(at, len(rows) - 1) if rows else None


def _place_of(row: Row) -> str:
    return row.stretch.place.name if row.stretch else ""


def _content(
    row: Row, label_cells: int, morning: Round, settings: Settings, is_chosen: bool, is_narrow: bool = False
) -> Content:
    standing = row.standing
    if standing is None:
        if row.stretch is None:
            return Content.styled(f" {row.heading}", HEAD)
        return _heading(row.stretch, morning, settings)
    advice = advice_of(standing, settings)
    sign = settings.care.stages[standing.stage].sign
    calm = not standing.needs_something
    mine = CALM if calm else "bold"
    label = shown(standing.pupa.label)
    if cell_len(label) > label_cells:
        label = _shortened(label, label_cells)
    do = to_do(standing, morning.now, settings.zone)
    if row.lifted:  # told away from its place: the place comes first, the verdict's word already says the deed
        goal = standing.suggestion
        do = f"{standing.pupa.place} → {goal.place}" if goal else f"{standing.pupa.place}: {do}"
    kind = standing.verdict.kind
    is_sick = standing.is_sick and kind in ("care", "free", "soon")
    return Content.assemble(
        ("■" if is_chosen else " ", "bold $text-accent"),
        (f" {advice.sign} {advice.word:<6}", ADVICE["sick" if is_sick else kind]),
        " ",
        (set_cell_size(label, label_cells), mine),
        ("! " if standing.flags else "  ", "bold $text-warning"),
        (f"{sign} {standing.stage:<9} ", mine),
        ("" if is_narrow else f"{hang_words(standing.hang):>11}  ", mine),
        (shown(do), CALM if calm else "bold" if kind == "rescue" else ADVICE["sick" if is_sick else kind]),
    )


def _shortened(label: str, cells: int) -> str:
    """A long label with its beginning and its end, as it is the end in which labels of a series differ."""
    head = (cells - 1) // 2
    tail = label
    while cell_len(tail) > cells - 1 - head:
        tail = tail[1:]
    return f"{set_cell_size(label, head)}…{tail}"


def _heading(stretch: Stretch, morning: Round, settings: Settings) -> Content:
    place = stretch.place
    room = "" if stretch.room is None else " · full" if stretch.room == 0 else f" · room for {stretch.room}"
    faults = shortfalls(place, settings.profile(settings.keeper.species), settings)
    unsafe = f" · ✗ {faults[0].split(' (')[0]}" if faults else ""
    when = shown_time(stretch.looked, settings.zone, morning.now) if stretch.looked else ""
    walked = f" · {'' if stretch.walked else 'last '}visited {when}" if when else " · never visited"
    heat = " · ► temperature" if stretch.heat else ""
    return Content.assemble(
        (" ✓ " if stretch.walked else " □ ", "$text-success" if stretch.walked else "$text-accent"),
        (shown(place.name), "bold"),
        (heat, ADVICE["sick"]),
        (" · in quarantine: visit last, wash hands" if place.quarantined else "", ADVICE["sick"]),
        (f" · {shown(place.surface)}{unsafe}{'' if place.quarantined else room}{walked}", CALM),
    )
