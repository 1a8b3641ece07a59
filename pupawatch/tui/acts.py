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
    Act("walked", "Visited", "this place is visited, nothing new; go to the next one not visited"),
    Act("darkened", "Darkening", "the selected pupa is darkening"),
    Act("clear", "Clear", "it has turned clear"),
    Act("emerged", "Out", "record that the butterfly is out"),
    Act("move", "Move", "move it; the best place is under the cursor"),
    Act("new", "", "a new pupa or prepupa in this place"),
    Act("pupated", "", "the selected prepupa has pupated"),
    Act("fell", "Fell", "it fell"),
    Act("danger", "", "other danger: choose"),
    Act("stage", "", "another colour stage"),
    Act("wings", "", "judge the wings of a butterfly (view: finished)"),
    Act("lost", "", "it produced no butterfly: choose the cause"),
    Act("note", "", "a note about it"),
    Act("relabel", "", "give it another label"),
    Act("brood", "", "its brood, for several pupae at once"),
    Act("undo", "Undo", "undo the last act, on whatever screen it was done"),
    Act("redo", "", "redo what was undone last, until something new is done"),
    Act("next_urgent", "", "to the next pupa that needs something, the most urgent first"),
    Act("next_place", "", "to the next place"),
    Act("previous_place", "", "back to the previous place"),
    Act("down", "", "down one line"),
    Act("up", "", "up one line"),
    Act("search", "", "find: show only what matches"),
    Act("view", "", "all; only what needs something; only what is soft; finished lately"),
    Act("watch", "", "the watch: new butterflies with their times, and the pupae due next"),
    Act("adults", "", "the living butterflies: sex, wings, marks, release, the data sheet"),
    Act("health", "", "health: signs of disease, quarantine, cleaning"),
    Act("plan", "", "the plan: what to move where, and what to leave alone"),
    Act("move_log", "", "the moves so far, and how each ended"),
    Act("places", "", "the places, to add and edit"),
    Act("review", "", "review: success by pupation site and more; how good the forecasts were"),
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
