"""The commands that take back what was recorded, and record it again."""

import argparse

from pupawatch.cli.parser import Commands
from pupawatch.cli.printing import done
from pupawatch.keeper import Keeper


def register(commands: Commands) -> None:
    """These commands, with their options."""
    undo = commands.plain("undo", "undo the last entry recorded since today's round began", _undo)
    undo.add_argument("act", nargs="?", metavar="ACT", default="", help="exactly this act, however old: its id")

    commands.plain("redo", "redo what was undone last, until something new is recorded", _redo)


def _undo(keeper: Keeper, options: argparse.Namespace) -> int:
    return done(keeper.undo_act(options.act) if options.act else keeper.undo_of_today())


def _redo(keeper: Keeper, _: argparse.Namespace) -> int:
    return done(keeper.redo_of_today())
