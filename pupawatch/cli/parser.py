"""What the commands are made of: options that several share, what runs a command, and what was typed as a time."""

import argparse
import re
import shutil
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from textwrap import wrap
from typing import NoReturn

from pupawatch.cli.printing import Record, Say, answered, complain, done, warn
from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.keeper.opening import journal_path, opened
from pupawatch.model.text import did_you_mean, quoted, shown
from pupawatch.model.times import Span
from pupawatch.model.typed_times import parse_span
from pupawatch.words.entries import reading

Run = Callable[[argparse.Namespace], int]
"""What runs a command: takes what was typed and gives the exit code."""
Handler = Callable[[Keeper, argparse.Namespace], int]
"""The same, on an open journal."""
Act = Callable[[Keeper, argparse.Namespace, Span | None], Done]
"""Records something that happened at the time that was typed, None where none was."""
Tell = Callable[[Keeper, argparse.Namespace, datetime | None, Say], Record]
"""Answers as of the time that was typed (None: now): says it line by line, and gives the record for other programs."""

_SPAN_HELP = (
    "ISO 8601, as in 2026-08-14T06:40; without an offset in your zone; also 06:40, mon 07:30, yesterday 21:00, 3 days "
    "ago, last night"
)


GROUPS = {
    "to begin": ("demo", "today", "found", "place"),
    "the round": (
        "pupae", "places", "history", "visited", "saw", "fell", "move", "held", "aid", "emerged", "wings", "lost",
        "note", "relabel", "undo", "redo",
    ),
    "butterflies": ("watch", "adults", "adult", "sex", "origin", "mark", "release", "sheet"),
    "health": ("health", "finding", "cleaned", "quarantine"),
    "planning": ("plan", "moves", "forecast", "expect", "measured"),
    "your records": ("review", "broods", "brood"),
    "files": ("import", "export", "merge", "check", "backup", "restore", "completions"),
}  # fmt: skip
"""The commands as the help groups them."""

QUIET = "leave out the steps and cautions"

RENAMED = {"looked": "visited", "climb": "aid"}
"""What commands were called before: these names still work, and no help shows them."""

METHODS = "silk, whole, tie, sling, prop, glue or climb"
DANGERS = "fallen, support-failing, predator, wet, crushing or heat"
CAUSES = "disease, parasitoid, predator, injury, fall, stuck, died-in-case, dried, vanished or unknown"
SURFACES = "mesh, cloth, line, wood, chamber, stem, cut-stem, leaf, plastic, glass, floor or unknown"
"""What the shipped care.toml knows. The help tells it without reading a settings file."""


_DESCRIPTION = (
    "Get every pupa (chrysalis) safely to a butterfly with sound wings.\nWithout a command it opens the dashboard."
)
_EPILOG = (
    "Exit codes: 0 done, 1 refused by a care rule (nothing written), 2 not understood (see --help), 3 the journal or a "
    "file is not usable. Keeping, moving, marking and releasing butterflies is regulated in places: your local rules "
    "come first."
)
_UNKNOWN = re.compile(r"argument COMMAND: invalid choice: '(.*?)' ", re.DOTALL)
_LAST_MOMENT = timedelta(seconds=1)
_TOO_MANY = "unrecognized arguments: "
_NAME = 12
_NARROWEST, _WIDEST = 40, 100


def _width() -> int:
    return min(_WIDEST, max(_NARROWEST, shutil.get_terminal_size().columns - 2))


class Parser(argparse.ArgumentParser):
    """A parser that shows what was typed without letting it steer the terminal."""

    def error(self, message: str) -> NoReturn:
        if (unknown := _UNKNOWN.match(message)) is not None:
            names = [name for names in GROUPS.values() for name in names]
            hint = did_you_mean(unknown[1], names) or "."
            message = f"{quoted(unknown[1])} is not a command{hint} `pupawatch --help` lists them."
        elif message.startswith(_TOO_MANY):
            more = message.removeprefix(_TOO_MANY)
            message = f"{quoted(more)}: more than the command takes; a name with a space stands in quotation marks."
        super().error(shown(message))


