"""The keys as they are set, what the signs mean, and the cautions."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Label, Static

from pupawatch.model.settings import Settings
from pupawatch.tui.acts import ROUND, key_words
from pupawatch.tui.widgets.shelf import STYLES

_VERDICTS = {
    "rescue": "it has fallen or is in danger: act now",
    "leave": "its case is clear: hands off, give it a climb",
    "soon": "darkening: move it today, and only from an unsafe place",
    "wait": "too soft, or not a pupa yet: a move is refused",
    "care": "not firm yet: move it only from an unsafe place",
    "free": "firm: move it to a better spot, or leave it in peace",
    "none": "empty: write down what became of it",
}


class Help(ModalScreen[None]):
    """What every key does."""

    BINDINGS: ClassVar[list[BindingType]] = [
        ("escape,q,question_mark,enter", "dismiss", "Back"),
        ("j,down", "scroll(3)", ""),
        ("k,up", "scroll(-3)", ""),
    ]

    def __init__(self, settings: Settings) -> None:
        super().__init__()
        self.settings = settings

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog"):
            yield Label("Keys, signs and cautions", classes="title", markup=False)
            with VerticalScroll(can_focus=False):
                yield Static(self._text())
            yield Label("↑ ↓ scroll · esc goes back · the keys are yours to change in keys.toml", classes="foot")

    def action_scroll(self, lines: int) -> None:
        self.query_one(VerticalScroll).scroll_relative(y=lines, animate=False)

    def _text(self) -> Content:
        lines = [
            Content.assemble((f"{key_words(self.settings.keys[act.name]):<12}", "bold $text-accent"), act.help)
            for act in ROUND
        ]
        lines.append(Content("\nWhat the signs say"))
        for kind, meaning in _VERDICTS.items():
            shown = self.settings.care.advice[kind]
            lines.append(Content.assemble((f"{shown.sign} {shown.word:<7}", STYLES[kind]), meaning))
        lines.append(Content("\nCautions"))
        care = self.settings.care
        told = [caution for advice in care.advice.values() for caution in advice.cautions]
        told += [caution for method in care.methods.values() for caution in method.cautions]
        lines += [Content(f"⚠ {caution}") for caution in dict.fromkeys(told)]
        lines.append(
            Content(
                "⚠ Keeping, moving, marking and releasing butterflies is regulated in places, and may need a permit. "
                "Your local rules, and people licensed for it, come before anything this program says."
            )
        )
        return Content("\n").join(lines)
