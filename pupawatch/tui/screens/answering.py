"""A screen that answers in one line above its keys, and what stands there until the keeper leaves."""

from textual.message import Message
from textual.screen import Screen
from textual.timer import Timer
from textual.widgets import Static

from pupawatch.model.text import shown

_SAID_SECONDS = 12.0


class Alarm(Message):
    """Something that stands on the screen, whichever it is, until the keeper leaves; said once."""

    def __init__(self, words: str) -> None:
        super().__init__()
        self.words = words


class AnsweringScreen(Screen[None]):
    """Has a line ``#said``. What is said there goes again after a while, so that it is never taken for news."""

    _hush: Timer | None = None

    def say(self, words: str, kind: str = "") -> None:
        """One line of answer. kind: ``-warning``, ``-refused``, or "" where all is well."""
        said = self.query_one("#said", Static)
        said.set_classes(kind)
        said.update(shown(words.replace("\n", " · ")))
        if self._hush is not None:
            self._hush.stop()
        self._hush = self.set_timer(_SAID_SECONDS, lambda: said.update(""))