class _Version(argparse.Action):
    """Prints the version; asks for it only then."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> NoReturn:
        from importlib.metadata import version

        print(f"pupawatch {version('pupawatch')}")
        parser.exit()


class Commands:
    """The parser of the command line, to which every family adds its commands, in the order of the help."""

    def __init__(self, without_a_command: Run) -> None:
        self._everywhere = _everywhere()
        self._reading, self._recording = _reading(self._everywhere), _recording(self._everywhere)
        self.parser = Parser(
            prog="pupawatch",
            parents=[self._everywhere],
            usage="pupawatch [-h] [--version] [--journal FILE] [--config DIR] [COMMAND …]",
            description=_DESCRIPTION,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        self.parser.add_argument("--version", action=_Version, nargs=0, help="show the version and exit")
        self.parser.set_defaults(run=without_a_command)
        self._commands = self.parser.add_subparsers(
            dest="command", metavar="COMMAND", help=argparse.SUPPRESS, prog="pupawatch"
        )

    def done(self) -> Parser:
        """The parser, once every command is in it."""
        self.parser.epilog = "\n".join([*self._listed(), "", *wrap(_EPILOG, _width())])
        return self.parser

    def _listed(self) -> Iterator[str]:
        """The commands in their groups, a line or two each."""
        told = {choice.dest: choice.help or "" for choice in self._commands._choices_actions}
        for title, names in GROUPS.items():
            yield f"{title}:"
            for name in names:
                indent = " " * (_NAME + 2)
                lines = wrap(f"{name:<{_NAME}}{told[name]}", _width(), initial_indent="  ", subsequent_indent=indent)
                yield from lines

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
    since, until = parse_span(options.as_of, keeper.settings.zone, keeper.clock())
    return until if since == until else until - _LAST_MOMENT  # a whole day: its end, and not the day after


def _when(keeper: Keeper, options: argparse.Namespace) -> Span | None:
    """The time that was typed. A day that is not over yet ends now."""
    now, zone = keeper.clock(), keeper.settings.zone

    def understood(text: str) -> Span:
        since, until = parse_span(text, zone, now)
        warn(reading(text, zone, now))
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
        when, labels = _when(keeper, options), keeper.labels(getattr(options, "labels", ()))
        if len(labels) < 2:
            options.label = next(iter(labels), getattr(options, "label", ""))
            told = act(keeper, options, when)
            return done(told, ways=() if options.quiet else keeper.beside(told))
        each = [argparse.Namespace(**{**vars(options), "label": label}) for label in labels]
        together = keeper.together([partial(act, keeper, one, when) for one in each])
        done(*together.done, ways=() if options.quiet else keeper.beside(*together.done))
        for why in dict.fromkeys(str(error) for error in together.refused):
            complain(why)
        return max((error.exit_code for error in together.refused), default=0)

    return handler


# -- options that several commands share


def labels(command: Parser, help: str = "") -> None:
    """The pupae or butterflies that a command is about: one, several, or a range, recorded as one act."""
    told = "one or several, also a range (M41-M44)"
    command.add_argument("labels", nargs="+", metavar="LABEL", help=f"{help}; {told}" if help else told)


def weather() -> Parser:
    """The options for the weather a butterfly would fly in."""
    options = Parser(add_help=False)
    options.add_argument("--temperature-c", type=float, metavar="T", help="°C in the shade, now or expected")
    options.add_argument("--sky", metavar="S", default="", help="sun, cloud or rain")
    return options


def _everywhere() -> Parser:
    options = Parser(add_help=False)
    options.add_argument(
        "--journal",
        type=Path,
        metavar="FILE",
        default=argparse.SUPPRESS,
        help="the journal to use; default: the one in your data folder",
    )
    options.add_argument(
        "--config",
        type=Path,
        metavar="DIR",
        default=argparse.SUPPRESS,
        help="the folder of your settings; default: your configuration folder",
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
