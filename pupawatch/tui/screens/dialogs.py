"""Small windows in front of the round: pick one of a few, or fill in a short form."""

from collections.abc import Callable, Sequence
from typing import ClassVar, NamedTuple, TypeVar

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.suggester import SuggestFromList
from textual.widgets import Input, Label, OptionList, Static
from textual.widgets.option_list import Option

from pupawatch.errors import PupawatchError
from pupawatch.keeper.drafts import Done
from pupawatch.model.settings import Method
from pupawatch.model.text import shown, shown_lines, some_names
from pupawatch.tui.widgets.lines import Choices

Answer = TypeVar("Answer")
_OFFERED = 14
"""So many of the words that a line can hold are shown below it."""
_FRAME_LINES, _LEAST_LINES, _MOST_LINES = 2, 3, 40


class Choice(NamedTuple):
    """One thing to pick: what is answered, and the words that stand for it."""

    answer: str
    words: str


class Window(ModalScreen[Answer]):
    """A dialog that fits its screen: what scrolls in it gets the room that the rest leaves, and says with its bar that
    more is to come."""

    def on_resize(self) -> None:
        self.call_after_refresh(self.fit)

    def fit(self) -> None:
        """Share the room of a low screen among what scrolls: the list or the fields first, then what is to be read."""
        window = self.query_one(".dialog")
        scrolls = [part for part in window.children if isinstance(part, OptionList | VerticalScroll)]
        room = self.size.height - _FRAME_LINES - sum(p.outer_size.height for p in window.children if p not in scrolls)
        for number, part in enumerate(scrolls):
            last = number == len(scrolls) - 1
            share = room if last else max(room - _LEAST_LINES, room // 2)
            part.styles.max_height = max(_LEAST_LINES, min(share, _MOST_LINES))
            room -= min(part.virtual_size.height, max(_LEAST_LINES, share))


class Pick(Window[str | None]):
    """Pick one of a few: arrows and enter, its number, or the mouse. Escape answers None."""

    BINDINGS: ClassVar[list[BindingType]] = [
        ("escape", "dismiss(None)", "Back"),
        ("j", "list('down')", ""),
        ("k", "list('up')", ""),
        Binding("pagedown,space", "read(5)", priority=True),  # before the list takes it
        Binding("pageup,backspace", "read(-5)", priority=True),
    ]

    def __init__(self, title: str, choices: Sequence[Choice], above: str = "", below: str = "") -> None:
        """above, below: what the keeper should read before and while picking. The first choice is the proposed one."""
        super().__init__()
        self.title_words = title
        self.choices = choices
        self.above = above
        self.below = below

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog"):
            yield Label(shown(self.title_words), classes="title", markup=False)
            if self.above:
                yield Static(shown_lines(self.above), markup=False)
            yield Choices(*(Option(self._line(number)) for number in range(len(self.choices))))
            if self.below:
                with VerticalScroll(can_focus=False):
                    yield Static(self.below, markup=False, id="below")
            yield Label(self.foot(), classes="foot", markup=False)

    def foot(self) -> str:
        """The keys that matter here."""
        reads = " · space reads on" if self.below else ""
        return f"enter chooses · a number chooses at once{reads} · esc goes back"

    def _line(self, number: int) -> Content:
        mark = str(number + 1) if number < 9 else " "
        return Content.assemble((f"{mark} ", "bold $text-accent"), shown(self.choices[number].words))

    def action_list(self, way: str) -> None:
        options = self.query_one(OptionList)
        if way == "down":
            options.action_cursor_down()
        else:
            options.action_cursor_up()

    def action_read(self, lines: int) -> None:
        for below in self.query(VerticalScroll):
            below.scroll_relative(y=lines, animate=False)

    def on_key(self, event: events.Key) -> None:
        number = event.character or ""
        if number.isdecimal() and 0 < int(number) <= len(self.choices):
            event.stop()
            self.dismiss(self.choices[int(number) - 1].answer)

    @on(OptionList.OptionSelected)
    def picked(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        self.dismiss(self.choices[event.option_index].answer)


def way_words(way: Method) -> str:
    """The cautions and steps of a way to do something by hand, as lines; the cautions first."""
    steps = [f"{number}. {step}" for number, step in enumerate(way.steps, 1)]
    return "\n".join([*(f"! {caution}" for caution in way.cautions), *steps])


class Field(NamedTuple):
    """One line of a form. known: words it may be completed to (the right arrow key takes the proposal). reads: says how
    what is typed is understood, "" where there is nothing to say; shown below the line while it is typed. one_of:
    whether it holds one of the known words and no other; the arrows then go through them."""

    name: str
    words: str
    value: str = ""
    hint: str = ""
    known: Sequence[str] = ()
    reads: Callable[[str], str] | None = None
    one_of: bool = False


def _can_be(typed: str, known: Sequence[str]) -> str:
    """The words that a line can hold, narrowed by what is typed; all of them while one of them stands there whole."""
    begun = typed.strip().casefold()
    fitting = [word for word in known if begun in word.casefold()]
    if not known or begun in (word.casefold() for word in known) or not fitting:
        fitting = list(known)
    return some_names(fitting[:_OFFERED], len(fitting))


class _OneOf(Input):
    """A line that holds one of a few words: the arrows go through them, and letters still find one."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("right", "next(1)"), Binding("left", "next(-1)")]

    def __init__(self, field: Field) -> None:
        super().__init__(
            field.value,
            placeholder=field.hint,
            id=field.name,
            suggester=SuggestFromList(field.known, case_sensitive=False),
            compact=True,
        )
        self.known = list(field.known)

    def action_next(self, step: int) -> None:
        begun = self.value.strip().casefold()
        words = [word.casefold() for word in self.known]
        if begun in words:
            at = (words.index(begun) + step) % len(words)
        else:
            at = next((n for n, word in enumerate(words) if begun and word.startswith(begun)), 0 if step > 0 else -1)
        self.value = self.known[at]
        self.cursor_position = len(self.value)


class _Wrong(Static):
    """What is wrong; as it grows, what scrolls in its dialog gives way."""

    def on_resize(self) -> None:
        if isinstance(self.screen, Window):
            self.screen.fit()


def _line(field: Field) -> Input:
    if field.one_of:
        return _OneOf(field)
    known = SuggestFromList(field.known, case_sensitive=False) if field.known else None
    return Input(field.value, placeholder=field.hint, id=field.name, suggester=known, compact=True)


class Form(Window[Done | None]):
    """A few lines to fill in. Enter anywhere keeps it; what is wrong is said in the form, and nothing is lost."""

    BINDINGS: ClassVar[list[BindingType]] = [
        ("escape", "dismiss(None)", "Back"),
        Binding(
            "down", "app.focus_next", priority=True
        ),  # before the fields scroll, where they are more than the screen
        Binding("up", "app.focus_previous", priority=True),
    ]

    def __init__(
        self, title: str, fields: Sequence[Field], keep: Callable[[dict[str, str]], Done], above: str = ""
    ) -> None:
        """keep: does what the form is for; it may raise PupawatchError to have the form corrected. above: what the
        keeper should read before."""
        super().__init__()
        self.title_words = title
        self.fields = fields
        self.keep = keep
        self.above = above

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog"):
            yield Label(shown(self.title_words), classes="title", markup=False)
            if self.above:
                yield Static(shown_lines(self.above), id="above", markup=False)
            with VerticalScroll(can_focus=False):
                for field in self.fields:
                    yield Label(field.words, classes="name", markup=False)
                    yield _line(field)
                    if field.reads or field.known:
                        yield Static("", id=f"{field.name}-read", classes="reading", markup=False)
            yield _Wrong("", id="wrong", markup=False)
            yield Label(
                "enter records it · tab to the next line · ← → choose or complete · esc goes back",
                classes="foot",
                markup=False,
            )

    @on(Input.Changed)
    def typed(self, event: Input.Changed) -> None:
        self._read_below(event.input)

    def on_descendant_focus(self, event: events.DescendantFocus) -> None:
        if isinstance(event.widget, Input):
            self._read_below(event.widget)

    def on_descendant_blur(self, event: events.DescendantBlur) -> None:
        for below in self.query(f"#{event.widget.id}-read").results(Static):
            below.update("")

    def _read_below(self, line: Input) -> None:
        """Below the line that is written in: how it is read, or what it can be."""
        field = next(field for field in self.fields if field.name == line.id)
        can_be = _can_be(line.value, field.known) if line.has_focus else ""
        told = field.reads(line.value) if field.reads else f"← → {can_be}" if can_be and field.one_of else can_be
        for below in self.query(f"#{field.name}-read").results(Static):
            below.update(shown(told))

    @on(Input.Submitted)
    def submitted(self, event: Input.Submitted) -> None:
        event.stop()
        values = {field.name: self.query_one(f"#{field.name}", Input).value for field in self.fields}
        try:
            self.dismiss(self.keep(values))
        except PupawatchError as error:
            self.query_one("#wrong", Static).update(shown(f"✗ {error}"))
