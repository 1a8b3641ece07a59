"""What the commands are made of: options that several share, what runs a command, and what was typed as a time."""

import argparse
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import NoReturn

from pupawatch.cli.printing import Record, Say, answered, done, warn
from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.keeper.opening import journal_path, opened
from pupawatch.model.text import shown
from pupawatch.model.times import Span, parse_span

Run = Callable[[argparse.Namespace], int]
"""What runs a command: takes what was typed and gives the exit code."""
Handler = Callable[[Keeper, argparse.Namespace], int]
"""The same, on an open journal."""
Act = Callable[[Keeper, argparse.Namespace, Span | None], Done]
"""Writes something down that happened at the time that was typed, None where none was."""
Tell = Callable[[Keeper, argparse.Namespace, datetime | None, Say], Record]
"""Answers as of the time that was typed (None: now): says it line by line, and gives the record for other programs."""

_SPAN_HELP = "ISO 8601, as in 2026-08-14T06:40; without an offset in your zone; also 06:40, yesterday 21:00"


QUIET = "leave out the steps and cautions"

RENAMED = {"looked": "visited", "climb": "aid"}
"""What commands were called before: these names still work, and no help shows them."""


class Parser(argparse.ArgumentParser):
    """A parser that shows what was typed without letting it steer the terminal."""

    def error(self, message: str) -> NoReturn:
        super().error(shown(message))


class Commands:
    """The parser of the command line, to which every family adds its commands, in the order of the help."""

    def __init__(self, without_a_command: Run) -> None:
        self._everywhere = _everywhere()
        self._reading, self._recording = _reading(self._everywhere), _recording(self._everywhere)
        self.parser = Parser(
            prog="pupawatch",
            parents=[self._everywhere],
            description="Get every pupa (chrysalis) safely to a butterfly with sound wings. Without a command it opens "
            "the dashboard.",
            epilog="Exit codes: 0 done, 1 refused by a care rule (nothing written), 2 not understood, "
            "3 the journal or a file is not usable. Keeping, moving, marking and releasing butterflies is regulated in "
            "places: your local rules come first.",
        )
        self.parser.set_defaults(run=without_a_command)
        self._commands = self.parser.add_subparsers(dest="command", metavar="COMMAND")

    def without_a_keeper(self, name: str, help: str, run: Run) -> Parser:
        """A command that finds its journal by itself."""
        return self._command(name, help, run, self._everywhere)

    def plain(self, name: str, help: str, handler: Handler) -> Parser:
        """A command on the journal that takes no time."""
        return self._command(name, help, _on_the_journal(handler), self._everywhere)

    def reading(self, name: str, help: str, handler: Handler) -> Parser:
        """A command that looks at the journal, as of a time, and prints its answer or its record by itself."""
        return self._command(name, help, _on_the_journal(handler), self._reading)

    def telling(self, name: str, help: str, tell: Tell, *more: Parser) -> Parser:
        """A command that looks at the journal, as of a time. more: further options."""
        return self._command(name, help, _on_the_journal(_told(tell)), self._reading, *more)

    def recording(self, name: str, help: str, act: Act, *more: Parser) -> Parser:
        """A command that records what happened, at a time. more: further options."""
        return self._command(name, help, _on_the_journal(_recorded(act)), self._recording, *more)

    def _command(self, name: str, help: str, run: Run, *parents: Parser) -> Parser:
        command = self._commands.add_parser(name, help=help, description=help, parents=list(parents))
        command.set_defaults(run=run)
        for old, new in RENAMED.items():
            if new == name:
                self._commands.choices[old] = command
        return command


# -- what was typed


def where(options: argparse.Namespace) -> tuple[Path, Path | None]:
    """The journal, and the folder of the keeper's settings, None for the platform's."""
    return journal_path(getattr(options, "journal", None)), getattr(options, "config", None)


def as_of(keeper: Keeper, options: argparse.Namespace) -> datetime | None:
    """The time at which the journal is looked at, None for now."""
    if options.as_of is None:
        return None
    return parse_span(options.as_of, keeper.settings.zone, keeper.clock()).until


def _when(keeper: Keeper, options: argparse.Namespace) -> Span | None:
    """The time that was typed. A day that is not over yet ends now."""
    now, zone = keeper.clock(), keeper.settings.zone

    def understood(text: str) -> Span:
        since, until = parse_span(text, zone, now)
        return Span(since, now if since is not None and since <= now < until else until)

    if options.at is not None:
        return understood(options.at)
    if options.between is not None:
        first, second = (understood(text) for text in options.between)
        return Span(first.since, second.until)
    return None


# -- what runs a command


def _on_the_journal(handler: Handler) -> Run:
    def run(options: argparse.Namespace) -> int:
        with opened(*where(options)) as keeper:
            code = handler(keeper, options)
            warn(keeper.left_out())
            return code

    return run


def _told(tell: Tell) -> Handler:
    def handler(keeper: Keeper, options: argparse.Namespace) -> int:
        return answered(options.json, lambda say: tell(keeper, options, as_of(keeper, options), say))

    return handler


def _recorded(act: Act) -> Handler:
    def handler(keeper: Keeper, options: argparse.Namespace) -> int:
        told = act(keeper, options, _when(keeper, options))
        return done(told, () if options.quiet else keeper.beside(told))

    return handler


# -- options that several commands share


def weather() -> Parser:
    """The options for the weather a butterfly would fly in."""
    options = Parser(add_help=False)
    options.add_argument("--temperature-c", type=float, metavar="T", help="°C in the shade, now or expected")
    options.add_argument("--sky", metavar="S", default="", help="sun, cloud or rain")
    return options


def _everywhere() -> Parser:
    options = Parser(add_help=False)
    options.add_argument("--journal", type=Path, metavar="FILE", default=argparse.SUPPRESS, help="the journal to use")
    options.add_argument(
        "--config", type=Path, metavar="DIR", default=argparse.SUPPRESS, help="the folder of your settings"
    )
    return options


def _reading(everywhere: Parser) -> Parser:
    options = Parser(add_help=False, parents=[everywhere])
    options.add_argument(
        "--json",
        action="store_true",
        help="output for other programs: stable names, UTC times, fractions",
    )
    options.add_argument("--as-of", metavar="TIME", help="show the journal as it was at that time")
    return options


def _recording(everywhere: Parser) -> Parser:
    options = Parser(add_help=False, parents=[everywhere])
    time = options.add_mutually_exclusive_group()
    time.add_argument("--at", metavar="TIME", help=f"when it happened ({_SPAN_HELP})")
    time.add_argument("--between", nargs=2, metavar=("T1", "T2"), help="the two times between which it happened")
    options.add_argument("--quiet", action="store_true", help=QUIET)
    return options
