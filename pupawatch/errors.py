"""The three ways an act can fail. Each message says what is wrong, where, and what to do."""

import re
from datetime import datetime

_LEFT_OPEN = re.compile(r"(^|[.?!…]|pupawatch [^`]*|[/\\]\S*)$")
"""A message that has its stop, or that ends in a command or a path, which somebody will copy."""


class PupawatchError(Exception):
    """Anything a keeper is told in one sentence instead of a traceback."""

    exit_code = 2

    def __str__(self) -> str:
        """The message; one line of it ends as a sentence does, whatever name or value stands last in it."""
        told = super().__str__()
        return told if "\n" in told or _LEFT_OPEN.search(told) else f"{told}."


class Refused(PupawatchError):
    """A care rule stands against it; nothing was written.

    ``movable_from`` is the instant from which a too-early move will be allowed, or None where no waiting
    helps (there is nothing left to move, or the moment of pupation is not known yet).
    """

    exit_code = 1

    def __init__(self, message: str, movable_from: datetime | None = None) -> None:
        super().__init__(message)
        self.movable_from = movable_from


class NotUnderstood(PupawatchError):
    """What was typed, or a file brought in, does not say anything the program can act on."""

    exit_code = 2


class AskFirst(NotUnderstood):
    """More would be taken back than one key or command should; nothing was, and the keeper is asked.

    question: why it is asked, and what would go; act: the act that would, to be named where the answer is yes.
    """

    def __init__(self, question: str, act: str) -> None:
        super().__init__(f"{question} Nothing was undone; `pupawatch undo {act}` takes it back.")
        self.question = question
        self.act = act


class Unusable(PupawatchError):
    """The journal, the settings or another file cannot be read or written."""

    exit_code = 3


class Damaged(Unusable):
    """The journal holds something that is not what was written; ``check`` tells what, ``restore`` repairs that."""
