"""How far bringing a file in has come."""

from collections.abc import Callable
from pathlib import Path

Watch = Callable[[str, int, int], None]
"""Is told what is being done, how much more of it is done, and how much there is to do, for a progress bar."""


def unwatched(what: str, more: int, of: int) -> None:
    """Nobody watches."""


def size_of(path: Path) -> int:
    """How many bytes there are to read; 0 where there is no file."""
    return path.stat().st_size if path.exists() else 0
