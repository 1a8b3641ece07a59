"""Where what a library prints from C is kept away from the answer."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from threading import Lock

_TURN = Lock()


@contextmanager
def quiet_output() -> Iterator[None]:
    """Let nothing that is written to the standard output past Python reach it meanwhile.

    HiGHS, the solver inside scipy, prints to it from C in places that its own switch does not reach. Python's own
    output goes on as before only in so far as nobody prints meanwhile: it is meant for a reckoning that says nothing.
    Where there is no standard output, nothing is done.
    """
    with _TURN:
        with suppress(OSError, ValueError, AttributeError):
            sys.stdout.flush()
        try:
            kept = os.dup(1)
        except OSError:  # there is none
            yield
            return
        try:
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, 1)
            os.close(nowhere)
            yield
        finally:
            os.dup2(kept, 1)
            os.close(kept)


@contextmanager
def output_apart() -> Iterator[None]:
    """Give Python's standard output a number of its own meanwhile, and let whatever is written to the usual one go
    nowhere: for a screen that stands while other threads reckon."""
    shown = sys.__stdout__
    try:
        own = os.fdopen(os.dup(1), "w", encoding=getattr(shown, "encoding", None), errors="replace")
    except OSError:  # there is none
        yield
        return
    before = sys.stdout, sys.__stdout__
    kept = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        sys.stdout.flush()
        os.dup2(nowhere, 1)
        sys.stdout = sys.__stdout__ = own  # type: ignore[misc]  # where the drivers of a screen look for it
        yield
    finally:
        own.flush()
        sys.stdout, sys.__stdout__ = before  # type: ignore[misc]
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
        own.close()
