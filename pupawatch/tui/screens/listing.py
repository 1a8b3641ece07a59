"""A screen that lists things and tells more of the one under the cursor; the watch, the adults and health are such."""

from collections.abc import Callable
from typing import NamedTuple

from textual import on
from textual.app import ComposeResult
from textual.containers import Container, VerticalScroll
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from pupawatch.errors import PupawatchError
from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.model.text import shown
from pupawatch.tui.look import CALM
from pupawatch.tui.screens.answering import Alarm, AnsweringScreen
from pupawatch.tui.screens.page import Page
from pupawatch.tui.widgets.ends import Ends
from pupawatch.tui.widgets.lines import Lines

_POLL_SECONDS = 1.0
_TICK_SECONDS = 20.0


class Item(NamedTuple):
    """A line of the list. key: stays the same while the line stays; about: what the screen's acts need of it."""

    key: str
    line: Content
    about: object = None


def figures(words: str) -> list[Content]:
    """A headline in pieces: its name and its figures in weight, the words beside them muted."""
    name, colon, rest = words.partition(": ")
    pieces = [Content.styled(name, "bold")] if colon else []
    for piece in (rest if colon else words).split(", "):
        first, space, more = piece.partition(" ")
        heavy = first.isdecimal()
        pieces.append(Content.assemble((first, "bold" if heavy else CALM), (f"{space}{more}", CALM)))
    return pieces


class ListScreen(AnsweringScreen):
    """A headline, a list, what is to be told of the selected line, an answer, and the keys.

    A screen of this kind says what stands in it: ``items``, ``headline`` and ``tell``.
    """

    caption = ""
    """What stands over the columns of the list."""

    def __init__(self, keeper: Keeper) -> None:
        super().__init__()
        self.keeper = keeper
        self.listed: list[Item] = []
        self._state = keeper.state

    def items(self) -> list[Item]:
        """The lines of the list, as things are now."""
        return []

    def headline(self) -> str:
        """The line at the top."""
        return ""

    def tell(self, item: Item | None) -> Content:
        """What is to be told of the selected line."""
        return Content("")

    def compose(self) -> ComposeResult:
        yield Ends(id="headline")
        if self.caption:
            yield Static(self.caption, id="caption", markup=False)
        with Container(id="body"):
            yield Lines(id="shelf")
            with VerticalScroll(id="story", can_focus=False):
                yield Static("", id="told", markup=False)
        yield Static("", id="said", markup=False)
        yield Ends(id="keys", gap=2)

    def on_mount(self) -> None:
        self.query_one("#shelf").focus()
        self.refill()
        self.set_interval(_POLL_SECONDS, self.poll)
        self.set_interval(_TICK_SECONDS, self.refill)

    # -- showing

    def poll(self) -> None:
        """Show what a command or another device wrote."""
        try:
            self.keeper.refresh()
            if self.woke() or self.keeper.state is not self._state:  # the screen below may have asked first
                self.refill()
        except PupawatchError as error:
            self.post_message(Alarm(f"{error} The screen shows the last known state."))

    def refill(self) -> None:
        """Show everything as it is now, the cursor where it was."""
        here, options = self.item, self.query_one("#shelf", OptionList)
        at = options.highlighted or 0
        self._state = self.keeper.state
        self.listed = self.items()
        options.clear_options()
        options.add_options([Option(item.line, id=item.key) for item in self.listed])
        keys = [item.key for item in self.listed]
        kept = here is not None and here.key in keys
        options.highlighted = keys.index(here.key) if here and kept else min(at, len(keys) - 1) if keys else None
        self.query_one("#headline", Ends).show(figures(shown(self.headline())), Content(""))
        self._retell()

    @property
    def item(self) -> Item | None:
        """The selected line."""
        at = self.query_one("#shelf", OptionList).highlighted
        return self.listed[at] if at is not None and at < len(self.listed) else None

    def go_to(self, key: str) -> None:
        """Put the cursor on the line of that key, where there is one."""
        keys = [item.key for item in self.listed]
        if key in keys:
            self.query_one("#shelf", OptionList).highlighted = keys.index(key)

    @on(OptionList.OptionHighlighted, "#shelf")
    def _retell(self) -> None:
        self.query_one("#told", Static).update(self.tell(self.item))
        self.query_one("#story", VerticalScroll).scroll_home(animate=False)
        self.show_foot()

    def act(self, do: Callable[[], Done]) -> Done | None:
        """Do it, and say what was done or why not."""
        if (done := self.attempt(do)) is not None:
            self.kept(done)
        return done

    def kept(self, done: Done | None) -> None:
        """Show the list after something was done, and say what."""
        self.refill()
        if done is not None:
            self.say(" · ".join([f"✓ {done.words}", *done.warnings]), "-warning" if done.warnings else "")

    def after_undo(self, done: Done) -> None:
        self.kept(done)
        self.go_to(done.about)
        self.go_to(f"place:{done.about}")

    def action_down(self) -> None:
        self.query_one("#shelf", OptionList).action_cursor_down()

    def action_up(self) -> None:
        self.query_one("#shelf", OptionList).action_cursor_up()

    @on(OptionList.OptionSelected, "#shelf")
    def _selected(self) -> None:
        if self.item is not None:
            self.open(self.item)

    def open(self, item: Item) -> None:
        """Enter: the whole text of the selected line, where the pane is too low for it."""
        self.app.push_screen(Page("", self.tell(item)))
