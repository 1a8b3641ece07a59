"""Bindings, the foot and the help of each screen, from the one table of acts (``model/acts.py``) and the keys."""

from collections.abc import Iterable, Sequence
from functools import cache
from textwrap import wrap

from textual.binding import Binding, BindingType
from textual.content import Content

from pupawatch.model.acts import SCREENS, Act, acts_by_name, keys_of

_BY_NAME = acts_by_name()
_NAME_CELLS, _LEAST_CELLS = 13, 16
_NAMES = {
    "slash": "/",
    "question_mark": "?",
    "left_square_bracket": "[",
    "right_square_bracket": "]",
    "escape": "esc",
    "down": "↓",
    "up": "↑",
    "right": "→",
    "left": "←",
    "plus": "+",
    "asterisk": "*",
}


def key_words(keys: str) -> str:
    """The keys of an act as a reader knows them."""
    return " ".join(_NAMES.get(key, key) for key in keys_of(keys))


def first_key(keys: dict[str, str], name: str) -> str:
    """The first key of an act, as a reader knows it."""
    return key_words(keys[name]).split(" ")[0]


def foot(names: Iterable[str], keys: dict[str, str]) -> list[Content]:
    """The acts of these names for the foot of a screen, to press or to click."""
    return [_to_press(first_key(keys, name), _BY_NAME[name].word or name, f"screen.{name}") for name in names]


def always(keys: dict[str, str], back: bool) -> Content:
    """What stands last at the foot of every screen. back: whether there is a screen before."""
    told = [_to_press("ctrl+p", "All", "app.command_palette"), *foot(["help", *(["back"] if back else [])], keys)]
    return Content("  ").join(told)


@cache  # the foot is shown anew whenever the cursor moves
def _to_press(key: str, word: str, action: str) -> Content:
    return Content.from_markup(f"[@click={action}][b $text-accent]$key[/] [$text-muted]$word[/][/]", key=key, word=word)


def help_lines(acts: Sequence[Act], keys: dict[str, str], columns: int) -> list[Content]:
    """The keys of each act, and what it does."""
    return [hanging(key_words(keys[act.name]), act.help, columns) for act in acts]


def hanging(name: str, words: str, columns: int, style: str = "bold $text-accent") -> Content:
    """A name and what is said of it, so broken that its further lines stand below the first."""
    lines = wrap(words, max(_LEAST_CELLS, columns - _NAME_CELLS - 1)) or [""]
    return Content.assemble((f"{name:<{_NAME_CELLS}} ", style), ("\n" + " " * (_NAME_CELLS + 1)).join(lines))


def bindings(screen: str) -> list[BindingType]:
    """The bindings of a screen. Their keys come from the keymap that the app is given at its start."""
    return [
        Binding(
            f"ctrl+shift+f{number}",  # a key nobody has: the keymap gives every act its own
            act.name,
            act.word or act.name,
            show=bool(act.word),
            id=act.name,
            tooltip=act.help,
        )
        for number, act in enumerate(SCREENS[screen])
    ]
