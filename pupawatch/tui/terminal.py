"""The terminal that may be closed while the dashboard is drawn on it."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any, TextIO


class _Lasting:
    """A stream that takes what is written to it also once nobody shows it any more."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        with suppress(OSError):
            self._stream.write(text)
        return len(text)

    def flush(self) -> None:
        with suppress(OSError):
            self._stream.flush()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextmanager
def lasting() -> Iterator[None]:
    """Have Textual draw on a stream that outlasts its terminal.

    It draws from a thread, through a queue, on ``sys.__stderr__``. An error there would end the thread, and the program
    would wait at the full queue for ever, before it could leave.
    """
    drawn_on = sys.__stderr__
    if drawn_on is None:
        yield
        return
    vars(sys)["__stderr__"] = _Lasting(drawn_on)
    try:
        yield
    finally:
        vars(sys)["__stderr__"] = drawn_on
