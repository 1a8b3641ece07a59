"""A line of pieces that leaves out what it has no room for, and keeps its right end."""

from collections.abc import Sequence

from textual.content import Content
from textual.widgets import Static

_GAP, _MORE = 3, "…"


class Ends(Static):
    """Pieces from the left, the most important first, and one at the right end that always stays."""

    def __init__(self, id: str, gap: int = _GAP) -> None:
        super().__init__("", id=id, markup=False)
        self._pieces: Sequence[Content] = ()
        self._right = Content("")
        self._between = Content(" " * gap)

    def show(self, pieces: Sequence[Content], right: Content) -> None:
        """Show these; the line is drawn anew, and nothing around it is laid out."""
        self._pieces, self._right = pieces, right
        self.update(self._between.join([*pieces, right]), layout=False)

    def render(self) -> Content:
        """The pieces that fit, whole; … where some are left out; then the right end."""
        width = self.content_size.width
        right = self._right.truncate(width, ellipsis=True)
        room, shown = width - right.cell_length, Content("")
        for number, piece in enumerate(self._pieces):
            longer = self._between.join([shown, piece]) if number else piece
            is_last = number == len(self._pieces) - 1
            if longer.cell_length + (1 if is_last else len(self._between) + 2) > room:
                cut = self._between.join([shown, Content(_MORE)]) if number else piece
                shown = cut.truncate(max(0, room - 1), ellipsis=True)
                break
            shown = longer
        return Content.assemble(shown, " " * max(0, room - shown.cell_length), right)
