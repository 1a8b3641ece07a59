"""The dashboard: on the keeper's own journal, or on an invented season."""

import argparse
import sys

from pupawatch.cli.parser import Commands, where
from pupawatch.errors import NotUnderstood
from pupawatch.keeper import Keeper
from pupawatch.keeper.opening import opened, passing_folder


def register(commands: Commands) -> None:
    """The command that opens it on an invented season."""
    commands.without_a_keeper(
        "demo", "open the dashboard on a copy of an invented season; your journal is not touched", _demo
    )


def own(options: argparse.Namespace) -> int:
    """Open the dashboard on the keeper's journal; a large one is looked through for damage while it is open."""
    _need_a_terminal()
    with opened(*where(options), large_later=True) as keeper:
        return _dashboard(keeper)


def _demo(_: argparse.Namespace) -> int:
    _need_a_terminal()
    return demo()


def demo() -> int:
    """Open the dashboard on the invented season, in a folder that is gone afterwards."""
    from pupawatch.demo import demo_keeper

    with passing_folder() as folder:
        keeper = demo_keeper(folder)
        try:
            return _dashboard(keeper)
        finally:
            keeper.close()  # or some systems would not let go of the folder


def _dashboard(keeper: Keeper) -> int:
    from pupawatch.tui.app import open_dashboard

    return open_dashboard(keeper)


def _need_a_terminal() -> None:
    """Raise NotUnderstood where nobody could see the dashboard, or press a key."""
    if not all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stdout, sys.stderr)):
        raise NotUnderstood("The dashboard needs a terminal; `pupawatch today` prints this morning's work anywhere.")
