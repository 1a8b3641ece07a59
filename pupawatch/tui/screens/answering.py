"""A screen that answers in one line above its keys and takes back what was done, on whatever screen that was."""

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import ClassVar

from textual.content import Content
from textual.message import Message
from textual.screen import Screen
from textual.timer import Timer
from textual.widgets import Static

from pupawatch.errors import AskFirst, PupawatchError
from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.model.acts import SCREENS
from pupawatch.model.text import shown
from pupawatch.model.times import local_day
from pupawatch.tui.acts import always, foot, help_lines
from pupawatch.tui.look import HEAD
from pupawatch.tui.screens.dialogs import Choice, Pick
from pupawatch.tui.screens.page import Page
from pupawatch.tui.widgets.ends import Ends

_SAID_SECONDS = 12.0
_LEAP = timedelta(seconds=5)


class Alarm(Message):
    """Something that stands on the screen, whichever it is, until the keeper leaves; said once."""

    def __init__(self, words: str) -> None:
        super().__init__()
        self.words = words


class AnsweringScreen(Screen[None]):
    """Has a line ``#said``. What is said there goes again after a while, so that it is never taken for news.

    ``SCREEN`` is its name in the table of acts: from that come its bindings, the foot ``#keys`` and its help.
    """

    SCREEN: ClassVar[str] = "round"
    keeper: Keeper
    _hush: Timer | None = None
    _looked: datetime | None = None

    def woke(self) -> bool:
        """Whether the clock has leapt since the last look (the computer slept), or another local day has begun."""
        now, before = self.keeper.clock(), self._looked
        self._looked = now
        zone = self.keeper.settings.zone
        return before is not None and (abs(now - before) > _LEAP or local_day(now, zone) != local_day(before, zone))

    def say(self, words: str, kind: str = "") -> None:
        """One line of answer. kind: ``-warning``, ``-refused``, or "" where all is well."""
        said = self.query_one("#said", Static)
        said.set_classes(kind)
        said.update(shown(words.replace("\n", " · ")))
        if self._hush is not None:
            self._hush.stop()
        self._hush = self.set_timer(_SAID_SECONDS, lambda: said.update(""))

    def now_first(self) -> Sequence[str]:
        """The acts for the foot of the screen: what matters now comes first, and what has no room is left out."""
        return [act.name for act in SCREENS[self.SCREEN] if act.word and act.name not in ("help", "back")]

    def show_foot(self) -> None:
        """Show the keys of what matters now."""
        keys = self.keeper.settings.keys
        self.query_one("#keys", Ends).show(foot(self.now_first(), keys), always(keys, self.SCREEN != "round"))

    def legend(self) -> list[Content]:
        """What the signs of this screen mean, a line each, for its help."""
        return []

    def action_back(self) -> None:
        self.dismiss()

    def action_help(self) -> None:
        """The keys of this screen and its signs, on a page."""

        def text(columns: int) -> Content:
            acts, keys = SCREENS[self.SCREEN], self.keeper.settings.keys
            lines = [Content.styled("KEYS", HEAD), *help_lines(acts, keys, columns)]
            if legend := self.legend():
                lines += [Content(""), Content.styled("SIGNS", HEAD), *legend]
            return Content("\n").join(lines)

        self.app.push_screen(Page("Keys and signs", text))

    def attempt(self, do: Callable[[], Done]) -> Done | None:
        """Do it; say why not, or ask first where more would be taken back than one key should."""
        try:
            return do()
        except AskFirst as asked:
            self._ask(asked)
        except PupawatchError as error:
            self.say(f"✗ {error}", "-refused")
        return None

    def after_undo(self, done: Done) -> None:
        """Show things as they are after an undo or redo, go to what it was about, and say what it was."""

    def action_undo(self) -> None:
        self._undo(self.keeper.undo)

    def action_redo(self) -> None:
        self._undo(self.keeper.redo)

    def _undo(self, do: Callable[[], Done]) -> None:
        if (done := self.attempt(do)) is not None:
            self.after_undo(done)

    def _ask(self, asked: AskFirst) -> None:
        def answered(act: str | None) -> None:
            if act:
                self._undo(lambda: self.keeper.undo_act(act))
            else:
                self.say("Nothing was undone.")

        choices = [Choice("", "Leave it"), Choice(asked.act, "Undo it")]
        self.app.push_screen(Pick("Undo this?", choices, above=asked.question), answered)
