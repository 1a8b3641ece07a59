"""A page of text in front of the round, to read and to scroll: the whole story of a pupa, or the help."""

from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Label, Static

from pupawatch.model.text import shown


class Page(ModalScreen[None]):
    """Text with a title. Arrows and page keys scroll, escape or enter goes back."""

    BINDINGS: ClassVar[list[BindingType]] = [
        ("escape,q,question_mark,enter", "dismiss", "Back"),
        ("j,down", "scroll(2)", ""),
        ("k,up", "scroll(-2)", ""),
        ("space,pagedown", "scroll(15)", ""),
        ("pageup,backspace", "scroll(-15)", ""),
    ]

    def __init__(self, title: str, text: Content | Callable[[int], Content]) -> None:
        """text: what stands there, or what makes it for a number of columns."""
        super().__init__()
        self.title_words = title
        self.text = text

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog"):
            yield Label(shown(self.title_words), classes="title", markup=False)
            with VerticalScroll(can_focus=False):
                yield Static("", id="text", markup=False)
            yield Label("↑ ↓ scroll · esc goes back", classes="foot", markup=False)

    def on_resize(self) -> None:
        """Lay the text out for the width it has."""
        page = self.query_one("#text", Static)
        columns = self.query_one(VerticalScroll).scrollable_content_region.width
        page.update(self.text if isinstance(self.text, Content) else self.text(columns))

    def action_scroll(self, lines: int) -> None:
        self.query_one(VerticalScroll).scroll_relative(y=lines, animate=False)
