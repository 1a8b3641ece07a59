"""What a shell needs to complete commands, options and file names."""

import argparse

from pupawatch.cli.parser import RENAMED, Commands, Parser

SHELLS = ("bash", "zsh", "tcsh")


def register(commands: Commands) -> None:
    """The command that prints it."""
    told = "print what your shell needs to complete commands; README says where to put it"
    completions = commands.without_a_keeper("completions", told, lambda options: _print(commands.parser, options))
    completions.add_argument("shell", choices=SHELLS, metavar="SHELL", help="bash, zsh or tcsh")


def _print(parser: Parser, options: argparse.Namespace) -> int:
    import shtab

    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            action.help = None  # the list of commands is left out of the help, which groups them by itself
            for old in RENAMED:  # they still work, and are offered to nobody
                action.choices.pop(old, None)
        _complete_files(action)
    print(shtab.complete(parser, shell=options.shell), end="")
    return 0


def _complete_files(action: argparse.Action) -> None:
    """Have the arguments that name a file or folder completed as such."""
    import shtab

    kinds = {"FILE": shtab.FILE, "OTHER": shtab.FILE, "FILE|DIR": shtab.FILE, "DIR": shtab.DIRECTORY}
    if isinstance(action, argparse._SubParsersAction):
        for command in {id(one): one for one in action.choices.values()}.values():
            for part in command._actions:
                _complete_files(part)
    elif action.metavar in kinds:
        action.complete = kinds[action.metavar]  # type: ignore[attr-defined]
