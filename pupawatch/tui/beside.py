"""Work beside the screen: in a thread of its own, and whatever goes wrong there is told and ends nothing."""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, Protocol, TypeVar, runtime_checkable

from textual import work
from textual.dom import DOMNode
from textual.worker import Worker

from pupawatch.errors import PupawatchError
from pupawatch.tui.screens.answering import Alarm

P = ParamSpec("P")
Node = TypeVar("Node", bound=DOMNode)

_LONGEST = 200
"""Characters of an unexpected error that are told."""


@runtime_checkable
class GivesUp(Protocol):
    """A screen that waits for what is worked on."""

    def gave_up(self, group: str) -> None:
        """Show that the work of a group brings nothing; what stood there before stays."""


def beside(
    group: str, what: str
) -> Callable[[Callable[Concatenate[Node, P], None]], Callable[Concatenate[Node, P], Worker[None]]]:
    """Have a method run in a thread; only the newest call of its group counts. what: as in "working out the plan".

    Any error that it does not answer itself is told as an Alarm, and the screen keeps what it shows.
    """

    def made(do: Callable[Concatenate[Node, P], None]) -> Callable[Concatenate[Node, P], Worker[None]]:
        @wraps(do)
        def guarded(node: Node, /, *args: P.args, **named: P.kwargs) -> None:
            app = node.app
            try:
                do(node, *args, **named)
            except Exception as error:
                app.post_message(Alarm(_words(error, what)))
                _give_up(node, group)

        return work(guarded, thread=True, exclusive=True, group=group)

    return made


def _give_up(node: DOMNode, group: str) -> None:
    if isinstance(node, GivesUp):
        node.call_later(node.gave_up, group)


def _words(error: Exception, what: str) -> str:
    if isinstance(error, PupawatchError):
        return f"While {what}: {error}"
    told = f"{type(error).__name__}: {error}"[:_LONGEST]
    return (
        f"Unexpected error while {what} ({told}). The screen shows the last known state; what you record is kept. "
        "Leave pupawatch and open it again; if it comes again, run `pupawatch check`. esc on the round hides this."
    )
