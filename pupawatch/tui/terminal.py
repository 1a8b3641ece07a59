"""The terminal that the dashboard is drawn on: it may be closed meanwhile, and may not have every sign."""

import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from typing import Any, TextIO

from pupawatch.model.settings import Signs
from pupawatch.model.signs import OLD_CONSOLE


class _Lasting:
    """A stream that takes what is written to it also once nobody shows it any more. plain: in signs of old consoles."""

    def __init__(self, stream: TextIO, plain: bool) -> None:
        self._stream = stream
        self._signs = OLD_CONSOLE if plain else {}

    def write(self, text: str) -> int:
        with suppress(OSError):
            self._stream.write(text.translate(self._signs))
        return len(text)

    def flush(self) -> None:
        with suppress(OSError):
            self._stream.flush()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def wants_plain(signs: Signs, platform: str, environment: Mapping[str, str]) -> bool:
    """Whether only plain signs are drawn: as it was set, or on the consoles known to have no others.

    Those are the console of Linux itself, and on Windows the old one: newer terminals name themselves there
    (WT_SESSION, TERM_PROGRAM, ConEmuANSI or TERM; from memory).
    """
    if signs != "auto":
        return signs == "plain"
    if platform == "win32":
        return not any(environment.get(name) for name in ("WT_SESSION", "TERM_PROGRAM", "ConEmuANSI", "TERM"))
    return environment.get("TERM") == "linux"


@contextmanager
def lasting(signs: Signs = "auto") -> Iterator[None]:
    """Have Textual draw on a stream that outlasts its terminal, in the signs that it has.

    It draws from a thread, through a queue, on ``sys.__stderr__``, on Windows on ``sys.__stdout__``. An error there
    would end the thread, and the program would wait at the full queue for ever, before it could leave.
    """
    name = "__stdout__" if sys.platform == "win32" else "__stderr__"
    drawn_on = vars(sys)[name]
    if drawn_on is None:
        yield
        return
    vars(sys)[name] = _Lasting(drawn_on, wants_plain(signs, sys.platform, os.environ))
    try:
        yield
    finally:
        vars(sys)[name] = drawn_on
