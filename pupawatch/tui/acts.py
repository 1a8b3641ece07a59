"""Every act of the round screen: its name in keys.toml, its word at the foot of the screen, and what it does.

The keys themselves are settings (keys.toml); the foot of the screen, the help and the bindings all read this table.
"""

from typing import NamedTuple

from textual.binding import Binding, BindingType
from textual.content import Content


class Act(NamedTuple):
    """name: in keys.toml. word: at the foot of the screen, "" to leave it out there. help: one line."""

    name: str
    word: str
    help: str


ROUND = (
    Act("walked", "Walked", "this place is looked over, nothing new; on to the next unwalked place"),
    Act("darkened", "Dark", "the selected pupa is darkening"),
    Act("clear", "Clear", "its case has turned clear"),
    Act("emerged", "Out", "the adult is out"),
    Act("move", "Move", "hang it elsewhere; the best place is under the cursor"),
    Act("new", "New", "a new pupa, or a hanging caterpillar, in this place"),
    Act("pupated", "", "the selected hanging caterpillar has become a pupa"),
    Act("fell", "Fell", "it fell"),
    Act("danger", "", "it is in another danger: pick which"),
    Act("stage", "", "another colour stage"),
    Act("wings", "", "judge the wings of an adult (view: finished)"),
    Act("lost", "", "it gave no adult: pick the cause"),
    Act("note", "", "a note about it"),
    Act("relabel", "", "give it another label"),
    Act("brood", "", "the brood it belongs to, with others if you like"),
    Act("undo", "Undo", "take the last act back, on whatever screen it was done"),
    Act("redo", "", "redo what was undone last, until something new is done"),
    Act("next_urgent", "", "on to the next pupa that needs something, the most urgent first"),
    Act("next_place", "", "on to the next place"),
    Act("previous_place", "", "back to the place before"),
    Act("down", "", "down one line"),
    Act("up", "", "up one line"),
    Act("search", "", "show only what matches a word"),
    Act("view", "", "all; only what needs something; only what is soft; finished lately"),
    Act("watch", "", "the watch: fresh adults with their clocks, and who emerges next"),
    Act("adults", "", "the living adults: sex, wings, marks, release, the data sheet"),
    Act("health", "", "a second look for signs of disease; what is set apart; cleaning"),
    Act("plan", "", "the plan: what to hang where, and what to leave in peace"),
    Act("move_log", "", "the moves so far, and how each ended"),
    Act("places", "", "the places, to add and edit"),
    Act("review", "", "what the season taught, and how good the forecasts were"),
    Act("help", "Help", "the keys and the cautions"),
    Act("quit", "", "leave"),
)


_NAMES = {"slash": "/", "question_mark": "?", "left_square_bracket": "[", "right_square_bracket": "]", "escape": "esc"}


def key_words(keys: str) -> str:
    """The keys of an act as a reader knows them."""
    return " ".join(_NAMES.get(key.strip(), key.strip()) for key in keys.split(","))


def key_line(acts: tuple[Act, ...], keys: dict[str, str]) -> Content:
    """The line at the foot of the screen: the keys that matter most, to press or to click.

    One line of text instead of a widget for each key: it never has to be laid out anew.
    """
    shown = [
        Content.from_markup(
            f"[@click=screen.{act.name}][b $text-accent]$key[/] $word[/]",
            key=key_words(keys[act.name]).split(" ")[0],
            word=act.word,
        )
        for act in acts
        if act.word
    ]
    return Content("  ").join(shown)


def bindings(acts: tuple[Act, ...]) -> list[BindingType]:
    """The bindings of these acts. Their keys come from the keymap that the app is given at its start."""
    return [
        Binding(
            f"ctrl+shift+f{number}",  # a key nobody has: the keymap gives every act its own
            act.name,
            act.word or act.name,
            show=bool(act.word),
            id=act.name,
            tooltip=act.help,
        )
        for number, act in enumerate(acts)
    ]
