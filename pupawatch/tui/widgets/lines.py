"""A list of lines to walk: a click only puts the cursor there, and whatever opens or writes takes a key."""

from rich.style import Style
from textual import events
from textual.strip import Strip
from textual.widgets import OptionList

_TURNED_OVER = Style(reverse=True)


class Lines(OptionList):
    """An option list that a click does nothing in but move the cursor."""

    def render_line(self, y: int) -> Strip:
        """A line; with the terminal's own colours the selected one turned over, so that no word loses its contrast."""
        strip = super().render_line(y)
        line = self.scroll_offset.y + y
        turned = self.app.current_theme.ansi and self.highlighted is not None and line < len(self._lines)
        if turned and self._lines[line][0] == self.highlighted and strip.text.strip():
            return strip.apply_style(_TURNED_OVER)
        return strip

    async def _on_click(self, event: events.Click) -> None:
        event.prevent_default()  # else the base class answers as well, and takes the click for enter
        at = event.style.meta.get("option")
        if at is not None and not self.get_option_at_index(at).disabled:
            self.highlighted = at


class Choices(Lines):
    """A list to pick from: here a click picks, as enter does."""

    async def _on_click(self, event: events.Click) -> None:
        await super()._on_click(event)
        if event.style.meta.get("option") is not None:
            self.action_select()
